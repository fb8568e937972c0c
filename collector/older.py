"""Readings of a recording of format 1 or 2, which had a row a reading; only read, and never written."""

from collections.abc import Iterator
from contextlib import closing

import numpy as np

from analysis.model import Quality
from collector.database import Connection
from collector.rows import EARLIEST, LATEST, Rows

PIECE = 50_000
"""Readings of a piece. [1]"""
_ROW = np.dtype([("time", np.int64), ("value", np.float64), ("quality", np.int8)])
# The text becomes a NaN: what is read goes from the cursor into the array, without a list between.
_COLUMNS = "time, ifnull(value, 'nan'), quality"


class OlderParts:
    """All readings of such a recording, as `collector.parts.Parts` describes them."""

    def __init__(self, db: Connection) -> None:
        self._db = db

    def renew(self) -> None:
        """Nothing is remembered."""

    def chunks(self, number: int, start: int = EARLIEST, end: int = LATEST) -> Iterator[Rows]:
        """Readings of a channel between two times [ns], both included, in pieces in the order of time."""
        query = f"SELECT {_COLUMNS} FROM reading WHERE channel=? AND time BETWEEN ? AND ? ORDER BY time"
        with closing(self._db.execute(query, (number, start, end))) as cursor:
            while rows := cursor.fetchmany(PIECE):
                yield _rows(rows)

    def before(self, number: int, end: int) -> Iterator[Rows]:
        """Readings before a time [ns] in pieces, the latest piece first."""
        query = f"SELECT {_COLUMNS} FROM reading WHERE channel=? AND time<? ORDER BY time DESC"
        with closing(self._db.execute(query, (number, end))) as cursor:
            while rows := cursor.fetchmany(PIECE // 100):
                yield _rows(rows[::-1])

    def ends(self, number: int) -> tuple[int, int] | None:
        """First and last time of a channel [ns], None where it has no reading."""
        # Two searches in the index; min and max in one query would look at every reading.
        end = "(SELECT {}(time) FROM reading WHERE channel=?1)"
        first, last = self._db.execute(f"SELECT {end.format('min')}, {end.format('max')}", (number,)).fetchone()
        return None if first is None else (first, last)

    def count(self, number: int) -> int:
        """Readings of a channel. [1]"""
        return int(self._db.execute("SELECT count(*) FROM reading WHERE channel=?", (number,)).fetchone()[0])

    def about(self, number: int, start: int, end: int) -> int:
        """Readings of a channel between two times [ns]. [1]"""
        query = "SELECT count(*) FROM reading WHERE channel=? AND time BETWEEN ? AND ?"
        return int(self._db.execute(query, (number, start, end)).fetchone()[0])

    def doubtful(self) -> int:
        """Readings that are suspect. [1]"""
        query = "SELECT count(*) FROM reading WHERE quality=?"
        return int(self._db.execute(query, (int(Quality.SUSPECT),)).fetchone()[0])


def _rows(rows: list[tuple[int, float, int]]) -> Rows:
    found = np.fromiter(rows, _ROW, len(rows))
    return Rows(*(np.ascontiguousarray(found[name]) for name in ("time", "value", "quality")))
