"""What the page may do with recordings, through the recorder's commands."""

import sys
from pathlib import Path

import pytest

from analysis.model import Plate
from collector.clock import Clock
from collector.collector import Collector
from collector.commands import Commands
from collector.job import parse
from collector.library import DELETED, Library
from collector.library_commands import library_commands
from collector.replays import Replays
from collector.session import Plan, library_of
from collector.store import Store
from drivers.base import InputError
from drivers.replay import Replay
from tests.collector.recordings import DRAFT, ramp, recorded
from tests.collector.test_library import OUTSIDE
from tests.collector.test_replays import SPEAKS

NAME = "call.lightoff"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "calls").mkdir()
    recorded(tmp_path / "calls" / NAME, ramp(DRAFT, 5))
    return tmp_path / "calls"


def commands(folder: Path, replays: Replays, store: Store) -> Commands:
    collector = Collector(store, plate=Plate(), rules=(), clock=Clock())
    return Commands(collector, more=library_commands(Library(folder), replays))


async def test_delete_and_have_it_back_under_its_own_name(folder: Path, tmp_path: Path):
    with Store(tmp_path / "now.lightoff") as store:
        known = commands(folder, Replays(()), store)
        (folder / DELETED).mkdir()
        recorded(folder / DELETED / NAME, ramp(DRAFT, 1))
        answer = known.execute("delete_recording", {"name": NAME})
        assert answer.text == f"{NAME} was moved to the folder deleted"
        assert answer.data == {"deleted": "call (2).lightoff"}
        assert not (folder / NAME).exists()
        answer = known.execute("restore_recording", {"name": "call (2).lightoff", "as": NAME})
        assert answer.data == {"name": NAME}
        assert (folder / NAME).exists()


@pytest.mark.parametrize("name", OUTSIDE)
async def test_names_that_lead_elsewhere_are_refused_by_every_command(folder: Path, tmp_path: Path, name: object):
    with Store(tmp_path / "now.lightoff") as store:
        async with Replays((sys.executable, "-c", SPEAKS)) as replays:
            known = commands(folder, replays, store)
            for command in ("delete_recording", "restore_recording", "replay_file", "end_replay"):
                with pytest.raises(InputError):
                    known.execute(command, {"name": name, "speed": 1})
            assert replays.state() == []
    assert (folder / NAME).exists()


async def test_one_that_is_being_replayed_stays(folder: Path, tmp_path: Path):
    with Store(tmp_path / "now.lightoff") as store:
        async with Replays((sys.executable, "-c", SPEAKS)) as replays:
            known = commands(folder, replays, store)
            known.execute("replay_file", {"name": NAME, "speed": 10})
            with pytest.raises(InputError, match="end its replay first"):
                known.execute("delete_recording", {"name": NAME})
            assert (folder / NAME).exists()
            known.execute("end_replay", {"name": NAME})
            known.execute("delete_recording", {"name": NAME})
            assert not (folder / NAME).exists()
            with pytest.raises(InputError, match="no recording"):
                known.execute("replay_file", {"name": NAME, "speed": 10})


@pytest.mark.parametrize("speed", [None, "fast", True, [1], float("inf")])
async def test_a_speed_must_be_a_number_or_max(folder: Path, tmp_path: Path, speed: object):
    with Store(tmp_path / "now.lightoff") as store:
        async with Replays((sys.executable, "-c", SPEAKS)) as replays:
            known = commands(folder, replays, store)
            with pytest.raises(InputError, match="speed"):
                known.execute("replay_file", {"name": NAME, "speed": speed})
            known.execute("replay_file", {"name": NAME, "speed": "max"})
            assert [one["speed"] for one in replays.state()] == ["max"]


def test_the_library_is_beside_the_recording_or_the_folder_recordings(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.chdir(tmp_path)
    kept = Plan(Path("calls") / NAME, parse("", "none"), ())
    library = library_of(kept)
    assert library.folder == folder
    with pytest.raises(InputError, match="is being recorded now"):
        library.delete(NAME)
    scratch = Plan(tmp_path / "scratch" / NAME, parse("", "none"), (), kept=False)
    assert library_of(scratch).folder == tmp_path / "recordings"


def test_what_this_call_itself_replays_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    from collector.recording import Recording

    monkeypatch.chdir(tmp_path)
    (tmp_path / "recordings").mkdir()
    recorded(tmp_path / "recordings" / NAME, ramp(DRAFT, 5))
    scratch = Plan(tmp_path / "scratch.lightoff", parse("", "none"), (), kept=False)
    with Recording(Path("recordings") / NAME) as source:
        library = library_of(scratch, Replay(source))
        with pytest.raises(InputError, match="is being replayed here"):
            library.delete(NAME)
