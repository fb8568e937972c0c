"""The step of a draft at the moment the heat blower starts: a sign of a possible heat exchanger breach.

A step says "possible", no more: a leak of the blower door or vestibule, a drain in the blower compartment or a sag of
the supply makes one too. No step never clears an exchanger: it is near a manometer's resolution.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.measures.levels import without_spikes

Array = NDArray[np.float64]

TAPS: Mapping[str, float] = {"draft_transition": 0.005, "draft_collector": 0.01}
"""What a breach makes weaker when the blower presses on it, the more telling first, of which one is asked; and the
share of its level that warming and a supply under load move it by in simulated units in order; our choice. The burner
box by itself is not asked: its suction is small, and blower and doors move it in units in order too. [1]"""
LESS = "draft_burner_box"
"""Taken off a tap where it is read too: a gust moves both alike, so that the difference is free of it."""
POINTS = frozenset({*TAPS, LESS})
"""What is read for it."""
WIND = 2.5
"""A gust of some seconds moves a tap by so much, 0.01 in. w.c.; our choice, as simulated gusts do. [Pa]"""
WINDOW = 12.0
"""What is looked at to each side; our choice. [s]"""
GUARD = 3.0
"""The blower comes up to speed meanwhile; our choice. [s]"""
FEWEST = 8
"""Readings to each side without which nothing is said. [1]"""
TIMES = 3.0
"""A step of so many standard uncertainties is a sign; our choice. [1]"""
MOST = 0.25
"""A larger share of the level is a change of the inducer's speed and no breach; our choice. [1]"""


@dataclass(frozen=True, slots=True)
class Step:
    """What a pressure did at one moment, beyond what it was doing anyway."""

    size: float
    """Away from below: above zero where a suction became weaker. [Pa]"""
    u: float
    """Standard uncertainty. [Pa]"""
    level: float
    """Before it. [Pa]"""

    @property
    def weaker(self) -> bool:
        """Whether a suction became weaker by more than chance and the sag of a supply explain."""
        return self.level < 0.0 and TIMES * self.u <= self.size <= -MOST * self.level


def step_at(
    time: NDArray[np.float64],
    value: NDArray[np.float64],
    moment: float,
    *,
    display: float = 0.0,
    response: float = 0.0,
    wind: float = WIND,
    share: float = 0.005,
) -> Step | None:
    """Step of a pressure at a moment; None where too little was read beside it.

    time : (n,) strictly increasing. [s]
    value : (n,) finite. [Pa]
    moment : start of the blower. [s]
    display : step of the meter's display, 0 where it is not known. [Pa]
    response : time constant of the meter. [s]
    wind : what a gust may move it by, one standard uncertainty; none for a difference of taps. [Pa]
    share : of the level that may come and go without a breach, one standard uncertainty. [1]
    returns : step with its standard uncertainty, or None. [Pa]

    Valid: speed of the inducer and stage do not change within the windows; steps that are there after `GUARD`.
    Method: one slope and a step through both sides, without the moments round the start; its error widened for the
        correlation of what it leaves; a warming circuit bends, so that what a bend takes off is part of it.
    Source: Santer et al., Journal of Geophysical Research 105(D6), 2000, equations 3 to 6, for the correlation; the
        windows are our choice, tried on simulated units.
    """
    away = np.abs(time - moment)
    guard = GUARD + 3.0 * response
    kept = (away >= guard) & (away <= guard + WINDOW)
    near, value = without_spikes(time[kept] - moment, value[kept], display)
    before, after = near[near < 0.0], near[near > 0.0]
    if min(before.size, after.size) < FEWEST or -before[0] < guard + WINDOW / 2 or after[-1] < guard + WINDOW / 2:
        return None
    size, u, level = _fitted(near, value, 1)
    bent, _, _ = _fitted(near, value, 2)
    return Step(size, math.hypot(u, bent - size, share * level, wind, display / math.sqrt(6.0)), level)


def less(
    time: NDArray[np.float64], value: NDArray[np.float64], other_time: NDArray[np.float64], other: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A tap less another one, at the tap's times as far as the other was read.

    time : (n,) of the tap. [s]
    value : (n,) of the tap. [Pa]
    other_time : (m,) of the other. [s]
    other : (m,) of the other. [Pa]
    returns : times and differences. [s, Pa]

    Valid: both read several times in `GUARD`.
    Method: linear between readings of the other.
    Source: definition.
    """
    if not other_time.size:
        return time[:0], value[:0]
    both = (time >= other_time[0]) & (time <= other_time[-1])
    return time[both], value[both] - np.interp(time[both], other_time, other)


def _fitted(time: Array, value: Array, order: int) -> tuple[float, float, float]:
    """Step, its standard uncertainty, and the level before it, of a polynomial with a step at zero."""
    columns = [(time / WINDOW) ** power for power in range(order + 1)]
    design = np.stack([*columns, (time > 0.0).astype(float)], axis=1)
    inverse = np.linalg.inv(design.T @ design)
    found = inverse @ design.T @ value
    left = value - design @ found
    squares = float(left @ left)
    neighbours = float(left[1:] @ left[:-1]) / squares if squares > 0.0 else 0.0
    kept = min(max(neighbours + 2 / time.size, 0.0), 0.95)
    freedom = max(time.size * (1 - kept) / (1 + kept) - order - 2, 1.0)
    return float(found[-1]), math.sqrt(squares / freedom * float(inverse[-1, -1])), float(found[0])
