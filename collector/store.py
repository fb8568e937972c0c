"""One SQLite file a recording: one writer, one transaction a batch, any number of readers in any process.

Transaction rule: `append` is one transaction; what it has returned for is on the medium. Every commit is synced
(`synchronous=FULL` on a write-ahead log): with batches of 100 ms that is ten syncs a second at most, made in a thread
of their own, and a power loss takes nothing that `append` has returned for.
"""

import json
import logging
import math
import struct
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import repeat
from pathlib import Path

import filelock
import numpy as np

from analysis.model import Channel, Event, EventKind, Reading
from collector.attachments import Attachment, Piece
from collector.database import Closing, RecordingError, close_writer, open_for_writing, roll_back, said
from collector.recording import Many, Rows
from drivers.base import Emission

log = logging.getLogger(__name__)

Written = Emission | Many | Attachment | Piece
"""What a batch may hold; an attachment comes after its last piece, and is there from then on."""


class Store(Closing):
    """The writer of a recording; a second writer on the same file is refused. Not for use from two threads at once."""

    def __init__(self, path: Path) -> None:
        self.path = path
        if path.is_dir():
            raise RecordingError(f"cannot record to {path}: it is a folder", "name a file in it")
        if not path.parent.is_dir():
            raise RecordingError(
                f"cannot record to {path}: there is no folder {path.parent}", "make it, or name another"
            )
        self._only_one = _lock_of(path)
        self._lock = threading.Lock()
        self.kept = 0
        """Readings recorded by this writer, those that were there already not counted. [1]"""
        try:
            _keep_others_out(path, self._only_one)
            self._db = open_for_writing(path)
            self._identity = _identity(path)
            with said(path, "record to"):
                self._ids = {str(key): int(number) for key, number in self._db.execute("SELECT key, id FROM channel")}
                # what was cut off before its last piece was never told of
                self._db.execute("DELETE FROM attachment_piece WHERE attachment NOT IN (SELECT id FROM attachment)")
        except BaseException:
            if self._only_one.is_locked:
                _let_go(path, self._only_one)
            raise

    def append(self, batch: Sequence[Written]) -> list[Event]:
        """Record a batch in one transaction; on return it is durable. RecordingError: nothing of it was recorded.

        A reading with the (channel, time) of an earlier one is the same reading; where its value differs the first
        stays and a conflict event is recorded. Returns these events. KeyError: a reading of a channel not recorded.
        """
        with self._lock, said(self.path, "record to"):
            self._stay_in_place()
            self._db.execute("BEGIN IMMEDIATE")
            ids = dict(self._ids)
            try:
                conflicts, new = self._write(batch, ids)
                self._db.execute("COMMIT")
            except BaseException:
                roll_back(self._db)
                raise
            self._ids = ids
            self.kept += new
            return conflicts

    def _stay_in_place(self) -> None:
        """Where the file was removed or renamed under us, write everything recorded so far to its place again."""
        if _identity(self.path) == self._identity:
            return
        if not self.path.exists():
            for ending in ("-wal", "-shm"):  # what is left of the old file must not be taken for the new one's
                Path(f"{self.path}{ending}").unlink(missing_ok=True)
            self._db.execute("VACUUM INTO ?", (str(self.path),))
            before, self._db = self._db, open_for_writing(self.path)
            before.close()
            self._identity = _identity(self.path)
            log.warning("%s was removed or renamed while it was recorded; it was written anew, whole", self.path)
        else:
            raise RecordingError(f"another file has taken the place of {self.path}", "move that file away")

    def _write(self, batch: Sequence[Written], ids: dict[str, int]) -> tuple[list[Event], int]:
        rows: list[tuple[int, int, float | None, int]] = []
        events: list[Event] = []
        for item in batch:
            if isinstance(item, Reading):
                value = None if math.isnan(item.value) else item.value
                rows.append((ids[item.channel], item.time, value, int(item.quality)))
            elif isinstance(item, Many):
                rows.extend(_rows_of(ids[item.channel], item.rows))
            elif isinstance(item, Channel):
                ids.setdefault(item.key, self._write_channel(item))
            elif isinstance(item, Piece):
                row = (item.attachment, item.number, item.content)
                self._db.execute("INSERT INTO attachment_piece VALUES (?, ?, ?)", row)
            elif isinstance(item, Attachment):
                facts = (item.id, item.time, _text(item.name), item.media_type, _text(item.text), item.size)
                self._db.execute("INSERT INTO attachment VALUES (?, ?, ?, ?, ?, ?)", facts)
            else:
                events.append(item)
        before = self._db.total_changes
        self._db.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)", rows)
        new = self._db.total_changes - before
        conflicts = self._conflicts(rows, ids) if new < len(rows) else []
        self._db.executemany(
            "INSERT INTO event (time, kind, text, subject, data) VALUES (?, ?, ?, ?, ?)",
            [
                (e.time, str(e.kind), _text(e.text), _text(e.subject), json.dumps(dict(e.data)))
                for e in (*events, *conflicts)
            ],
        )
        return conflicts, new

    def _write_channel(self, channel: Channel) -> int:
        self._db.execute(
            "INSERT INTO channel (key, point, instrument, unit, low, high, accuracy, response_time)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (key) DO UPDATE SET low=excluded.low, high=excluded.high,"
            " accuracy=excluded.accuracy, response_time=excluded.response_time",
            (
                channel.key,
                channel.point,
                channel.instrument,
                channel.unit,
                channel.low,
                channel.high,
                channel.accuracy,
                channel.response_time,
            ),
        )
        number, unit = self._db.execute("SELECT id, unit FROM channel WHERE key=?", (channel.key,)).fetchone()
        if unit != channel.unit:
            raise RecordingError(
                f"{self.path} has {channel.key} in {unit}, and it comes in {channel.unit} now",
                "record to a new file",
            )
        return int(number)

    def _conflicts(self, rows: Iterable[tuple[int, int, float | None, int]], ids: dict[str, int]) -> list[Event]:
        keys = {number: key for key, number in ids.items()}
        events = []
        for channel, time, value, _quality in rows:
            query = "SELECT value FROM reading WHERE channel=? AND time=?"
            stored = self._db.execute(query, (channel, time)).fetchone()[0]
            if _bits(stored) != _bits(value):
                text = f"{keys[channel]}: a second value came for the same instant; the first was kept"
                data = {"channel": keys[channel], "kept": stored, "refused": value}
                events.append(Event(time, EventKind.CONFLICT, text, keys[channel], data))
        return events

    def close(self) -> None:
        """Close the file; when no reader is there it is one file with no log beside it."""
        with self._lock:
            close_writer(self._db)
            _let_go(self.path, self._only_one)


