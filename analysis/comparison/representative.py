"""One number for a measure over the attempts of a recording."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.measures.levels import summed
from analysis.measures.measured import Measured
from analysis.quantity import Derivation, Error, Quality, Quantity


@dataclass(frozen=True, slots=True)
class Representative:
    """Mean of a measure over attempts."""

    quantity: Quantity
    count: int
    """Values that it is the mean of. [1]"""
    left_out: int
    """Values that were doubtful where others were not. [1]"""
    channels: tuple[str, ...]
    """Keys of the channels that they were read from."""
    minutes: float
    """Mean length of the spans that they rest on. [min]"""


def representative(values: Sequence[Measured]) -> Representative | None:
    """Mean of the values of one measure, with what attempts differ by among themselves in its uncertainty.

    values : of one name, of one recording. [-]
    returns : Representative; None without a finite value. [-]

    Valid: attempts in the same state; those with a doubtful value are left out where others are sound, and where all
        are doubtful the mean is doubtful for the first one's reason.
    Method: arithmetic mean; an error that the values share counts once, each one's own noise by its share; the variance
        of the values beyond their own noise, over their number, with one degree of freedom less than values.
    Source: JCGM 100:2008, 4.2.3, 5.2.2 and G.4.1.
    """
    finite = [one for one in values if math.isfinite(one.quantity.value)]
    good = [one for one in finite if one.quantity.quality is Quality.GOOD]
    kept = good or finite
    if not kept:
        return None
    quantities = [one.quantity for one in kept]
    number, numbers = len(kept), np.array([one.value for one in quantities])
    budget: dict[Error, float] = {}
    appears: dict[Error, int] = {}
    for quantity in quantities:
        for error, share in quantity.budget:
            budget[error] = budget.get(error, 0.0) + share / number
            appears[error] = appears.get(error, 0) + 1
    if number > 1:
        own = sum(share**2 for one in quantities for error, share in one.budget if appears[error] == 1) / number
        excess = float(np.var(numbers, ddof=1)) - own
        if excess > 0:
            budget[Error("scatter of the attempts", freedom=number - 1, statistical=True)] = math.sqrt(excess / number)
    first = kept[0]
    how = Derivation(
        "mean",
        f"Mean of {number} attempts" if number > 1 else "Of one attempt",
        tuple((f"attempt {one.attempt}", one.quantity) for one in kept),
        "attempts in the same state.",
        "arithmetic mean, what attempts differ by in its uncertainty.",
        "JCGM 100:2008, 4.2.3.",
    )
    known = all(math.isfinite(one.u) and one.budget for one in quantities)
    reasons = [] if good else [first.quantity.reason or "doubtful"]
    mean = summed(float(np.mean(numbers)), first.quantity.unit, list(budget.items()), reasons, how)
    if not known:
        mean = Quantity(mean.value, mean.unit, quality=mean.quality, reason=mean.reason, how=how)
    channels = tuple(dict.fromkeys(key for one in kept for key in one.channels))
    minutes = sum(one.end - one.start for one in kept) / number / 60
    return Representative(mean, number, len(finite) - number, channels, minutes)
