"""Slow instruments over time: what they show of an input, and what input stood before what they showed."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from analysis.model import Series

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

FEWEST_IN_WINDOW = 5
"""Fewest readings that a rate of change is taken from. [1]"""
BESIDE_A_STEP = 0.75
"""Largest error beside a step over the change seen from a quarter window before to one after: 0.727, rounded up. [1]"""


@dataclass(frozen=True, slots=True, eq=False)
class Unlagged:
    """What stood before a slow instrument, and how sure that is.

    series : Series; NaN where it is refused. [-]
    u : standard uncertainty of each value, NaN where there is none, in the unit of the values. [-]
    window : (...) length of the stretch that each value was taken from; NaN where no length would do. [s]
    """

    series: Series
    u: Array
    window: float


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Least-squares lines, one for each stretch of readings."""

    count: Array
    """(n,) readings in the stretch. [1]"""
    time: Array
    """(n,) mean time; NaN without readings. [s]"""
    value: Array
    """(n,) mean value."""
    slope: Array
    """(n,) NaN without two different times. [unit of the values / s]"""
    spread: Array
    """(n,) sum of squared times about their mean. [s2]"""
    left: Array
    """(n,) sum of squared values about the line. [unit of the values, squared]"""


def lagged(series: Series, response_time: float) -> Series:
    """What a first-order instrument shows of an input.

    series : Series: the input. [-]
    response_time : (...) time constant of the instrument, value > 0. [s]
    returns : Series, at the same times; NaN where the input is, and everywhere where the time constant is
        out of range. [-]

    Valid: an instrument that had settled on the first value; the input straight between readings, also across missing
        ones.
    Method: exact solution of response_time * dy/dt + y = x over each straight piece, whatever its length.
    Source: linear differential equation of first order, integrating factor.
    """
    good = np.isfinite(series.value)
    shown = np.full(series.value.shape, np.nan)
    if not 0 < response_time < math.inf or not good.any():
        return replace(series, value=shown)
    value = series.value[good]
    elapsed = np.diff(series.time[good]) / response_time
    behind = np.diff(value) / elapsed
    kept = np.exp(-elapsed)
    added = value[1:] - behind - kept * (value[:-1] - behind)
    followed = [float(value[0])]
    for share, increase in zip(kept.tolist(), added.tolist(), strict=True):
        followed.append(share * followed[-1] + increase)
    shown[good] = followed
    return replace(series, value=shown)


def undo_lag(
    series: Series,
    response_time: float,
    noise: float | None = None,
    amplification: float = 3.0,
    limit: float = math.inf,
) -> Unlagged:
    """What stood before a first-order instrument, from what it showed.

    series : Series: what the instrument showed. [-]
    response_time : (...) time constant of the instrument, value > 0. [s]
    noise : standard deviation of a reading, independent from one to the next, in the unit of the values, value >= 0;
        default None: from the scatter about short straight lines. Give it where the display's steps are coarse. [-]
    amplification : (...) largest standard uncertainty by noise, in multiples of the noise, value > 0. [1]
    limit : largest standard uncertainty in all, in the unit of the values, value > 0; default none. [-]
    returns : Unlagged, at the same times; NaN where the readings have no value, are fewer than five in a
        window or lie to one side (within half a window of an end or of a hole), or where one of the limits is exceeded;
        all NaN where five readings take longer than the time constant. [-]

    Valid: one dominant lag with a time constant that is known; its error is not in `u`. For recordings, not for live
        alarms: each value looks half a window ahead and back, so that a step is spread over a window about its true
        moment, neither late nor early, and a steady rise comes out without bias.
    Method: value at the time of the least-squares line through the readings within half a window, plus response_time
        times its slope: the input averaged over the window. Of windows from five readings to one time constant the one
        with the smallest mean square of `u`. `u` joins what the noise does to that sum and the spreading: rectangular,
        0.75 times the change of the input from a quarter window before to one after, as far as it exceeds its own
        noise. That bounds the error beside a step, and is too much where the input changes steadily.
    Source: x = y + response_time * dy/dt; local linear regression as in Fan and Gijbels, Local Polynomial Modelling and
        its Applications, 1996, chapter 3; choice of window and bound beside a step: derived for this program.
    """
    nothing = np.full(series.value.shape, np.nan)
    refused = Unlagged(replace(series, value=nothing), nothing.copy(), math.nan)
    good = np.flatnonzero(np.isfinite(series.value))
    asked = 0 < response_time < math.inf and amplification > 0 and limit > 0 and (noise is None or noise >= 0)
    if not asked or good.size < FEWEST_IN_WINDOW:
        return refused
    time, value = series.time[good] - series.time[good[0]], series.value[good]
    best, best_score = None, math.inf
    for length in _lengths(time, response_time):
        lines = _lines_about(time, value, length / 2)
        if noise is None or math.isnan(noise):
            noise = _scatter(lines)
        found, u = _inputs(time, lines, noise, length / 2, response_time=response_time, amplification=amplification)
        usable = np.isfinite(u)
        share = np.count_nonzero(usable) / usable.size
        score = math.sqrt(float(np.mean(u[usable] ** 2))) / share**2 if share else math.inf
        if score < best_score:
            best, best_score = (found, u, length), score
    if best is None:
        return refused
    found, u, length = best
    kept = u <= limit
    inputs, sureness = nothing.copy(), nothing.copy()
    inputs[good], sureness[good] = np.where(kept, found, np.nan), np.where(kept, u, np.nan)
    return Unlagged(replace(series, value=inputs), sureness, length)


