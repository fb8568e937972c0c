"""How long readings take from their arrival here until they are taken in."""

from collections import deque
from statistics import median
from typing import NamedTuple

from analysis.model import NANOSECONDS

SPAN = 10 * NANOSECONDS
"""What is told is of so long. [ns]"""
MOST = 2000
"""Readings looked back at; with more in the span, of the newest. [1]"""


class Told(NamedTuple):
    """Of the last seconds."""

    median: float
    """[s]"""
    largest: float
    """[s]"""


class Latency:
    """The last readings of one instrument with the time that each took."""

    def __init__(self) -> None:
        self._last: deque[tuple[int, int]] = deque(maxlen=MOST)

    def add(self, arrived: int, taken: int) -> None:
        """A reading that arrived at one time [ns] was taken in at another."""
        self._last.append((taken, max(0, taken - arrived)))

    def told(self, now: int) -> Told | None:
        """What it was up to `now` [ns], None where nothing came."""
        found = [took for taken, took in self._last if 0 <= now - taken <= SPAN]
        return Told(median(found) / NANOSECONDS, max(found) / NANOSECONDS) if found else None
