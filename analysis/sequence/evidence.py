"""What all channels say together: sums of evidence for each signal, and the moments at which something may change."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.sequence.durations import Durations
from analysis.sequence.edges import Course
from analysis.sequence.signals import BLOWER, CALL, FLAME, GAS, IGNITER, INDUCER, SIGNALS, SWITCH
from analysis.sequence.states import NUMBER, asks

Array = NDArray[np.float64]

NEAR = 0.12
"""Moments closer than this are one. [s]"""
CROWD, CROWDED, APART = 30, 8.0, 2.0
"""Where so many moments [1] come within so long [s], as where a contact chatters, only those so far apart count. [s]"""
DELAYS = 20.0, 30.0, 45.0
"""Delays of the blower that are common, where the job file does not say; common practice, no published source. [s]"""
SHORTEST = 0.25
"""What a channel says for less than this may be a bounce. [s]"""
MOST_TOLD = 10.0
"""Channels of one signal together count no more than this. [1/s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Voice:
    """One channel's course, and how it tells."""

    key: str
    signal: int
    course: Course
    on: float
    """[1/s]"""
    off: float
    """[1/s]"""
    quick: bool = True
    least: float = 0.0
    """What it counts at least while it says one thing, however short that is. [log 1]"""


class Evidence:
    """Sums over time of the evidence for on and for off of every signal."""

    def __init__(self, voices: Iterable[Voice]) -> None:
        self.voices = tuple(voices)
        self._tables: list[tuple[int, Array, Array, Array]] = []
        for signal in range(SIGNALS):
            own = [voice for voice in self.voices if voice.signal == signal and voice.course.time.size > 1]
            if own:
                self._tables.append((signal, *_summed(own)))
        self._on, self._off = asks()

    @property
    def signals(self) -> frozenset[int]:
        """Those of which a channel tells."""
        return frozenset(signal for signal, *_ in self._tables)

    def said(self, time: Array) -> Array:
        """(n, states) sums until times (n,); a state takes what contradicts it, so that all sums fall."""
        total = np.zeros((time.size, self._on.shape[0]))
        for signal, at, on, off in self._tables:
            total -= np.interp(time, at, off)[:, None] * self._on[:, signal]
            total -= np.interp(time, at, on)[:, None] * self._off[:, signal]
        return total


def _summed(voices: Sequence[Voice]) -> tuple[Array, Array, Array]:
    """Times, and the sums until then of what speaks for on and for off."""
    times = np.unique(np.concatenate([voice.course.time for voice in voices]))
    rates = np.zeros((2, times.size))
    least = np.zeros((2, times.size))
    for voice in voices:
        course = voice.course
        where = np.searchsorted(course.time, times, "right") - 1
        state = np.where(where >= 0, course.state[np.maximum(where, 0)], -1)
        lasts = np.append(np.diff(course.time), np.inf)[np.maximum(where, 0)]
        brief = np.where(lasts >= SHORTEST, voice.least / np.maximum(lasts, SHORTEST), 0.0)
        for told, weight in ((1, voice.on), (0, voice.off)):
            rates[1 - told] += weight * (state == told)
            least[1 - told] = np.maximum(least[1 - told], brief * (state == told))
    # where they disagree only the difference counts; together no more than so much
    less = np.minimum(rates[0], rates[1])
    rates = np.minimum(rates - less, MOST_TOLD)
    missed = np.stack([np.zeros(times.size, np.bool_), rates[0] > 0])  # a short rest that one saw the others may miss
    rates = np.where(missed, 0.8 * least, np.where(rates > 0, np.maximum(rates, least), 0.0))
    both = (rates > 0).all(axis=0)
    rates[:, both] -= rates[:, both].min(axis=0)
    spans = np.diff(times)
    sums = np.concatenate([np.zeros((2, 1)), np.cumsum(rates[:, :-1] * spans, axis=1)], axis=1)
    return times, sums[0], sums[1]


def moments(
    voices: Sequence[Voice], durations: Durations, start: float, end: float, free: Array | None = None
) -> Array:
    """Times at which a state may begin: what the channels show, and what follows from it by the timing. [s]"""
    shown: dict[tuple[int, int], list[Array]] = {}
    for voice in voices:
        course = voice.course
        where = np.flatnonzero(course.changes)
        for state in (0, 1):
            shown.setdefault((voice.signal, state), []).append(course.time[where[course.state[where] == state]])
    seen = {key: np.concatenate(parts) for key, parts in shown.items()}
    have = {voice.signal for voice in voices if voice.quick}
    every = [*seen.values(), *([free] if free is not None else ())]
    every += _implied(seen, have, durations)
    times = np.concatenate(every) if every else np.empty(0)
    times = np.sort(times[(times > start) & (times < end)])
    return _apart(times, start, end)


def _implied(seen: Mapping[tuple[int, int], Array], have: set[int], durations: Durations) -> list[Array]:
    """Moments that no channel shows, from those that are shown."""

    def usual(*names: str) -> float:
        return float(sum(durations.usual[NUMBER[name]] for name in names))

    nothing = np.empty(0)
    starts = seen.get((INDUCER, 1), nothing)
    proved = seen.get((SWITCH, 1), nothing)
    calls = seen.get((CALL, 1), nothing)
    lit = seen.get((FLAME, 1), nothing)
    gas = seen.get((GAS, 1), nothing)
    glow = seen.get((IGNITER, 1), nothing)
    out = [part for key in ((FLAME, 0), (GAS, 0), (SWITCH, 0), (CALL, 0)) if (part := seen.get(key)) is not None]
    shut = np.concatenate(out) if out else nothing
    found: list[Array] = [calls + 1.5]
    if INDUCER not in have:
        found += [proved - 4.0, gas - usual("prepurge", "igniter_warmup") - 4.0]
        found += [lit - usual("prepurge", "igniter_warmup") - 6.0]
    if SWITCH not in have:
        found += [starts + 2.5, starts + 4.0, starts + 6.0, gas - usual("prepurge", "igniter_warmup")]
        found += [lit - 1.0 - usual("prepurge", "igniter_warmup"), glow - usual("prepurge")]
    before = proved if proved.size else np.concatenate([starts + 4.0, starts + 2.5])
    if IGNITER not in have:
        found += [before + usual("prepurge"), gas - usual("igniter_warmup")]
    if GAS not in have:
        found += [before + usual("prepurge", "igniter_warmup"), lit - 1.0, glow + usual("igniter_warmup")]
    if IGNITER not in have and GAS not in have:
        found += [lit - 1.0 - usual("igniter_warmup")]
    valve = gas if gas.size else before + usual("prepurge", "igniter_warmup")
    if FLAME not in have:
        found += [valve + 0.6, valve + 1.5]
    if FLAME not in have and GAS not in have and (blows := seen.get((BLOWER, 1))) is not None:
        for delay in DELAYS if durations.told(NUMBER["blower_on_delay"]) is None else (usual("blower_on_delay"),):
            found += [blows - delay, blows - delay - 0.8, blows - delay - 0.8 - usual("igniter_warmup")]
    found += [valve + usual("ignition_trial")]
    flame = lit if lit.size else valve + 0.8
    found += [flame + usual("blower_on_delay")]
    ends = np.concatenate([seen.get((INDUCER, 0), nothing), seen.get((SWITCH, 0), nothing)])
    found += [ends - usual("interpurge"), ends - usual("post_purge"), starts + 60.0]
    found += [shut + usual("post_purge"), shut + usual("post_purge", "blower_off_delay")]
    return found


def _apart(times: Array, start: float, end: float) -> Array:
    """Moments that are not too close, with both ends."""
    every = np.concatenate([[start], times, [end]])
    kept = [0]
    for number in range(1, every.size - 1):
        crowded = len(kept) > CROWD and every[number] - every[kept[-CROWD]] < CROWDED
        if every[number] - every[kept[-1]] >= (APART if crowded else NEAR) and end - every[number] >= NEAR:
            kept.append(number)
    return every[[*kept, every.size - 1]]
