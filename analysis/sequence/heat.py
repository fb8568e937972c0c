"""When the supply air was being heated: from where its temperature begins to rise to where it begins to fall."""

import numpy as np
from numpy.typing import NDArray

from analysis.sequence.edges import QUIET, Course
from analysis.sequence.signals import Telling

Array = NDArray[np.float64]

BLOCK = 2.0
"""Temperatures are looked at as means over so long. [s]"""
PART = 0.06
"""A turn counts from this part of the span between the lowest and the highest on. [1]"""
LATE = 3.0
"""A thermometer in the duct sees a flame so much later, and as uncertain. [s]"""


def heating(time: Array, value: Array, telling: Telling, least: float = 0.0) -> Course:
    """Course of the heat: on from the beginning of a rise to the beginning of the fall after it.

    least : smallest turn that counts, where that is known from more than these readings. [K]
    """
    nothing = Course(np.empty(0), np.empty(0, np.int8), np.empty(0))
    good = np.isfinite(value)
    time, value = time[good], value[good]
    if time.size < 8:
        return nothing
    number = np.floor((time - time[0]) / BLOCK).astype(np.int64)
    first = np.flatnonzero(np.concatenate([[True], np.diff(number) > 0]))
    counts = np.diff(np.append(first, time.size))
    means = np.add.reduceat(value, first) / counts
    at = np.add.reduceat(time - time[0], first) / counts + time[0]
    scatter = float(np.median(np.abs(np.diff(means)))) / 0.954 if means.size > 1 else 0.0
    span = float(np.percentile(means, 99.5) - np.percentile(means, 0.5))
    turn = max(least, telling.floor, 6 * min(scatter, 1.0), PART * span)
    turns = _turns(means, turn)
    times, states = [time[0]], [-1]
    for index, rises in turns:
        times.append(max(times[-1], float(at[_departure(means, index, turn, rises=rises)]) - LATE))
        states.append(1 if rises else 0)
    silent = np.flatnonzero(np.diff(time) > max(10 * QUIET, 5 * BLOCK))
    if len(states) > 1:
        states[0] = 1 - states[1]
    courses = np.array(states, np.int8)
    every = np.array([*times, time[-1] + QUIET])
    said = np.append(courses, np.int8(-1))
    for gap in silent:
        begin, end = float(time[gap]) + QUIET, float(time[gap + 1])
        inside = (every > begin) & (every < end)
        after = said[np.searchsorted(every, end, "right") - 1]
        every = np.concatenate([every[~inside], [begin, end]])
        said = np.concatenate([said[~inside], np.array([-1, after], np.int8)])
        order = np.argsort(every, kind="stable")
        every, said = every[order], said[order]
    kept = np.concatenate([[True], said[1:] != said[:-1]])
    return Course(every[kept], said[kept], np.full(int(kept.sum()), LATE))


def _turns(means: Array, turn: float) -> list[tuple[int, bool]]:
    """Lowest points before rises (True) and highest before falls (False) of at least `turn`."""
    found: list[tuple[int, bool]] = []
    low = high = 0
    way = 0
    values = means.tolist()
    for index, value in enumerate(values):
        if way <= 0 and value < values[low]:
            low = index
        if way >= 0 and value > values[high]:
            high = index
        if way <= 0 and value - values[low] >= turn:
            found.append((low, True))
            way, high = 1, index
        elif way >= 0 and values[high] - value >= turn:
            found.append((high, False))
            way, low = -1, index
    return found


def _departure(means: Array, index: int, turn: float, *, rises: bool) -> int:
    """Last block near the turning point before the temperature leaves it."""
    beyond = means[index : index + 400] - means[index]
    left = np.flatnonzero((beyond if rises else -beyond) >= 0.35 * turn)
    return index + int(left[0]) if left.size else index
