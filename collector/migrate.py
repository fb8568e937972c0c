"""A recording of an older format rewritten in the present one; the older file stays until the new one is verified."""

import json
import logging
import os
from contextlib import suppress
from pathlib import Path

from collector.attachments import Piece
from collector.database import (
    FORMAT,
    RecordingError,
    close_writer,
    on_medium,
    open_for_writing,
    said,
    settle,
    transaction,
    version_of,
)
from collector.recording import Recording
from collector.sealing import seal_in_order
from collector.tables import put_attachment, put_channel, put_event, put_piece
from collector.verify import verified

ENDING = ".rewritten"
"""Of the new file until it takes the older one's place."""

_PIECES = "SELECT attachment, number, bytes FROM attachment_piece WHERE attachment=? ORDER BY number"

log = logging.getLogger(__name__)


def raise_to_present(path: Path) -> None:
    """Rewrite a recording of an older format in its place; nothing where it is of this one, or is none.

    Whoever calls has the lock of the recording. At any moment the file under its name is the older one, whole, or the
    new one, whole and verified. RecordingError: it is the older one.
    """
    part = path.with_name(f"{path.name}{ENDING}")
    leftovers = [Path(f"{part}{ending}") for ending in ("", "-wal", "-shm", "-journal")]
    with said(path, "rewrite"):
        for left in leftovers:  # a rewriting that was cut off
            left.unlink(missing_ok=True)
        version = version_of(path)
        if not 0 < version < FORMAT:
            return
        log.warning("%s has format %d and is rewritten in format %d; this takes a moment", path, version, FORMAT)
        try:
            settle(path)  # or its log, left beside the new file, would be taken for that one's
            with Recording(path) as old:
                with said(part, "write"):
                    _write(old, part)
                _compare(old, part)
            on_medium(part)
            os.replace(part, path)  # noqa: PTH105 - the one step at which the name changes its file
            on_medium(path.parent)
        finally:
            for left in leftovers:
                with suppress(OSError):
                    left.unlink(missing_ok=True)


def _write(old: Recording, part: Path) -> None:
    db = open_for_writing(part)
    try:
        with old.still(), transaction(db, synced=False):
            for channel, number in zip(old.channels, old.numbers().values(), strict=True):
                put_channel(db, number, channel)
            for row in old.db.execute("SELECT id, time, kind, text, subject, data FROM event ORDER BY id"):
                put_event(db, row)
            for one in old.attachments():
                for row in old.db.execute(_PIECES, (one.id,)):
                    put_piece(db, Piece(*row))
                put_attachment(db, one)
        for number in old.numbers().values():
            with old.still(), transaction(db, synced=False):
                seal_in_order(db, number, old.parts.chunks(number))
    except BaseException:
        db.close()
        raise
    close_writer(db, strict=True)


def _compare(old: Recording, part: Path) -> None:
    """RecordingError where the new file does not have all that the older one has, bit for bit."""
    if wrong := verified(part).faults:
        raise RecordingError(
            f"cannot rewrite {old.path}: {wrong[0].text}", "keep the file as it is and look at the medium"
        )
    with Recording(part) as new, new.still(), old.still():
        same = new.channels == old.channels and new.counts() == old.counts() and _events(new) == _events(old)
        same = same and new.attachments() == old.attachments()
        same = same and all(_pieces(new, one.id) == _pieces(old, one.id) for one in old.attachments())
        if not same or not all(_same_readings(old, new, key) for key in old.numbers()):
            raise RecordingError(f"cannot rewrite {old.path}: it came out otherwise", "keep the file as it is")


def _events(recording: Recording) -> list[tuple[object, ...]]:
    query = "SELECT id, time, kind, text, subject, data FROM event ORDER BY id"
    return [(*row[:-1], json.loads(row[-1])) for row in recording.db.execute(query)]


def _pieces(recording: Recording, attachment: str) -> list[tuple[object, ...]]:
    return list(recording.db.execute(_PIECES, (attachment,)))


def _same_readings(old: Recording, new: Recording, key: str) -> bool:
    for rows in new.pieces(key):
        before = old.read(key, int(rows.time[0]), int(rows.time[-1]))
        for name in ("time", "value", "quality"):
            if getattr(rows, name).tobytes() != getattr(before, name).tobytes():
                return False
    return True
