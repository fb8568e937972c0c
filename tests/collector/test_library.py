"""The folder of recordings: names that stay in it, what is moved out of the way and back, and what is not."""

from pathlib import Path

import pytest

from collector.library import DELETED, LONGEST_NAME, Library, plain_name, recording_in
from collector.recording import Recording
from collector.store import Store
from drivers.base import InputError, LightoffError
from tests.collector.recordings import DRAFT, ramp, recorded

OUTSIDE = (
    "../call.lightoff",
    "/etc/call.lightoff",
    "deleted/call.lightoff",
    "..\\call.lightoff",
    "C:call.lightoff",
    "call\0.lightoff",
    "call\n.lightoff",
    "call\ud800.lightoff",
    ".lightoff",
    "..",
    "",
    "call.csv",
    "x" * LONGEST_NAME + ".lightoff",
    None,
    7,
    ["call.lightoff"],
)


@pytest.fixture
def call(tmp_path: Path) -> Path:
    (tmp_path / "calls").mkdir()
    return recorded(tmp_path / "calls" / "call.lightoff", ramp(DRAFT, 5))


@pytest.fixture
def library(call: Path) -> Library:
    return Library(call.parent)


@pytest.mark.parametrize("name", OUTSIDE)
def test_a_name_that_leads_elsewhere_is_none(library: Library, call: Path, name: object):
    recorded(call.parent.parent / "call.lightoff", ramp(DRAFT, 5))
    for act in (plain_name, library.path, library.delete, library.restore):
        with pytest.raises(InputError):
            act(name)
    with pytest.raises(InputError):
        library.restore("call.lightoff", name if name is not None else "")
    assert call.exists()
    assert (call.parent.parent / "call.lightoff").exists()
    assert not (call.parent / DELETED).exists()


def test_what_is_no_recording_is_not_in_it(library: Library, call: Path):
    (call.parent / "letter.lightoff").write_text("dear Sir")
    with pytest.raises(InputError, match=r"no recording letter.lightoff in calls"):
        library.path("letter.lightoff")
    with pytest.raises(InputError):
        library.delete("letter.lightoff")
    with pytest.raises(InputError) as told:
        recording_in(call.parent, "none.lightoff")
    assert str(call.parent) not in str(told.value), "a name is told, not a path"


def test_a_deleted_recording_comes_back_byte_for_byte(library: Library, call: Path):
    before = call.read_bytes()
    assert library.delete("call.lightoff") == "call.lightoff"
    assert not call.exists()
    assert (call.parent / DELETED / "call.lightoff").read_bytes() == before
    assert library.restore("call.lightoff") == "call.lightoff"
    assert call.read_bytes() == before
    assert sorted(path.name for path in call.parent.iterdir()) == ["call.lightoff", DELETED], "no lock stays"
    assert list((call.parent / DELETED).iterdir()) == []


def test_the_log_of_an_unfinished_recording_goes_with_it(library: Library, call: Path):
    log = call.with_name("call.lightoff-wal")
    log.write_bytes(b"the last readings")
    library.delete("call.lightoff")
    assert not log.exists()
    assert (call.parent / DELETED / log.name).read_bytes() == b"the last readings"
    library.restore("call.lightoff")
    assert log.read_bytes() == b"the last readings"


def test_a_second_one_of_that_name_replaces_no_first(library: Library, call: Path):
    library.delete("call.lightoff")
    recorded(call, ramp(DRAFT, 9))
    assert library.delete("call.lightoff") == "call (2).lightoff"
    assert library.restore("call (2).lightoff", "call.lightoff") == "call.lightoff"
    with Recording(call) as again:
        assert again.read(DRAFT.key).time.size == 10
    with Recording(call.parent / DELETED / "call.lightoff") as first:
        assert first.read(DRAFT.key).time.size == 6


@pytest.mark.parametrize("ending", ["", "-wal"])
def test_nothing_is_restored_over_a_file(library: Library, call: Path, ending: str):
    library.delete("call.lightoff")
    there = call.with_name(f"call.lightoff{ending}")
    there.write_text("a file of somebody")
    with pytest.raises(InputError, match="stays deleted"):
        library.restore("call.lightoff")
    assert there.read_text() == "a file of somebody"
    assert (call.parent / DELETED / "call.lightoff").exists()


def test_one_that_is_recorded_by_any_program_stays(library: Library, call: Path):
    with Store(call):
        with pytest.raises(LightoffError, match="is being recorded by another program") as told:
            library.delete("call.lightoff")
    assert call.exists()
    assert str(call.parent) not in str(told.value)
    library.delete("call.lightoff")
    assert not call.exists()


def test_one_that_is_held_here_stays_and_says_why(call: Path):
    library = Library(call.parent, {call: "is being recorded now", call.parent / "gone.lightoff": "is gone"})
    with pytest.raises(InputError, match=r"call.lightoff is being recorded now"):
        library.delete("call.lightoff")
    assert call.exists()


def test_where_moving_fails_half_way_all_is_where_it_was(library: Library, call: Path, monkeypatch: pytest.MonkeyPatch):
    log = call.with_name("call.lightoff-wal")
    log.write_bytes(b"the last readings")
    rename = Path.rename

    def refuse(self: Path, target: Path) -> Path:
        if self == log:
            raise PermissionError(13, "Permission denied")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(InputError, match="could not be deleted"):
        library.delete("call.lightoff")
    assert call.exists()
    assert log.exists()
    assert list((call.parent / DELETED).iterdir()) == []


def test_an_empty_or_missing_folder_has_nothing(tmp_path: Path):
    with pytest.raises(InputError, match="there is no recording"):
        Library(tmp_path / "none").path("call.lightoff")
    with pytest.raises(InputError, match="there is no recording"):
        Library(tmp_path).restore("call.lightoff")
