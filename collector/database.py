"""The seam to SQLite: opening a recording's file for its one writer or for a reader, and its errors in words."""

import json
import os
import sqlite3
import struct
import zlib
from collections.abc import Callable, Generator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from drivers.base import LightoffError

Connection = sqlite3.Connection
DatabaseError = sqlite3.DatabaseError

APPLICATION_ID = 0x4C4F4646
"""Marks a file as a recording of ours, whatever its name."""
FORMAT = 4
"""Version of the tables below and of what is in them. Older ones are read, and rewritten before they are written to.

1 and 2 had a row a reading, 3 blocks with plain columns alone (`collector/columns.py`).
"""

# `low` and `high` of a block have no type: a REAL column would make 0.0 of -0.0.
_TABLES = """
CREATE TABLE channel (
    id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, point TEXT NOT NULL, instrument TEXT NOT NULL,
    unit TEXT NOT NULL, low REAL, high REAL, accuracy TEXT, response_time REAL, sealed INTEGER NOT NULL,
    checksum INTEGER NOT NULL);
CREATE TABLE batch (
    id INTEGER PRIMARY KEY, first INTEGER NOT NULL, last INTEGER NOT NULL, count INTEGER NOT NULL,
    checksum INTEGER NOT NULL, content BLOB NOT NULL);
CREATE TABLE block (
    id INTEGER PRIMARY KEY, channel INTEGER NOT NULL REFERENCES channel(id), first INTEGER NOT NULL,
    last INTEGER NOT NULL, count INTEGER NOT NULL, low, high, doubtful INTEGER NOT NULL, time BLOB NOT NULL,
    value BLOB NOT NULL, quality BLOB NOT NULL, checksum INTEGER NOT NULL);
CREATE INDEX block_place ON block (channel, first, last, count, doubtful);
CREATE TABLE overview (
    id INTEGER PRIMARY KEY, channel INTEGER NOT NULL REFERENCES channel(id), level INTEGER NOT NULL,
    place INTEGER NOT NULL, count INTEGER NOT NULL, checksum INTEGER NOT NULL, content BLOB NOT NULL);
CREATE UNIQUE INDEX overview_place ON overview (channel, level, place);
CREATE TABLE event (
    id INTEGER PRIMARY KEY, time INTEGER NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL, subject TEXT,
    data TEXT NOT NULL, checksum INTEGER NOT NULL);
"""

# In pieces, so that a large picture is never one long write that readings wait for.
_ATTACHMENTS = """
CREATE TABLE attachment (
    id TEXT PRIMARY KEY, time INTEGER NOT NULL, name TEXT NOT NULL, media_type TEXT NOT NULL, text TEXT NOT NULL,
    size INTEGER NOT NULL, checksum INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE attachment_piece (
    attachment TEXT NOT NULL, number INTEGER NOT NULL, bytes BLOB NOT NULL, checksum INTEGER NOT NULL,
    UNIQUE (attachment, number));
"""


PATIENCE = 5.0
"""Others that use a file are waited for so long. [s]"""


PAGES = 2000
"""Of a file that are copied between two signs of progress. [1]"""


class RecordingError(LightoffError):
    """A recording cannot be opened, written or read."""


@contextmanager
def said(path: Path, doing: str) -> Generator[None, None, None]:
    """Translate errors at this seam: SQLite's, a medium's that answers no more, a message that is no text."""
    try:
        yield
    except (sqlite3.Error, OverflowError, OSError, UnicodeError, struct.error) as error:
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
            if not fresh and version < FORMAT:
                raise RecordingError(f"{path} has format {version}", "it is rewritten before anything is added to it")
            db.execute("PRAGMA synchronous=FULL")
            if fresh:  # before there is a log, so that the file itself says at once what it is
                db.execute("PRAGMA auto_vacuum=INCREMENTAL")
                marks = f"PRAGMA application_id={APPLICATION_ID}; PRAGMA user_version={FORMAT};"
                db.executescript(f"BEGIN IMMEDIATE; {_TABLES} {_ATTACHMENTS} {marks} COMMIT;")
            db.execute("PRAGMA journal_mode=WAL")
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
            if _is_cut_off(path):
                _take_back(path)
            return _connect(path, "mode=ro")
        except sqlite3.OperationalError:
            # On a medium that cannot be written no log can be made beside it; a finished recording needs none.
            left = Path(f"{path}-wal")
            if _is_cut_off(path) or (left.exists() and left.stat().st_size):
                what = f"{path} was not finished, and its last readings are in the log beside it"
                raise RecordingError(what, "copy both to a folder you may write to") from None
            return _connect(path, "mode=ro&immutable=1")


