"""From the series of a recording to what each channel says."""

from collections.abc import Iterable, Sequence

import numpy as np

from analysis.model import Plate, Series
from analysis.sequence.edges import Course, course
from analysis.sequence.evidence import Voice
from analysis.sequence.heat import heating
from analysis.sequence.levels import Learning, Levels
from analysis.sequence.signals import HEAT, HIGH, STAGE_CONTACTS, STAGE_LEVELS, TELLING, Telling
from analysis.sequence.stages import high_stage
from analysis.sequence.voicing import by_pressure, energised, pressed, rests, tempered, turned, voice_of


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
        if (telling := TELLING.get(point)) is not None:
            levels = None if telling.contact else learned(series)
            said = _said(series, telling, levels)
            if said.time.size < 2:
                left_out[key] = "it has too few readings"
            elif telling.signal != HEAT and levels and abs(levels.reach) < levels.on and not levels.always_on:
                flat.append(voice_of(key, telling, said, None))
            else:
                found.append(voice_of(key, telling, said, levels))
            found += _beside(series, said, levels, plate)
        if point in STAGE_CONTACTS:
            on, off = STAGE_CONTACTS[point]
            said = course(series.time, series.value, TELLING["switch_closed"], None)
            if said.time.size > 1:
                found.append(Voice(key, HIGH, said, on, off))
    working = rests(flat, found)
    left_out |= {voice.key: "it never left its rest by more than its scatter" for voice in flat if voice not in working}
    return tempered(found + working, plate), left_out


def _said(series: Series, telling: Telling, levels: Levels | None) -> Course:
    if telling.signal == HEAT:
        return heating(series.time, series.value, telling)
    said = course(series.time, series.value, telling, levels)
    return energised(said) if series.channel.point == "volts_switch" else said


def _beside(series: Series, said: Course, levels: Levels | None, plate: Plate | None) -> list[Voice]:
    """What a channel says of other signals than its own."""
    point, key = series.channel.point, series.channel.key
    found: list[Voice] = []
    if point == "switch_closed" and said.time.size > 2:
        found.append(turned(key, said))
    if point == "draft_switch":
        good = np.isfinite(series.value)
        closed = pressed(series.time[good], series.value[good], plate)
        if closed.time.size > 1:
            found.append(by_pressure(key, closed))
    if point in STAGE_LEVELS and levels is not None and not levels.always_on:
        stage = high_stage(series, levels, plate)
        if stage is not None:
            found.append(stage)
    return found


def keys(found: Sequence[Voice]) -> tuple[str, ...]:
    """Keys of the channels that say something, each once."""
    return tuple(dict.fromkeys(voice.key for voice in found))
