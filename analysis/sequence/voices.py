"""From the series of a recording to what each channel says."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from analysis.model import Plate, Series
from analysis.sequence.edges import Course, course, middles
from analysis.sequence.evidence import Voice
from analysis.sequence.heat import heating
from analysis.sequence.levels import Learning, Levels
from analysis.sequence.signals import HEAT, HIGH, INDUCER, STAGE_CONTACTS, STAGE_LEVELS, SWITCH, TELLING, Telling

RESTS = (0.8, 8.0)
"""A pressure switch that is open for so long shows a rest of the inducer; shorter it flutters. [s]"""
STEADY = 5.0
"""Levels of the stages are medians over so long. [s]"""


def learned(series: Series) -> Levels | None:
    """Levels of a channel from all that it showed."""
    telling = TELLING[series.channel.point]
    learning = Learning()
    good = np.isfinite(series.value)
    learning.learn(series.time[good], series.value[good])
    return learning.levels(telling)


def voices(  # noqa: PLR0912
    every: Iterable[Series], plate: Plate | None
) -> tuple[list[Voice], dict[str, str]]:
    """What the channels say, and which say nothing and why."""
    found: list[Voice] = []
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
            elif (
                not telling.contact
                and telling.signal != HEAT
                and levels
                and abs(levels.reach) < levels.on
                and not levels.always_on
            ):
                left_out[key] = "it never left its rest by more than its scatter"
            else:
                found.append(_voice(key, telling, said, levels))
            if point == "switch_closed" and said.time.size > 2:
                found.append(turned(key, said))
            if point == "draft_switch" and (closed := by_pressure(series, plate)) is not None:
                found.append(closed)
            if point in STAGE_LEVELS and levels is not None and not levels.always_on:
                stage = high_stage(series, levels, plate)
                if stage is not None:
                    found.append(stage)
        if point in STAGE_CONTACTS:
            on, off = STAGE_CONTACTS[point]
            said = course(series.time, series.value, TELLING["switch_closed"], None)
            if said.time.size > 1:
                found.append(Voice(key, HIGH, said, on, off))
    if any(voice.signal == SWITCH and voice.quick for voice in found):
        found = [voice for voice in found if voice.signal != SWITCH or voice.quick]
    return found, left_out


def _voice(key: str, telling: Telling, said: Course, levels: Levels | None) -> Voice:
    """A channel whose reach is not far beyond its scatter counts less."""
    part = 1.0
    if levels is not None and not levels.always_on:
        part = min(max((abs(levels.reach) / levels.on - 1.0) / 3.0, 0.15), 1.0)
    return Voice(
        key, telling.signal, said, part * telling.on, part * telling.off, telling.quick, part**2 * telling.least
    )


def by_pressure(series: Series, plate: Plate | None) -> Voice | None:
    """What the pressure at the low-stage switch says of its contact, by the points of the job file."""
    if plate is None or not plate.switch_close:
        return None
    closing = plate.switch_close[-1]
    opening = plate.switch_open[-1] if plate.switch_open else 0.9 * closing
    wide = 0.06 if plate.switch_label == "unknown" else 0.03
    levels = Levels(0.0, 2 * closing, 0.0, (1 + wide) * closing, (1 - wide) * opening)
    good = np.isfinite(series.value)
    said = course(series.time[good], np.abs(series.value[good]), TELLING["gas_manifold"], levels)
    return Voice(series.channel.key, SWITCH, said, 0.5, 1.5, quick=False) if said.time.size > 1 else None


def turned(key: str, said: Course) -> Voice:
    """What the contact of the pressure switch says of the inducer: closed it turns; open for a moment it rested."""
    lasts = np.append(np.diff(said.time), np.inf)
    between = np.concatenate([[False], (said.state[:-2] == 1) & (said.state[2:] == 1), [False]])[: said.state.size]
    rested = (said.state == 0) & between & (lasts > RESTS[0]) & (lasts < RESTS[1])
    state = np.where(said.state == 1, 1, np.where(rested, 0, -1)).astype(np.int8)
    return Voice(key, INDUCER, Course(said.time, state, said.u), 1.5, 1.5, quick=False, least=6.0)


def high_stage(series: Series, levels: Levels, plate: Plate | None) -> Voice | None:
    """What a level says of the stage: between its two levels while it is on; None where it has only one."""
    weight, ratio = STAGE_LEVELS[series.channel.point]
    good = np.isfinite(series.value)
    time, distance = series.time[good], middles(levels.distance(series.value[good]))
    if time.size < 8:
        return None
    split = None
    if series.channel.point == "gas_manifold" and plate is not None and len(plate.manifold) > 1:
        split = (plate.manifold[0] * plate.manifold[-1]) ** 0.5
        if split > abs(levels.reach) * 1.3:
            split = None
    if split is None:
        spacing = max(float(time[-1] - time[0]) / (time.size - 1), 1e-3)
        count = max(1, round(STEADY / spacing))
        blocks = distance[: distance.size // count * count].reshape(-1, count)
        blocks = np.median(blocks, axis=1)
        split = _split(blocks[blocks > max(levels.on, 0.15 * abs(levels.reach))], ratio)
    if split is None:
        return None
    shifted = Levels(0.0, 2 * split, levels.scatter, 1.05 * split, 0.95 * split)
    said = course(time, distance, TELLING[series.channel.point], shifted)
    off = distance < levels.off
    return Voice(series.channel.key, HIGH, _only_while_on(said, time, off), weight, weight)


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


def _split(levels: np.ndarray, ratio: float) -> float | None:
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
    if best < 1 or ordered.size - best - 1 < 2 or high < ratio * low:
        return None
    return float((low * high) ** 0.5)


def keys(found: Sequence[Voice]) -> tuple[str, ...]:
    """Keys of the channels that say something, each once."""
    return tuple(dict.fromkeys(voice.key for voice in found))


Left = Mapping[str, str]
