"""A channel over any span in a given number of points: smallest and largest values, and where the line breaks."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Quality
from analysis.thinning import longest_line, usual_spacing
from collector.blocks import DamagedError
from collector.database import Connection, DatabaseError
from collector.parts import Parts, Sealed, SealedAndFresh
from collector.pyramid import Pyramid
from collector.rows import EARLIEST, LATEST, Rows
from collector.slots import FINE, LEVELS, Slots
from collector.slots import width as width_of

FINEST = 8
"""So many slots are read for a point at the most. [1]"""
MOST_READ = 1_000_000
"""Readings that are looked at one by one where there are too few slots for the points. [1]"""
BREAKS = 6
"""One of so many points may be a break of the line; of more breaks the longest are kept. [1]"""


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """A channel over a span, in fewer points; all (n,), in the order of time."""

    time: NDArray[np.int64]
    """Of the first reading of a short span. [ns]"""
    until: NDArray[np.int64]
    """Of its last one. [ns]"""
    low: NDArray[np.float64]
    """Its smallest value; NaN where the line is broken. [native unit]"""
    high: NDArray[np.float64]
    """Its largest value. [native unit]"""
    spacing: float
    """Usual time between two readings, NaN for fewer than two. [s]"""

    @classmethod
    def empty(cls) -> "Overview":
        """Of nothing."""
        return cls(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0), math.nan)


@dataclass(frozen=True, slots=True, eq=False)
class _Spans:
    """Short spans of readings, in the order of time; all (n,)."""

    first: NDArray[np.int64]
    last: NDArray[np.int64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    broken: NDArray[np.bool_]
    apart: NDArray[np.float64]
    count: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What of a channel is wanted in an overview."""

    number: int
    """Of the channel."""
    ends: tuple[int, int]
    """Its first and last time. [ns]"""
    start: int
    """[ns]"""
    end: int
    """[ns]"""
    points: int


def overview(db: Connection, parts: Parts, wanted: Wanted) -> Overview:
    """See `Recording.overview`."""
    start, end = max(wanted.start, wanted.ends[0]), min(wanted.end, wanted.ends[1])
    if start > end:
        return Overview.empty()
    spans = None
    if isinstance(parts, SealedAndFresh) and _is_for_slots(parts, wanted, start, end):
        level = next((n for n in range(LEVELS) if (end - start) >> width_of(n) <= FINEST * wanted.points), LEVELS - 1)
        a = start if start > wanted.ends[0] else EARLIEST
        b = end if end < wanted.ends[1] else LATEST
        try:
            covered = _Cover(Pyramid(db, parts, wanted.number), parts, wanted).spans(level, a, b)
            spans = _in_order([*covered, _of_rows(parts.fresh(wanted.number).part(a, b))])
        except (DamagedError, DatabaseError):
            spans = None  # what it was made of may be whole
    if spans is None:
        spans = _in_order([_of_rows(part) for part in parts.chunks(wanted.number, start, end)])
    return _picture(spans, wanted.points) if spans.first.size else Overview.empty()


def _is_for_slots(parts: Sealed, wanted: Wanted, start: int, end: int) -> bool:
    """Whether there are slots enough, or too many readings to look at each."""
    if 2 * ((end - start) >> width_of(0)) >= wanted.points:
        return True
    return sum(place.count for place in parts.places(wanted.number, start, end)) > MOST_READ


class _Cover:
    """A span of time covered by slots that lie wholly in it, at its edges by those of lower levels, and readings."""

    def __init__(self, pyramid: Pyramid, sealed: Sealed, wanted: Wanted) -> None:
        self._pyramid, self._sealed, self._wanted = pyramid, sealed, wanted

    def spans(self, level: int, start: int, end: int) -> Iterator[_Spans]:
        """Those of the sealed readings between two times [ns], of this level and lower ones."""
        if start > end:
            return
        if level < 0:
            yield _of_rows(self._sealed.read(self._wanted.number, start, end))
            return
        shift = width_of(level)
        first = self._wanted.ends[0] >> shift if start == EARLIEST else -(-start >> shift)
        last = self._wanted.ends[1] >> shift if end == LATEST else ((end + 1) >> shift) - 1
        if first > last:
            yield from self.spans(level - 1, start, end)
            return
        if start != EARLIEST:
            yield from self.spans(level - 1, start, (first << shift) - 1)
        yield _of_slots(self._pyramid.stored(level, first, last), shift)
        if end != LATEST:
            yield from self.spans(level - 1, (last + 1) << shift, end)


def _of_slots(slots: Slots, shift: int) -> _Spans:
    begins, fine = slots.slot << shift, shift - FINE
    return _Spans(
        begins + (slots.first << fine),
        begins + (slots.last << fine),
        slots.low,
        slots.high,
        slots.broken.astype(bool),
        slots.apart.astype(np.float64),
        slots.count,
    )


def _of_rows(rows: Rows) -> _Spans:
    good = np.isfinite(rows.value) & (rows.quality != Quality.BAD)
    value = np.where(good, rows.value, np.nan)
    apart = np.diff(rows.time, prepend=rows.time[:1]) / NANOSECONDS
    return _Spans(rows.time, rows.time, value, value, ~good, apart, np.ones(rows.time.size, np.int64))


