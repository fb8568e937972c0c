"""Readings of one channel as arrays: the one form in which readings are stored, merged and read."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

EARLIEST, LATEST = -(2**63), 2**63 - 1
"""Bounds of a time. [ns]"""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Readings of one channel as recorded."""

    time: NDArray[np.int64]
    """(n,) strictly increasing, UTC since 1970. [ns]"""
    value: NDArray[np.float64]
    """(n,) [native unit]"""
    quality: NDArray[np.int8]
    """(n,)"""

    def part(self, start: int, end: int) -> "Rows":
        """Those from `start` to `end` [ns], both included."""
        if not self.time.size or (self.time[0] >= start and self.time[-1] <= end):
            return self
        first, last = np.searchsorted(self.time, start, side="left"), np.searchsorted(self.time, end, side="right")
        return self.at(slice(int(first), int(last)))

    def at(self, places: slice | NDArray[np.intp]) -> "Rows":
        """Those at the given places."""
        return Rows(self.time[places], self.value[places], self.quality[places])


@dataclass(frozen=True, slots=True, eq=False)
class Many:
    """Readings of one channel that are recorded together; each is what a `Reading` is."""

    channel: str
    """Key of the channel."""
    rows: Rows
    """In any order of time."""


EMPTY = Rows(np.zeros(0, np.int64), np.zeros(0, np.float64), np.zeros(0, np.int8))


def joined(parts: Sequence[Rows]) -> Rows:
    """Parts that follow each other in time, as one."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return EMPTY
    return Rows(*(np.concatenate([getattr(part, name) for part in parts]) for name in ("time", "value", "quality")))


def merged(parts: Sequence[Rows]) -> Rows:
    """Parts that may lie among each other, as one in the order of time; of two with one time the earlier part's."""
    rows = joined([part for part in parts if part.time.size])
    if rows.time.size < 2 or bool((rows.time[1:] > rows.time[:-1]).all()):
        return rows
    _, places = np.unique(rows.time, return_index=True)
    return rows.at(places)
