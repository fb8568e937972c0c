"""Whether what was recorded stood still: steady stretches, and the value that one of them gives."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from analysis import points, unlag
from analysis.lag import final_value, first_order, settling_time, time_constant
from analysis.model import Series
from analysis.quantity import Derivation, Error, Quality, Quantity
from analysis.unlag import Unlagged, lagged, undo_lag

__all__ = [
    "Span",
    "Unlagged",
    "final_value",
    "first_order",
    "lagged",
    "plateau",
    "settling_time",
    "steady_spans",
    "time_constant",
    "undo_lag",
]

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

PARTS = 32
"""Most parts of a window whose means show how far its scatter is correlated. [1]"""
BEGINNINGS = 16
"""Windows that begin within the length of one. [1]"""
LENGTHS = (1, 2, 4, 8)
"""Lengths of the windows tried, in shortest ones: where the scatter is large only a longer one can tell. [1]"""
MOST_BATCHES = 128
"""Most parts of a span whose means do. [1]"""
FEWEST_READINGS = 8
"""Fewest readings that a window can be asked to have. [1]"""
FEWEST = 8.0
"""Effective readings below which a plateau is doubtful. [1]"""
PROBABILITY = 0.95
"""Coverage behind `not distinguishable from zero`. [1]"""
TICK = 1e-6
"""Times since 1970 are exact to a quarter of this. [s]"""
ROUNDING = 1e-9
"""Changes below this share of the readings' range or size are rounding. [1]"""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time, both ends belonging to it.

    start : (...) UTC since 1970. [s]
    end : (...) UTC since 1970. [s]
    """

    start: float
    end: float


def steady_spans(
    series: Series, response_time: float, u: float, readings: int = 12, gap: float | None = None
) -> tuple[Span, ...]:
    """Stretches over which a recording stood still, as far as its instrument can tell.

    series : Series. [-]
    response_time : (...) time constant of the instrument, value >= 0. [s]
    u : standard uncertainty of the instrument, in the unit of the values, value > 0. [-]
    readings : (...) fewest readings in a window, value >= 8. [1]
    gap : (...) longest stretch without a good reading that does not end a span, value > 0; default None: a reading
        without a value ends it, and so does a hole of more than five usual spacings and one response time. [s]
    returns : tuple of Span in order of time, not overlapping; empty where a parameter is out of range. [-]

    Valid: one level at a time; readings of one instrument with one response time.
    Method: a window lasts three response times or 2, 4 or 8 times that, and has as many times the readings asked for;
        one begins at every 16th part of a window, or at every reading where these are fewer. It is steady where its
        least-squares slope times its length is below U/2 = u; where the slope is not distinguishable from zero (its
        standard error from the means of up to 32 parts of the window about the line, widened for the correlation of
        neighbours, freedom reduced likewise, Student's t at 95 %); and where both together are below U, so that scatter
        does not pass for steadiness. Steady windows that overlap by a quarter of the shortest become one span, cut
        where the line through it has come to change by U: many windows on a slow ramp do not add up to a long span.
        Readings at its ends farther from its median than u and four median distances are left off: a change has begun.
    Source: slope not distinguishable from zero and below U/2: common practice, no published source; effective number of
        readings: Santer et al., Statistical significance of trends, Journal of Geophysical Research 105(D6), 2000,
        equations 3 to 6; the rest derived for this program.
    """
    good = np.flatnonzero(np.isfinite(series.value))
    asked = (
        0 <= response_time < math.inf and 0 < u < math.inf and readings >= FEWEST_READINGS and (gap is None or gap > 0)
    )
    if not asked or good.size < readings:
        return ()
    time, value = series.time[good] - series.time[good[0]], series.value[good]
    pieces = _pieces(good, time, response_time, gap)
    found = np.empty((2, 0), np.int64)
    for times in LENGTHS:
        windows = _windows(time, pieces, 3 * response_time * times, readings * times)
        windows = windows[:, ~_within(windows, _joined(found))]
        found = np.concatenate([found, windows[:, _still(time, value, windows[0], windows[1] + 1, u)]], axis=1)
    spans, after = [], 0
    found = found[:, np.lexsort(found[::-1])]
    for run in np.split(found, np.searchsorted(found[0], _joined(found)[0, 1:]), axis=1) if found.size else ():
        for stretch in _cut(time, value, run, 2 * u):
            first, final = _trimmed(value, *stretch, u)
            first = max(first, after)
            if final - first + 1 >= readings and time[final] - time[first] >= 3 * response_time - TICK:
                spans.append(Span(float(series.time[good[first]]), float(series.time[good[final]])))
                after = final + 1
    return tuple(spans)


def plateau(series: Series, span: Span) -> Quantity:
    """Value at which a recording stood during a span, with what scatter and drift leave open.

    series : Series. [-]
    span : Span; the readings at its ends count. [-]
    returns : Quantity in the inside unit of the point, with a budget of noise and drift; the accuracy of the instrument
        comes on top. SUSPECT where drift is most of it, fewer than eight readings are as good as independent, or there
        are none in more than half of the span; no value without readings; `u` is NaN for one or two. [-]

    Valid: a span without a change of level, as `steady_spans` gives; scatter whose memory is short against the
        span: a wander as slow as the span looks like drift or like nothing. The coarse steps of a display are part of
        the instrument's accuracy, not of this.
    Method: mean of the readings. Noise: scatter about the least-squares line, widened for correlation by the initial
        positive sequence of the autocovariances of up to 128 batch means, cut where a pair of lags falls below its own
        standard deviation, and corrected for the line taken out; degrees of freedom: effective readings less two.
        Drift: the line over the span as a rectangular error, as far as its slope exceeds its own noise.
    Source: Geyer, Practical Markov chain Monte Carlo, Statistical Science 7, 1992, section 3.3; JCGM 100:2008, 4.3.7;
        batches, cut and reduction of the drift by its noise: chosen by coverage on simulated series.
    """
    unit = points.measure_of(series.channel.point).inside
    name = f"{series.channel.key}, {_moment(span.start)} to {_moment(span.end)}"
    inside = slice(np.searchsorted(series.time, span.start, "left"), np.searchsorted(series.time, span.end, "right"))
    kept = np.isfinite(series.value[inside])
    if not kept.any():
        return Quantity(math.nan, unit, quality=Quality.BAD, reason=f"no reading with a value of {name}")
    time, value = series.time[inside][kept] - span.start, series.value[inside][kept]
    level = float(value[0] + np.mean(value - value[0]))
    if value.size < 3:
        reason = f"only {value.size} of the three readings that show scatter, of {name}"
        return Quantity(level, unit, quality=Quality.SUSPECT, reason=reason)
    centred, about = time - np.mean(time), value - level
    spread = float(centred @ centred)
    slope = float(centred @ about) / spread
    variance, effective, freedom = _noise(about - slope * centred)
    noise = math.sqrt(variance / value.size)
    shape = (time[-1] - time[0]) ** 2 / 12 + ((time[0] + time[-1]) / 2 - np.mean(time)) ** 2
    beyond = max(slope**2 - variance / spread, 0.0)
    drift = math.copysign(math.sqrt(beyond * shape), slope) if _is_change(slope, time, value) else 0.0
    u = math.hypot(noise, drift)
    tested = abs(slope) > float(stdtrit(freedom, (1 + PROBABILITY) / 2)) * math.sqrt(variance / spread)
    doubts = _doubts(span, time, effective, drifting=tested and abs(drift) > 2 * noise)
    return Quantity(
        level,
        unit,
        u,
        freedom * (u / noise) ** 4 if noise > 0 else math.inf,
        (
            (Error(f"{name}: noise", freedom=freedom, statistical=True), noise),
            (Error(f"{name}: drift", "rectangular"), drift),
        ),
        quality=Quality.SUSPECT if doubts else Quality.GOOD,
        reason=f"{' and '.join(doubts)}, of {name}" if doubts else "",
        how=Derivation(
            "plateau",
            f"Mean of the readings of {name}",
            (("readings", str(value.size)), ("as good as independent ones", f"{effective:.0f}")),
            "a span without a change of level.",
            "mean; scatter about a straight line, widened for correlation; slope as a rectangular error.",
            "Geyer, Statistical Science 7, 1992; JCGM 100:2008, 4.3.7.",
        ),
    )


def _pieces(good: Indices, time: Array, response_time: float, gap: float | None) -> Indices:
    """Number of the uninterrupted piece that each good reading belongs to."""
    hole = np.diff(time)
    longest = max(5 * float(np.median(hole)), response_time) if gap is None else gap
    ended = (hole > longest) | ((np.diff(good) > 1) & (gap is None))
    return np.concatenate(([0], np.cumsum(ended)))


def _windows(time: Array, pieces: Indices, length: float, readings: int) -> Indices:
    """(2, n) first and last reading of each window, all within one piece."""
    long_enough = np.searchsorted(time, time + length - TICK)
    last = np.maximum(long_enough, np.arange(time.size) + readings - 1)
    starts = np.flatnonzero(last < time.size)
    starts = starts[pieces[starts] == pieces[last[starts]]]
    if starts.size:
        step = max(1, int(np.median(last[starts] - starts + 1)) // BEGINNINGS)
        final = np.append(np.diff(pieces[starts]) > 0, [True])
        starts = starts[(starts % step == 0) | final]
    return np.stack([starts, last[starts]])


def _joined(windows: Indices) -> Indices:
    """(2, m) first and last reading of what windows that clearly overlap cover together, in order of time."""
    starts, ends = windows[:, np.argsort(windows[0], kind="stable")]
    reached = np.maximum.accumulate(ends)
    overlap = (
        int(np.min(ends - starts)) // 4 if starts.size else 0
    )  # a few readings of a step may end or begin a window
    apart = starts[1:] > reached[:-1] - overlap
    some = [True] if starts.size else []
    return np.stack([starts[np.append(some, apart).astype(bool)], reached[np.append(apart, some).astype(bool)]])


def _within(windows: Indices, stretches: Indices) -> NDArray[np.bool_]:
    """Whether each window lies within one of the stretches, which do not overlap."""
    before = np.searchsorted(stretches[0], windows[0], side="right")
    reached = np.append(-1, stretches[1])[before]
    inside: NDArray[np.bool_] = reached >= windows[1]
    return inside


def _still(time: Array, value: Array, low: Indices, high: Indices, u: float) -> NDArray[np.bool_]:
    """Whether each window, readings `low` to before `high`, is steady."""
    lines = unlag.fitted(time, value, low, high)
    length = time[high - 1] - time[low]
    error = np.full(low.size, np.inf)
    for stretch, inside, begin, end in unlag.chunks(low, high):
        middle, origin = float(np.mean(time[inside])), float(value[inside][0])
        times = np.concatenate(([0.0], np.cumsum(time[inside] - middle)))
        values = np.concatenate(([0.0], np.cumsum(value[inside] - origin)))
        parts = np.minimum(end - begin, PARTS)
        for number in np.unique(parts):
            here = np.flatnonzero(parts == number)
            edges = begin[here, None] + (end - begin)[here, None] * np.arange(number + 1) // number
            count = np.diff(edges, axis=1)
            of = here + stretch.start
            along = np.diff(times[edges], axis=1) / count - (lines.time[of, None] - middle)
            left = (
                np.diff(values[edges], axis=1) / count
                - (lines.value[of, None] - origin)
                - lines.slope[of, None] * along
            )
            error[of] = _slope_error(left, count, lines.spread[of])
        size = np.ptp(value[inside]) + ROUNDING * np.max(np.abs(value[inside]))
        error[stretch] += ROUNDING * size / length[stretch]
    slope = np.abs(lines.slope)
    steady: NDArray[np.bool_] = (slope <= error) & ((slope + error) * length < 2 * u)  # so slope * length < u
    return steady


def _slope_error(left: Array, count: Indices, spread: Array) -> Array:
    """Largest slope that is not distinguishable from zero, from what the means of parts leave about the line."""
    number = left.shape[1]
    squares = np.sum(count * left**2, axis=1)
    neighbours = np.sum(np.sqrt(count[:, 1:] * count[:, :-1]) * left[:, 1:] * left[:, :-1], axis=1)
    seen = np.divide(neighbours, squares, out=np.zeros(squares.shape), where=squares > 0)
    correlation = np.clip((seen + 2 / number) / (1 - 4 / number), 0.0, 0.95)  # a line through few parts hides some
    effective = number * (1 - correlation) / (1 + correlation)
    grid = np.linspace(1.0, PARTS, 2000)
    student = np.interp(np.maximum(effective - 2, 1.0), grid, stdtrit(grid, (1 + PROBABILITY) / 2))
    error: Array = student * np.sqrt(squares / np.maximum(effective - 2, 0.5) / spread)
    return error


def _cut(time: Array, value: Array, windows: Indices, limit: float) -> Iterator[tuple[int, int]]:
    """First and last reading of each stretch of windows, in order, over which the line changes by at most `limit`."""
    starts, ends = windows
    longest = int(np.max(ends))
    position = 0
    while position < starts.size:
        first, shortest = int(starts[position]), int(ends[position])
        final = first + _until(time[first:], value[first:], shortest - first, longest - first, limit)
        yield first, final
        position = int(np.searchsorted(starts, final, side="right"))


def _trimmed(value: Array, first: int, final: int, u: float) -> tuple[int, int]:
    """The same without readings at its ends that already belong to a change: too few to show in a slope."""
    away = np.abs(value[first : final + 1] - np.median(value[first : final + 1]))
    near = np.flatnonzero(away <= u + 4 * float(np.median(away)))
    return first + int(near[0]), first + int(near[-1])


def _until(time: Array, value: Array, shortest: int, longest: int, limit: float) -> int:
    """Last reading before the line from the first on has come to change by more than `limit`."""
    size = 4 * (shortest + 1)
    while True:
        times = time[: min(size, longest + 1)] - time[0]
        values = value[: times.size] - value[0]
        enough = slice(shortest, times.size)
        count = np.arange(1, times.size + 1)[enough]
        products = (times, values, times * times, times * values)
        t, v, tt, tv = (np.cumsum(product)[enough] for product in products)
        change = np.abs((tv - t * v / count) / (tt - t * t / count)) * times[enough]
        beyond = np.flatnonzero(change > limit)
        if beyond.size:
            return shortest + max(int(beyond[0]) - 1, 0)
        if times.size > longest:
            return longest
        size *= 4


def _noise(left: Array) -> tuple[float, float, float]:
    """Variance of the mean times the number of readings, readings as good as independent, degrees of freedom."""
    size = max(1, left.size // MOST_BATCHES)
    number = left.size // size
    edges = np.arange(number) * left.size // number
    counts = np.diff(np.append(edges, left.size))
    batches = np.add.reduceat(left, edges) / np.sqrt(counts)
    squares = float(batches @ batches)
    if squares == 0:
        return 0.0, float(left.size), float(left.size - 2)
    covariances = np.correlate(batches, batches, "full")[number - 1 :] / np.arange(number, 0, -1)
    pairs = covariances[1 : 2 * (number // 4) + 1].reshape(-1, 2).sum(axis=1)
    short = np.flatnonzero(pairs < covariances[0] * math.sqrt(2 / number))
    positive = np.minimum.accumulate(pairs[: short[0] if short.size else pairs.size])
    lags = 4 * positive.size + 1
    variance = (covariances[0] + 2 * float(np.sum(positive))) * number / (number - 2 * min(lags, 0.35 * number))
    alone = float(left @ left) / (left.size - 2)
    effective = left.size * min(alone / float(variance), 1.0)
    independent = min(number * min(squares / (number - 2) / variance, 1.0), effective)
    return float(variance), effective, max(float(independent) - 2, 1.0)


def _is_change(slope: float, time: Array, value: Array) -> bool:
    """Whether a slope is more than rounding."""
    size = float(np.ptp(value) + ROUNDING * np.max(np.abs(value)))
    return abs(slope) * float(time[-1] - time[0]) > ROUNDING * size


def _doubts(span: Span, time: Array, effective: float, *, drifting: bool) -> list[str]:
    """What makes a plateau doubtful."""
    hole = float(np.max(np.diff(np.concatenate(([0.0], time, [span.end - span.start])))))
    doubts = []
    if effective < FEWEST * (1 - ROUNDING):
        doubts.append(f"only {effective:.1f} of {time.size} readings are as good as independent")
    if drifting:
        doubts.append("most of the uncertainty is drift")
    if hole > (span.end - span.start) / 2:
        doubts.append(f"no readings for {hole:.0f} s")
    return doubts


def _moment(time: float) -> str:
    try:
        return datetime.fromtimestamp(time, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    except (ValueError, OverflowError, OSError):
        return f"{time} s"
