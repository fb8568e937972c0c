"""When and how fresh readings become blocks: one channel at a time, between two batches, in a synced transaction.

Were it not synced, its pages would wait in the log for the sync of the next batch. Where a medium refuses that sync,
the system counts them as written all the same; the batch is written anew, they are not, and a power loss would take
everything behind them.
"""

import logging
import struct
from collections.abc import Iterable, Iterator

import numpy as np

from collector import fresh
from collector.blocks import COLUMNS, Block, DamagedError, decoded, encoded
from collector.database import Connection, DatabaseError, transaction
from collector.parts import Damage, Place, Sealed
from collector.pyramid import Pyramid
from collector.rows import EARLIEST, Rows, joined, merged

SEALED_AFTER = 4096
"""Readings of a channel that make a block: 7 minutes at 10 Hz. [1]"""
FULL = 4.5
"""A block takes further readings up to so many times that number. [1]"""
MOST_FRESH = 32
"""When all channels together have so many times that number, the one that was not sealed for longest is. [1]"""
MOST_DECODED = 16
"""Blocks that are kept decoded, for readings that come late. [1]"""

log = logging.getLogger(__name__)

Kept = tuple[float, int]
"""Value [native unit] and quality of a reading."""


class Sealer:
    """Knows every fresh reading, and seals; used by the one writer, and only while nobody else uses its connection."""

    def __init__(self, db: Connection, sealed_after: int) -> None:
        if sealed_after < 1:
            raise ValueError(f"sealing after {sealed_after} readings; say 1 or more")
        self.sealed_after = sealed_after
        self._fresh: dict[int, dict[int, Kept]] = {}
        self._since: dict[int, int] = {}
        """Batch that has the first fresh reading of a channel."""
        self._until: dict[int, int] = {}
        """Time of the last sealed reading of a channel. [ns]"""
        self._newest: dict[int, int] = {}
        self._decoded: dict[int, Rows] = {}
        self._batch = 0
        self._kept_since = 0
        """First batch that is still in the file."""
        self._failed = False
        self._take_up(db)

    def _take_up(self, db: Connection) -> None:
        """What a writer before this one left."""
        for number, last in db.execute("SELECT channel, max(last) FROM block GROUP BY channel"):
            self._until[number] = self._newest[number] = last
        sealed: dict[int, int] = dict(db.execute("SELECT id, sealed FROM channel").fetchall())
        self._batch = max(sealed.values(), default=0)
        self._kept_since = self._batch + 1
        batches = []
        for row in db.execute(f"SELECT {fresh.COLUMNS} FROM batch ORDER BY id").fetchall():
            batch = fresh.Batch(*row)
            self._batch = max(self._batch, batch.id)
            self._kept_since = min(self._kept_since, batch.id)
            try:
                fresh.check(batch)
                batches.append(batch)
            except DamagedError as error:
                log.warning("readings of one batch are damaged and stay as they are: %s", error)
        records = fresh.decoded(batch.content for batch in batches)
        ids = np.repeat([batch.id for batch in batches], [batch.count for batch in batches])
        for number in np.unique(records["channel"]).tolist():
            own = (records["channel"] == number) & (ids > sealed.get(number, 0))
            if own.any():
                self._take(number, fresh.rows_of(records[own]), int(ids[own][0]))

    @property
    def next_batch(self) -> int:
        """Number of the batch that comes next."""
        return self._batch + 1

    def newest(self, number: int) -> int:
        """Latest time of a channel [ns]; the earliest of all where it has no reading."""
        return self._newest.get(number, EARLIEST)

    def find(self, db: Connection, number: int, time: int) -> Kept | None:
        """The reading of a channel at a time [ns], fresh or sealed, None where there is none."""
        kept = self._fresh.get(number, {}).get(time)
        if kept is not None or time > self._until.get(number, EARLIEST):
            return kept
        sealed = Sealed(db, _passed_over)
        for place in sealed.places(number, time, time):
            rows = self._rows(sealed, number, place)
            at = int(np.searchsorted(rows.time, time)) if rows is not None else 0
            if rows is not None and at < rows.time.size and rows.time[at] == time:
                return float(rows.value[at]), int(rows.quality[at])
        return None

    def _rows(self, sealed: Sealed, number: int, place: Place) -> Rows | None:
        """Readings of a block, None where it is damaged."""
        if place.id not in self._decoded:
            try:
                rows = decoded(sealed.block(number, place))
            except DamagedError:
                return None
            while len(self._decoded) >= MOST_DECODED:
                del self._decoded[next(iter(self._decoded))]
            self._decoded[place.id] = rows
        return self._decoded[place.id]

    def taken(self, taken: dict[int, dict[int, Kept]]) -> None:
        """These readings are in the file, in the batch that came next, by channel and time."""
        self._batch += 1
        for number, kept in taken.items():
            self._since.setdefault(number, self._batch)
            self._fresh.setdefault(number, {}).update(kept)
            self._newest[number] = max(self.newest(number), *kept)

    def _take(self, number: int, rows: Rows, batch: int) -> None:
        self._since.setdefault(number, batch)
        kept = zip(rows.value.tolist(), rows.quality.tolist(), strict=True)
        self._fresh.setdefault(number, {}).update(zip(rows.time.tolist(), kept, strict=True))
        self._newest[number] = max(self.newest(number), int(rows.time[-1]))

    def catch_up(self, db: Connection, count: int) -> None:
        """Seal what is due after `count` readings were taken: a channel, and more where more came than that seals.

        What fails costs nothing: the readings stay fresh, and it is tried again.
        """
        for number in self._due(1 + count // self.sealed_after):
            if not self._try(db, number):
                return

    def finish(self, db: Connection) -> None:
        """Seal all that is fresh; what fails stays fresh, and is read as well."""
        for number in list(self._fresh):
            if not self._try(db, number):
                return

    def _try(self, db: Connection, number: int) -> bool:
        try:
            with transaction(db):
                last, gone, kept_since = self._seal(db, number)
        except (DatabaseError, DamagedError, RuntimeError, ValueError, struct.error) as error:
            if not self._failed:
                log.warning("readings stay unsealed for now, which costs room: %s", error)
            self._failed = True
            return False
        del self._fresh[number], self._since[number]
        self._until[number] = max(self._until.get(number, EARLIEST), last)
        self._kept_since = kept_since
        for identity in gone:
            self._decoded.pop(identity, None)
        self._failed = False
        return True

    def _due(self, most: int) -> Iterator[int]:
        for _ in range(most):
            number = max(self._fresh, key=lambda one: len(self._fresh[one]), default=None)
            if number is None:
                return
            if len(self._fresh[number]) < self.sealed_after:
                many = sum(len(own) for own in self._fresh.values()) >= MOST_FRESH * self.sealed_after
                if not many and self._batch - self._kept_since < self.sealed_after:
                    return
                number = min(self._since, key=lambda one: self._since[one])
            yield number

    def _seal(self, db: Connection, number: int) -> tuple[int, list[int], int]:
        """All fresh readings of a channel into blocks; time of the last [ns], blocks replaced, first batch kept."""
        sealed, own = Sealed(db, _passed_over), self._fresh[number]
        time = np.fromiter(own, np.int64, len(own))
        order = np.argsort(time)
        value = np.fromiter((kept[0] for kept in own.values()), np.float64, len(own))
        quality = np.fromiter((kept[1] for kept in own.values()), np.int8, len(own))
        rows = Rows(time, value, quality).at(order)
        gone = []
        for places, part in self._targets(sealed, number, rows):
            old = [block for place in places if (block := self._rows(sealed, number, place))]
            whole = merged([*old, part])
            pieces = max(1, -(-whole.time.size // int(FULL * self.sealed_after)))
            if old:
                db.executemany("DELETE FROM block WHERE id=?", [(place.id,) for place in places])
                gone += [place.id for place in places]
            for piece in np.array_split(np.arange(whole.time.size), pieces):
                _insert(db, encoded(number, whole.at(piece)))
            Pyramid(db, sealed, number).refresh(int(part.time[0]), int(part.time[-1]))
        db.execute("UPDATE channel SET sealed=? WHERE id=?", (self._batch, number))
        kept_since = min((since for one, since in self._since.items() if one != number), default=self._batch + 1)
        db.execute("DELETE FROM batch WHERE id<?", (kept_since,))
        return int(rows.time[-1]), gone, kept_since

    def _targets(self, sealed: Sealed, number: int, rows: Rows) -> Iterator[tuple[list[Place], Rows]]:
        """The readings by where they go: into a block that they lie in or that has room, or into one of their own."""
        before = sealed.places(number, EARLIEST, int(rows.time[-1]))
        places = before[max(0, int(np.searchsorted([p.first for p in before], rows.time[0], side="right")) - 1) :]
        firsts = np.array([place.first for place in places], np.int64)
        within = np.searchsorted(firsts, rows.time, side="right") - 1
        begins = np.flatnonzero(np.diff(within, prepend=-2))
        for begin, end in zip(begins.tolist(), [*begins[1:].tolist(), rows.time.size], strict=True):
            part, at = rows.at(slice(begin, end)), int(within[begin])
            if at < 0:
                yield [], part
                continue
            place = places[at]
            lies_within = part.time[0] <= place.last
            has_room = place.count + part.time.size <= FULL * self.sealed_after
            damaged = self._rows(sealed, number, place) is None
            yield ([place] if (lies_within or has_room) and not damaged else []), part


def seal_in_order(db: Connection, number: int, parts: Iterable[Rows], size: int = SEALED_AFTER) -> None:
    """Readings of a channel that has none yet into blocks, from parts that follow each other in time."""
    pyramid, waiting = Pyramid(db, Sealed(db, _passed_over), number), list[Rows]()
    for part in parts:
        waiting.append(part)
        while sum(one.time.size for one in waiting) >= 2 * size:  # what is left is never much less than a block
            rows = joined(waiting)
            _seal_one(db, number, rows.at(slice(0, size)), pyramid)
            waiting = [rows.at(slice(size, None))]
    rows = joined(waiting)
    for piece in np.array_split(np.arange(rows.time.size), max(1, -(-rows.time.size // int(FULL * size)))):
        if piece.size:
            _seal_one(db, number, rows.at(piece), pyramid)


def _seal_one(db: Connection, number: int, rows: Rows, pyramid: Pyramid) -> None:
    _insert(db, encoded(number, rows))
    pyramid.refresh(int(rows.time[0]), int(rows.time[-1]))


def _insert(db: Connection, block: Block) -> None:
    columns = COLUMNS.split(", ")
    marks = ", ".join("?" for _ in columns)
    facts = [getattr(block, name) for name in columns]
    db.execute(f"INSERT INTO block ({COLUMNS}) VALUES ({marks})", facts)


def _passed_over(_: Damage) -> None:
    """What is damaged stays as it is; `verify` names it."""