def _in_order(found: list[_Spans]) -> _Spans:
    spans = _Spans(*(np.concatenate([getattr(one, field.name) for one in found]) for field in fields(_Spans)))
    if bool((np.diff(spans.first) >= 0).all()):
        return spans
    order = np.argsort(spans.first, kind="stable")
    return _Spans(*(getattr(spans, field.name)[order] for field in fields(_Spans)))


def _picture(spans: _Spans, points: int) -> Overview:
    spacing = _usual_spacing(spans)
    longest = longest_line(spacing)
    most = points // BREAKS
    grouped = _grouped(spans, points, longest) if spans.first.size > points else spans
    if grouped.first.size + np.count_nonzero(_breaks(grouped, longest)) > points:
        grouped = _grouped(spans, points - most, longest)
    return _with_breaks(grouped, longest, most, spacing)


def _usual_spacing(spans: _Spans) -> float:
    """Median of the mean distance of readings in each span, weighed by their number. [s]"""
    if spans.count.max() == 1:
        return usual_spacing(spans.first.astype(np.float64)) / NANOSECONDS
    apart = np.where(
        spans.count > 1, (spans.last - spans.first) / NANOSECONDS / np.maximum(spans.count - 1, 1), spans.apart
    )
    weight = spans.count * (apart > 0)
    if not weight.any():
        return math.nan
    order = np.argsort(apart, kind="stable")
    share = np.cumsum(weight[order])
    return float(apart[order][np.searchsorted(share, share[-1] / 2)])


def _grouped(spans: _Spans, groups: int, longest: float) -> _Spans:
    """At most so many spans of equal length."""
    begin, length = int(spans.first[0]), max(1, int(spans.first[-1]) - int(spans.first[0]) + 1)
    group = ((spans.first - begin) / length * groups).astype(np.int64)
    begins = np.flatnonzero(np.diff(group, prepend=-1))
    good = ~np.isnan(spans.low)
    some = np.maximum.reduceat(good, begins)
    within = spans.broken | _apart(spans, longest)
    within[begins] = spans.broken[begins]  # what lies before a group is seen from its first and last time
    return _Spans(
        np.where(
            some,
            np.minimum.reduceat(np.where(good, spans.first, LATEST), begins),
            np.minimum.reduceat(spans.first, begins),
        ),
        np.where(
            some,
            np.maximum.reduceat(np.where(good, spans.last, EARLIEST), begins),
            np.maximum.reduceat(spans.last, begins),
        ),
        np.where(some, np.minimum.reduceat(np.where(good, spans.low, np.inf), begins), np.nan),
        np.where(some, np.maximum.reduceat(np.where(good, spans.high, -np.inf), begins), np.nan),
        np.maximum.reduceat(within, begins),
        np.zeros(begins.size),
        np.add.reduceat(spans.count, begins),
    )


def _apart(spans: _Spans, longest: float) -> NDArray[np.bool_]:
    """Whether the line is broken somewhere between the span before and the end of a span."""
    between = np.diff(spans.first, prepend=spans.first[0]) / NANOSECONDS
    between[1:] = (spans.first[1:] - spans.last[:-1]) / NANOSECONDS
    found: NDArray[np.bool_] = (between > longest) | ((spans.count > 1) & (spans.apart > longest))
    return found


def _breaks(spans: _Spans, longest: float) -> NDArray[np.bool_]:
    """Whether the line is broken after each span; that the last one is not."""
    good = ~np.isnan(spans.low)
    between = (spans.first[1:] - spans.last[:-1]) / NANOSECONDS
    after = (between > longest) | ((spans.apart[1:] > longest) & (spans.count[1:] > 1)) | spans.broken[:-1]
    return np.append(after & good[:-1] & good[1:], False)


def _with_breaks(spans: _Spans, longest: float, most: int, spacing: float) -> Overview:
    """The picture: a NaN for each run of spans without a value, and where the line is broken."""
    good = ~np.isnan(spans.low)
    keep = good | np.append(False, good[:-1])  # of a run without values the first
    keep &= np.cumsum(good) > 0
    after = np.flatnonzero(_breaks(spans, longest))
    if after.size > most:
        length = spans.first[after + 1] - spans.last[after]
        after = np.sort(after[np.argsort(length, kind="stable")[after.size - most :]])
    middle = (spans.last[after] + spans.first[np.minimum(after + 1, spans.first.size - 1)]) // 2
    places = np.concatenate([np.flatnonzero(keep), after + 0.5])
    order = np.argsort(places, kind="stable")
    gaps = np.full(after.size, np.nan)
    columns = (
        np.concatenate([spans.first[keep], middle]),
        np.concatenate([spans.last[keep], middle]),
        np.concatenate([spans.low[keep], gaps]),
        np.concatenate([spans.high[keep], gaps]),
    )
    time, until, low, high = (column[order] for column in columns)
    stays = slice(0, time.size - int(time.size > 0 and bool(np.isnan(low[-1]))))
    return Overview(time[stays], until[stays], low[stays], high[stays], spacing)
