"""Stretches of a recording in which something held, found without stepping: when an alarm can begin or end at all."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS
from collector.alarm_rule import CONTACT_HOLD, AlarmRule
from collector.past_streams import Stream, Times

FOREVER = 1 << 61
"""After everything. [ns]"""


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Stretches that do not overlap, in the order of time.

    What ends one may come after other readings of the same time: the end still belongs to it.
    """

    start: Times
    """(n,) [ns]"""
    end: Times
    """(n,) `FOREVER` where there is none. [ns]"""

    @classmethod
    def none(cls) -> "Spans":
        """No stretch."""
        return cls(np.empty(0, np.int64), np.empty(0, np.int64))

    @classmethod
    def always(cls) -> "Spans":
        """All the time."""
        return cls(np.array([-FOREVER]), np.array([FOREVER]))

    def next(self, now: int) -> int:
        """Earliest time from `now` on that is in one; `FOREVER` after the last. [ns]"""
        place = int(np.searchsorted(self.end, now))
        return max(now, int(self.start[place])) if place < self.start.size else FOREVER

    def end_after(self, now: int) -> int:
        """End of the one that `now` is in, or of the next; `FOREVER` after the last. [ns]"""
        place = int(np.searchsorted(self.end, now))
        return int(self.end[place]) if place < self.end.size else FOREVER


def stretches(stream: Stream, held: NDArray[np.bool_]) -> Spans:
    """When what a reading says holds, until a reading with a value says otherwise."""
    time = stream.time
    if (missing := np.isnan(stream.value)).any():
        time, held = time[~missing], held[~missing]
    if not time.size:
        return Spans.none()
    edges = np.flatnonzero(held[1:] != held[:-1]) + 1
    if held[0]:
        edges = np.concatenate([[0], edges])
    times = time[edges]
    if edges.size % 2:
        times = np.append(times, FOREVER)
    return Spans(times[0::2], times[1::2])


def breaks(time: Times, value: NDArray[np.float64], state: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether a contact is in a state, and whether it begins to be: it was not before, or nobody knows what it did."""
    there = np.abs(value - state) < 0.5
    begins = there.copy()
    begins[1:] &= ~there[:-1] | (np.diff(time) > CONTACT_HOLD)
    return there, begins


def watched(contact: Stream, rule: AlarmRule) -> Spans:
    """When the contact of a rule has been in its state for long enough."""
    if rule.when is None:
        return Spans.always()
    read = ~np.isnan(contact.value)
    time = contact.time[read]
    there, begins = breaks(time, contact.value[read], rule.when[1])
    first = np.flatnonzero(begins)
    stop = begins.copy()
    stop[1:] |= ~there[1:] & there[:-1]
    ends = np.append(np.flatnonzero(stop), time.size)
    settle = round(rule.settle * NANOSECONDS)
    start = time[first] + settle
    end = np.append(time, FOREVER)[ends[np.searchsorted(ends, first, side="right")]]
    if settle == 0 and start.size > 1:
        apart = np.append(True, start[1:] != end[:-1])
        start, end = start[apart], end[np.append(np.flatnonzero(apart)[1:] - 1, end.size - 1)]
    kept = start <= end
    return Spans(start[kept], end[kept])


def common(one: Spans, other: Spans, least: int) -> Spans:
    """Where both hold, for at least so long [ns]."""
    first = np.searchsorted(other.end, one.start)
    count = np.maximum(np.searchsorted(other.start, one.end, side="right") - first, 0)
    mine = np.repeat(np.arange(one.start.size), count)
    theirs = np.arange(mine.size) - np.repeat(np.cumsum(count) - count, count) + first[mine]
    start, end = np.maximum(one.start[mine], other.start[theirs]), np.minimum(one.end[mine], other.end[theirs])
    kept = end - start >= least
    return Spans(start[kept], end[kept])
