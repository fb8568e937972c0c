"""One SQLite file a recording: one writer, one transaction a batch, any number of readers in any process.

Transaction rule: `append` is one transaction; what it has returned for is on the medium. Every such commit is synced
(`synchronous=FULL` on a write-ahead log): with batches of 100 ms, or of 1,000 readings where those come sooner, that is
ten syncs a second below 10,000 readings/s, made in a thread of their own, and a power loss takes nothing that `append`
has returned for. Sealing (`collector/sealing.py`) is a transaction of its own after that, by default at the end of
`append`; the recorder asks for it when it has told that the batch is durable. It moves readings within the file, and a
crash or a power loss leaves them moved or not.
"""

import logging
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

import filelock

from analysis.model import Channel, Event, Reading
from collector.attachments import Attachment, Piece
from collector.database import (
    Closing,
    RecordingError,
    close_writer,
    on_medium,
    open_for_writing,
    said,
    transaction,
)
from collector.migrate import raise_to_present
from collector.rows import Many
from collector.sealing import SEALED_AFTER, Sealer
from collector.tables import put_attachment, put_channel, put_events, put_piece
from collector.taking import Taking
from drivers.base import Emission

log = logging.getLogger(__name__)

Written = Emission | Many | Attachment | Piece
"""What a batch may hold; an attachment comes after its last piece, and is there from then on."""


class Store(Closing):
    """The writer of a recording; a second writer on the same file is refused. Not for use from two threads at once.

    Readings of a channel are sealed when there are `sealed_after` of them, and all when it is closed.
    """

    def __init__(self, path: Path, *, sealed_after: int = SEALED_AFTER) -> None:
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
        self._taken = 0
        """Of them, since sealing was last asked for. [1]"""
        try:
            _keep_others_out(path, self._only_one)
            raise_to_present(path)
            self._db = open_for_writing(path)
            self._identity = _identity(path)
            with said(path, "record to"):
                self._ids = {str(key): int(number) for key, number in self._db.execute("SELECT key, id FROM channel")}
                # what was cut off before its last piece was never told of
                self._db.execute("DELETE FROM attachment_piece WHERE attachment NOT IN (SELECT id FROM attachment)")
                self._sealer = Sealer(self._db, sealed_after)
        except BaseException:
            _leave(path, self._only_one)
            raise

    def append(self, batch: Sequence[Written], *, seal: bool = True) -> list[Event]:
        """Record a batch in one transaction; on return it is durable. RecordingError: nothing of it was recorded.

        Without `seal` whoever calls has to call `seal` before the next batch.

        A reading with the (channel, time) of an earlier one is the same reading; where its value differs the first
        stays and a conflict event is recorded. Returns these events. KeyError: a reading of a channel not recorded.
        """
        with self._lock, said(self.path, "record to"):
            self._stay_in_place()
            ids, taking = dict(self._ids), Taking(self._db, self._sealer)
            with transaction(self._db):
                conflicts = self._write(batch, ids, taking)
            self._ids = ids
            if taking.kept:
                self._sealer.taken(taking.kept)
                self.kept += taking.count
                self._taken += taking.count
            if seal:
                self._seal()
            return conflicts

    def seal(self) -> None:
        """Seal what is due; what fails costs nothing but room."""
        with self._lock, said(self.path, "record to"):
            self._seal()

    def _seal(self) -> None:
        count, self._taken = self._taken, 0
        if count:
            self._sealer.catch_up(self._db, count)

    def _stay_in_place(self) -> None:
        """Where the file was removed or renamed under us, write everything recorded so far to its place again."""
        if _identity(self.path) == self._identity:
            return
        if not self.path.exists():
            part = self.path.with_name(f"{self.path.name}.anew")
            part.unlink(missing_ok=True)  # of a try that failed
            self._db.execute("VACUUM INTO ?", (str(part),))
            on_medium(part)  # SQLite does not sync it: https://www.sqlite.org/lang_vacuum.html
            for ending in ("-wal", "-shm"):  # what is left of the old file must not be taken for the new one's
                Path(f"{self.path}{ending}").unlink(missing_ok=True)
            part.rename(self.path)
            on_medium(self.path.parent)
            before, self._db = self._db, open_for_writing(self.path)
            before.close()
            self._identity = _identity(self.path)
            log.warning("%s was removed or renamed while it was recorded; it was written anew, whole", self.path)
        else:
            raise RecordingError(f"another file has taken the place of {self.path}", "move that file away")

    def _write(self, batch: Sequence[Written], ids: dict[str, int], taking: Taking) -> list[Event]:
        events: list[Event] = []
        for item in batch:
            if isinstance(item, Reading):
                taking.one(ids[item.channel], item.time, item.value, int(item.quality))
            elif isinstance(item, Many):
                taking.many(ids[item.channel], item.rows)
            elif isinstance(item, Channel):
                ids.setdefault(item.key, self._write_channel(item))
            elif isinstance(item, Piece):
                put_piece(self._db, item)
            elif isinstance(item, Attachment):
                put_attachment(self._db, item)
            else:
                events.append(item)
        taking.write()
        conflicts = taking.conflicts({number: key for key, number in ids.items()})
        put_events(self._db, (*events, *conflicts))
        return conflicts

    def _write_channel(self, channel: Channel) -> int:
        told = self._db.execute("SELECT id, unit FROM channel WHERE key=?", (channel.key,)).fetchone()
        if told is not None and told[1] != channel.unit:
            raise RecordingError(
                f"{self.path} has {channel.key} in {told[1]}, and it comes in {channel.unit} now",
                "record to a new file",
            )
        (last,) = self._db.execute("SELECT max(id) FROM channel").fetchone()
        number = int(told[0]) if told else (last or 0) + 1
        put_channel(self._db, number, channel)
        return number

    def close(self) -> None:
        """Seal what is fresh and close the file; when no reader is there it is one file with no log beside it."""
        with self._lock:
            try:
                if _identity(self.path) == self._identity:
                    self._sealer.finish(self._db)
            finally:
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


def _leave(path: Path, lock: filelock.BaseFileLock) -> None:
    """Let the lock go, also where an interrupt came between the making of its file and the taking of it."""
    if not lock.is_locked:
        with suppress(filelock.Timeout, OSError):  # somebody else's
            lock.acquire(timeout=0)
    if lock.is_locked:
        _let_go(path, lock)


def _let_go(path: Path, lock: filelock.BaseFileLock) -> None:
    # While the lock is still held: whoever waits on the unlinked file is turned away by filelock, never let in.
    with suppress(OSError):
        Path(f"{path}.lock").unlink()
    lock.release()


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino
