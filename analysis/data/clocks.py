"""Clocks of instruments against each other, by edges that must coincide whatever is wrong with the unit.

An edge of a contact and the step that it brings about, or one step seen by two meters. How far the step may truly lie
from the edge is part of the uncertainty, and so are the intervals of both and half of each lag.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.data.course import Course
from analysis.data.problem import DataProblem, keys, named, span_of_time
from analysis.model import Series
from analysis.points import measure_of

Array = NDArray[np.float64]

LEAST, TIMES_U = 0.3, 3.0
"""Smaller offsets are not told, nor such as are below so many standard uncertainties. [s] [1]"""
FEWEST = 2
"""Fewest edges that tell an offset. [1]"""
MOST = 40
"""Most edges that are looked at of one pair. [1]"""
AROUND = 3.0
"""A step is looked for so far from the edge, either way. [s]"""
LAG = {"pressure": 0.25, "current": 0.2, "voltage": 0.1, "flame_current": 0.2, "contact": 0.0}
"""Time constant of a meter that does not state it; typical ones, no published source. [s]"""
LAG_U = 0.2
"""Standard uncertainty of what a lag takes off a step's time: half the lag, rectangular, at half of the step. [1]"""
SHAPE_U = 0.4
"""The same of a step that takes longer than the lag explains: a damped meter looks late. [1]"""
TRANSIT = math.log(0.85 / 0.15)
"""From 15 to 85 % of a step, first order, over the time constant. [1]"""
LONGEST_INTERVAL = 1.5
"""A meter that reads more rarely cannot be compared. [s]"""


class Pair(NamedTuple):
    """Two points whose edges belong together."""

    first: str
    second: str
    level: float
    """Of the first: an edge where it is crossed. [inside unit]"""
    step: float
    """Least step of the second. [inside unit]"""
    late: tuple[float, float]
    """How much later than the first edge the second may truly be. [s]"""


PAIRS = (
    Pair("switch_closed", "volts_switch", 0.5, 8.0, (0.0, 0.1)),
    Pair("amps_igniter", "volts_line", 0.5, 0.2, (-0.05, 0.05)),
    Pair("amps_inducer", "volts_line", 0.3, 0.2, (-0.2, 0.2)),
    Pair("gas_valve", "gas_manifold", 0.5, 100.0, (0.0, 1.0)),
    Pair("gas_manifold", "gas_inlet", 100.0, 25.0, (-0.4, 0.4)),
    Pair("draft_collector", "draft_switch", -30.0, 30.0, (-0.4, 0.4)),
    Pair("draft_burner_box", "draft_switch", -15.0, 30.0, (-0.5, 0.5)),
)
"""Edges that coincide, and how closely: common practice, no published source."""


@dataclass(frozen=True, slots=True, eq=False)
class _Offsets:
    """How much later the second meter's clock shows an edge than the first one's."""

    first: Series
    second: Series
    time: Array
    """(n,) of the edges. [s]"""
    late: Array
    """(n,) [s]"""
    own_u: float
    """Standard uncertainty that all edges share. [s]"""

    @property
    def mean(self) -> float:
        """[s]"""
        return float(np.median(self.late))

    @property
    def u(self) -> float:
        """Standard uncertainty of `mean`. [s]"""
        scatter = 1.4826 * float(np.median(np.abs(self.late - self.mean)))
        intervals = math.hypot(_interval(self.first), _interval(self.second)) / math.sqrt(12)
        return math.hypot(self.own_u, 1.25 * max(scatter, intervals) / math.sqrt(self.late.size))


def clocks(course: Course) -> Iterator[DataProblem]:
    """Instruments whose clocks are apart, each pair of them once, by the edges that tell it best."""
    best: dict[tuple[str, str], _Offsets] = {}
    for pair in PAIRS:
        for first in course.of(pair.first):
            for second in course.of(pair.second):
                names = first.channel.instrument, second.channel.instrument
                if names[0] == names[1]:
                    continue
                found = _compared(pair, first, second)
                if found is None:
                    continue
                known = best.get(names) or best.get((names[1], names[0]))
                if known is None or found.u < known.u:
                    best.pop((names[1], names[0]), None)
                    best[names] = found
    for one in best.values():
        step = _step(one)
        if step is not None:
            yield _stepped(one, *step, course)
        elif abs(one.mean) > max(LEAST, TIMES_U * one.u):
            yield _apart(one)


def _apart(one: _Offsets) -> DataProblem:
    ahead, behind = (one.second, one.first) if one.mean > 0 else (one.first, one.second)
    text = (
        f"{ahead.channel.instrument}: its times are {abs(one.mean):.2f} s ± {2 * one.u:.2f} s later than those of "
        f"{behind.channel.instrument}, by {one.late.size} edges that belong together"
    )
    hint = (
        "Do not say which of their contacts or dips came first by less than that; set the clock before the next call."
    )
    return DataProblem("clocks_apart", keys([ahead, behind]), text, hint, float(one.time[0]), float(one.time[-1]))


def _stepped(one: _Offsets, place: int, change: float, course: Course) -> DataProblem:
    before, after = float(one.time[place - 1]), float(one.time[place])
    text = (
        f"{named([one.second])} and {one.first.channel.instrument}: their clocks moved against each other by "
        f"{abs(change):.2f} s between {span_of_time(before - course.start)} and {span_of_time(after - course.start)} "
        "after the start"
    )
    hint = "Do not set a clock during a call; compare the two only on one side of that."
    return DataProblem("clock_step", keys([one.first, one.second]), text, hint, before, after)


def _step(one: _Offsets) -> tuple[int, float] | None:
    """Place of the first edge after the clocks moved against each other, and by how much [s]."""
    late = one.late
    if late.size < 4:
        return None
    counts = np.arange(2, late.size - 1)
    sums = np.cumsum(late)
    change = (sums[-1] - sums[counts - 1]) / (late.size - counts) - sums[counts - 1] / counts
    at = int(np.argmax(np.abs(change) * np.sqrt(counts * (late.size - counts))))
    place, size = int(counts[at]), float(change[at])
    left = np.concatenate([late[:place] - np.mean(late[:place]), late[place:] - np.mean(late[place:])])
    spread = max(float(np.std(left)), _interval(one.second) / math.sqrt(12), _interval(one.first) / math.sqrt(12))
    error = spread * math.sqrt(1 / place + 1 / (late.size - place))
    return (place, size) if abs(size) > max(LEAST, 5 * error) else None


def _compared(pair: Pair, first: Series, second: Series) -> _Offsets | None:
    if second.time.size < 10 or _interval(second) > LONGEST_INTERVAL:
        return None
    own = _edges(first, pair.level)
    edges = own.time
    if edges.size > MOST:
        edges = edges[np.linspace(0, edges.size - 1, MOST).astype(np.int64)]
    pairs = [(edge, *step) for edge in edges.tolist() if (step := _crossing(second, edge, pair.step)) is not None]
    if len(pairs) < FEWEST:
        return None
    time, at, slowness = np.array(pairs).T
    true = sum(pair.late) / 2
    shared = math.hypot((pair.late[1] - pair.late[0]) / math.sqrt(12), own.u, LAG_U * _lag(second))
    shared = math.hypot(shared, SHAPE_U * (float(np.median(slowness)) - own.slowness))
    return _Offsets(first, second, time, at - time - true, shared)


class _Edges(NamedTuple):
    time: Array
    """(n,) [s]"""
    u: float = 0.0
    """Standard uncertainty that they share. [s]"""
    slowness: float = 0.0
    """What their steps take beyond what the meter's lag explains. [s]"""


def _edges(one: Series, level: float) -> _Edges:
    """Times at which a level is crossed, less the meter's lag."""
    above = one.value > level if level >= 0 else one.value < level
    at = np.flatnonzero(above[1:] != above[:-1]) + 1
    if measure_of(one.channel.point).name == "contact":
        steps = np.diff(one.time)
        usual = float(np.median(steps)) if steps.size else 0.0
        if at.size and float(np.median(np.abs(steps[at - 1] - usual))) <= 0.02 * usual:  # at intervals, not on change
            return _Edges(one.time[at] - usual / 2) if usual <= LONGEST_INTERVAL else _Edges(one.time[:0])
        return _Edges(one.time[at], 0.02)
    if _interval(one) > LONGEST_INTERVAL:
        at = at[:0]
    at = at[np.linspace(0, at.size - 1, min(MOST, at.size)).astype(np.int64)]
    found = [step for time in one.time[at].tolist() if (step := _crossing(one, time, abs(level))) is not None]
    if not found:
        return _Edges(one.time[:0])
    edges, slowness = np.array(found).T
    return _Edges(edges[np.append(np.diff(edges) > 2 * AROUND, [True])], LAG_U * _lag(one), float(np.median(slowness)))


def _crossing(one: Series, edge: float, step: float) -> tuple[float, float] | None:
    """When a step near an edge began, the meter's lag taken off, and how much longer it took than that explains. [s]

    None where there is no clear step.
    """
    low, middle, high = np.searchsorted(one.time, [edge - 2 * AROUND, edge, edge + 2 * AROUND])
    time, value = one.time[low:high], one.value[low:high]
    if min(middle - low, high - middle) < 5 or np.isnan(value).any() or np.max(np.diff(time)) > 2 * LONGEST_INTERVAL:
        return None
    before, after = value[time < edge - AROUND / 2], value[time > edge + AROUND]
    if before.size < 3 or after.size < 3:
        return None
    start, end = float(np.median(before)), float(np.median(after))
    noise = max(float(np.median(np.abs(before - start))), float(np.median(np.abs(after - end))))
    if abs(end - start) < max(step, 6 * noise):
        return None
    done = (value - start) / (end - start)
    inside = np.flatnonzero((time[1:] > edge - AROUND / 2) & (time[:-1] < edge + AROUND))
    crossed = inside[(done[inside] < 0.5) & (done[inside + 1] >= 0.5)]
    return _half(one, time, done, int(crossed[0])) if crossed.size == 1 else None


def _half(one: Series, time: Array, done: Array, at: int) -> tuple[float, float] | None:
    """The same of a step whose share `done` passes a half after the reading `at`."""
    lag = _lag(one)
    begun, ended = np.flatnonzero(done[: at + 1] <= 0.15), np.flatnonzero(done[at + 1 :] >= 0.85)
    if not begun.size or not ended.size:
        return None
    took = time[at + 1 + ended[0]] - time[begun[-1]] - _interval(one)
    slowness = max(0.0, float(took) - TRANSIT * lag)
    going = np.arange(max(at - 2, 0), min(at + 4, done.size))
    going = going[(done[going] > 0.1) & (done[going] < 0.85)]
    if lag > 0 and going.size:
        return float(np.mean(time[going] + lag * np.log1p(-done[going]))), slowness
    return float(max(time[at], (time[at] + time[at + 1] - 1.9 * lag) / 2)), slowness


def _lag(one: Series) -> float:
    stated = one.channel.response_time
    return LAG.get(measure_of(one.channel.point).name, 0.0) if stated is None else stated


def _interval(one: Series) -> float:
    steps = np.diff(one.time[:20_000])
    if measure_of(one.channel.point).name == "contact" or not steps.size:
        return 0.05
    return float(np.median(steps))
