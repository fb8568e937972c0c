"""The replay: its own times, its own pace, paused, moved, looped; the contract of every driver."""

import asyncio
import gzip
import time
from collections.abc import Callable, Generator, Sequence
from contextlib import AbstractContextManager
from itertools import pairwise
from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Reading, origin_of
from drivers.base import Driver, Emission, InputError
from drivers.replay import CsvSource, Replay, stem
from tests.drivers.battery import DriverBattery
from tests.drivers.bench import Ability, Bench, Failure
from tests.support import until

DRAFT = Channel("draft_collector", "draft meter", "inH2O")
PLAYED = "draft_collector@replay: draft meter"
FAR = 10_000_000 * NANOSECONDS


class Endless:
    """A source that has so many readings at once as it is told, and then none for months."""

    name = "endless"
    channels = (DRAFT,)

    def __init__(self) -> None:
        self.told = 0
        self.given = 0

    def span(self) -> tuple[int, int]:
        return 0, FAR

    def play(self, start: int | None = None) -> Generator[Reading | Event, None, None]:
        yield Event(0, EventKind.MARK, "the beginning")
        while self.given < self.told:
            self.given += 1
            yield Reading(DRAFT.key, 10**6 + self.given, float(self.given))
        yield Reading(DRAFT.key, FAR, 0.0)


class ReplayBench:
    """A replay that is moved on."""

    def __init__(self) -> None:
        self.source = Endless()
        self.replay = Replay(self.source)

    def make(self, *, patience: float = 30.0) -> Driver:
        return self.replay

    def listening(self, emitted: Sequence[Emission]) -> bool:
        return bool(emitted)

    def say(self, count: int) -> None:
        self.source.told += count
        self.replay.seek(0)

    def failures(self) -> Sequence[Failure]:
        return ()

    def lose(self) -> None:
        raise AssertionError("a file does not vanish")

    def bring_back(self) -> None:
        raise AssertionError("a file does not vanish")

    def flood(self) -> int:
        raise AssertionError("a replay waits for its taker")

    def flooding(self) -> AbstractContextManager[object]:
        raise AssertionError("a replay waits for its taker")

    def lost(self) -> int:
        raise AssertionError("a replay loses nothing")

    def nonsense(self) -> None:
        raise AssertionError("what cannot be read is reported when the file is opened")

    def unreadable(self) -> int:
        raise AssertionError("what cannot be read is reported when the file is opened")

    def close(self) -> None:
        """Nothing to take down."""


class TestReplayContract(DriverBattery):
    """The battery on a file, which cannot vanish, fall silent or overrun anyone."""

    cannot = frozenset({Ability.FAIL, Ability.LOSE, Ability.SILENCE, Ability.FLOOD, Ability.NONSENSE})

    def bench(self, folder: Path) -> Bench:
        return ReplayBench()


def csv_file(folder: Path, times: Sequence[float]) -> Path:
    path = folder / "short.csv"
    path.write_text("time,draft_collector@draft meter [inH2O]\n" + "".join(f"{t},{n}\n" for n, t in enumerate(times)))
    return path


class Taken:
    """What a replay emitted, and when."""

    def __init__(self) -> None:
        self.items: list[Emission] = []
        self.at: list[float] = []

    def __call__(self, item: Emission) -> None:
        self.items.append(item)
        if isinstance(item, Reading):
            self.at.append(time.monotonic())

    @property
    def readings(self) -> list[Reading]:
        return [item for item in self.items if isinstance(item, Reading)]

    @property
    def events(self) -> list[str]:
        return [str(item.data["what"]) for item in self.items if isinstance(item, Event) and "what" in item.data]


async def test_readings_keep_their_own_time_and_say_that_they_are_replayed(tmp_path):
    replay = Replay(CsvSource(csv_file(tmp_path, [0, 1, 2.5])), as_fast_as_it_goes=True)
    taken = Taken()
    await replay.run(taken)
    assert [reading.time for reading in taken.readings] == [0, NANOSECONDS, 2_500_000_000]
    assert {reading.channel for reading in taken.readings} == {PLAYED}
    assert [channel.key for channel in replay.channels] == [PLAYED]
    assert origin_of(replay.name) == "replay"


