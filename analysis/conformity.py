"""Is it within its limits, and can that be told at all: decisions that count the uncertainty."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, stdtr, stdtrit

from analysis.quantity import Quality, Quantity

AT_THE_LIMIT = 0.1
"""A value for which the uncertainty would have to fall below this share is at the limit itself; our choice."""

_SLACK = 1e-9
"""Share of the uncertainty that rounding may take."""
_HALF_95 = float(ndtri(0.975))
"""Half width of a normal 95 % interval, in standard uncertainties."""
_TWO_SIGMA = float(ndtr(2.0))


@dataclass(frozen=True, slots=True)
class Conformity:
    """A judgement of a value against limits."""

    verdict: Literal["pass", "fail", "cannot_tell", "not_measured"]
    probability: float
    """Probability that the true value is within the limits, NaN where it cannot be said. [1]"""
    why: str
    """One sentence with the numbers."""
    remedy: str = ""
    """What would tell, where it cannot be told; else empty."""


@dataclass(frozen=True, slots=True)
class _Spread:
    """Where the true value may be."""

    centre: float
    below: float
    """From the centre to the lower end of the coverage interval."""
    above: float
    freedom: float
    factor: float
    """Coverage factor of the two. [1]"""

    def share_below(self, limit: float, *, inclusive: bool) -> float:
        """Probability that the true value is below a limit, or at it where `inclusive`."""
        side = self.above if limit > self.centre else self.below
        if side == 0:
            return float(limit > self.centre or (inclusive and limit == self.centre))
        deviation = (limit - self.centre) / side * self.factor
        return float(ndtr(deviation) if math.isinf(self.freedom) else stdtr(self.freedom, deviation))


def coverage_factor(freedom: ArrayLike) -> NDArray[np.float64]:
    """How many standard uncertainties make an expanded one: 2, and more for few degrees of freedom.

    freedom : (...) effective degrees of freedom, value > 0; may be infinite. [1]
    returns : (...) same shape; NaN where the input is NaN or out of range. [1]

    Valid: a result whose distribution is normal or a t-distribution.
    Method: quantile of the t-distribution for 95.45 %, which is 2 for infinite degrees of freedom; not rounded.
    Source: JCGM 100:2008, G.3.2, G.6.4 and table G.2.
    """
    degrees = np.asarray(freedom, np.float64)
    few = np.isfinite(degrees) & (degrees > 0)
    factor = np.where(few, stdtrit(np.where(few, degrees, 1.0), _TWO_SIGMA), 2.0)
    return np.where(degrees > 0, factor, np.nan)[()]


def verdict(quantity: Quantity, low: float | None = None, high: float | None = None, guard: float = 1.0) -> Conformity:
    """Judgement of a value against one or two limits, with a guard band for its uncertainty.

    quantity : value with its uncertainty; an `interval` that is not symmetric counts with its two sides. [-]
    low : smallest value allowed, in the unit of the quantity; None where there is no lower limit. [-]
    high : largest value allowed, in the unit of the quantity; None where there is no upper limit. [-]
    guard : (...) guard band as a multiple of the expanded uncertainty, value >= 0; 0 leaves the uncertainty out. [1]
    returns : Conformity: `pass` inside by the guard band or more, `fail` outside by it or more, else `cannot_tell` with
        what would tell; `not_measured` for no value or a BAD one. [-]

    Valid: one quantity at one time; nothing is assumed about what values are usual.
    Method: guard band = guard * U, U = k * u with k = 2, or of the t-distribution for few degrees of freedom. The
        probability is of the normal or t-distribution, or of two halves of normal ones that fit the interval.
    Source: JCGM 106:2012, 7.2 to 7.4 (probability) and 8.3 (guard bands); judging in three ways is common practice.
    """
    _check(low, high, guard)
    if math.isnan(quantity.value) or quantity.quality == Quality.BAD:
        return Conformity("not_measured", math.nan, quantity.reason or "there is no usable value")
    if not math.isfinite(quantity.u) and quantity.interval is None:
        why = f"{quantity} cannot be judged: no accuracy is known for it"
        return Conformity("cannot_tell", math.nan, why, "the accuracy of the meter, from its sheet or certificate")
    spread = _spread(quantity)
    inside = 1.0 if high is None else spread.share_below(high, inclusive=True)
    inside -= 0.0 if low is None else spread.share_below(low, inclusive=False)
    probability = min(max(inside, 0.0), 1.0)
    slack = _SLACK * (spread.below + spread.above)
    lower, upper = spread.centre - guard * spread.below, spread.centre + guard * spread.above
    doubt = f"; it is doubtful: {quantity.reason}" if quantity.quality else ""
    if (low is None or lower >= low - slack) and (high is None or upper <= high + slack):
        return Conformity("pass", probability, _why(quantity, low, high, _clear("inside", guard)) + doubt)
    if (low is not None and upper <= low + slack) or (high is not None and lower >= high - slack):
        return Conformity("fail", probability, _why(quantity, low, high, _clear("outside", guard)) + doubt)
    share = _share(spread, low, high) / guard
    why = _why(quantity, low, high, "too near a limit to tell")
    return Conformity("cannot_tell", probability, why + doubt, _remedy(quantity, share))


def _check(low: float | None, high: float | None, guard: float) -> None:
    limits = [limit for limit in (low, high) if limit is not None]
    if not limits or any(map(math.isnan, limits)):
        raise ValueError("a verdict needs a limit that is a number; give low, high or both")
    if limits != sorted(limits):
        raise ValueError(f"the lower limit {low} is above the upper limit {high}; exchange them")
    if not 0 <= guard < math.inf:
        raise ValueError(f"a guard band of {guard} times the uncertainty is not possible; give 0 or more, usually 1")


def _spread(quantity: Quantity) -> _Spread:
    if quantity.interval is None:
        factor = float(coverage_factor(quantity.freedom))
        expanded = factor * quantity.u
        return _Spread(quantity.value, expanded, expanded, quantity.freedom, factor)
    low, high = quantity.interval
    centre = quantity.value if low < quantity.value < high else (low + high) / 2
    return _Spread(centre, centre - low, high - centre, math.inf, _HALF_95)


def _share(spread: _Spread, low: float | None, high: float | None) -> float:
    """What share of the present coverage interval would just reach the limit that keeps from telling."""
    distances = [] if low is None else [(spread.centre - low, spread.below, spread.above)]
    distances += [] if high is None else [(high - spread.centre, spread.above, spread.below)]
    outside = [-distance / back for distance, _, back in distances if distance < 0]
    return max(outside) if outside else min(distance / onward for distance, onward, _ in distances if onward > 0)


def _clear(side: str, guard: float) -> str:
    if guard == 0:
        return f"{side}, its uncertainty left out"
    times = "" if guard == 1 else f"{guard:g} times "
    return f"{side} by at least {times}its uncertainty"


def _why(quantity: Quantity, low: float | None, high: float | None, place: str) -> str:
    size = quantity.u if quantity.interval is None else (quantity.interval[1] - quantity.interval[0]) / 4
    limits = " to ".join(
        f"{words}{_number(limit, size)}"
        for limit, words in (
            (low, "" if high is not None else "at least "),
            (high, "" if low is not None else "at most "),
        )
        if limit is not None
    )
    return f"{_shown(quantity, size)} is {place}: {limits}{_unit(quantity)}"


def _remedy(quantity: Quantity, share: float) -> str:
    """What would bring the uncertainty down to a share of it: the largest parts first, as few as will do."""
    if share < AT_THE_LIMIT:
        return "neither a better meter nor a longer reading: it is at the limit itself"
    parts = _parts(quantity)
    total = sum(size**2 for size in parts.values())
    if not (math.isfinite(total) and total > 0):
        return f"a better meter: {share:.0%} of the present uncertainty or less"
    largest = sorted(parts, key=lambda name: -parts[name])
    for count in range(1, len(largest) + 1):
        improved = sum(parts[name] ** 2 for name in largest[:count])
        left = share**2 * total - (total - improved)
        if left > 0 and (shrink := math.sqrt(left / improved)) >= AT_THE_LIMIT:
            break
    return " and ".join(_step(quantity, name, parts[name], shrink) for name in largest[:count])


def _parts(quantity: Quantity) -> Mapping[str, float]:
    """Standard uncertainties by what has to be done about them: scatter under an empty name, meters by theirs."""
    found: dict[str, list[tuple[str, float]]] = {}
    for error, size in quantity.budget:
        found.setdefault("" if error.statistical else error.name.partition(":")[0], []).append((error.name, size))
    return {
        meter if len(errors) > 1 or not meter else errors[0][0]: math.hypot(*(size for _, size in errors))
        for meter, errors in found.items()
    } or {"this": quantity.u}


def _step(quantity: Quantity, name: str, size: float, shrink: float) -> str:
    if not name:
        return f"a longer reading (about {max(2, math.ceil(shrink**-2 - _SLACK))} times as long)"
    step = 10.0 ** (math.floor(math.log10(shrink * size)) - 1)
    most, now = math.floor(shrink * size / step + _SLACK) * step, round(size / step) * step
    return (
        f"a better meter or figure for {name} (standard uncertainty at most {most:.6g}{_unit(quantity)}, now {now:.6g})"
    )


def _shown(quantity: Quantity, size: float) -> str:
    if quantity.interval is None:
        expanded = float(coverage_factor(quantity.freedom)) * quantity.u
        return f"{_number(quantity.value, size)} ± {_number(expanded, size)}{_unit(quantity)}"
    low, high = quantity.interval
    return f"{_number(quantity.value, size)} ({_number(low, size)} to {_number(high, size)}){_unit(quantity)}"


def _number(value: float, size: float) -> str:
    """Number rounded to the second digit of an expanded uncertainty of twice `size`."""
    if not (math.isfinite(size) and size > 0):
        return f"{value:.6g}"
    return f"{value:.{min(max(0, 1 - math.floor(math.log10(2 * size))), 12)}f}"


def _unit(quantity: Quantity) -> str:
    return "" if quantity.unit in ("", "1") else f" {quantity.unit}"
