"""Where the readings of a recording lie: sealed blocks in the order of time, and fresh ones among and after them."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analysis.model import Quality
from collector import fresh
from collector.blocks import COLUMNS, Block, DamagedError, decoded
from collector.database import Connection, DatabaseError
from collector.rows import EARLIEST, EMPTY, LATEST, Rows, joined, merged


@dataclass(frozen=True, slots=True)
class Damage:
    """Part of a recording that cannot be read."""

    what: str
    """`block`, `batch`, `event`, `channel`, `attachment` or `overview`."""
    why: str
    channel: int | None = None
    """Number of the channel, where it is known."""
    first: int | None = None
    """Time of the first reading that it has, where that is known. [ns]"""
    last: int | None = None
    """[ns]"""
    count: int | None = None
    """Readings in it, where that is known. [1]"""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a block lies in time, as the index of blocks says."""

    id: int
    first: int
    last: int
    count: int


class Parts(Protocol):
    """The readings of a recording, whatever its format; all of it within one transaction of the reader."""

    def renew(self) -> None:
        """A new moment of the file begins."""

    def chunks(self, number: int, start: int = EARLIEST, end: int = LATEST) -> Iterator[Rows]:
        """Readings of a channel between two times [ns], both included, in pieces in the order of time."""
        ...

    def before(self, number: int, end: int) -> Iterator[Rows]:
        """Readings before a time [ns] in pieces, the latest piece first."""
        ...

    def ends(self, number: int) -> tuple[int, int] | None:
        """First and last time of a channel [ns], None where it has no reading."""
        ...

    def count(self, number: int) -> int:
        """Readings of a channel. [1]"""
        ...

    def about(self, number: int, start: int, end: int) -> int:
        """About so many readings of a channel between two times [ns]; told without reading them. [1]"""
        ...

    def doubtful(self) -> int:
        """Readings that are suspect. [1]"""
        ...


class Sealed:
    """The blocks of a recording of format 3.

    What is damaged is told to `damaged`, and passed over where that returns.
    """

    def __init__(self, db: Connection, damaged: Callable[[Damage], None]) -> None:
        self._db = db
        self._damaged = damaged

    def places(self, number: int, start: int = EARLIEST, end: int = LATEST) -> list[Place]:
        """Blocks of a channel that have readings between two times [ns], in the order of time."""
        query = "SELECT id, first, last, count FROM block WHERE channel=? AND first<=? AND last>=? ORDER BY first"
        try:
            return [Place(*row) for row in self._db.execute(query, (number, end, start))]
        except DatabaseError as error:
            self._damaged(Damage("block", f"the index of blocks is damaged ({error})", number))
        found = [
            place
            for channel, place in self._one_by_one()
            if channel == number and place.first <= end and place.last >= start
        ]
        return sorted(found, key=lambda place: place.first)

    def _one_by_one(self) -> Iterator[tuple[int, Place]]:
        """Every block that can be reached by its number; what else is told by `verify`."""
        try:
            (highest,) = self._db.execute("SELECT max(id) FROM block").fetchone()
        except DatabaseError:
            return
        for identity in range(1, (highest or 0) + 1):
            try:
                query = "SELECT channel, id, first, last, count FROM block NOT INDEXED WHERE id=?"
                row = self._db.execute(query, (identity,)).fetchone()
            except DatabaseError:
                continue
            if row:
                yield row[0], Place(*row[1:])

    def rows(self, number: int, place: Place) -> Rows:
        """Readings of a block; none where it is damaged."""
        try:
            return decoded(self.block(number, place))
        except DamagedError as error:
            self._damaged(Damage("block", str(error), number, place.first, place.last, place.count))
            return EMPTY

    def block(self, number: int, place: Place) -> Block:
        """A block as it stands; DamagedError where it cannot be had, or is another than the index says."""
        try:
            row = self._db.execute(f"SELECT {COLUMNS} FROM block WHERE id=?", (place.id,)).fetchone()
        except DatabaseError as error:
            raise DamagedError(f"it cannot be read ({error})") from error
        if row is None:
            raise DamagedError("it is in the index only")
        block = Block(*row)
        if (block.channel, block.first, block.last, block.count) != (number, place.first, place.last, place.count):
            raise DamagedError("it is another than the index says")
        return block

    def read(self, number: int, start: int, end: int) -> Rows:
        """Sealed readings of a channel between two times [ns], both included."""
        found = [self.rows(number, place).part(start, end) for place in self.places(number, start, end)]
        return merged(found)

    def neighbour(self, number: int, time: int, *, after: bool = False) -> int | None:
        """Time of the last sealed reading before a time, or of the first one after it [ns]."""
        order = "first ASC" if after else "first DESC"
        bound = "last>?" if after else "first<?"
        query = f"SELECT id, first, last, count FROM block WHERE channel=? AND {bound} ORDER BY {order}"
        for row in self._db.execute(query, (number, time)):
            times = self.rows(number, Place(*row)).time
            at = int(np.searchsorted(times, time, side="right" if after else "left")) - (0 if after else 1)
            if 0 <= at < times.size:
                return int(times[at])
        return None