def _connect(path: Path, options: str) -> Connection:
    db = sqlite3.connect(f"{path.absolute().as_uri()}?{options}", uri=True, check_same_thread=False)
    db.text_factory = _text  # a damaged text is found by its checksum, and must not end the reading of others
    try:
        _check_marks(path, *_marks(db))
    except BaseException:
        db.close()
        raise
    return db


def _is_cut_off(path: Path) -> bool:
    """Whether a change without a write-ahead log was begun and not ended; a journal not yet in force begins with 0."""
    try:
        with Path(f"{path}-journal").open("rb") as journal:
            return journal.read(1) not in (b"", b"\0")
    except OSError:
        return False


def _take_back(path: Path) -> None:
    """Undo such a change: a reader may not, and would read it half made. Nothing happens while somebody is at it."""
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True)) as db:
        _marks(db)


def close_writer(db: Connection, *, strict: bool = False) -> None:
    """Close; where no reader is left the recording is one file with no log beside it, and no larger than need be.

    `strict`: an error of SQLite, or RecordingError, where the log stays: the file alone is not the recording then.
    """
    try:
        with suppress(sqlite3.Error):
            db.executescript("PRAGMA incremental_vacuum;")  # `execute` gives one page back and no more
        try:
            (mode,) = db.execute("PRAGMA journal_mode=DELETE").fetchone()
        except sqlite3.Error:
            if strict:
                raise
        else:
            if strict and mode != "delete":
                raise RecordingError("the log of a new recording cannot be taken into it", "try again")
    finally:
        db.close()


def on_medium(path: Path) -> None:
    """What is under this name is on the medium, or of a folder: its names are; OSError where they may not be."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        if not path.is_dir():  # not every system opens a folder
            raise
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def transaction(db: Connection, *, synced: bool = True) -> Generator[None, None, None]:
    """All of the block or nothing. What is not synced is in order all the same: a power loss takes it as a whole."""
    if not synced:
        db.execute("PRAGMA synchronous=NORMAL")
    try:
        db.execute("BEGIN IMMEDIATE")
        try:
            yield
            db.execute("COMMIT")
        except BaseException:
            roll_back(db)
            raise
    finally:
        if not synced:
            db.execute("PRAGMA synchronous=FULL")


def checksum_of(*fields: str | float | None, content: bytes = b"") -> int:
    """CRC-32 of a row of a small table: of its fields as JSON, then of its bytes where it has any."""
    text = json.dumps(fields, ensure_ascii=False, separators=(",", ":"))
    return zlib.crc32(content, zlib.crc32(text.encode("utf-8", "surrogatepass")))


def format_of(db: Connection) -> int:
    """Version of a recording's tables."""
    return _marks(db)[1]


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


def version_of(path: Path) -> int:
    """Version of the tables of a recording, told by its first bytes; 0 where it is none."""
    if not is_recording(path):
        return 0
    with path.open("rb") as file:
        return int(struct.unpack(">I", file.read(64)[60:64])[0])


def settle(path: Path) -> None:
    """Take the log beside a recording into it; RecordingError where somebody reads it."""
    with said(path, "rewrite"), closing(sqlite3.connect(path, PATIENCE, isolation_level=None)) as db:
        try:
            (mode,) = db.execute("PRAGMA journal_mode=DELETE").fetchone()
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY:
                raise
            mode = "wal"
        if mode != "delete":
            raise RecordingError(f"cannot rewrite {path}: another program reads it", "close that program and try again")


def back_up(source: Path, target: Path, progress: Callable[[float], None]) -> None:
    """Copy a recording as it is at one moment to a new file, also while it is recorded; `progress`: the share [1]."""
    with said(source, "copy"), closing(open_for_reading(source)) as old, closing(sqlite3.connect(target)) as new:
        old.execute("BEGIN")
        old.execute("SELECT count(*) FROM sqlite_master").fetchone()  # from here on it is of this moment

        def step(_status: int, left: int, whole: int) -> None:
            progress(1 - left / max(whole, 1))

        old.backup(new, pages=PAGES, progress=step)
        new.execute("PRAGMA journal_mode=DELETE")


def _text(content: bytes) -> str:
    return content.decode("utf-8", "replace")


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
