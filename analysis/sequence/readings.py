"""Readings of one channel as they come, in the order of time, and means of them; the oldest dropped when too many."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOST = 16_384
"""Readings kept of a channel; of more the oldest are dropped. [1]"""
FAR = 1e12
"""No reading is farther from nothing than this. [inside unit]"""
MEANS = 1024
"""Means of some seconds that are kept, of more the oldest are dropped. [1]"""


class Readings:
    """A bounded buffer of times and values."""

    __slots__ = ("_first", "_last", "_pending", "_time", "_value", "dropped")

    def __init__(self) -> None:
        self._time, self._value = np.empty(512), np.empty(512)
        self._first = self._last = 0
        self._pending: list[tuple[float, float]] = []
        self.dropped = 0
        """Readings that had no room any more. [1]"""

    def add(self, time: float, value: float) -> None:
        """One more, in any order."""
        self._pending.append((time, value))

    @property
    def time(self) -> Array:
        """(n,) strictly increasing. [s]"""
        return self._time[self._first : self._last]

    @property
    def value(self) -> Array:
        """(n,) [inside unit]"""
        return self._value[self._first : self._last]

    @property
    def count(self) -> int:
        """How many there are, those included that were not taken yet. [1]"""
        return self._last - self._first + len(self._pending)

    @property
    def last(self) -> float:
        """Time of the newest. [s]"""
        return float(self._time[self._last - 1]) if self._last > self._first else -np.inf

    def take(self) -> bool:
        """Put those that came since in their place; of two of one time the first stays."""
        if not self._pending:
            return False
        fresh = np.array(self._pending).T
        self._pending.clear()
        time, value = fresh[0], fresh[1]
        if time[0] <= self.last or (np.diff(time) <= 0).any():
            place = int(np.searchsorted(self.time, time.min()))
            time = np.concatenate([self.time[place:], time])
            value = np.concatenate([self.value[place:], value])
            self._last = self._first + place
            time, order = np.unique(time, return_index=True)
            value = value[order]
        self._append(time, value)
        return True

    def _append(self, time: Array, value: Array) -> None:
        most = min(MOST, time.size)
        self.dropped += time.size - most
        time, value = time[-most:], value[-most:]
        if (excess := self._last - self._first + most - MOST) > 0:
            self._first += excess
            self.dropped += excess
        if self._last + most > self._time.size:
            count = self._last - self._first
            size = max(2 * (count + most), 512)
            held, values = np.empty(size), np.empty(size)
            held[:count], values[:count] = self.time, self.value
            self._time, self._value, self._first, self._last = held, values, 0, count
        self._time[self._last : self._last + most] = time
        self._value[self._last : self._last + most] = value
        self._last += most


class Means:
    """Means, or medians, over some seconds each; the oldest are dropped when there are too many."""

    def __init__(self, span: float, *, median: bool) -> None:
        self._span, self._median = span, median
        self._zero: float | None = None
        self._open: list[float] = []
        self._number = 0
        self._found: list[tuple[float, float]] = []
        self.time, self.value = np.empty(0), np.empty(0)

    def add(self, time: Array, value: Array) -> bool:
        """Take more readings; whether another span is full."""
        before = len(self._found)
        if self._zero is None:
            self._zero = float(time[0])
        numbers = np.floor((time - self._zero) / self._span).astype(np.int64)
        for number, one in zip(numbers.tolist(), value.tolist(), strict=True):
            if number > self._number:
                self._close()
                self._number = number
            self._open.append(one)
        if len(self._found) == before:
            return False
        if len(self._found) > MEANS + MEANS // 4:
            del self._found[: MEANS // 4]
        self.time, self.value = np.array(self._found).T
        return True

    def _close(self) -> None:
        if self._open and self._zero is not None:
            middle = float(np.median(self._open)) if self._median else sum(self._open) / len(self._open)
            self._found.append((self._zero + (self._number + 0.5) * self._span, middle))
        self._open = []
