"""Fewer points for the screen: extremes stay, and a gap stays a gap."""

import numpy as np
from numpy.typing import NDArray
from tsdownsample import MinMaxDownsampler

Array = NDArray[np.float64]

SMALLEST = 24
"""Fewest points that `thin` works with. [1]"""
SHORTEST_BREAK, SPACINGS = 3.0, 5.0
"""A line is broken where readings are further apart than this [s], and than so many of their usual spacings. [1]"""


def usual_spacing(time: Array) -> float:
    """Median distance between readings, NaN for fewer than two. [unit of time]"""
    return float(np.median(np.diff(time))) if time.size > 1 else float("nan")


def longest_line(spacing: float) -> float:
    """Distance above which a line through readings of this usual spacing is broken, both in s; NaN is no spacing."""
    return SHORTEST_BREAK if np.isnan(spacing) else max(SHORTEST_BREAK, SPACINGS * spacing)


def with_gaps(time: Array, value: Array, gap: float) -> tuple[Array, Array]:
    """The same with a NaN in the middle of every spacing above `gap`, so that no line is drawn across it.

    time : (n,) strictly increasing. [s]
    value : (n,)
    gap : largest spacing that counts as continuous. [s]
    returns : (m,) time [s] and value, m >= n
    """
    before = np.flatnonzero(np.diff(time) > gap)
    middle = (time[before] + time[before + 1]) / 2
    return np.insert(time, before + 1, middle), np.insert(value, before + 1, np.nan)


def thin(time: Array, value: Array, points: int) -> tuple[Array, Array]:
    """At most `points` of them: smallest and largest of each of many equal spans of time, and where lines break.

    A run of values that are not finite is one NaN in the result; leading and trailing ones are left out. Both edges
    of each such gap stay. Where there are more than points / 6 gaps, the longest are kept and the others bridged.

    time : (n,) strictly increasing. [s]
    value : (n,) NaN where there is none.
    points : most points wanted, 24 or more. [1]
    returns : (m,) time [s] and value, m <= max(n, points)
    """
    if points < SMALLEST:
        raise ValueError(f"thinning to {points} points; ask for {SMALLEST} or more")
    if time.size <= points:
        return time, value
    good = np.flatnonzero(np.isfinite(value))
    if good.size == 0:
        return time[:0], value[:0]
    last_before_gap = _longest_gaps(time, good, points // 6)
    budget = (points - 3 * last_before_gap.size - 2) // 2 * 2
    sampler = MinMaxDownsampler()  # type: ignore[no-untyped-call]
    extremes = sampler.downsample(time[good], value[good], n_out=budget)
    edges = np.concatenate(([0, good.size - 1], last_before_gap, last_before_gap + 1))
    kept = good[np.union1d(extremes.astype(np.int64), edges)]
    index = np.union1d(kept, good[last_before_gap] + 1)
    thinned = value[index]
    thinned[~np.isfinite(thinned)] = np.nan
    return time[index], thinned


def _longest_gaps(time: Array, good: NDArray[np.int64], most: int) -> NDArray[np.int64]:
    """Positions in `good` of the last value before each gap, the longest `most` of them."""
    before = np.flatnonzero(np.diff(good) > 1)
    if before.size <= most:
        return before
    length = time[good[before + 1]] - time[good[before]]
    return np.sort(before[np.argsort(length, kind="stable")[before.size - most :]])