class SealedAndFresh(Sealed):
    """All readings of a recording of format 3."""

    def __init__(self, db: Connection, damaged: Callable[[Damage], None]) -> None:
        super().__init__(db, damaged)
        self._batches: list[fresh.Batch] = []
        self._by_channel: dict[int, Rows] | None = None

    def renew(self) -> None:
        """A new moment of the file begins."""
        self._by_channel = None

    def fresh(self, number: int) -> Rows:
        """Readings of a channel that are in no block yet, in the order of time."""
        if self._by_channel is None:
            self._by_channel = self._split()
        return self._by_channel.get(number, EMPTY)

    def _split(self) -> dict[int, Rows]:
        (lowest,) = self._db.execute("SELECT min(id) FROM batch").fetchone()
        known = [one for one in self._batches if lowest is not None and one.id >= lowest]
        since = known[-1].id if known else EARLIEST
        for row in self._db.execute(f"SELECT {fresh.COLUMNS} FROM batch WHERE id>? ORDER BY id", (since,)):
            batch = fresh.Batch(*row)
            try:
                fresh.check(batch)
                known.append(batch)
            except DamagedError as error:
                self._damaged(Damage("batch", str(error), None, batch.first, batch.last, batch.count))
        self._batches = known
        if not known:
            return {}
        records = fresh.decoded(one.content for one in known)
        ids = np.repeat([one.id for one in known], [one.count for one in known])
        found = {}
        for number, sealed in self._db.execute("SELECT id, sealed FROM channel"):
            own = records[(records["channel"] == number) & (ids > sealed)]
            if own.size:
                found[number] = fresh.rows_of(own)
        return found

    def chunks(self, number: int, start: int = EARLIEST, end: int = LATEST) -> Iterator[Rows]:
        """Readings of a channel between two times [ns], both included, in pieces in the order of time."""
        loose = self.fresh(number).part(start, end)
        places = self.places(number, start, end)
        gathered, done, last = list[Rows](), 0, EARLIEST
        for place, following in zip(places, (*places[1:], None), strict=False):
            gathered.append(self.rows(number, place))
            last = max(last, place.last)
            if following is not None and following.first <= last:
                continue
            until = loose.time.size
            if following is not None:
                until = int(np.searchsorted(loose.time, following.first, side="left"))
            gathered.append(loose.at(slice(done, until)))
            yield merged(gathered).part(start, end)
            gathered, done = [], until
        if not places:
            yield loose

    def before(self, number: int, end: int) -> Iterator[Rows]:
        """Readings before a time [ns] in pieces, the latest piece first."""
        loose, upper = self.fresh(number), end
        query = "SELECT first FROM block WHERE channel=? AND first<? ORDER BY first DESC LIMIT 1"
        while row := self._db.execute(query, (number, upper)).fetchone():
            yield merged([self.read(number, row[0], upper - 1), loose.part(row[0], upper - 1)])
            upper = row[0]
        yield loose.part(EARLIEST, upper - 1)

    def ends(self, number: int) -> tuple[int, int] | None:
        """First and last time of a channel [ns], None where it has no reading."""
        query = "SELECT first, last FROM block WHERE channel=? ORDER BY first {} LIMIT 1"
        rows = [row for way in ("ASC", "DESC") for row in self._db.execute(query.format(way), (number,))]
        times = [time for row in rows for time in row]
        times += self.fresh(number).time[[0, -1]].tolist() if self.fresh(number).time.size else []
        return (min(times), max(times)) if times else None

    def count(self, number: int) -> int:
        """Readings of a channel. [1]"""
        (sealed,) = self._db.execute("SELECT sum(count) FROM block WHERE channel=?", (number,)).fetchone()
        return int(sealed or 0) + self.fresh(number).time.size

    def about(self, number: int, start: int, end: int) -> int:
        """About so many readings of a channel between two times [ns]; of a block the share that its time has. [1]"""
        found = float(self.fresh(number).time.size)
        for place in self.places(number, start, end):
            inside = min(end, place.last) - max(start, place.first) + 1
            found += place.count * inside / (place.last - place.first + 1)
        return math.ceil(found)

    def doubtful(self) -> int:
        """Readings that are suspect. [1]"""
        (sealed,) = self._db.execute("SELECT sum(doubtful) FROM block").fetchone()
        numbers = [row[0] for row in self._db.execute("SELECT id FROM channel").fetchall()]
        loose = joined([self.fresh(number) for number in numbers]).quality
        return int(sealed or 0) + int(np.count_nonzero(loose == Quality.SUSPECT))
