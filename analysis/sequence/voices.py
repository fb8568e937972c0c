"""From the series of a recording to what each channel says."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from analysis.model import Plate, Series
from analysis.sequence.edges import Course, course, middles
from analysis.sequence.evidence import Voice
from analysis.sequence.heat import heating
from analysis.sequence.levels import Learning, Levels
from analysis.sequence.signals import (
    FLAME,
    GAS,
    HEAT,
    HIGH,
    IGNITER,
    INDUCER,
    STAGE_CONTACTS,
    STAGE_LEVELS,
    SWITCH,
    TELLING,
)

SEEN: Mapping[int, Mapping[int, float]] = {
    INDUCER: {INDUCER: 8.0, SWITCH: 8.0, GAS: 8.0, FLAME: 8.0},
    GAS: {GAS: 8.0, FLAME: 8.0},
    IGNITER: {IGNITER: 8.0, GAS: 8.0, FLAME: 8.0},
    FLAME: {GAS: 20.0, FLAME: 8.0},
}
"""A channel that rested all the while is one that works, unless one of these signals was on for longer. [s]"""
STEADY = 5.0
"""Levels of the stages are medians over so long. [s]"""


def learned(series: Series) -> Levels | None:
    """Levels of a channel from all that it showed."""
    telling = TELLING[series.channel.point]
    learning = Learning()
    good = np.isfinite(series.value)
    learning.learn(series.time[good], series.value[good])
    return learning.levels(telling)


def voices(every: Iterable[Series], plate: Plate | None) -> tuple[list[Voice], dict[str, str]]:
    """What the channels say, and which say nothing and why."""
    found: list[Voice] = []
    flat: list[Voice] = []
    left_out: dict[str, str] = {}
    for series in every:
        point, key = series.channel.point, series.channel.key
        telling = TELLING.get(point)
        if telling is not None:
            levels = None if telling.contact else learned(series)
            if telling.signal == HEAT:
                said = heating(series.time, series.value, telling)
            else:
                said = course(series.time, series.value, telling, levels)
            if said.time.size < 2:
                left_out[key] = "it has too few readings"
            elif not telling.contact and telling.signal != HEAT and levels and abs(levels.reach) < levels.on and not levels.always_on:
                flat.append(Voice(key, telling.signal, said, telling.on, telling.off, telling.quick))
            else:
                found.append(Voice(key, telling.signal, said, telling.on, telling.off, telling.quick))
            if point in STAGE_LEVELS and levels is not None:
                stage = high_stage(series, levels, plate)
                if stage is not None:
                    found.append(stage)
        if point in STAGE_CONTACTS:
            on, off = STAGE_CONTACTS[point]
            said = course(series.time, series.value, TELLING["switch_closed"], None)
            if said.time.size > 1:
                found.append(Voice(key, HIGH, said, on, off))
    working = rests(flat, found)
    left_out |= {voice.key: "it never left its rest by more than its scatter" for voice in flat if voice not in working}
    return found + working, left_out


def rests(flat: Sequence[Voice], others: Sequence[Voice], now: float = np.inf) -> list[Voice]:
    """Channels that rested all the while and tell by that: none of the others shows that they should not have."""
    return [one for one in flat if one.signal in SEEN and not any(_shows(one, other, now) for other in others)]


def _shows(flat: Voice, other: Voice, now: float) -> bool:
    least = SEEN[flat.signal].get(other.signal, np.inf)
    said = other.course
    if least == np.inf or said.time.size < 2:
        return False
    ends = np.minimum(np.append(said.time[1:], now), now)
    spans = np.where(said.state == 1, ends - np.maximum(said.time, flat.course.time[0]), 0.0)
    return bool(spans.max() > least)


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


def stage_split(
    point: str, distance: np.ndarray, levels: Levels, plate: Plate | None, least: int = 2
) -> float | None:
    """Distance from rest between the levels of the stages, from medians of some seconds; None where there is one.

    least : medians that each stage has at least; few of them may be those of a rise or a run down.
    """
    if point == "gas_manifold" and plate is not None and len(plate.manifold) > 1:
        split = float((plate.manifold[0] * plate.manifold[-1]) ** 0.5)
        if split <= abs(levels.reach) * 1.3:
            return split
    _, ratio = STAGE_LEVELS[point]
    return _split(distance[distance > max(levels.on, 0.15 * abs(levels.reach))], ratio, least)


def stage_course(point: str, time: np.ndarray, value: np.ndarray, levels: Levels, split: float) -> Course:
    """On in the high stage, off in the low one, nothing at rest."""
    distance = middles(levels.distance(value))
    shifted = Levels(0.0, 2 * split, levels.scatter, 1.05 * split, 0.95 * split)
    return _only_while_on(course(time, distance, TELLING[point], shifted), time, distance < levels.off)


def _only_while_on(said: Course, time: np.ndarray, off: np.ndarray) -> Course:
    """The course with nothing said while the channel rests."""
    change = np.flatnonzero(np.diff(off.astype(np.int8))) + 1
    at = np.unique(np.concatenate([said.time, time[change]]))
    state = said.state[np.maximum(np.searchsorted(said.time, at, "right") - 1, 0)]
    resting = off[np.clip(np.searchsorted(time, at, "right") - 1, 0, off.size - 1)]
    state = np.where(resting, np.int8(-1), state)
    u = np.full(at.size, 0.3)
    kept = np.concatenate([[True], state[1:] != state[:-1]])
    return Course(at[kept], state[kept], u[kept])


def _split(levels: np.ndarray, ratio: float, least: int) -> float | None:
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


def keys(found: Sequence[Voice]) -> tuple[str, ...]:
    """Keys of the channels that say something, each once."""
    return tuple(dict.fromkeys(voice.key for voice in found))


Left = Mapping[str, str]