def fitted(time: Array, value: Array, low: Indices, high: Indices) -> Lines:
    """Least-squares lines through readings `low` to before `high` (one at least), neither decreasing; linear time."""
    parts = [np.empty((6, 0))]
    for stretch, inside, begin, end in chunks(low, high):
        middle = float(np.mean(time[inside]))
        origin = float(value[inside][0])
        times, values = time[inside] - middle, value[inside] - origin
        products = (times, values, times * times, times * values, values * values)
        sums = [np.concatenate(([0.0], np.cumsum(product))) for product in products]
        t, v, tt, tv, vv = (total.take(end) - total.take(begin) for total in sums)
        count = np.maximum((high - low)[stretch], 0).astype(np.float64)
        some = np.where(count > 0, count, np.nan)
        spread = np.maximum(tt - t * t / some, 0.0)
        slope = (tv - t * v / some) / np.where((count > 1) & (spread > 0), spread, np.nan)
        left = np.maximum(vv - v * v / some - slope * slope * spread, 0.0)
        parts.append(np.stack([count, t / some + middle, v / some + origin, slope, spread, left]))
    return Lines(*np.concatenate(parts, axis=1))


def chunks(low: Indices, high: Indices) -> Iterator[tuple[slice, slice, Indices, Indices]]:
    """Stretches `low` to before `high` in groups of close ones, so that running sums over a group stay small.

    Yields which stretches, which readings they touch, and `low` and `high` counted from the first of these.
    """
    if low.size == 0:
        return
    size = max(4096, 4 * int(np.max(high - low)))
    first = 0
    while first < low.size:
        start = int(low[first])
        after = max(first + 1, int(np.searchsorted(high, start + size, side="right")))
        stretch = slice(first, after)
        yield stretch, slice(start, int(high[after - 1])), low[stretch] - start, high[stretch] - start
        first = after


def _lengths(time: Array, response_time: float) -> list[float]:
    """Windows to try, each longer by the square root of two, from five readings to one time constant. [s]"""
    shortest = (FEWEST_IN_WINDOW - 0.8) * float(np.median(np.diff(time)))
    if shortest > response_time:
        return []
    steps = math.ceil(2 * math.log2(response_time / shortest))
    return [min(shortest * 2 ** (step / 2), response_time) for step in range(steps + 1)]


def _lines_about(time: Array, value: Array, half: float) -> Lines:
    """The line about each reading; NaN where there are few readings or most lie to one side."""
    low, high = np.searchsorted(time, time - half, "left"), np.searchsorted(time, time + half, "right")
    lines = fitted(time, value, low, high)
    here = np.arange(time.size)
    sparse = (lines.count < FEWEST_IN_WINDOW) | (here - low < 1) | (high - 1 - here < 1)
    lopsided = np.abs(lines.time - time) > half / 2
    return replace(lines, slope=np.where(sparse | lopsided, np.nan, lines.slope))


def _scatter(lines: Lines) -> float:
    """Standard deviation of a reading: the median over the lines, so that steps and spikes do not count."""
    usable = np.isfinite(lines.slope)
    if not usable.any():
        return math.nan
    return math.sqrt(float(np.median(lines.left[usable] / _chi_squared(lines.count[usable], 0.5))))


def _chi_squared(count: Array, share: float) -> Array:
    """What the sum of squares about a line through so many readings exceeds in that share of cases. [noise squared]"""
    freedom = np.maximum(count - 2, 1).astype(np.int64)
    table: Array = chdtri(np.arange(1, np.max(freedom) + 1), share)
    return table[freedom - 1]


def _inputs(
    time: Array, lines: Lines, noise: float, half: float, *, response_time: float, amplification: float
) -> tuple[Array, Array]:
    """Input at each reading and its standard uncertainty; NaN where it is refused."""
    ahead = time - lines.time + response_time
    found = lines.value + ahead * lines.slope
    grown = np.sqrt(1 / lines.count + ahead**2 / np.where(np.isfinite(lines.slope), lines.spread, np.nan))
    kept = grown <= amplification
    if not kept.any():
        return np.full(time.shape, np.nan), np.full(time.shape, np.nan)
    freedom = np.maximum(lines.count - 2, 1)
    rough = lines.left > noise**2 * _chi_squared(lines.count, 0.001)
    variance = np.where(rough, lines.left / freedom, noise**2) * grown**2
    before, after = (np.interp(time + shift, time[kept], found[kept]) for shift in (-half / 2, half / 2))
    change = np.maximum((after - before) ** 2 - 2.5 * variance, 0.0)
    u = np.sqrt(variance + BESIDE_A_STEP**2 * change / 3)
    return np.where(kept, found, np.nan), np.where(kept, u, np.nan)
