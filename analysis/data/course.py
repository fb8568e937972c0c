"""What went on when, on an even grid of time: the inducer, the gas valve, the blower, the fire, as far as is known."""

from collections.abc import Callable, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.model import Series
from analysis.points import measure_of
from analysis.sequence.attempts import Attempt
from analysis.signs import FLAME, INDUCER_RUNS

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

STEP = 0.5
"""Of the grid; nothing is looked for on it that lasts less than three seconds. [s]"""
MOST = 100_000
"""Most places of the grid: its step is longer in a recording of more than half a day."""
FRESH = {"temperature": 60.0, "humidity": 120.0, "contact": 65.0}
FRESH_OTHERS = 5.0
"""How long a value counts, or three of its usual intervals. [s]"""
SPINS_DOWN = 30.0
"""After the inducer or blower stopped nothing stands still for so long; our choice. [s]"""
WITHOUT_INDUCER = frozenset({"blower_off_delay", "lockout", "standby"})
WITH_GAS = frozenset({"blower_on_delay", "run_low", "run_high"})


class Course:
    """A recording on a grid; masks of what is known to go on, and of what is known not to."""

    def __init__(self, series: Sequence[Series], attempts: Sequence[Attempt]) -> None:
        self.series = [one for one in series if one.time.size]
        self.attempts = attempts
        self.start = min((float(one.time[0]) for one in self.series), default=0.0)
        self.end = max((float(one.time[-1]) for one in self.series), default=0.0)
        self.step = max(STEP, (self.end - self.start) / MOST)
        self.time: Array = np.arange(self.start, self.end + self.step, self.step)
        self._values: dict[int, Array] = {}
        self._intervals: dict[int, float] = {}

    def of(self, point: str) -> list[Series]:
        """Every series of a point."""
        return [one for one in self.series if one.channel.point == point]

    def interval(self, one: Series) -> float:
        """Usual time between its readings. [s]"""
        if id(one) not in self._intervals:
            steps = np.diff(one.time)
            self._intervals[id(one)] = float(np.median(steps[:: max(1, steps.size // 20_000)])) if steps.size else 0.0
        return self._intervals[id(one)]

    def values(self, one: Series) -> Array:
        """(n,) last value at each place, NaN where it is too old."""
        if id(one) not in self._values:
            place = np.searchsorted(one.time, self.time + 1e-6) - 1
            fresh = max(FRESH.get(measure_of(one.channel.point).name, FRESH_OTHERS), 3 * self.interval(one))
            age = self.time - one.time[np.maximum(place, 0)]
            self._values[id(one)] = np.where((place >= 0) & (age <= fresh), one.value[np.maximum(place, 0)], np.nan)
        return self._values[id(one)]

    def value(self, point: str) -> Array:
        """(n,) last value of the first instrument that reads a point, NaN where none does."""
        found = self.of(point)
        value = np.full(self.time.size, np.nan)
        for one in reversed(found):
            own = self.values(one)
            value = np.where(np.isnan(own), value, own)
        return value

    def known(self, point: str) -> bool:
        """Whether anything reads a point."""
        return any(one.channel.point == point for one in self.series)

    @cached_property
    def inducer(self) -> Mask:
        """Whether something shows that the inducer runs."""
        shows = [self.value(point) > level for point, level in INDUCER_RUNS.items() if self.known(point)]
        shows.append(self._in_attempts(lambda phase: phase not in WITHOUT_INDUCER, early=0.0, late=0.0))
        found: Mask = np.logical_or.reduce(shows)
        return found

    @cached_property
    def inducer_rests(self) -> Mask:
        """Whether it is known that the inducer has stood still for a while."""
        off = np.zeros(self.time.size, np.bool_)
        if self.attempts:
            off |= ~self._in_attempts(lambda phase: phase not in WITHOUT_INDUCER, early=2.0, late=0.0)
        for point in ("amps_inducer", "speed_inducer"):
            if self.known(point):
                off |= self.value(point) < INDUCER_RUNS[point]
        if not self.attempts and self.known("call_heat") and self.known("switch_closed"):
            off |= (self.value("call_heat") < 0.5) & (self.value("switch_closed") < 0.5)
        return self.settled(off & ~self.inducer, SPINS_DOWN)

    @cached_property
    def valve(self) -> Mask:
        """Whether the gas valve is known to be on."""
        if self.known("gas_valve"):
            return self.value("gas_valve") >= 0.5
        return self._in_attempts(lambda phase: phase in WITH_GAS, early=0.0, late=0.0)

    @cached_property
    def valve_off(self) -> Mask:
        """Whether it is known to have been off for a while."""
        if self.known("gas_valve"):
            return self.settled(self.value("gas_valve") < 0.5, 10.0)
        if not self.attempts:
            return np.zeros(self.time.size, np.bool_)
        return ~self._in_attempts(lambda _: True, early=5.0, late=20.0)

    @cached_property
    def blower(self) -> Mask:
        """Whether the blower is known to run."""
        return self.value("blower_on") >= 0.5

    @cached_property
    def blower_rests(self) -> Mask:
        """Whether it is known to have stood still for a while."""
        off = self.value("blower_on") < 0.5
        if self.known("amps_blower"):
            off &= ~(self.value("amps_blower") > 0.5)
        return self.settled(off, SPINS_DOWN)

    @cached_property
    def fire(self) -> Mask:
        """Whether something shows that it burns, whichever way the flame current is read."""
        current = self.value("flame_current")
        return np.where(np.isnan(current), self.valve, np.abs(current) >= FLAME)

    def goes_on(self, when: str, contact: str = "") -> Mask:
        """What a sign of `analysis.signs` needs."""
        if when == "inducer":
            return self.inducer | (self.value(contact) >= 0.5) if contact else self.inducer
        if when == "fire":
            return self.fire & ~(self.value("blower_on") < 0.5)
        if when == "always":
            return np.ones(self.time.size, np.bool_)
        return self.valve if when == "valve" else self.blower

    def settled(self, mask: Mask, seconds: float) -> Mask:
        """The mask without the first so many seconds of each stretch, but of one that the recording begins with."""
        found = np.zeros_like(mask)
        for first, last in self.stretches(mask):
            begin = first if first == 0 else first + int(np.ceil(seconds / self.step))
            found[begin : last + 1] = True
        return found

    def stretches(self, mask: Mask, least: float = 0.0) -> list[tuple[int, int]]:
        """First and last place of each stretch in which it holds, of at least so many seconds."""
        edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
        pairs = zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True)
        return [(first, end - 1) for first, end in pairs if (end - 1 - first) * self.step >= least]

    def _in_attempts(self, wanted: Callable[[str], bool], *, early: float, late: float) -> Mask:
        found = np.zeros(self.time.size, np.bool_)
        for attempt in self.attempts:
            for span in attempt.phases:
                if wanted(span.phase):
                    low, high = np.searchsorted(self.time, [span.start - early, span.end + late])
                    found[low:high] = True
        return found
