"""Goes through a recording and finds the minutes of which the server does not have every reading."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from collector.forward_marks import MINUTE, Mark, whole_minute
from collector.recording import Recording
from collector.rows import Rows

BEGIN, LONGEST = 10 * MINUTE, 360 * MINUTE
"""How much of a channel is read at a time, at first and at the most. [ns]"""
MANY, FEW = 200_000, 50_000
"""Readings of one look from which on the next is shorter, or longer. [1]"""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Readings of a channel within one minute."""

    mark: Mark
    rows: Rows


class Audit:
    """One round through a recording; `count` says how many readings of a channel and minute the server has, or None."""

    def __init__(self, count: Callable[[str, int], int | None]) -> None:
        self._count = count
        self._left: list[str] | None = None
        self._channels = 0
        self._first, self._end = 0, 0
        self._at, self._step = 0, BEGIN
        self.looked = 0
        """Readings looked at. [1]"""

    @property
    def done(self) -> bool:
        """Whether the round is over."""
        return self._left is not None and not self._left

    @property
    def share(self) -> float:
        """How much of the round is done. [1]"""
        if not self._left:
            return float(self.done)
        within = (self._at - self._first) / max(1, self._end - self._first)
        return (self._channels - len(self._left) + min(1.0, within)) / self._channels

    def step(self, recording: Recording) -> list[Piece]:
        """Look at a stretch; the minutes in it that have to be sent, whole."""
        if self._left is None:
            self._begin(recording)
        if not self._left:
            return []
        channel = self._left[0]
        stop = self._at + self._step
        rows = recording.read(channel, self._at, stop - 1)
        found = len(rows.time)
        self.looked += found
        self._at = stop
        if stop > self._end:
            self._left.pop(0)
            self._at = self._first
        self._step = max(MINUTE, self._step // 2) if found > MANY else self._step
        self._step = min(LONGEST, self._step * 2) if found < FEW else self._step
        return list(self._differing(channel, rows))

    def _begin(self, recording: Recording) -> None:
        span = recording.span()
        self._left = [channel.key for channel in recording.channels] if span else []
        self._channels = len(self._left)
        if span:
            self._first, self._end = span[0] // MINUTE * MINUTE, span[1]
            self._at = self._first

    def _differing(self, channel: str, rows: Rows) -> Iterator[Piece]:
        minutes, begins, counts = np.unique(rows.time // MINUTE, return_index=True, return_counts=True)
        for minute, begin, count in zip(minutes.tolist(), begins.tolist(), counts.tolist(), strict=True):
            if self._count(channel, minute) != count:
                own = slice(begin, begin + count)
                part = Rows(rows.time[own], rows.value[own], rows.quality[own])
                yield Piece(whole_minute(channel, minute), part)
