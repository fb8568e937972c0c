"""Media that go, come back or cannot be written: said in words, and what is given up is counted."""

import asyncio
import shutil
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Reading
from collector.database import RecordingError
from collector.recorder import Recorder
from collector.recording import Recording
from collector.store import Store
from tests.collector.durability.load import contents, held
from tests.support import StillClock, until
from tests.system.media import small_medium

CHANNEL = Channel("draft_collector", "draft meter", "inH2O")


class Call:
    """A recorder with a real store, whose time the test sets."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.heard: list[Event] = []
        self.time = 0.0
        self._count = 0
        self.store = Store(path)
        self.recorder = Recorder(
            self.store, now=StillClock(), announce=self.heard.append, monotonic=lambda: self.time, retry=0.01
        )

    def say(self, count: int) -> None:
        """So many readings come, one a second."""
        for _ in range(count):
            self.recorder.put(Reading(CHANNEL.key, self._count * NANOSECONDS, 1.0))
            self._count += 1

    async def stands_still(self) -> None:
        await until(lambda: self.recorder.failure, what="recording stands still")
        assert "recording stands still: cannot record to" in self.heard[-1].text

    async def goes_on(self) -> None:
        await until(lambda: not self.recorder.failure, what="recording goes on")
        await self.recorder.caught_up()

    def recorded(self) -> list[int]:
        """Seconds of which there are readings."""
        with Recording(self.path) as recording:
            return [time // NANOSECONDS for time in recording.read(CHANNEL.key).time.tolist()]


@asynccontextmanager
async def call(path: Path) -> AsyncIterator[Call]:
    made = Call(path)
    task = asyncio.create_task(made.recorder.run(), name="recorder")
    made.recorder.put(CHANNEL)
    try:
        yield made
    finally:
        made.recorder.stop()
        await task
        made.store.close()


async def test_a_folder_that_is_removed_and_made_again(tmp_path):
    """A stick that is pulled out and put in again is the same to the program: what was recorded is written anew."""
    folder = tmp_path / "stick"
    folder.mkdir()
    async with call(folder / "call.lightoff") as one:
        one.say(100)
        await one.recorder.caught_up()
        shutil.rmtree(folder)
        one.say(50)
        await one.stands_still()
        one.say(50)
        folder.mkdir()
        await one.goes_on()
        one.say(50)
        await one.recorder.caught_up()
        assert one.recorded() == list(range(250))
    assert one.recorded() == list(range(250))
    assert one.recorder.lost == 0
    assert [file.name for file in folder.iterdir()] == ["call.lightoff"]


async def test_what_waits_for_more_than_ten_minutes_is_a_gap_of_the_recording(tmp_path):
    folder = tmp_path / "stick"
    folder.mkdir()
    async with call(folder / "call.lightoff") as one:
        one.say(10)
        await one.recorder.caught_up()
        shutil.rmtree(folder)
        one.say(10)
        await one.stands_still()
        one.time = 300.0
        one.say(10)
        one.time = 601.0
        await until(lambda: one.recorder.lost == 10, what="ten readings are given up")
        folder.mkdir()
        await one.goes_on()
    assert one.recorded() == [*range(10), *range(20, 30)]
    with Recording(one.path) as recording:
        (gap,) = recording.events({EventKind.GAP})
        said = [event.text for event in recording.events({EventKind.RECORDER})]
    assert dict(gap.data) == {"from": 10 * NANOSECONDS, "to": 19 * NANOSECONDS, "count": 10}
    assert "10 readings of 9 s were lost: cannot record to" in gap.text
    assert said == ["recording goes on; 10 readings were lost"]


REMOVED = """
import resource, sys
from pathlib import Path
from collector.database import RecordingError
from collector.store import Store
from tests.collector.durability.load import contents
path = Path(sys.argv[1])
with Store(path) as store:
    for batch in range(40):
        store.append(contents(batch))
    path.unlink()
    for limit in (0, 4096, 20_000, 40_000):
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
        try:
            store.append(contents(40))
        except RecordingError as error:
            sys.stdout.write(f"{error}\\n")
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    store.append(contents(40))
"""


def test_a_recording_that_was_removed_is_written_anew_when_there_is_room_again(tmp_path):
    """What could not be written in full is not taken for somebody else's file."""
    path = tmp_path / "call.lightoff"
    done = subprocess.run([sys.executable, "-c", REMOVED, str(path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    said = done.stdout.splitlines()
    assert len(said) == 4, "it was refused each time"
    assert all("cannot record to" in line for line in said), said
    assert held(path) == 41
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_a_medium_that_cannot_be_written(tmp_path):
    """A finished recording is read there; one that was cut off is told from it, and none can be begun."""
    with small_medium(tmp_path / "stick") as stick:
        for name in ("finished", "cut off"):
            store = Store(stick / f"{name}.lightoff")
            for batch in range(5):
                store.append(contents(batch))
            if name == "finished":
                store.close()
        with small_medium(tmp_path / "copy") as copy:
            shutil.copytree(stick, copy, dirs_exist_ok=True)
            (copy / "cut off.lightoff-shm").unlink()
            _remount(copy, "ro")
            assert held(copy / "finished.lightoff") == 5
            with pytest.raises(RecordingError, match=r"was not finished.*copy both to a folder you may write to"):
                Recording(copy / "cut off.lightoff")
            for name in ("new", "finished", "cut off"):
                with pytest.raises(RecordingError, match=r"cannot record to .*a folder you may write to"):
                    Store(copy / f"{name}.lightoff")
            _remount(copy, "rw")
            assert held(copy / "cut off.lightoff") == 5
        store.close()


def _remount(folder: Path, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", str(folder)], check=True)


def test_a_clock_that_was_set_back_between_two_sessions(tmp_path):
    """The second session has times before and at those of the first: all are kept, and no value is written over."""
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([CHANNEL, *(Reading(CHANNEL.key, second * NANOSECONDS, 1.0) for second in range(100, 200))])
    with Store(path) as store:
        back = [Reading(CHANNEL.key, second * NANOSECONDS, 2.0) for second in range(50, 150)]
        between = [Reading(CHANNEL.key, reading.time + 1, 3.0) for reading in back]
        conflicts = store.append([CHANNEL, *back, *between])
    with Recording(path) as recording:
        rows = recording.read(CHANNEL.key)
        told = recording.events({EventKind.CONFLICT})
    assert rows.time.size == 150 + 100
    assert (rows.time[1:] > rows.time[:-1]).all()
    seconds, value = rows.time // NANOSECONDS, rows.value
    assert set(value[(rows.time % NANOSECONDS == 0) & (seconds >= 100)]) == {1.0}
    assert set(value[(rows.time % NANOSECONDS == 0) & (seconds < 100)]) == {2.0}
    assert len(conflicts) == len(told) == 50
