"""What happens to readings on their way: spikes, a channel that hangs, lost and repeated rows, a clock that is set."""

import random
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Series

Array = NDArray[np.float64]
Read = list[tuple[Channel, Array, Array]]
"""Channel, times [s] and values [inside unit]."""


@dataclass(slots=True)
class Spoiling:
    """What is done to one recording, drawn."""

    spikes: float = 0.0
    """Share of the readings of every measured (not switched) channel that are far off. [1]"""
    bad: float = 0.0
    """Share of readings without a value. [1]"""
    missing: float = 0.0
    """Share of rows that are lost. [1]"""
    repeated: float = 0.0
    """Share of readings that come a second time, a little later. [1]"""
    stuck: tuple[str, float, float] | None = None
    """Key of a channel that shows the same value from one time to another. [s]"""
    step: tuple[float, float] | None = None
    """When the clock of everything is set, and by how much. [s]"""
    window: tuple[float, float] = (0.0, np.inf)
    """What of the run was recorded. [s]"""
    done: list[str] = field(default_factory=list)
    """In words, for whoever looks at it."""


def spoiling(read: Read, seconds: float, phases: list[tuple[float, float]], chance: random.Random) -> Spoiling:
    """Draw what happens; `phases`: (start, end) of attempts, in some of which the recording begins or ends. [s]"""
    found = Spoiling()
    if chance.random() < 0.3:
        found.spikes = 10.0 ** chance.uniform(-4.0, -2.3)
        found.done.append(f"spikes {found.spikes:.2%}")
    if chance.random() < 0.15:
        found.bad = chance.uniform(0.002, 0.03)
        found.done.append(f"without value {found.bad:.1%}")
    if chance.random() < 0.25:
        found.missing = chance.uniform(0.01, 0.15)
        found.done.append(f"missing {found.missing:.0%}")
    if chance.random() < 0.15:
        found.repeated = chance.uniform(0.01, 0.2)
        found.done.append(f"repeated {found.repeated:.0%}")
    measured = [channel.key for channel, *_ in read if channel.unit != "1"]
    if len(read) > 1 and measured and chance.random() < 0.12:
        begin = chance.uniform(0.0, seconds)
        found.stuck = chance.choice(measured), begin, begin + chance.uniform(20.0, 200.0)
        found.done.append(f"{found.stuck[0]} stuck from {begin:.0f} s to {found.stuck[2]:.0f} s")
    if chance.random() < 0.1:
        found.step = chance.uniform(0.1, 0.9) * seconds, chance.choice((-1.0, 1.0)) * chance.uniform(2.0, 20.0)
        found.done.append(f"clock set by {found.step[1]:.1f} s at {found.step[0]:.0f} s")
    inside = [(begin, end) for begin, end in phases if end - begin > 20.0]
    first = last = None
    if inside and chance.random() < 0.2:
        first = chance.choice(inside)
    if inside and chance.random() < 0.2:
        last = chance.choice(inside)
    if first and first[0] < seconds - 400.0:
        found.window = chance.uniform(*first), np.inf
        found.done.append(f"begins at {found.window[0]:.1f} s")
    if last and last[0] > found.window[0] + 300.0:
        found.window = found.window[0], chance.uniform(*last)
        found.done.append(f"ends at {found.window[1]:.1f} s")
    return found


def clock(step: tuple[float, float] | None) -> Callable[[Array], Array]:
    """What the clock says of true times; set back, it stands until they have come up to it."""
    if step is None:
        return lambda time: time
    when, by = step
    return lambda time: np.where(time <= when, time, np.maximum(time + by, when))


def spoiled(read: Read, how: Spoiling, generator: np.random.Generator) -> tuple[Series, ...]:
    """The readings with what happened to them; times from the start of the run. [s]"""
    found = (_spoiled(channel, time, value, how, generator) for channel, time, value in read)
    return tuple(one for one in found if one.time.size)


def _spoiled(channel: Channel, time: Array, value: Array, how: Spoiling, generator: np.random.Generator) -> Series:
    value = value.copy()
    if how.stuck and how.stuck[0] == channel.key:
        inside = np.flatnonzero((time >= how.stuck[1]) & (time < how.stuck[2]))
        value[inside] = value[inside[0]] if inside.size else value[inside]
    if how.spikes and channel.unit != "1":
        hit = generator.random(time.size) < how.spikes
        size = 3.0 * (np.ptp(value) if value.size else 0.0) + 1e-6
        value = np.where(hit, value + size * generator.uniform(-1.0, 1.0, time.size), value)
    if how.bad:
        value = np.where(generator.random(time.size) < how.bad, np.nan, value)
    kept = (generator.random(time.size) >= how.missing) & (time >= how.window[0]) & (time <= how.window[1])
    time, value = time[kept], value[kept]
    if how.repeated and time.size:
        again = np.flatnonzero(generator.random(time.size) < how.repeated)
        later = time[again] + generator.uniform(0.005, 0.08, again.size)
        time, value = np.concatenate([time, later]), np.concatenate([value, value[again]])
    order = np.argsort(time, kind="stable")
    time, value = clock(how.step)(time[order]), value[order]
    new = np.concatenate([[True], np.diff(np.maximum.accumulate(time)) > 0]) if time.size else np.zeros(0, bool)
    return Series(channel, time[new], value[new])
