"""What a channel's course tells, beside what it shows: how much it counts, and what follows for another signal."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.model import Plate
from analysis.sequence.edges import Course, course
from analysis.sequence.evidence import Voice
from analysis.sequence.levels import Levels
from analysis.sequence.signals import FLAME, GAS, HEAT, HIGH, IGNITER, INDUCER, SWITCH, TELLING, Telling

Array = NDArray[np.float64]

SEEN: Mapping[int, Mapping[int, float]] = {
    INDUCER: {INDUCER: 8.0, SWITCH: 8.0, GAS: 8.0, FLAME: 8.0},
    GAS: {GAS: 8.0, FLAME: 8.0},
    IGNITER: {IGNITER: 8.0, GAS: 8.0, FLAME: 8.0},
    FLAME: {GAS: 20.0, FLAME: 8.0},
}
"""A channel that rested all the while is one that works, unless one of these signals was on for longer. [s]"""
RESTS = (0.8, 8.0)
"""A pressure switch that is open for so long shows a rest of the inducer; shorter it flutters. [s]"""
ENERGISED = 90.0
"""So long after it closed the circuit of the pressure switch is taken to be energised still. [s]"""


def voice_of(key: str, telling: Telling, said: Course, levels: Levels | None) -> Voice:
    """What a channel says; one whose reach is not far beyond its scatter counts less."""
    part = 1.0 if levels is None else reliance(levels)
    weights = part * telling.on, part * telling.off
    return Voice(key, telling.signal, said, *weights, quick=telling.quick, least=part**2 * telling.least)


def reliance(levels: Levels) -> float:
    """Part of its weight that a channel with such levels has. [1]"""
    return 1.0 if levels.always_on else min(max((abs(levels.reach) / levels.on - 1.0) / 3.0, 0.15), 1.0)


def tempered(found: Sequence[Voice], plate: Plate | None) -> list[Voice]:
    """All voices, those left out or made weaker that others or the plate make needless."""
    single = plate is not None and len(plate.input) == 1
    # a second stage that was never there may be none that this unit has
    kept = [one for one in found if one.signal != HIGH or not (single or (one.course.state != 1).all())]
    if any(voice.signal == SWITCH and voice.quick for voice in kept):
        kept = [voice for voice in kept if voice.signal != SWITCH or voice.quick]
    if any(voice.signal in (GAS, FLAME) for voice in kept):  # then temperatures, which follow late, add little
        kept = [_fainter(one) if one.signal == HEAT else one for one in kept]
    return kept


@lru_cache(maxsize=32)  # the same voice stays the same: nothing is worked out anew for it
def _fainter(one: Voice) -> Voice:
    return replace(one, on=0.1 * one.on, off=0.1 * one.off)


def pressed(time: Array, value: Array, plate: Plate | None) -> Course:
    """What the pressure at the low-stage switch says of its contact, by the points of the job file."""
    nothing = Course(np.empty(0), np.empty(0, np.int8), np.empty(0))
    if plate is None or not plate.switch_close:
        return nothing
    closing = plate.switch_close[-1]
    opening = plate.switch_open[-1] if plate.switch_open else 0.9 * closing
    wide = 0.06 if plate.switch_label == "unknown" else 0.03
    levels = Levels(0.0, 2 * closing, 0.0, (1 + wide) * closing, (1 - wide) * opening)
    return course(time, np.abs(value), TELLING["gas_manifold"], levels)


def by_pressure(key: str, said: Course) -> Voice:
    """The pressure at the switch as a witness of its contact."""
    return Voice(key, SWITCH, said, 0.5, 1.5, quick=False)


def energised(said: Course) -> Course:
    """Volts across the switch: none after there were some is a closed switch, for a while; else nobody knows."""
    time, state, u = [], [], []
    for index, at in enumerate(said.time):
        closed = said.state[index] == 1
        after = index > 0 and said.state[index - 1] == 0
        time.append(float(at))
        state.append(-1 if closed and not after else int(said.state[index]))
        u.append(float(said.u[index]))
        if closed and after and (index + 1 == said.time.size or said.time[index + 1] > at + ENERGISED):
            time.append(float(at) + ENERGISED)
            state.append(-1)
            u.append(0.0)
    return Course(np.array(time), np.array(state, np.int8), np.array(u))


def turned(key: str, said: Course) -> Voice:
    """What the contact of the pressure switch says of the inducer: closed it turns; open for a moment it rested."""
    lasts = np.append(np.diff(said.time), np.inf)
    between = np.zeros(said.state.size, np.bool_)
    between[1:-1] = (said.state[:-2] == 1) & (said.state[2:] == 1)
    rested = (said.state == 0) & between & (lasts > RESTS[0]) & (lasts < RESTS[1])
    state = np.where(said.state == 1, 1, np.where(rested, 0, -1)).astype(np.int8)
    return Voice(key, INDUCER, Course(said.time, state, said.u), 3.0, 1.5, quick=False, least=12.0)


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
