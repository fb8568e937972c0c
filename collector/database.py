"""The seam to SQLite: opening a recording's file for its one writer or for a reader, and its errors in words."""

import sqlite3
import struct
from collections.abc import Generator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from drivers.base import LightoffError

Connection = sqlite3.Connection

APPLICATION_ID = 0x4C4F4646
"""Marks a file as a recording of ours, whatever its name."""
FORMAT = 2
"""Version of the tables below. 1 had no attachments and no withdrawn entries; it is read, and raised when written."""

# `value` has no type: a REAL column would make 0.0 of -0.0.
_TABLES = """
CREATE TABLE channel (
    id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, point TEXT NOT NULL, instrument TEXT NOT NULL,
    unit TEXT NOT NULL, low REAL, high REAL, accuracy TEXT, response_time REAL);
CREATE TABLE reading (
    channel INTEGER NOT NULL REFERENCES channel(id), time INTEGER NOT NULL, value, quality INTEGER NOT NULL,
    PRIMARY KEY (channel, time)) WITHOUT ROWID;
CREATE TABLE event (
    id INTEGER PRIMARY KEY, time INTEGER NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL, subject TEXT,
    data TEXT NOT NULL);
"""

# In pieces, so that a large picture is never one long write that readings wait for.
_ATTACHMENTS = """
CREATE TABLE attachment (
    id TEXT PRIMARY KEY, time INTEGER NOT NULL, name TEXT NOT NULL, media_type TEXT NOT NULL, text TEXT NOT NULL,
    size INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE attachment_piece (
    attachment TEXT NOT NULL, number INTEGER NOT NULL, bytes BLOB NOT NULL, UNIQUE (attachment, number));
"""


class RecordingError(LightoffError):
    """A recording cannot be opened, written or read."""


@contextmanager
def said(path: Path, doing: str) -> Generator[None, None, None]:
    """Translate SQLite's errors at this seam."""
    try:
        yield
    except (sqlite3.Error, OverflowError) as error:
        name = getattr(error, "sqlite_errorname", "") or ""
        hints = {
            "SQLITE_FULL": "the disk is full; free some space",
            "SQLITE_IOERR_WRITE": "the medium refuses to be written; look whether it is full or gone",
            "SQLITE_READONLY": "the folder or the file is read-only; record to another folder",
            "SQLITE_CANTOPEN": "look whether the folder is there and may be written to",
            "SQLITE_NOTADB": "it is not a recording, or it is damaged",
            "SQLITE_CORRUPT": "the file is damaged; keep it as it is and work on a copy",
        }
        hint = next((text for key, text in hints.items() if name.startswith(key)), "look at the medium and try again")
        raise RecordingError(f"cannot {doing} {path} ({error})", hint) from error


class Closing:
    """Something that is closed at the end of its block."""

    def __enter__(self) -> Self:
        """Itself."""
        return self

    def close(self) -> None:
        """Close."""

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Close."""
        self.close()


def open_for_writing(path: Path) -> Connection:
    """Connection of the one writer, the tables made where the file is new; RecordingError in one sentence."""
    with said(path, "record to"):
        db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        try:
            application, version = _marks(db)
            fresh = application == 0 and not db.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone()
            if not fresh:
                _check_marks(path, application, version)
            db.execute("PRAGMA synchronous=FULL")
            if fresh:  # before there is a log, so that the file itself says at once what it is
                marks = f"PRAGMA application_id={APPLICATION_ID}; PRAGMA user_version={FORMAT};"
                db.executescript(f"BEGIN IMMEDIATE; {_TABLES} {_ATTACHMENTS} {marks} COMMIT;")
            db.execute("PRAGMA journal_mode=WAL")
            if not fresh and version < FORMAT:
                db.executescript(f"BEGIN IMMEDIATE; {_ATTACHMENTS} PRAGMA user_version={FORMAT}; COMMIT;")
        except BaseException:
            db.close()
            raise
        return db


def open_for_reading(path: Path) -> Connection:
    """Connection of a reader, beside a writer or not; RecordingError in one sentence."""
    if not path.is_file():
        raise RecordingError(f"there is no recording {path}", "check the name and the folder")
    with said(path, "open"):
        try:
            return _connect(path, "mode=ro")
        except sqlite3.OperationalError:
            # On a medium that cannot be written no log can be made beside it; a finished recording needs none.
            left = Path(f"{path}-wal")
            if left.exists() and left.stat().st_size:
                what = f"{path} was not finished, and its last readings are in the log beside it"
                raise RecordingError(what, "copy both to a folder you may write to") from None
            return _connect(path, "mode=ro&immutable=1")


def _connect(path: Path, options: str) -> Connection:
    db = sqlite3.connect(f"{path.absolute().as_uri()}?{options}", uri=True, check_same_thread=False)
    try:
        _check_marks(path, *_marks(db))
    except BaseException:
        db.close()
        raise
    return db


def close_writer(db: Connection) -> None:
    """Close; where no reader is left the recording is one file with no log beside it."""
    with suppress(sqlite3.Error):
        db.execute("PRAGMA journal_mode=DELETE")
    db.close()


def roll_back(db: Connection) -> None:
    """Undo the transaction that failed."""
    with suppress(sqlite3.Error):
        db.execute("ROLLBACK")


def is_recording(path: Path) -> bool:
    """Whether a file is one of our recordings, told by its content."""
    try:
        with path.open("rb") as file:
            head = file.read(72)
    except OSError:
        return False
    return head.startswith(b"SQLite format 3\0") and head[68:72] == struct.pack(">I", APPLICATION_ID)


def _marks(db: sqlite3.Connection) -> tuple[int, int]:
    return db.execute("PRAGMA application_id").fetchone()[0], db.execute("PRAGMA user_version").fetchone()[0]


def _check_marks(path: Path, application: int, version: int) -> None:
    if application != APPLICATION_ID:
        raise RecordingError(f"{path} is not a recording", "name a file made by `lightoff record` or `lightoff import`")
    if version > FORMAT:
        raise RecordingError(f"{path} has format {version}, newer than this program knows", "use a newer lightoff")


def open_beside(path: Path, tables: str, application: int) -> Connection:
    """Connection to a small file beside a recording, made with these tables where it is new; RecordingError.

    It may be written by several, who wait for each other; what is committed survives a crash of the program.
    """
    with said(path, "write"):
        db = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=5.0)
        try:
            mark = db.execute("PRAGMA application_id").fetchone()[0]
            if mark not in (0, application):
                raise RecordingError(f"{path} is not what it should be by its name", "move it away")
            if mark == 0:
                db.executescript(f"BEGIN IMMEDIATE; {tables} PRAGMA application_id={application}; COMMIT;")
            db.execute("PRAGMA synchronous=NORMAL")
        except BaseException:
            db.close()
            raise
        return db
