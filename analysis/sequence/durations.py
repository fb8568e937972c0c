"""How long each state lasts: the job file's durations where it gives them, else the envelope of the trade.

Densities are worked out once for durations from a blink to two days, and read off that table between its lines.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.model import Timing
from analysis.sequence.states import NUMBER, STATES

Array = NDArray[np.float64]

BEYOND = 8.0
"""Cost of lasting twice as long as the envelope's longest. [log 1]"""

FINE, STEP, LONGEST = 0.5, 0.002, 2e5
"""The table's lines are so far apart: that part of the duration and so much more, up to so long. [s, 1, s]"""


class Durations:
    """How long each state lasts: about what the timing says, or somewhere in the envelope."""

    def __init__(self, timing: Timing | None) -> None:
        low, usual, high = np.array([state.envelope for state in STATES]).T
        self._longest = high
        self._middle = np.log(usual)
        self._wide = np.maximum(np.log(high / low) / 4.0, 0.25)
        told = [getattr(timing, state.timing, None) if timing and state.timing else None for state in STATES]
        self._told = np.array([np.nan if one is None else float(one) for one in told])
        self.usual = np.where(np.isnan(self._told), usual, self._told)
        self._spread = 0.35 + 0.015 * np.nan_to_num(self._told)
        self._share = np.where(np.isnan(self._told), 0.0, [state.told for state in STATES])
        self._table, self._steps = self._tabulated()

    def told(self, state: int) -> float | None:
        """Spread of a state's duration where the timing tells it; None where it does not. [s]"""
        return None if np.isnan(self._told[state]) else float(self._spread[state])

    def stated(self, name: str) -> float:
        """A state's duration where the timing tells it; 0 where it does not. [s]"""
        return float(np.nan_to_num(self._told[NUMBER[name]]))

    def ends_or_lasts(self, duration: Array) -> Array:
        """(n, 2, states) logarithms for durations (n,): density of ending [log 1/s], probability to go on [log 1]."""
        line, part = self._place(duration)
        found = self._steps.take(line, axis=0)
        found *= part[:, None, None]
        found += self._table.take(line, axis=0)
        return found

    def of_each(self, duration: Array) -> Array:
        """(2, states) the same of each state for a duration (states,) of its own."""
        line, part = self._place(duration)
        every = np.arange(len(STATES))
        return (self._table[line, :, every] + part[:, None] * self._steps[line, :, every]).T

    @staticmethod
    def _place(duration: Array) -> tuple[NDArray[np.int64], Array]:
        """Line of the table before each duration, and how far it is to the next. [1]"""
        place = np.log(np.minimum(duration, LONGEST) / FINE + 1.0) / STEP
        line = place.astype(np.int64)
        return line, place - line

    def _tabulated(self) -> tuple[Array, Array]:
        """(lines, 2, states) logarithms, and their steps to the next line."""
        count = int(np.log(LONGEST / FINE + 1.0) / STEP) + 3
        duration = FINE * np.expm1(STEP * np.arange(count))
        table = np.stack([self._density(duration), self._lasting(duration)], axis=1)
        return table[:-1], np.diff(table, axis=0)

    def _density(self, duration: Array) -> Array:
        """(n, states) logarithm of the probability density for durations (n,). [log 1/s]"""
        length = np.maximum(duration, 1e-3)[:, None]
        deviation = (np.log(length) - self._middle) / self._wide
        wide = np.exp(-0.5 * deviation**2) / (self._wide * length * 2.5066) + 1e-7
        near = np.nan_to_num(np.exp(-0.5 * ((length - self._told) / self._spread) ** 2) / (self._spread * 2.5066))
        return np.asarray(np.log(self._share * near + (1 - self._share) * wide) - self._beyond(length))

    def _lasting(self, duration: Array) -> Array:
        """(n, states) logarithm of the probability to last longer than durations (n,). [log 1]"""
        length = np.maximum(duration, 1e-3)[:, None]
        wide = ndtr(-(np.log(length) - self._middle) / self._wide)
        near = np.nan_to_num(ndtr(-(length - self._told) / self._spread))
        return np.asarray(np.log(self._share * near + (1 - self._share) * wide + 1e-6) - self._beyond(length))

    def _beyond(self, length: Array) -> Array:
        """What it costs to last longer than the envelope. [log 1]"""
        return np.asarray(BEYOND * np.maximum(length / self._longest - 1.0, 0.0))
