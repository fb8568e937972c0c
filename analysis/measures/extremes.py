"""The smallest or largest of many readings: what noise made of it, and what the meter could not show."""

import math

import numpy as np
from numpy.typing import NDArray

from analysis.measures.levels import FEWEST, middle, scatter, summed
from analysis.measures.sources import Source
from analysis.points import measure_of
from analysis.quantity import Derivation, Error, Quantity
from analysis.steady import Span

Array = NDArray[np.float64]

MEDIAN_OF_THREE = 0.67
"""Standard deviation of the median of three normal values, in theirs: 0.6698 (order statistics, computed). [1]"""
CANDIDATES = 10
"""Readings below the smallest median that are looked at one by one. [1]"""
PUFF = 0.4
"""Time constant with which a dip at light-off recovers, having come at once; our choice. [s]"""
BESIDE = 3.0
"""How far to both sides an extreme is compared. [s]"""
SLOW = 2.0
"""Response time from which a meter is not asked about dips. [s]"""


def extreme(
    source: Source, span: Span, *, smallest: bool, doubt: str = "", plus: float = 0.0
) -> tuple[Quantity, float] | None:
    """Smallest or largest reading of a span and its moment; one reading that stands alone is no dip but a spike.

    plus : added to it, e.g. less a set-point. [inside unit]
    """
    inside = source.within(span)
    time, value = source.time[inside], source.value[inside]
    if not time.size:
        return None
    noise = scatter(value)
    shown, place = _extreme(time, value if smallest else -value)
    shown = shown if smallest else -shown
    moment, unit = float(time[place]), measure_of(source.channel.point).inside
    name = f"{source.channel.key} at {moment:.3f}"
    hidden = _missed(source, time, shown, moment, noise=noise) if smallest else 0.0
    own = [
        (Error(f"{name}: noise", statistical=True), MEDIAN_OF_THREE * noise),
        (Error(f"{name}: display", "rectangular"), source.step / math.sqrt(12)),
        (Error(f"{name}: the one of many that the noise made so"), _chosen(value, shown, MEDIAN_OF_THREE * noise)),
        (
            Error(f"{name}: shorter than the meter can show"),
            hidden,
        ),
    ]
    which = "Smallest" if smallest else "Largest"
    how = Derivation(
        "extreme",
        f"{which} reading of {source.channel.key} over {span.end - span.start:.0f} s",
        (("readings", str(time.size)),),
        "readings often enough to see it: a meter misses what is shorter than its response and its spacing.",
        "extreme of the medians of three neighbours, or a reading whose neighbour shares half its dip; none alone.",
        "our choice.",
        (source.assumed,) if source.assumed else (),
    )
    quantity = summed(shown + plus, unit, [*source.budget(shown), *own], [doubt] if doubt else [], how)
    return quantity, moment


def spacing(source: Source, time: Array | None = None) -> float:
    """Usual time from one reading to the next. [s]"""
    time = source.time if time is None else time
    return middle(np.diff(time[:1000])) if time.size > 1 else math.inf


def _extreme(time: Array, value: Array) -> tuple[float, int]:
    """Smallest of the medians of three neighbours, or of those readings whose neighbour shares half their dip."""
    if value.size < FEWEST:
        place = int(np.argmin(value))
        return float(value[place]), place
    left, right = np.concatenate([value[:1], value[:-1]]), np.concatenate([value[1:], value[-1:]])
    medians = np.maximum(np.minimum(left, right), np.minimum(np.maximum(left, right), value))
    place = int(np.argmin(medians))
    least = float(medians[place])
    lower = np.flatnonzero(value < least)
    if lower.size > CANDIDATES:
        lower = lower[np.argpartition(value[lower], CANDIDATES)[:CANDIDATES]]
    for one in lower[np.argsort(value[lower])].tolist():
        first, after = time.searchsorted([time[one] - BESIDE, time[one] + BESIDE]).tolist()
        usual = middle(value[first : after + 1])
        if medians[one] - value[one] <= (usual - value[one]) / 2:
            return float(value[one]), one
    return least, place


def _chosen(value: Array, shown: float, noise: float) -> float:
    """By how much noise moves the extreme of all readings that are about as extreme. [inside unit]

    Mode of the largest of n normal values: Cramer, Mathematical Methods of Statistics, 1946, 28.6.
    """
    near = int(np.count_nonzero(np.abs(value - shown) <= 3 * noise))
    if noise <= 0 or near < 3:
        return 0.0
    most = math.sqrt(2 * math.log(near))
    return noise * max(most - (math.log(math.log(near)) + math.log(4 * math.pi)) / (2 * most), 0.0)


def _missed(source: Source, time: Array, shown: float, moment: float, *, noise: float) -> float:
    """What a meter hides of a dip as short as one at light-off, by the size of what it shows. [inside unit]"""
    if source.response_time >= SLOW or time.size < FEWEST:
        return 0.0
    sides = (Span(moment - BESIDE, moment), Span(moment, moment + BESIDE))
    beside = [source.value[source.within(side)] for side in sides]
    depth = min(middle(values) - shown for values in beside if values.size) - 3 * noise  # a step is no dip
    if depth <= 0:
        return 0.0
    slowness = (source.response_time + spacing(source, time) / 2) / PUFF
    if math.isclose(slowness, 1.0, abs_tol=1e-3):
        return depth * (math.e - 1)
    share = float(slowness ** (slowness / (1 - slowness)))  # largest value of a first-order answer to exp(-t / PUFF)
    return depth * (1 / share - 1)
