"""When a channel went on and off: from its readings and its own levels, each change with how well it is known."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from analysis.sequence.levels import Levels
from analysis.sequence.signals import Telling

Array = NDArray[np.float64]

BACK = 12.0
"""How long before it is seen a change may have begun. [s]"""
QUIET = 3.0
"""A channel that gives nothing for so long, and for five usual spacings, tells nothing in between. [s]"""
HELD = 60.0
"""The same for a contact, which may be told on change only. [s]"""
SLOW = 2.0
"""A contact that is told less often than this is told on change. [s]"""
RUNS_UP = 0.3
"""What runs up slowly is seen to move so long after it was switched on. [s]"""
RECENT = 12.0
"""How long peak and trough of what runs down slowly are remembered. [s]"""
FALLEN, RISEN = 0.42, 1.5
"""Parts of the recent peak and of the recent trough at which it is off, and on; low stage is half of high. [1]"""
DIP, POINTED, BRIEF = 8.0, 1.6, 0.9
"""Reach in which a dip is looked for, half width of its point, and shortest fall; shorter ones are gusts. [s]"""
DEEP, SHALLOW = 0.72, 0.8
"""Parts of the level before and after to which a dip goes down at least. [1]"""
NARROW, LONGEST = 1.6, 6.0
"""A rest that is narrower at half its depth is none [s]; looked at are those up to so long [s]."""
CALM = 0.3
"""Dips shorter than this are left out. [s]"""
LEFT, LAG = 0.08, 0.8
"""Part of its level by which a reading falls when what it tells of goes off [1], in so long [s]."""


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What a channel said over time: between two times it says the same."""

    time: Array
    """(n,) where it changes. [s]"""
    state: NDArray[np.int8]
    """(n,) from that time on: 1 on, 0 off, -1 nothing."""
    u: Array
    """(n,) standard uncertainty of the time. [s]"""

    @property
    def changes(self) -> NDArray[np.bool_]:
        """(n,) where it goes from on to off or back; not where it falls silent."""
        before = np.concatenate([[-1], self.state[:-1]])
        return np.asarray((self.state >= 0) & (before >= 0), np.bool_)


def course(time: Array, value: Array, telling: Telling, levels: Levels | None) -> Course:
    """What a channel says: readings with a value, in the order of time."""
    good = np.isfinite(value)
    if not good.all():
        time, value = time[good], value[good]
    if time.size < 2 or (levels is None and not telling.contact):
        return Course(np.empty(0), np.empty(0, np.int8), np.empty(0))
    spacing = median(time[1:20_000] - time[: min(time.size, 20_000) - 1])
    if telling.contact or levels is None:
        return _contact(time, value, spacing)
    return _level(time, value, spacing, levels, inverse=telling.inverse, fades=telling.fades)


def median(value: Array) -> float:
    """The middle one of values that are numbers, at least one of them; for few of them quicker than numpy's own."""
    half = value.size // 2
    if value.size % 2:
        return float(np.partition(value, half)[half])
    low, high = np.partition(value, (half - 1, half))[half - 1 : half + 1].tolist()
    return float(0.5 * (low + high))


def middles(value: Array) -> Array:
    """Each reading replaced by the middle one of itself and its neighbours; the ends stay."""
    if value.size < 3:
        return value
    before, here, after = value[:-2], value[1:-1], value[2:]
    middle = np.maximum(np.minimum(before, here), np.minimum(np.maximum(before, here), after))
    return np.concatenate([value[:1], middle, value[-1:]])


def _contact(time: Array, value: Array, spacing: float) -> Course:
    state = (value >= 0.5).astype(np.int8)
    where = np.flatnonzero(state[1:] != state[:-1]) + 1
    gap = np.diff(time)[where - 1] if where.size else np.empty(0)
    regular = np.abs(gap - spacing) < 0.05 * spacing
    polled = spacing < SLOW or (where.size > 1 and bool(regular.all()))  # else it is told on change
    at = time[where] - 0.5 * np.minimum(gap, 2 * spacing) * polled
    u = np.minimum(gap, 2 * spacing) / 12**0.5 if polled else np.where(regular, gap / 12**0.5, 0.02)
    return _told(time, state, where, at, u, max(HELD, 5 * spacing))


