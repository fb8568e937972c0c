"""What a batch adds to a recording: new readings, not those that are there already, and not what contradicts them."""

import math
import struct
from collections.abc import Mapping

from analysis.model import Event, EventKind
from collector.database import Connection
from collector.fresh import Record, Records, batch_of, many, records_of
from collector.rows import Rows
from collector.sealing import Kept, Sealer


class Taking:
    """The readings of one batch: which are new, which were there, which contradict what was there."""

    def __init__(self, db: Connection, sealer: Sealer) -> None:
        self._db = db
        self._sealer = sealer
        self.kept: dict[int, dict[int, Kept]] = {}
        """New readings, by channel and time."""
        self.count = 0
        """Of them. [1]"""
        self._singles: list[Record] = []
        self._parts: list[Records] = []
        self._contradictions: list[tuple[int, int, float, float]] = []

    def one(self, number: int, time: int, value: float, quality: int) -> None:
        """Take a reading in."""
        own = self.kept.setdefault(number, {})
        if time <= self._sealer.newest(number):
            there = own.get(time) or self._sealer.find(self._db, number, time)
        else:
            there = own.get(time)
        if there is None:
            own[time] = (value, quality)
            self.count += 1
            self._singles.append((number, time, value, quality))
        elif _bits(there[0]) != _bits(value):
            self._contradictions.append((number, time, there[0], value))

    def many(self, number: int, rows: Rows) -> None:
        """Take readings of a channel in; at once where they all come after what is there."""
        own, time = self.kept.get(number), rows.time
        if own or not time.size or time[0] <= self._sealer.newest(number) or not (time[1:] > time[:-1]).all():
            for one in zip(time.tolist(), rows.value.tolist(), rows.quality.tolist(), strict=True):
                self.one(number, *one)
            return
        kept = zip(rows.value.tolist(), rows.quality.tolist(), strict=True)
        self.kept[number] = dict(zip(time.tolist(), kept, strict=True))
        self.count += time.size
        self._parts.append(many(number, rows))

    def write(self) -> None:
        """Put the new ones into the file."""
        self.kept = {number: own for number, own in self.kept.items() if own}
        if self._singles:
            self._parts.append(records_of(self._singles))
        if self._parts:
            batch = batch_of(self._sealer.next_batch, self._parts)
            facts = (batch.id, batch.first, batch.last, batch.count, batch.checksum, batch.content)
            self._db.execute("INSERT INTO batch VALUES (?, ?, ?, ?, ?, ?)", facts)

    def conflicts(self, keys: Mapping[int, str]) -> list[Event]:
        """Events of the contradictions."""
        events = []
        for number, time, kept, refused in self._contradictions:
            text = f"{keys[number]}: a second value came for the same instant; the first was kept"
            data = {"channel": keys[number], "kept": _plain(kept), "refused": _plain(refused)}
            events.append(Event(time, EventKind.CONFLICT, text, keys[number], data))
        return events


def _bits(value: float) -> bytes:
    return b"" if math.isnan(value) else struct.pack(">d", value)


def _plain(value: float) -> float | None:
    return None if math.isnan(value) else value
