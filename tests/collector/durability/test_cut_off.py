"""A change that was cut off in the middle, without a write-ahead log: no reader takes it for what was recorded."""

import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from collector.database import RecordingError
from collector.recording import Recording
from collector.store import Store
from tests.collector.durability.load import contents, held

CHANGE = """
import os, signal, sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.executescript("PRAGMA journal_mode=DELETE; PRAGMA cache_size=3; BEGIN IMMEDIATE; DELETE FROM event WHERE id > 3;"
    "CREATE TABLE filler (bytes); INSERT INTO filler WITH RECURSIVE count (n) AS"
    " (SELECT 1 UNION ALL SELECT n + 1 FROM count LIMIT 200) SELECT randomblob(4096) FROM count")
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A recording of twenty batches, and half a change of it in the file and its journal."""
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        for batch in range(20):
            store.append(contents(batch))
    whole = path.stat().st_size
    done = subprocess.run([sys.executable, "-c", CHANGE, str(path)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert path.stat().st_size > whole, "the change is in the file in part"
    assert Path(f"{path}-journal").stat().st_size
    return path


def test_a_reader_sees_what_was_before_it(path):
    assert held(path) == 20
    assert not Path(f"{path}-journal").exists()


def test_a_writer_goes_on_from_what_was_before_it(path):
    with Store(path) as store:
        store.append(contents(20))
    assert held(path) == 21


def test_where_it_cannot_be_taken_back_it_is_said(path, monkeypatch):
    """On a medium that cannot be written."""
    connect = sqlite3.connect

    def unwritable(name: str, **options: object) -> object:
        if "mode=rw" in str(name):
            raise sqlite3.OperationalError("attempt to write a readonly database")
        return connect(name, **options)  # type: ignore[call-overload]

    monkeypatch.setattr(sqlite3, "connect", unwritable)
    with pytest.raises(RecordingError, match=r"was not finished.*copy both to a folder you may write to"):
        Recording(path)


def test_a_journal_that_is_not_in_force_changes_nothing(path, tmp_path):
    with Recording(path):
        pass
    Path(f"{path}-journal").write_bytes(bytes(512))
    assert held(path) == 20
