"""A recording read back: what was recorded, as it was recorded."""

import json
import math
from collections.abc import Collection, Generator, Iterable
from contextlib import closing, contextmanager
from dataclasses import dataclass
from heapq import merge
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector.attachments import Attachment
from collector.database import Closing, RecordingError, open_for_reading, roll_back, said

_ROW = np.dtype([("time", np.int64), ("value", np.float64), ("quality", np.int8)])


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Readings of one channel as recorded."""

    time: NDArray[np.int64]
    """(n,) strictly increasing, UTC since 1970. [ns]"""
    value: NDArray[np.float64]
    """(n,) [native unit]"""
    quality: NDArray[np.int8]
    """(n,)"""


@dataclass(frozen=True, slots=True, eq=False)
class Many:
    """Readings of one channel that are recorded together; each is what a `Reading` is."""

    channel: str
    """Key of the channel."""
    rows: Rows
    """In any order of time."""


class Recording(Closing):
    """A recording opened for reading, finished or still being written by another process."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.name = path.name.removesuffix(".lightoff")
        self._db = open_for_reading(path)

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Every channel, in the order in which it was first recorded."""
        query = "SELECT point, instrument, unit, low, high, accuracy, response_time FROM channel ORDER BY id"
        with said(self.path, "read"):
            return tuple(Channel(*row) for row in self._db.execute(query))

    def read(self, channel: str, start: int | None = None, end: int | None = None) -> Rows:
        """Readings of a channel from `start` to `end` [ns], both included; empty for a channel that is not there."""
        query = (  # the text becomes a NaN: what is read goes from the cursor into the array, without a list between
            "SELECT time, ifnull(value, 'nan'), quality FROM reading"
            " WHERE channel=(SELECT id FROM channel WHERE key=?) AND time BETWEEN ? AND ? ORDER BY time"
        )
        low, high = (-(2**63) if start is None else start), (2**63 - 1 if end is None else end)
        with said(self.path, "read"):
            rows = np.fromiter(self._db.execute(query, (channel, low, high)), _ROW)
        return Rows(*(np.ascontiguousarray(rows[name]) for name in _ROW.names or ()))

    @contextmanager
    def still(self) -> Generator[None, None, None]:
        """All that is read within the block is of one moment, also while somebody records."""
        with said(self.path, "read"):
            self._db.execute("BEGIN")
        try:
            yield
        finally:
            roll_back(self._db)

    def latest(self, before: int | None = None) -> dict[str, Reading]:
        """Last reading of each channel that has one, at all or `before` a time [ns]; none that was withdrawn."""
        found = {}
        last = "SELECT time, value, quality FROM reading WHERE channel=? AND time<? ORDER BY time DESC"
        limit, withdrawn = 2**63 - 1 if before is None else before, self.withdrawn()
        with said(self.path, "read"):
            for number, key in self._db.execute("SELECT id, key FROM channel").fetchall():
                gone = withdrawn.get(key, ())
                with closing(self._db.execute(last, (number, limit))) as rows:
                    if row := next((row for row in rows if row[0] not in gone), None):
                        found[key] = _reading(key, *row)
        return found

    def withdrawn(self) -> dict[str, set[int]]:
        """Times [ns] of the readings of each channel that count as never read; `read` gives them all the same."""
        found: dict[str, set[int]] = {}
        for event in self.events({EventKind.WITHDRAWN}):
            found.setdefault(str(event.data["channel"]), set()).add(int(str(event.data["at"])))
        return found

    def span(self) -> tuple[int, int] | None:
        """First and last time of any reading [ns], or None when there is none."""
        # Two searches in the index; min and max in one query would look at every reading.
        end = "(SELECT {}(time) FROM reading WHERE channel=?1)"
        query = f"SELECT {end.format('min')}, {end.format('max')}"
        with said(self.path, "read"):
            numbers = [row[0] for row in self._db.execute("SELECT id FROM channel")]
            ends = [self._db.execute(query, (number,)).fetchone() for number in numbers]
        times = [time for pair in ends for time in pair if time is not None]
        return (min(times), max(times)) if times else None

    def doubtful(self) -> int:
        """Readings that have a value and are not to be trusted as they stand. [1]"""
        with said(self.path, "read"):
            count = self._db.execute("SELECT count(*) FROM reading WHERE quality=?", (int(Quality.SUSPECT),)).fetchone()
        return int(count[0])

    def readings(self, start: int | None = None) -> Generator[Reading, None, None]:
        """All readings from `start` [ns] on, in the order of their time; never held in memory as a whole."""
        with said(self.path, "read"):
            keys = self._db.execute("SELECT id, key FROM channel ORDER BY id").fetchall()
            streams = [self._stream(number, key, start) for number, key in keys]
            yield from merge(*streams, key=lambda reading: reading.time)

    def play(self, start: int | None = None) -> Generator[Reading | Event, None, None]:
        """All readings from `start` [ns] on with what people did and said among them, in the order of time.

        What is in force at `start` comes first: each channel's last reading before it, zeroings, changes of unit,
        checks and withdrawals.
        """
        in_force = {EventKind.ZEROED, EventKind.UNIT_CHANGED, EventKind.CHECK, EventKind.WITHDRAWN}
        told = {EventKind.NOTE, EventKind.MARK, EventKind.ENTRY, EventKind.PHOTO, EventKind.POINT_CHANGED}
        events = self.events(told | in_force)
        if start is not None:
            yield from sorted(self.latest(start).values(), key=lambda reading: reading.time)
            events = [event for event in events if event.time >= start or event.kind in in_force]
        items: list[Iterable[Reading | Event]] = [events, self.readings(start)]
        yield from merge(*items, key=lambda item: item.time)

    def _stream(self, number: int, key: str, start: int | None) -> Generator[Reading, None, None]:
        query = "SELECT time, value, quality FROM reading WHERE channel=? AND time>=? ORDER BY time"
        with closing(self._db.execute(query, (number, -(2**63) if start is None else start))) as rows:
            for row in rows:
                yield _reading(key, *row)

    def events(self, kinds: Collection[EventKind] | None = None) -> list[Event]:
        """Events of the given kinds, or all, in the order of their time."""
        chosen = [str(kind) for kind in EventKind if kinds is None or kind in kinds]
        query = "SELECT time, kind, text, subject, data FROM event WHERE kind IN (SELECT value FROM json_each(?))"
        with said(self.path, "read"):
            rows = self._db.execute(f"{query} ORDER BY time, id", (json.dumps(chosen),)).fetchall()
        return [
            Event(time, EventKind(kind), text, subject, json.loads(data)) for time, kind, text, subject, data in rows
        ]

    def attachments(self) -> tuple[Attachment, ...]:
        """What is attached, in the order of time."""
        query = "SELECT id, time, name, media_type, text, size FROM attachment ORDER BY time, id"
        with said(self.path, "read"):
            if not self._has_attachments():
                return ()
            return tuple(Attachment(*row) for row in self._db.execute(query))

    def content(self, attachment: str) -> bytes:
        """Bytes of an attachment; RecordingError where there is none of that identity, or it is not whole."""
        known = next((one for one in self.attachments() if one.id == attachment), None)
        if known is None:
            raise RecordingError(f"{self.path} has no attachment '{attachment[:40]}'", "look at its list again")
        query = "SELECT bytes FROM attachment_piece WHERE attachment=? ORDER BY number"
        with said(self.path, "read"):
            content = b"".join(row[0] for row in self._db.execute(query, (attachment,)))
        if len(content) != known.size:
            what = f"{known.name} in {self.path} has {len(content)} of its {known.size} bytes"
            raise RecordingError(what, "the file is damaged; keep it as it is")
        return content

    def _has_attachments(self) -> bool:
        """Recordings of format 1 have no such table."""
        query = "SELECT 1 FROM sqlite_master WHERE name='attachment'"
        return self._db.execute(query).fetchone() is not None

    def job(self) -> str | None:
        """Text of the job file in force at the end of the recording, or None."""
        jobs = self.events({EventKind.JOB})
        return str(jobs[-1].data["text"]) if jobs else None

    def close(self) -> None:
        """Close the file."""
        self._db.close()


def _reading(key: str, time: int, value: float | None, quality: int) -> Reading:
    return Reading(key, time, math.nan if value is None else value, Quality(quality))