@pytest.mark.parametrize("speed", [1.0, 10.0])
async def test_the_original_timing_is_kept(tmp_path, speed):
    """To within 5 ms at the median of the readings; a busy machine may delay a single one."""
    times = [n / 40 * speed for n in range(41)]
    replay = Replay(CsvSource(csv_file(tmp_path, times)), speed=speed)
    taken = Taken()
    await replay.run(taken)
    late = sorted((at - taken.at[0]) - t / speed for at, t in zip(taken.at, times, strict=True))
    assert late[0] > -0.005, "none comes early"
    assert late[len(late) // 2] < 0.005


async def test_paused_it_stands_still_and_goes_on_where_it_stood(tmp_path):
    replay = Replay(CsvSource(csv_file(tmp_path, [n / 100 for n in range(200)])))
    taken = Taken()
    task = asyncio.create_task(replay.run(taken))
    await until(lambda: len(taken.readings) > 5, what="it plays")
    replay.pause()
    await asyncio.sleep(0)
    count = len(taken.readings)
    await asyncio.sleep(0.1)
    assert len(taken.readings) <= count + 1
    replay.resume()
    replay.set_speed(100)
    await asyncio.wait_for(task, 5)
    assert [reading.value for reading in taken.readings] == list(range(200))


async def test_a_changed_speed_counts_from_where_it_stands(tmp_path):
    """A reading that is an hour away does not come at once because the speed changed."""
    replay = Replay(CsvSource(csv_file(tmp_path, [0, 3600])))
    taken = Taken()
    task = asyncio.create_task(replay.run(taken))
    await until(lambda: len(taken.readings) == 1, what="the first")
    for speed in (2.0, 100.0, 0.1):
        replay.set_speed(speed)
        await asyncio.sleep(0.01)
    assert len(taken.readings) == 1
    task.cancel()
    await asyncio.wait([task])


async def test_it_can_be_moved_forth_and_back(tmp_path):
    replay = Replay(CsvSource(csv_file(tmp_path, [n * 100 for n in range(10)])))
    taken = Taken()
    task = asyncio.create_task(replay.run(taken))
    await until(lambda: len(taken.readings) == 1, what="the first")
    replay.seek(700)
    await until(lambda: len(taken.readings) == 3, what="the eighth")
    replay.seek(200)
    await until(lambda: len(taken.readings) == 5, what="the third")
    assert [reading.value for reading in taken.readings] == [0, 6, 7, 1, 2], "with what the meter showed before"
    assert taken.events == ["seek", "seek"]
    task.cancel()
    await asyncio.wait([task])


async def test_at_the_end_it_stays_until_it_is_moved(tmp_path):
    replay = Replay(CsvSource(csv_file(tmp_path, [0, 0.01])), stay=True)
    taken = Taken()
    task = asyncio.create_task(replay.run(taken))
    await until(lambda: taken.events == ["end"], what="the end")
    replay.seek(0)
    await until(lambda: taken.events == ["end", "seek", "end"], what="the end again")
    assert [reading.value for reading in taken.readings] == [0, 1, 0, 1]
    task.cancel()
    await asyncio.wait([task])


async def test_a_loop_goes_on_in_time(tmp_path):
    """The second round is later than the first, so that it is not taken for the same readings."""
    replay = Replay(CsvSource(csv_file(tmp_path, [0, 0.01, 0.02])), loop=True, speed=100)
    taken = Taken()
    task = asyncio.create_task(replay.run(taken))
    await until(lambda: len(taken.readings) >= 6, what="the second round")
    task.cancel()
    await asyncio.wait([task])
    times = [reading.time for reading in taken.readings]
    assert all(late > early for early, late in pairwise(times))
    assert taken.events[0] == "loop"
    assert replay.start <= replay.position <= replay.end
    assert replay.now() > replay.end, "its now goes on with the rounds, its position begins anew"


async def test_in_a_loop_the_position_begins_anew(tmp_path):
    """The second round stands at its first reading for an hour; so does the position."""
    replay = Replay(CsvSource(csv_file(tmp_path, [0, 0.01, 3600])), loop=True)
    taken = Taken()
    task = asyncio.create_task(replay.run(taken))
    await until(lambda: len(taken.readings) == 2, what="the first two")
    replay.seek(3600)
    await until(lambda: taken.events[-1:] == ["loop"] and replay.position < 3600 * NANOSECONDS, what="the next round")
    task.cancel()
    await asyncio.wait([task])
    assert replay.position <= NANOSECONDS


async def test_as_fast_as_it_goes_waits_for_its_taker(tmp_path):
    waits = 0

    async def caught_up() -> None:
        nonlocal waits
        waits += 1

    path = csv_file(tmp_path, [n / 10 for n in range(5000)])
    await Replay(CsvSource(path), as_fast_as_it_goes=True, caught_up=caught_up).run(Taken())
    assert waits == 10


async def test_cancelled_at_full_speed_it_ends_and_closes_its_file(tmp_path):
    path = csv_file(tmp_path, [n / 10 for n in range(200_000)])
    replay = Replay(CsvSource(path), as_fast_as_it_goes=True)
    taken = Taken()
    task = asyncio.create_task(replay.run(taken))
    await until(lambda: len(taken.readings) > 1000, what="it plays")
    task.cancel()
    await asyncio.wait_for(asyncio.wait([task]), 2)
    assert task.cancelled()


async def test_zeroings_and_notes_come_along_with_the_name_of_the_replay():
    class Noted(Endless):
        def play(self, start: int | None = None) -> Generator[Reading | Event, None, None]:
            yield Event(1, EventKind.ZEROED, "zeroed", DRAFT.key, {"channel": DRAFT.key, "offset": 0.03})
            yield Reading(DRAFT.key, 2, 0.5)

    taken = Taken()
    await Replay(Noted(), as_fast_as_it_goes=True).run(taken)
    zeroed = taken.items[0]
    assert isinstance(zeroed, Event)
    assert dict(zeroed.data) == {"channel": PLAYED, "offset": 0.03}


async def test_what_was_noted_comes_once_however_often_the_replay_is_moved_back():
    class Noted(Endless):
        def play(self, start: int | None = None) -> Generator[Reading | Event, None, None]:
            yield Event(1, EventKind.NOTE, "trap cleared")
            yield Reading(DRAFT.key, 2, 0.5)
            yield Reading(DRAFT.key, FAR, 0.5)

    taken = Taken()
    replay = Replay(Noted())
    task = asyncio.create_task(replay.run(taken))
    for count in (1, 2, 3):
        await until(lambda count=count: len(taken.readings) >= count, what="a round")  # type: ignore[misc]
        replay.seek(0)
        await until(lambda count=count: taken.events.count("seek") == count, what="moved back")  # type: ignore[misc]
    task.cancel()
    await asyncio.wait([task])
    notes = [item for item in taken.items if isinstance(item, Event) and item.kind is EventKind.NOTE]
    assert len(notes) == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda replay: replay.set_speed(0.05), "outside 0.1 to 100"),
        (lambda replay: replay.set_speed(float("nan")), "outside 0.1 to 100"),
        (lambda replay: replay.seek(-1), "outside the recording"),
        (lambda replay: replay.seek(10), "it is 1 s long"),
    ],
)
def test_what_cannot_be_is_said(tmp_path, change: Callable[[Replay], None], says):
    replay = Replay(CsvSource(csv_file(tmp_path, [0, 1])))
    with pytest.raises(InputError, match=says):
        change(replay)


def test_files_are_opened_by_their_content(tmp_path):
    packed = tmp_path / "call.csv.gz"
    packed.write_bytes(gzip.compress(b"\xef\xbb\xbftime,temp_room [degF]\n0,70\n1,\xff\n"))
    source = CsvSource(packed)
    assert source.channels == (Channel("temp_room", "call", "degF"),)
    assert source.span() == (0, 0)
    assert [str(problem) for problem in source.problems] == ["line 3: temp_room@call: '\ufffd' is not a number"]
    assert stem(packed) == "call"
    with pytest.raises(InputError, match="there is no file"):
        CsvSource(tmp_path / "missing.csv")
    empty = tmp_path / "empty.csv"
    empty.touch()
    with pytest.raises(InputError, match=r"empty.csv: the file is empty"):
        CsvSource(empty)


def test_a_line_without_end_is_cut_and_reported(tmp_path):
    path = tmp_path / "long.csv"
    path.write_text("time,temp_room [degF]\n0,70\n" + "9" * 2_500_000 + "\n1,71\n")
    source = CsvSource(path)
    assert source.problem_count == 3
    assert source.span() == (0, NANOSECONDS)