def _level(time: Array, value: Array, spacing: float, levels: Levels, *, inverse: bool, fades: bool) -> Course:
    distance = levels.distance(value)
    distance = middles(distance)  # one reading alone is no change
    up, down = distance >= levels.on, distance <= levels.off
    calm = _calmed(distance, spacing) if fades else distance
    if fades:
        up, down = _against_recent(distance, calm, up, down, spacing)
    sure = up | down
    last = np.maximum.accumulate(np.where(sure, np.arange(sure.size), -1))
    first = int(np.argmax(sure)) if sure.any() else 0
    state = np.where(last < 0, up[first] if sure.any() else False, up[np.maximum(last, 0)]).astype(np.int8)
    if fades:
        _open_dips(time, distance, calm, state, levels, spacing)
        _close_puffs(time, distance, state)
    where = np.flatnonzero(state[1:] != state[:-1]) + 1
    at, u = np.empty(where.size), np.empty(where.size)
    before = 0
    for number, index in enumerate(where):
        begin = _begin(time, distance, int(index), before, levels, rising=bool(state[index]))
        gap = min(float(time[begin] - time[begin - 1]) if begin else spacing, max(QUIET, 2 * spacing))
        slow = RUNS_UP * (fades and bool(state[index]))
        at[number] = time[begin] - 0.5 * gap - slow
        u[number] = max(gap / 12**0.5, 0.05, 0.7 * slow, 0.12 * float(time[index] - time[begin]))
        before = begin
    return _told(time, 1 - state if inverse else state, where, at, u, max(QUIET, 5 * spacing))


