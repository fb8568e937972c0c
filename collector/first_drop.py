"""Which contact opened first when the fire went out, said only where clocks and sampling allow it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from analysis.model import NANOSECONDS, Quality

CHAIN = ("door_closed", "float_closed", "rollout_closed", "limit_closed", "switch_closed", "call_heat", "gas_valve")
"""Contacts whose opening ends a fire, and the valve itself."""

AROUND = 5 * NANOSECONDS
"""Drops within this before the gas valve's belong to it. Our choice. [ns]"""
CLOCKS = NANOSECONDS // 4
"""Two instruments' clocks are not compared closer than this: one takes its own time to report. Our choice. [ns]"""


@dataclass(frozen=True, slots=True)
class Drop:
    """A contact that went from closed to open."""

    point: str
    instrument: str
    after: int
    """Last time it was read closed. [ns]"""
    time: int
    """First time it was read open. [ns]"""

    def surely_before(self, other: "Drop") -> bool:
        """Whether it opened before another one did, whenever within their readings that was."""
        if self.instrument == other.instrument:  # it reads its contacts together, or tells each change as it comes
            return self.time < other.time
        return self.time + CLOCKS < other.after


@dataclass(frozen=True, slots=True)
class FirstDrop:
    """What opened when the gas valve closed."""

    time: int
    """When the gas valve was read off. [ns]"""
    points: tuple[str, ...]
    """The one that opened first, or those that cannot be told apart."""

    @property
    def sure(self) -> bool:
        """Whether it is one."""
        return len(self.points) == 1


class Drops:
    """Follows the contacts of the chain; `first` is of the last time the fire went out, until it burns again."""

    def __init__(self) -> None:
        self._closed: dict[str, int] = {}
        self._read: dict[str, int] = {}
        self._drops: dict[str, Drop] = {}
        self._fire: int | None = None
        self.first: FirstDrop | None = None

    def step(self, key: str, point: str, time: int, value: float, quality: Quality) -> None:
        """Take a reading of a contact of `CHAIN` [1] at `time` [ns]; `key` is its channel's."""
        if time < self._read.get(key, time) - NANOSECONDS:
            self.__init__()  # type: ignore[misc]
        self._read[key] = time
        if quality is Quality.BAD or math.isnan(value):
            self._closed.pop(key, None)  # when it opened is not known any more
            return
        if value >= 0.5:
            self._closed[key] = time
            self._drops.pop(key, None)
            if point == "gas_valve":
                self.first = self._fire = None
            return
        after = self._closed.pop(key, None)
        if after is None:
            return
        self._drops[key] = Drop(point, key.partition("@")[2], after, time)
        if point == "gas_valve":
            self._fire = time
        self._judge()

    def forget(self, key: str) -> None:
        """A channel is gone; what it told of a fire that went out stays."""
        self._closed.pop(key, None)
        self._read.pop(key, None)

    def _judge(self) -> None:
        valve = self._fire
        if valve is None:
            return
        drops = list(self._belonging(valve))
        if all(drop.point == "gas_valve" for drop in drops):
            return  # whatever closed the valve is not measured
        first = [drop for drop in drops if not any(other.surely_before(drop) for other in drops)]
        points = tuple(dict.fromkeys(drop.point for drop in first))
        self.first = None if points == ("call_heat",) else FirstDrop(valve, points)  # a call that ends is no fault

    def _belonging(self, valve: int) -> Iterator[Drop]:
        for drop in self._drops.values():
            if valve - AROUND <= drop.time <= valve + CLOCKS:
                yield drop
