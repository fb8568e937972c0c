"""A recording read back: what was recorded, as it was recorded."""

import json
import math
from collections.abc import Collection, Generator, Iterable
from contextlib import closing
from dataclasses import dataclass
from heapq import merge
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector.database import Closing, open_for_reading, said


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Readings of one channel as recorded."""

    time: NDArray[np.int64]
    """(n,) strictly increasing, UTC since 1970. [ns]"""
    value: NDArray[np.float64]
    """(n,) [native unit]"""
    quality: NDArray[np.int8]
    """(n,)"""


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
        query = (
            "SELECT time, value, quality FROM reading WHERE channel=(SELECT id FROM channel WHERE key=?)"
            " AND time BETWEEN ? AND ? ORDER BY time"
        )
        low, high = (-(2**63) if start is None else start), (2**63 - 1 if end is None else end)
        with said(self.path, "read"):
            rows = self._db.execute(query, (channel, low, high)).fetchall()
        time = np.fromiter((row[0] for row in rows), np.int64, len(rows))
        value = np.fromiter((math.nan if row[1] is None else row[1] for row in rows), np.float64, len(rows))
        return Rows(time, value, np.fromiter((row[2] for row in rows), np.int8, len(rows)))

    def latest(self, before: int | None = None) -> dict[str, Reading]:
        """Last reading of each channel that has one, at all or `before` a time [ns]."""
        found = {}
        last = "SELECT time, value, quality FROM reading WHERE channel=? AND time<? ORDER BY time DESC LIMIT 1"
        with said(self.path, "read"):
            for number, key in self._db.execute("SELECT id, key FROM channel").fetchall():
                row = self._db.execute(last, (number, 2**63 - 1 if before is None else before)).fetchone()
                if row:
                    found[key] = _reading(key, *row)
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

    def readings(self, start: int | None = None) -> Generator[Reading, None, None]:
        """All readings from `start` [ns] on, in the order of their time; never held in memory as a whole."""
        with said(self.path, "read"):
            keys = self._db.execute("SELECT id, key FROM channel ORDER BY id").fetchall()
            streams = [self._stream(number, key, start) for number, key in keys]
            yield from merge(*streams, key=lambda reading: reading.time)

    def play(self, start: int | None = None) -> Generator[Reading | Event, None, None]:
        """All readings from `start` [ns] on with notes, marks, checks and zeroings among them, in the order of time.

        What is in force at `start` comes first: each channel's last reading before it, the zeroings, the changes of
        unit and the checks.
        """
        in_force = {EventKind.ZEROED, EventKind.UNIT_CHANGED, EventKind.CHECK}
        events = self.events({EventKind.NOTE, EventKind.MARK, EventKind.POINT_CHANGED, *in_force})
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
        query = "SELECT time, kind, text, subject, data FROM event ORDER BY time, id"
        with said(self.path, "read"):
            rows = self._db.execute(query).fetchall()
        return [
            Event(time, EventKind(kind), text, subject, json.loads(data))
            for time, kind, text, subject, data in rows
            if kinds is None or kind in kinds
        ]

    def job(self) -> str | None:
        """Text of the job file in force at the end of the recording, or None."""
        jobs = self.events({EventKind.JOB})
        return str(jobs[-1].data["text"]) if jobs else None

    def close(self) -> None:
        """Close the file."""
        self._db.close()


def _reading(key: str, time: int, value: float | None, quality: int) -> Reading:
    return Reading(key, time, math.nan if value is None else value, Quality(quality))
