"""The store: durable, one writer, the same reading twice is one, errors in words."""

import errno
import json
import math
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector.database import FORMAT, RecordingError, is_recording
from collector.recording import Recording
from collector.rows import Many, Rows
from collector.store import Store, _keep_others_out, _lock_of

DRAFT = Channel("draft_collector", "draft meter", "inH2O", low=-10, high=10, accuracy="0.5 %", response_time=0.2)
SUPPLY = Channel("temp_supply", "duct thermometer", "degF")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "call.lightoff"


def test_what_was_appended_is_read_back_as_it_was(path):
    readings = [
        Reading(DRAFT.key, 2, -1.25),
        Reading(DRAFT.key, 1, -0.1 - 0.2),
        Reading(DRAFT.key, 3, math.nan, Quality.BAD),
        Reading(SUPPLY.key, 2, 1e-310, Quality.SUSPECT),
    ]
    event = Event(5, EventKind.NOTE, "trap cleared: 1½ cups", "nobody", {"by": ["hand", 1]})
    with Store(path) as store:
        assert store.append([DRAFT, SUPPLY, *readings, event]) == []
    with Recording(path) as recording:
        assert recording.channels == (DRAFT, SUPPLY)
        rows = recording.read(DRAFT.key)
        assert rows.time.tolist() == [1, 2, 3]
        assert rows.value[:2].tolist() == [-0.1 - 0.2, -1.25]
        assert math.isnan(rows.value[2])
        assert rows.quality.tolist() == [0, 0, 2]
        assert recording.read(SUPPLY.key).value.tolist() == [1e-310]
        assert recording.events() == [event]
        assert recording.span() == (1, 3)
        assert recording.latest()[SUPPLY.key] == readings[3]
        assert [reading.time for reading in recording.readings()] == [1, 2, 2, 3]
        assert recording.read(DRAFT.key, 2, 2).time.tolist() == [2]
        assert recording.read("nothing@nobody").time.size == 0


@settings(deadline=None, max_examples=25)
@example([-0.0, 0.0, 1.0, -3.0, 5e-324, 2.0**53 + 2])
@given(st.lists(st.floats(allow_nan=False, width=64), max_size=50))
def test_values_come_back_bit_for_bit(tmp_path_factory, values):
    path = tmp_path_factory.mktemp("bits") / "call.lightoff"
    with Store(path) as store:
        store.append([DRAFT, *(Reading(DRAFT.key, i, value) for i, value in enumerate(values))])
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).value.tobytes() == np.array(values, dtype=np.float64).tobytes()


def test_the_same_reading_twice_is_one_and_another_value_is_a_conflict(path):
    with Store(path) as store:
        store.append([DRAFT, Reading(DRAFT.key, 1, -1.0)])
        assert store.append([Reading(DRAFT.key, 1, -1.0)]) == []
        (conflict,) = store.append([Reading(DRAFT.key, 1, -2.0), Reading(DRAFT.key, 2, -3.0)])
        (within,) = store.append([Reading(DRAFT.key, 4, -4.0), Reading(DRAFT.key, 4, math.nan)])
    assert conflict.kind is EventKind.CONFLICT
    assert dict(conflict.data) == {"channel": DRAFT.key, "kept": -1.0, "refused": -2.0}
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).value.tolist() == [-1.0, -3.0, -4.0]
        assert recording.events({EventKind.CONFLICT}) == [conflict, within]


def test_readings_recorded_together_are_what_each_of_them_is(path, tmp_path):
    readings = [(3, 0.5), (1, -0.0), (2, math.nan), (1, 0.0), (2, math.nan), (3, 0.7), (4, math.inf), (3, 0.5)]
    quality = [Quality.BAD if math.isnan(value) else Quality.SUSPECT for _, value in readings]
    each = [Reading(DRAFT.key, *one, how) for one, how in zip(readings, quality, strict=True)]
    time, value = (np.array(own, kind) for own, kind in zip(zip(*readings, strict=True), "qd", strict=True))
    with Store(path) as store, Store(tmp_path / "other.lightoff") as other:
        conflicts = store.append([DRAFT, Many(DRAFT.key, Rows(time, value, np.array(quality, np.int8)))])
        assert conflicts == other.append([DRAFT, *each])
        assert len(conflicts) == 2
        assert store.kept == other.kept == 4
    with Recording(path) as one, Recording(tmp_path / "other.lightoff") as two:
        assert repr([*one.readings()]) == repr([*two.readings()])


def test_a_batch_that_fails_leaves_nothing_behind(path):
    with Store(path) as store:
        store.append([DRAFT])
        with pytest.raises(KeyError):
            store.append([Reading(DRAFT.key, 1, 1.0), SUPPLY, Reading("nothing@nobody", 2, 1.0)])
        with pytest.raises(KeyError):
            store.append([Reading(SUPPLY.key, 1, 1.0)])
        store.append([Reading(DRAFT.key, 3, 1.0)])
    with Recording(path) as recording:
        assert recording.channels == (DRAFT,)
        assert recording.read(DRAFT.key).time.tolist() == [3]


