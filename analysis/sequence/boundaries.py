"""Where each boundary lies and how sure that is: at the change that a channel shows, or where durations put it."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.sequence.durations import Durations
from analysis.sequence.evidence import Voice
from analysis.sequence.path import Segment
from analysis.sequence.signals import SIGNALS
from analysis.sequence.states import asks

Array = NDArray[np.float64]

TOGETHER = 0.9
"""Changes of channels this close to a boundary may be the one. [s]"""
CLOCKS = 0.2
"""Standard uncertainty of an instrument's clock against the control's. [s]"""
UNSEEN = 4.0
"""Standard uncertainty of a boundary that no channel shows and no timing tells. [s]"""


def refined(
    segments: Sequence[Segment], time: Array, voices: Sequence[Voice], durations: Durations
) -> tuple[Array, Array]:
    """(n,) moments of a path, those that are boundaries moved to where the channels show them; and (n,) u. [s]"""
    at, u = time.copy(), np.zeros(time.size)
    on, off = asks()
    edges = _edges(voices)
    for before, after in pairwise(segments):
        number = after.start
        best, known = _shown(float(time[number]), on, off, before.state, after.state, edges)
        at[number], u[number] = best, known
        if not known:
            told = durations.told(before.state)
            u[number] = UNSEEN if told is None else np.hypot(told, u[before.start])
    for first, second in pairwise(segments):
        at[second.start] = max(at[second.start], at[first.start])
    return at, u


def _edges(voices: Sequence[Voice]) -> dict[tuple[int, int], tuple[Array, Array]]:
    """Times and u of the changes of each signal to each state, of channels that are quick."""
    found = {}
    for signal in range(SIGNALS):
        for state in (0, 1):
            own = [voice.course for voice in voices if voice.signal == signal and voice.quick]
            if own:
                which = [course.changes & (course.state == state) for course in own]
                times = np.concatenate([course.time[one] for course, one in zip(own, which, strict=True)])
                us = np.concatenate([course.u[one] for course, one in zip(own, which, strict=True)])
                order = np.argsort(times, kind="stable")
                found[signal, state] = times[order], us[order]
    return found


def _shown(  # noqa: PLR0917
    time: float, on: Array, off: Array, before: int, after: int, edges: dict[tuple[int, int], tuple[Array, Array]]
) -> tuple[float, float]:
    """The best known change near a boundary between two states, and its u; u = 0 where there is none."""
    best, least = time, 0.0
    for (signal, state), (times, us) in edges.items():
        wanted = (
            (off[before, signal] > 0 and on[after, signal] > 0)
            if state
            else (on[before, signal] > 0 and off[after, signal] > 0)
        )
        if not wanted:
            continue
        first, last = np.searchsorted(times, [time - TOGETHER, time + TOGETHER])
        for index in range(int(first), int(last)):
            known = float(np.hypot(us[index], CLOCKS))
            if not least or known < least:
                best, least = float(times[index]), known
    return best, least
