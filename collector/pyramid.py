"""The pyramid of smallest and largest values of a channel: made anew where readings are sealed, level by level."""

import numpy as np

from collector.blocks import DamagedError
from collector.database import Connection
from collector.parts import Sealed
from collector.slots import CHUNK, LEVELS, STEP, Slots, checksum_of, coarser, joined, packed, slots_of, unpacked
from collector.slots import width as width_of

SLOT = width_of(0)


class Pyramid:
    """Slots of all levels of one channel, in the table `overview`."""

    def __init__(self, db: Connection, sealed: Sealed, number: int) -> None:
        self._db = db
        self._sealed = sealed
        self._number = number

    def refresh(self, start: int, end: int) -> None:
        """Make the slots anew after readings from `start` to `end` [ns] were sealed."""
        try:
            self._refresh(start, end)
        except DamagedError:  # some of them were damaged: all are made anew
            self._db.execute("DELETE FROM overview WHERE channel=?", (self._number,))
            places = self._sealed.places(self._number)
            self._refresh(places[0].first, max(place.last for place in places))

    def _refresh(self, start: int, end: int) -> None:
        following = self._sealed.neighbour(self._number, end, after=True)
        spans = [(start >> SLOT, end >> SLOT)]
        if following is not None and following >> SLOT > spans[0][1]:  # it has another reading before it now
            spans.append((following >> SLOT, following >> SLOT))
        for first, last in spans:
            a, b = first, last
            self._put(0, a, b, self.made(a, b))
            for level in range(1, LEVELS):
                a, b = a >> STEP, b >> STEP
                self._put(level, a, b, coarser(self.stored(level - 1, a << STEP, ((b + 1) << STEP) - 1)))

    def made(self, first: int, last: int) -> Slots:
        """Slots of level 0 from `first` to `last`, both included, as the sealed readings make them."""
        rows = self._sealed.read(self._number, first << SLOT, ((last + 1) << SLOT) - 1)
        before = self._sealed.neighbour(self._number, int(rows.time[0])) if rows.time.size else None
        return slots_of(rows, before)

    def stored(self, level: int, first: int, last: int) -> Slots:
        """Slots of a level from `first` to `last`, both included; DamagedError where one of their rows is damaged."""
        query = (
            "SELECT place, count, checksum, content FROM overview WHERE channel=? AND level=?"
            " AND place BETWEEN ? AND ? ORDER BY place"
        )
        found, where = [], (self._number, level, first >> CHUNK, last >> CHUNK)
        for place, count, checksum, content in self._db.execute(query, where):
            if checksum_of(self._number, level, place, count, content) != checksum:
                raise DamagedError("its checksum differs")
            found.append(unpacked(place, count, content))
        slots = joined(found)
        return slots.at((slots.slot >= first) & (slots.slot <= last))

    def _put(self, level: int, first: int, last: int, slots: Slots) -> None:
        """Put slots in the place of those from `first` to `last`."""
        low, high = first >> CHUNK, last >> CHUNK
        before = self.stored(level, low << CHUNK, first - 1)
        after = self.stored(level, last + 1, ((high + 1) << CHUNK) - 1)
        whole = joined([before, slots, after])
        places = whole.slot >> CHUNK
        for place in np.unique(places).tolist():
            own = whole.at(places == place)
            content, count = packed(own), own.slot.size
            checksum = checksum_of(self._number, level, place, count, content)
            self._db.execute(
                "INSERT INTO overview (channel, level, place, count, checksum, content) VALUES (?, ?, ?, ?, ?, ?) ON"
                " CONFLICT DO UPDATE SET count=excluded.count, checksum=excluded.checksum, content=excluded.content",
                (self._number, level, place, count, checksum, content),
            )