def test_a_channel_cannot_change_its_unit_within_a_recording(path):
    with Store(path) as store:
        store.append([DRAFT])
        with pytest.raises(RecordingError, match="has draft_collector@draft meter in inH2O, and it comes in Pa now"):
            store.append([Channel(DRAFT.point, DRAFT.instrument, "Pa")])


def test_a_second_writer_is_refused_and_readers_are_not(path):
    with Store(path) as store:
        store.append([DRAFT, Reading(DRAFT.key, 1, 1.0)])
        with pytest.raises(RecordingError, match="is being recorded by another program"):
            Store(path)
        with Recording(path) as one, Recording(path) as two:
            assert one.span() == two.span() == (1, 1)
            store.append([Reading(DRAFT.key, 2, 1.0)])
            assert one.span() == (1, 2)
    with Store(path) as store:
        store.append([Reading(DRAFT.key, 3, 1.0)])
    with Recording(path) as recording:
        assert recording.span() == (1, 3)


def test_an_interrupt_while_the_lock_is_taken_leaves_nothing(path, monkeypatch):
    """Its file is made before it is locked, and Ctrl+C may come in between."""

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("fcntl.flock", interrupted)
        with pytest.raises(KeyboardInterrupt):
            _keep_others_out(path, _lock_of(path))
    assert path.with_name(f"{path.name}.lock").exists(), "this is what is left of it"
    monkeypatch.setattr("collector.store._keep_others_out", interrupted)
    with pytest.raises(KeyboardInterrupt):
        Store(path)
    assert list(path.parent.iterdir()) == []


def test_a_finished_recording_is_one_file(path):
    with Store(path) as store:
        store.append([DRAFT, Reading(DRAFT.key, 1, 1.0)])
    assert [file.name for file in path.parent.iterdir()] == [path.name]
    assert is_recording(path)


def test_other_files_are_refused_in_one_sentence(path, tmp_path):
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as db:
        db.execute("CREATE TABLE t (x)")
    db.close()
    text = tmp_path / "text.csv"
    text.write_text("time,temp_room [degF]\n" * 100)
    newer = tmp_path / "newer.lightoff"
    Store(newer).close()
    with sqlite3.connect(newer) as db:
        db.execute(f"PRAGMA user_version={FORMAT + 1}")
    db.close()
    for file, says in ((other, "is not a recording"), (text, "not a recording"), (newer, "newer than this program")):
        for opener in (Recording, Store):
            with pytest.raises(RecordingError, match=says) as caught:
                opener(file)
            assert str(file) in str(caught.value)
    with pytest.raises(RecordingError, match="there is no recording"):
        Recording(path)
    with pytest.raises(RecordingError, match="it is a folder"):
        Store(tmp_path)
    with pytest.raises(RecordingError, match="there is no folder"):
        Store(tmp_path / "missing" / "call.lightoff")
    assert not is_recording(other)
    assert not is_recording(text)


LIMITED = """
import json, resource, signal, sys
from pathlib import Path
from analysis.model import Channel, Reading
from collector.database import RecordingError
from collector.store import Store
from collector.verify import verified
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
channel = Channel("temp_supply", "meter", "degF")
with Store(Path(sys.argv[1]), sealed_after=250) as store:
    store.append([channel])
    resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, resource.RLIM_INFINITY))
    written, errors = 0, []
    for batch in range(400):
        try:
            store.append([Reading(channel.key, batch * 100 + i, 1.5) for i in range(100)])
            written += 100
        except RecordingError as error:
            errors.append(str(error))
            break
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    store.append([Reading(channel.key, 10**6 + i, 2.5) for i in range(100)])
print(json.dumps({"written": written, "errors": errors}))
"""


def test_a_medium_that_takes_no_more_is_said_and_nothing_acknowledged_is_lost(path):
    """The kernel refuses the file's growth (a limit on file size); the same store goes on when it may grow again."""
    done = subprocess.run([sys.executable, "-c", LIMITED, str(path)], capture_output=True, text=True, check=True)
    result = json.loads(done.stdout)
    assert result["errors"], "the limit was never reached"
    assert "cannot record to" in result["errors"][0]
    with Recording(path) as recording:
        time = recording.read("temp_supply@meter").time
    assert np.array_equal(time[:-100], np.arange(result["written"]))
    assert time[-100:].tolist() == list(range(10**6, 10**6 + 100))


