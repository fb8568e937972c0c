"""A channel's own levels: where it rests, how far it goes, how much it scatters; learned from what it showed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.sequence.signals import Telling

Array = NDArray[np.float64]

BLOCK = 1.0
"""Extremes are those of medians over so long, so that a spike is none. [s]"""
NEAR = 0.25
"""Part of the span from the extreme at rest in which a level still counts as rest. [1]"""
NEVER = 0.3
"""Part of the farthest level from which the one at rest is none: all these channels rest near nothing. [1]"""
COARSE = 0.25
"""Part of the largest step that the smallest one is the channel's resolution up to; a square wave has none. [1]"""
KEPT = 4096
"""Blocks kept. [1]"""
MOST = 200_000
"""Readings looked at to learn the scatter; of more, every so many. [1]"""


@dataclass(frozen=True, slots=True)
class Levels:
    """What a channel shows at rest and beyond. [inside unit]"""

    rest: float
    reach: float
    """From rest to the farthest that lasted, with its sign."""
    scatter: float
    """Standard deviation from one reading to the next."""
    on: float
    """Distance from rest from which it counts as on."""
    off: float
    """Distance from rest below which it counts as off again."""
    always_on: bool = False
    """Whether it never rested: its rest is taken as nothing."""

    def distance(self, value: Array) -> Array:
        """Distance from rest, positive in the direction that it goes."""
        away = value - self.rest
        return -away if self.reach < 0 else away


class Learning:
    """What lasted on a channel so far: medians of blocks, thinned by half when there are too many of them."""

    __slots__ = ("_count", "_every", "_held", "blocks", "high", "low", "scatter", "seen")

    def __init__(self) -> None:
        self.low, self.high = np.inf, -np.inf
        self.scatter = 0.0
        self.seen = 0
        self.blocks = np.empty(0)
        self._every, self._count = 1, 0
        self._held = np.empty((2, 0))

    def learn(self, time: Array, value: Array) -> None:
        """Take more readings, in the order of time."""
        if not time.size:
            return
        held = np.concatenate([self._held, np.stack([time, value])], axis=1)
        count = _per_block(held[0])
        whole = held.shape[1] // count * count
        if not whole:
            self._held = held
            return
        self._held = held[:, whole:]
        medians = np.median(held[1, :whole].reshape(-1, count), axis=1)
        if count < 3:  # neighbours stand for a block: one reading alone is no level
            medians = np.median(np.stack([medians[:-2], medians[1:-1], medians[2:]]), axis=0) if whole > 2 else medians[:0]
        if medians.size:
            self.low, self.high = min(self.low, float(medians.min())), max(self.high, float(medians.max()))
            self._keep(medians)
        steps = np.abs(np.diff(held[1, :whole]))[:: max(1, whole // MOST)]
        if steps.size:
            spread = _spread(steps)
            self.scatter += min(1.0, 4 * steps.size / (self.seen + steps.size)) * (spread - self.scatter)
            self.seen += steps.size

    def measure(self, value: Array) -> None:
        """Take the scatter from these readings alone."""
        steps = np.abs(np.diff(value))[:: max(1, value.size // MOST)]
        if steps.size:
            self.scatter = _spread(steps)

    def _keep(self, medians: Array) -> None:
        first = -self._count % self._every
        self._count += medians.size
        self.blocks = np.concatenate([self.blocks, medians[first :: self._every]])
        while self.blocks.size > KEPT:
            self.blocks, self._every = self.blocks[::2], 2 * self._every
            self._count = self.blocks.size * self._every

    def levels(self, telling: Telling, wander_most: float = np.inf) -> Levels | None:
        """What they say of a channel; None before there is anything.

        wander_most : part of the span that wandering at rest counts for at most; of few blocks some are of a run down.
        """
        if not self.blocks.size:
            return None
        low, high = self.low, self.high
        far = high if telling.rising or abs(low) <= abs(high) else low
        edge = low if far == high else high
        near = self.blocks[np.abs(self.blocks - edge) <= NEAR * (high - low)]
        rest = float(np.median(near)) if near.size else edge
        wander = 1.4826 * float(np.median(np.abs(near - rest))) if near.size > 8 else 0.0
        least = max(6 * self.scatter, telling.floor, min(5 * wander, wander_most * (high - low) if high > low else 0.0))
        away = abs(far - rest) < least or (rest * far > 0 and abs(rest) > NEVER * abs(far))
        always = away and abs(rest) > 4 * least
        if always:
            rest = 0.0
        reach = far - rest
        on = max(least, telling.share * abs(reach))
        return Levels(rest, reach, self.scatter, on, 0.6 * on, always)


def _per_block(time: Array) -> int:
    """Readings in a block."""
    if time.size < 2 or time[-1] <= time[0]:
        return 1
    return max(1, int(BLOCK * (time.size - 1) / (time[-1] - time[0]) + 0.01))


def _spread(steps: Array) -> float:
    return max(float(np.median(steps)) / 0.954, min(_smallest(steps), COARSE * float(steps.max())) * 0.29)


def _smallest(steps: Array) -> float:
    moving = steps[steps > 0]
    return float(np.percentile(moving, 5)) if moving.size else 0.0
