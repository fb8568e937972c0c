"""First-order instruments in numbers: how far one has followed a change, and where it is heading."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.ranges import bounded

REFUSED_BELOW = 4.0
"""Smallest bend of three readings that says something, in standard deviations of a reading. [1]"""


def first_order(time: ArrayLike, response_time: ArrayLike) -> NDArray[np.float64]:
    """Share of a sudden change that a first-order instrument shows after a time.

    time : (...) since the change, value >= 0. [s]
    response_time : (...) time constant of the instrument, value > 0. [s]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: instruments with one dominant lag; a transport delay, as of an analyser's sampling line, comes on top.
    Method: 1 - exp(-time / response_time).
    Source: the step response of a first-order system, any text on measurement.
    """
    elapsed = bounded(time, 0.0) / bounded(response_time, above=0.0)
    return -np.expm1(-elapsed)[()]


def settling_time(response_time: ArrayLike, share: ArrayLike) -> NDArray[np.float64]:
    """Time until a first-order instrument shows a given share of a sudden change.

    response_time : (...) time constant of the instrument, value > 0. [s]
    share : (...) of the change that is shown, 0 <= value < 1. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [s]

    Valid: as `first_order`.
    Method: -response_time * ln(1 - share).
    Source: the step response of a first-order system solved for time.
    """
    return (bounded(response_time, above=0.0) * -np.log1p(-bounded(share, 0.0, below=1.0)))[()]


def final_value(first: ArrayLike, second: ArrayLike, third: ArrayLike, noise: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Value that a settling instrument is heading for, from three readings at equal spacing.

    first : (...) earliest reading, in any unit that all readings share. [1]
    second : (...) reading one spacing later. [1]
    third : (...) reading two spacings later. [1]
    noise : (...) standard deviation of a reading, value >= 0; default none. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, where first + third - 2 * second is
        smaller than four times the noise, and where the second step is not a smaller one in the same direction. [1]

    Valid: one first-order approach to a constant, readings that still change by much more than the noise. Near the end
        the answer would rest on the noise and is refused: there the last reading is the better number.
    Method: (first * third - second**2) / (first + third - 2 * second), written from the third reading on.
    Source: the time constant eliminated from three equations of the step response (Aitken's delta-squared, Proceedings
        of the Royal Society of Edinburgh 46, 1926); four times the noise: common practice, no published source.
    """
    _, later, bend, end = _steps(first, second, third, noise)
    return (end - later * (later / bend))[()]


def time_constant(
    first: ArrayLike, second: ArrayLike, third: ArrayLike, spacing: ArrayLike, noise: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Time constant of a settling instrument, from three readings at equal spacing.

    first : (...) earliest reading, in any unit that all readings share. [1]
    second : (...) reading one spacing later. [1]
    third : (...) reading two spacings later. [1]
    spacing : (...) time from one reading to the next, value > 0. [s]
    noise : (...) standard deviation of a reading, value >= 0; default none. [1]
    returns : (...) broadcast shape; NaN where `final_value` is, and where the second step is nothing. [s]

    Valid: as `final_value`.
    Method: spacing / ln((second - first) / (third - second)).
    Source: ratio of two steps of the step response of a first-order system.
    """
    earlier, later, _, _ = _steps(first, second, third, noise)
    later = np.where(later == 0, np.nan, later)
    return (bounded(spacing, above=0.0) / np.log(earlier / later))[()]


def _steps(
    first: ArrayLike, second: ArrayLike, third: ArrayLike, noise: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Both steps, their difference and the third reading; NaN where they are refused."""
    limit = 1e150
    start, middle, end = (bounded(reading, -limit, limit) for reading in (first, second, third))
    earlier, later = middle - start, end - middle
    bend = later - earlier
    shrinking = (np.sign(earlier) * later >= 0) & (np.abs(later) < np.abs(earlier)) & (bend != 0)
    told = np.abs(bend) >= REFUSED_BELOW * bounded(noise, 0.0)
    kept = shrinking & told
    return (
        np.where(kept, earlier, np.nan),
        np.where(kept, later, np.nan),
        np.where(kept, bend, np.nan),
        np.where(kept, end, np.nan),
    )