def test_a_full_disk_is_called_a_full_disk(path):
    """SQLite's own page limit answers as a full disk does (SQLITE_FULL)."""
    with Store(path) as store:
        store.append([DRAFT])
        store._db.execute("PRAGMA max_page_count=12")
        with pytest.raises(RecordingError, match="the disk is full; free some space"):
            for start in range(0, 10**6, 1000):
                store.append([Reading(DRAFT.key, start + i, 1.0) for i in range(1000)])
        store._db.execute("PRAGMA max_page_count=100000")
        store.append([Reading(DRAFT.key, 10**7, 1.0)])
    with Recording(path) as recording:
        time = recording.read(DRAFT.key).time
    assert np.array_equal(time[:-1], np.arange(time.size - 1))
    assert time[-1] == 10**7


@pytest.mark.parametrize("folder", ["/proc", "/sys"])
def test_a_folder_that_nobody_may_write_to_is_said(folder):
    """Two folders of the system that refuse even its administrator, each with an error of its own."""
    with pytest.raises(RecordingError, match=rf"cannot record to {folder}/call\.lightoff.*a folder you may write to"):
        Store(Path(folder) / "call.lightoff")


def test_a_read_only_copy_can_be_read(path):
    with Store(path) as store:
        store.append([DRAFT, Reading(DRAFT.key, 1, 1.0)])
    path.chmod(stat.S_IRUSR)
    path.parent.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        with Recording(path) as recording:
            assert recording.span() == (1, 1)
    finally:
        path.parent.chmod(stat.S_IRWXU)


def test_a_log_that_cannot_be_read_is_not_passed_over(path, monkeypatch):
    """An unfinished recording on a medium that cannot be written: half of it must not be taken for the whole."""
    with Store(path) as store:
        store.append([DRAFT, Reading(DRAFT.key, 1, 1.0)])
        connect = sqlite3.connect

        def unwritable(name: str, **options: object) -> object:
            if "immutable" not in str(name):
                raise sqlite3.OperationalError("unable to open database file")
            return connect(name, **options)  # type: ignore[call-overload]

        monkeypatch.setattr(sqlite3, "connect", unwritable)
        with pytest.raises(RecordingError, match=r"was not finished.*copy both to a folder you may write to"):
            Recording(path)
        monkeypatch.undo()


def test_half_a_character_does_not_end_the_recording(path):
    with Store(path) as store:
        store.append([Event(1, EventKind.NOTE, "caf\udce9", "\ud800")])
    with Recording(path) as recording:
        assert recording.events()[0].text == "caf?"


def test_a_recording_that_is_removed_while_it_is_recorded_is_written_anew(path, caplog):
    with Store(path) as store:
        store.append([DRAFT, *(Reading(DRAFT.key, n, 1.0) for n in range(100))])
        for file in path.parent.glob("call.lightoff*"):
            if not file.name.endswith(".lock"):
                file.unlink()
        store.append([Reading(DRAFT.key, 100, 1.0)])
        store.append([Reading(DRAFT.key, 101, 1.0)])
    assert "was removed or renamed" in caplog.text
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).time.tolist() == list(range(102))


def test_a_recording_that_is_renamed_while_it_is_recorded_is_whole_at_its_place(path):
    with Store(path) as store:
        store.append([DRAFT, Reading(DRAFT.key, 1, 1.0)])
        path.rename(path.with_name("elsewhere.lightoff"))
        store.append([Reading(DRAFT.key, 2, 1.0)])
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).time.tolist() == [1, 2]


def test_another_file_in_its_place_is_not_written_over(path):
    with Store(path) as store:
        store.append([DRAFT, Reading(DRAFT.key, 1, 1.0)])
        path.rename(path.with_name("elsewhere.lightoff"))
        path.write_text("something else")
        with pytest.raises(RecordingError, match="another file has taken the place"):
            store.append([Reading(DRAFT.key, 2, 1.0)])
        path.unlink()
        store.append([Reading(DRAFT.key, 2, 1.0)])
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).time.tolist() == [1, 2]


def test_a_recording_says_what_it_is_from_its_first_byte_on(path):
    """Also while it is being recorded and after kill -9, when its tables may still be in the log beside it."""
    store = Store(path)
    try:
        assert is_recording(path)
    finally:
        store.close()


def test_a_medium_that_answers_no_more_is_said_and_the_store_goes_on_when_it_does(path, monkeypatch):
    """What a stick that was pulled out says of every file on it."""
    gone = OSError(errno.EIO, "Input/output error")

    def answers_no_more(*_: object, **__: object) -> None:
        raise gone

    with Store(path) as store:
        store.append([DRAFT, Reading(DRAFT.key, 1, 1.0)])
        monkeypatch.setattr(Path, "stat", answers_no_more)
        with pytest.raises(RecordingError, match=r"cannot record to .*Input/output error.*look at the medium"):
            store.append([Reading(DRAFT.key, 2, 1.0)])
        monkeypatch.undo()
        store.append([Reading(DRAFT.key, 2, 1.0)])
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).time.tolist() == [1, 2]