@contextmanager
def kept_still(path: Path) -> Iterator[None]:
    """Nobody records to the file while the block runs; RecordingError where somebody does."""
    lock = _lock_of(path)
    try:
        _keep_others_out(path, lock, "move")
        yield
    finally:
        if lock.is_locked:
            _let_go(path, lock)


def _lock_of(path: Path) -> filelock.BaseFileLock:
    return filelock.FileLock(f"{path}.lock", thread_local=False)


def _keep_others_out(path: Path, lock: filelock.BaseFileLock, doing: str = "record to") -> None:
    """Take the lock; whoever calls lets it go, also when an interrupt comes right after it was taken."""
    try:
        lock.acquire(timeout=0)
    except filelock.Timeout:
        if not Path(f"{path}.lock").exists():  # some folders refuse with the answer that means contention elsewhere
            what = f"cannot {doing} {path}: its folder takes no files"
            raise RecordingError(what, "choose a folder you may write to") from None
        raise RecordingError(f"{path} is being recorded by another program", "choose another file") from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise RecordingError(f"cannot {doing} {path} ({reason})", "choose a folder you may write to") from error


def _let_go(path: Path, lock: filelock.BaseFileLock) -> None:
    # While the lock is still held: whoever waits on the unlinked file is turned away by filelock, never let in.
    with suppress(OSError):
        Path(f"{path}.lock").unlink()
    lock.release()


def _rows_of(number: int, rows: Rows) -> Iterator[tuple[int, int, float | None, int]]:
    values: list[float | None] = rows.value.tolist()
    for place in np.flatnonzero(np.isnan(rows.value)):
        values[place] = None
    return zip(repeat(number), rows.time.tolist(), values, rows.quality.tolist(), strict=False)


def _text(text: str | None) -> str | None:
    """Text that SQLite takes: half a character in a name or a note must not end the recording."""
    return None if text is None else text.encode("utf-8", "replace").decode()


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _bits(value: float | None) -> bytes | None:
    return None if value is None else struct.pack(">d", value)