def _against_recent(
    distance: Array, calm: Array, up: NDArray[np.bool_], down: NDArray[np.bool_], spacing: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """On and off of what runs down slowly: it goes off well below its recent peak, on well above its recent trough."""
    span = max(2, int(RECENT / max(spacing, 1e-3)))
    whole = 2 * (span // 2) + 1
    behind = whole // 2  # the window lies behind each reading
    fallen = np.zeros(calm.size, np.bool_)
    if calm.min() < FALLEN * calm.max():
        fallen = calm < FALLEN * maximum_filter1d(calm, whole, origin=behind)
    if not up.any():
        return up, down | fallen
    trough = minimum_filter1d(calm, whole, origin=behind)
    rises = up & (distance > RISEN * trough) & ~fallen
    rises[0] = up[0]  # nothing is known before
    return rises, down | fallen


def _calmed(distance: Array, spacing: float) -> Array:
    """Without dips that are shorter than a gust."""
    width = 2 * int(0.5 * CALM / max(spacing, 1e-3)) + 1
    return minimum_filter1d(maximum_filter1d(distance, width), width) if 1 < width < distance.size else distance


def _open_dips(  # noqa: PLR0917
    time: Array, distance: Array, calm: Array, state: NDArray[np.int8], levels: Levels, spacing: float
) -> None:
    """Mark short rests: what runs down and is started again before it has come to rest leaves a pointed dip."""
    reach = max(1, round(DIP / max(spacing, 1e-3)))
    near = max(1, round(POINTED / max(spacing, 1e-3)))
    on = state == 1
    if calm.size < 2 * reach or not on.any() or calm[on].min() >= DEEP * calm.max():
        return
    before = maximum_filter1d(calm, 2 * (reach // 2) + 1, origin=reach // 2)
    after = maximum_filter1d(calm, 2 * (reach // 2) + 1, origin=-(reach // 2))
    lowest = calm <= minimum_filter1d(calm, 2 * reach + 1) + 1e-12
    deep = (calm < DEEP * before) & (calm < SHALLOW * after) & (before - calm > 8 * levels.scatter)
    for index in np.flatnonzero(lowest & deep & on & (distance > levels.off)):
        first, last = max(0, int(index) - near), min(calm.size - 1, int(index) + near)
        if calm[first] < 1.1 * calm[index] or calm[last] < 1.07 * calm[index]:
            continue
        begin = _begin(time, distance, int(index), 0, levels, rising=False)
        if time[index] - time[begin] >= BRIEF - spacing:
            state[begin : index + 1] = 0


def _begin(time: Array, distance: Array, index: int, before: int, levels: Levels, *, rising: bool) -> int:
    """Index at which a change began that crosses its threshold at `index`."""
    first = max(before, int(np.searchsorted(time, time[index] - BACK)))
    tail = distance[first : index + 1]
    if tail.size < 3:
        return index
    if rising:
        near = tail[tail <= levels.off]
        still = median(near) if near.size else float(tail.min())
        left = tail > still + max(3.5 * levels.scatter, 0.03 * abs(levels.reach), 1e-12)
    else:
        lag = max(2, index - int(np.searchsorted(time, time[index] - LAG)))  # two: the middles stay for two
        earlier = np.concatenate([np.full(min(lag, tail.size), tail[0]), tail[:-lag]])
        left = tail < earlier - np.maximum(3.5 * levels.scatter, LEFT * np.abs(earlier))
    there = np.flatnonzero(~left)
    return first + min(int(there[-1]) + 1, tail.size - 1) if there.size else first


def _close_puffs(time: Array, distance: Array, state: NDArray[np.int8]) -> None:
    """Take back rests that are too narrow: a puff of the burner or a gust, and not a wheel that runs down and up."""
    change = np.flatnonzero(state[1:] != state[:-1]) + 1
    for index, end in pairwise(change.tolist()):
        if state[index] or time[end] - time[index] > LONGEST:
            continue
        lowest = index + int(np.argmin(distance[index:end]))
        first = int(np.searchsorted(time, time[lowest] - LONGEST))
        last = int(np.searchsorted(time, time[lowest] + LONGEST))
        before, after = distance[first:lowest], distance[lowest + 1 : last]
        if not before.size or not after.size:
            continue
        low = distance[lowest]
        half = low + 0.5 * (min(before.max(), after.max()) - low)
        left, right = np.flatnonzero(before >= half), np.flatnonzero(after >= half)
        if not left.size or not right.size:
            continue
        fell, rose = first + int(left[-1]), lowest + 1 + int(right[0])
        width = _crossing(time, distance, rose - 1, half) - _crossing(time, distance, fell, half)
        if width < NARROW:
            state[index:end] = 1


def _crossing(time: Array, distance: Array, index: int, level: float) -> float:
    """When it came to a level between a reading and the next. [s]"""
    step = distance[index + 1] - distance[index]
    part = (level - distance[index]) / step if step else 0.5
    return float(time[index] + min(max(part, 0.0), 1.0) * (time[index + 1] - time[index]))


def _told(  # noqa: PLR0917
    time: Array, state: NDArray[np.int8], where: NDArray[np.int64], at: Array, u: Array, hold: float
) -> Course:
    """Put changes and silences together."""
    silent = np.flatnonzero(time[1:] - time[:-1] > hold)
    times = [np.array([time[0]]), at, time[silent] + min(hold, 1.0), time[silent + 1], np.array([time[-1] + hold])]
    states = [state[:1], state[where], np.full(silent.size, -1, np.int8), state[silent + 1], np.array([-1], np.int8)]
    us = [np.zeros(1), u, np.zeros(silent.size), np.zeros(silent.size), np.zeros(1)]
    every, said, known = np.concatenate(times), np.concatenate(states), np.concatenate(us)
    order = np.argsort(every, kind="stable")
    every, said, known = np.maximum.accumulate(every[order]), said[order], known[order]
    kept = np.concatenate([[True], said[1:] != said[:-1]])
    return Course(every[kept], said[kept], known[kept])
