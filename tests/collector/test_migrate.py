"""Recordings of older formats: read as they are, rewritten whole or not at all, whenever it is cut off."""

import math
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from analysis.model import Event, EventKind, Quality, Reading
from collector.attachments import PIECE, Attachment, pieces
from collector.database import FORMAT, RecordingError, version_of
from collector.migrate import ENDING
from collector.recording import Recording
from collector.sealing import seal_in_order
from collector.store import Store
from collector.verify import verified
from tests.collector.older import of_format_3, older
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, T0

VALUES = [-1.25, -0.0, 0.0, math.nan, math.inf, -math.inf, 5e-324, 7.0, 2.0**53 + 2, 0.1 + 0.2]
READINGS = [
    Reading(
        channel.key, T0 + place * SECOND // 10, VALUES[place % len(VALUES)] + place // 500, list(Quality)[place % 3]
    )
    for channel in (DRAFT, SUPPLY)
    for place in range(6000)
]
EVENTS = [
    Event(T0 + SECOND, EventKind.NOTE, "trap cleared: 1½ cups", DRAFT.key, {"by": ["hand", 1]}),
    Event(T0, EventKind.CONFLICT, "a second value", DRAFT.key, {"channel": DRAFT.key, "kept": None, "refused": 1.5}),
]
PHOTO = Attachment("0123456789abcdef", T0, "plate.jpg", "image/jpeg", "rating plate", 2 * PIECE + 5)
CONTENT = bytes(range(256)) * (2 * PIECE // 256) + b"12345"
KILLS = int(os.environ.get("LIGHTOFF_KILLS", "20")) // 4


def old_recording(path: Path, version: int = 2, *, killed: bool = False) -> Path:
    attached = [(PHOTO, CONTENT)] if version > 1 else []
    return older(path, [DRAFT, SUPPLY], READINGS, EVENTS, attached, version=version, killed=killed)


def contents(path: Path) -> tuple[object, ...]:
    """All that a reader sees."""
    with Recording(path) as recording:
        columns = [
            [getattr(recording.read(channel.key), name).tobytes() for name in ("time", "value", "quality")]
            for channel in recording.channels
        ]
        attached = [(one, recording.content(one.id)) for one in recording.attachments()]
        facts = (recording.channels, recording.events(), recording.span(), recording.doubtful(), recording.counts())
        return (columns, attached, repr(recording.latest()), repr(recording.latest(T0 + 50 * SECOND)), *facts)


@pytest.mark.parametrize("killed", [False, True])
@pytest.mark.parametrize("version", [1, 2])
def test_an_older_recording_is_read_as_it_is_and_rewritten_when_it_goes_on(tmp_path, version, killed):
    path = old_recording(tmp_path / "old.lightoff", version, killed=killed)
    before = contents(path)
    assert version_of(path) == version, "reading changes nothing"
    times = [one.time for one in READINGS[:6000]]
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).time.tolist() == times
        assert recording.read(DRAFT.key, times[10], times[20]).time.tolist() == times[10:21]
        assert recording.overview(DRAFT.key, points=100).time.size <= 100
    Store(path).close()
    assert version_of(path) == FORMAT
    assert contents(path) == before
    assert verified(path).faults == ()
    assert [file.name for file in tmp_path.iterdir()] == [path.name], "nothing is left beside it"
    with Store(path) as store:
        (conflict,) = store.append([Reading(DRAFT.key, T0, 7.5), Reading(DRAFT.key, T0 - 1, 1.0)])
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).value[:2].tolist() == [1.0, -1.25]
        assert recording.events({EventKind.CONFLICT})[-1] in (conflict, EVENTS[1])


def test_a_recording_of_format_3_is_read_as_it_is_and_rewritten_smaller(tmp_path):
    path = tmp_path / "call.lightoff"
    with Store(path, sealed_after=500) as store:
        store.append([DRAFT, SUPPLY, *EVENTS, *pieces(PHOTO, CONTENT), PHOTO])
        for start in range(0, len(READINGS), 1000):
            store.append(READINGS[start : start + 1000])
    now = contents(path)
    whole = of_format_3(path).read_bytes()
    assert version_of(path) == 3
    assert contents(path) == now
    assert verified(path).faults == ()
    assert path.read_bytes() == whole, "reading changes nothing"
    Store(path).close()
    assert version_of(path) == FORMAT
    assert contents(path) == now
    assert verified(path).faults == ()
    assert path.stat().st_size < len(whole)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


REWRITE = """
import os, sys
from pathlib import Path
from collector.store import Store
print("ready", flush=True)
Store(Path(sys.argv[1])).close()
print("done", flush=True)
"""


def test_a_rewriting_that_is_killed_leaves_the_old_or_the_new(tmp_path):
    """Kill -9 at any time: the file under its name is one of the two, whole, and the next opening ends it."""
    chance, before, versions = random.Random(11), None, set[int]()
    for attempt in range(max(4, KILLS)):
        path = old_recording(tmp_path / f"{attempt}.lightoff", killed=bool(attempt % 2))
        before = before or contents(path)
        with subprocess.Popen([sys.executable, "-c", REWRITE, str(path)], stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            assert child.stdout.readline() == "ready\n"
            if attempt % 4:  # after the new file was begun
                until = time.monotonic() + 10
                while not path.with_name(f"{path.name}{ENDING}").exists() and child.poll() is None:
                    assert time.monotonic() < until
                time.sleep(chance.random() * 0.15)
            child.send_signal(signal.SIGKILL)
        versions.add(version_of(path))
        assert contents(path) == before
        Store(path).close()
        assert version_of(path) == FORMAT
        assert contents(path) == before
    assert 2 in versions, "no kill came in time"
    assert not list(tmp_path.glob(f"*{ENDING}*"))


@pytest.mark.parametrize("step", ["_write", "_compare", "on_medium"])
def test_what_goes_wrong_while_rewriting_leaves_the_old_file(tmp_path, monkeypatch, step):
    path = old_recording(tmp_path / "old.lightoff")
    before, whole = contents(path), path.read_bytes()

    def fails(*_: object) -> None:
        raise RecordingError("the medium is gone", "look for it")

    monkeypatch.setattr(f"collector.migrate.{step}", fails)
    with pytest.raises(RecordingError, match="the medium is gone"):
        Store(path)
    monkeypatch.undo()
    assert path.read_bytes() == whole
    assert contents(path) == before
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_a_new_file_that_came_out_otherwise_is_not_taken(tmp_path, monkeypatch):
    from collector import migrate

    path = old_recording(tmp_path / "old.lightoff")
    whole = path.read_bytes()

    def forgets(db, number, parts):
        seal_in_order(db, number, (part.at(slice(0, part.time.size - 1)) for part in parts))

    monkeypatch.setattr(migrate, "seal_in_order", forgets)
    with pytest.raises(RecordingError, match="it came out otherwise"):
        Store(path)
    assert path.read_bytes() == whole


def test_a_recording_that_somebody_reads_is_not_rewritten_under_his_eyes(tmp_path, monkeypatch):
    """Its log could not be taken in, and would be taken for the new file's."""
    path = old_recording(tmp_path / "old.lightoff", killed=True)
    monkeypatch.setattr("collector.database.PATIENCE", 0.2)
    reader = sqlite3.connect(path)
    try:
        reader.execute("SELECT count(*) FROM reading").fetchone()
        with pytest.raises(RecordingError, match="another program reads it; close that program"):
            Store(path)
    finally:
        reader.close()
    assert version_of(path) == 2
    Store(path).close()
    assert version_of(path) == FORMAT
