"""Which stage a level tells: the two levels that it has while it is on."""

import numpy as np
from numpy.typing import NDArray

from analysis.model import Plate, Series
from analysis.sequence.edges import Course, course, middles
from analysis.sequence.evidence import Voice
from analysis.sequence.levels import Levels
from analysis.sequence.signals import HIGH, STAGE_LEVELS, TELLING

Array = NDArray[np.float64]

STEADY = 5.0
"""Levels of the stages are medians over so long. [s]"""
ABOVE, BELOW = 1.05, 0.95
"""So many times the distance that splits the stages it is the high one, and the low one. [1]"""


def high_stage(series: Series, levels: Levels, plate: Plate | None) -> Voice | None:
    """What a level says of the stage: between its two levels while it is on; None where it has only one."""
    point = series.channel.point
    good = np.isfinite(series.value)
    time, value = series.time[good], series.value[good]
    if time.size < 8:
        return None
    spacing = max(float(time[-1] - time[0]) / (time.size - 1), 1e-3)
    count = max(1, round(STEADY / spacing))
    blocks = middles(levels.distance(value))[: time.size // count * count].reshape(-1, count)
    split = stage_split(point, np.median(blocks, axis=1), levels, plate)
    if split is None:
        return None
    weight, _ = STAGE_LEVELS[point]
    return Voice(series.channel.key, HIGH, stage_course(point, time, value, levels, split), weight, weight)


def stage_split(point: str, distance: Array, levels: Levels, plate: Plate | None, least: int = 2) -> float | None:
    """Distance from rest between the levels of the stages, from medians of some seconds; None where there is one.

    least : medians that each stage has at least; few of them may be those of a rise or a run down.
    """
    if point == "gas_manifold" and plate is not None and len(plate.manifold) > 1:
        split = float((plate.manifold[0] * plate.manifold[-1]) ** 0.5)
        if split <= abs(levels.reach) * 1.3:
            return split
    _, ratio = STAGE_LEVELS[point]
    return _split(distance[distance > max(levels.on, 0.15 * abs(levels.reach))], ratio, least)


def stage_course(point: str, time: Array, value: Array, levels: Levels, split: float) -> Course:
    """On in the high stage, off in the low one, nothing at rest."""
    distance = middles(levels.distance(value))
    shifted = Levels(0.0, 2 * split, levels.scatter, ABOVE * split, BELOW * split)
    return _only_while_on(course(time, distance, TELLING[point], shifted), time, distance < levels.off)


def _only_while_on(said: Course, time: Array, off: NDArray[np.bool_]) -> Course:
    """The course with nothing said while the channel rests."""
    change = np.flatnonzero(np.diff(off.astype(np.int8))) + 1
    at = np.unique(np.concatenate([said.time, time[change]]))
    state = said.state[np.maximum(np.searchsorted(said.time, at, "right") - 1, 0)]
    resting = off[np.clip(np.searchsorted(time, at, "right") - 1, 0, off.size - 1)]
    state = np.where(resting, np.int8(-1), state)
    u = np.full(at.size, 0.3)
    kept = np.concatenate([[True], state[1:] != state[:-1]])
    return Course(at[kept], state[kept], u[kept])


def _split(levels: Array, ratio: float, least: int) -> float | None:
    """Between two groups of levels that are apart by the ratio; None where there is one group."""
    if levels.size < 4:
        return None
    ordered = np.sort(levels)
    sums, squares = np.cumsum(ordered), np.cumsum(ordered**2)
    count = np.arange(1, ordered.size)
    left = squares[:-1] - sums[:-1] ** 2 / count
    right = (squares[-1] - squares[:-1]) - (sums[-1] - sums[:-1]) ** 2 / (ordered.size - count)
    best = int(np.argmin(left + right))
    low, high = sums[best] / (best + 1), (sums[-1] - sums[best]) / (ordered.size - best - 1)
    if best + 1 < least or ordered.size - best - 1 < least or high < ratio * low:
        return None
    return float((low * high) ** 0.5)
