"""Valid ranges of inputs: what lies outside becomes NaN before anything is computed from it."""

import math
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray


def bounded(
    values: ArrayLike,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    above: float = -math.inf,
    below: float = math.inf,
) -> NDArray[np.float64]:
    """The values, with NaN where one is infinite or NaN, or outside `low <= value <= high`, `above < value < below`.

    values : (...) any unit. [-]
    low, high : ends that still belong to the range. [unit of the values]
    above, below : ends that do not. [unit of the values]
    returns : (...) a new array of float64; no dimensions for a plain number. [unit of the values]
    """
    if isinstance(values, float):  # thousands of them come live, one at a time
        inside = low <= values <= high and above < values < below
        return cast(NDArray[np.float64], np.float64(values if inside else math.nan))
    numbers = np.asarray(values, np.float64)
    kept = (numbers >= low) & (numbers <= high) & (numbers > above) & (numbers < below)
    return np.where(kept, numbers, np.nan)


quiet = np.errstate(over="ignore", divide="ignore", invalid="ignore")
"""Decorator: absurdly large inputs overflow without a warning; `finite` makes NaN of what comes out."""


def finite(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The values with NaN for what overflowed; a plain number for an array without dimensions.

    values : (...) any unit. [-]
    returns : (...) the same shape. [unit of the values]
    """
    if isinstance(values, float):
        return values if math.isfinite(values) else cast(NDArray[np.float64], np.float64(math.nan))
    return np.where(np.isfinite(values), values, np.nan)[()]
