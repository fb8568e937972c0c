"""What an instrument says of itself: conditions, battery and warm-up, each told when it begins and when it is over."""

import math
from collections.abc import Collection, Mapping

from analysis.model import NANOSECONDS, Event, EventKind, Quality
from drivers.codecs.sample import Sample
from drivers.profile import Condition, Role, Value

LOW_BATTERY = 0.15
GOOD_BATTERY = 0.20
"""A battery is low below the first until it is above the second. Common practice, no published source. [1]"""
OVER_AFTER = 2 * NANOSECONDS
"""A condition is told to be over when it has not come back for so long: it may flicker with each message. [ns]"""

DOUBTFUL = frozenset({Condition.LOW_BATTERY, Condition.HOLD, Condition.WARMING_UP})
"""Conditions under which a value is suspect."""
USELESS = frozenset({Condition.OVER_RANGE, Condition.UNDER_RANGE, Condition.FAULT})
"""Conditions under which it is none."""
_OF_ONE_VALUE = USELESS | {Condition.OLD}
"""Conditions that a value says of itself alone."""

WORDS: Mapping[Condition, tuple[str, str]] = {
    Condition.OVER_RANGE: ("over range: it is more than the meter can show", "within range again"),
    Condition.UNDER_RANGE: ("under range: it is less than the meter can show", "within range again"),
    Condition.LOW_BATTERY: ("low battery: change or charge it", "battery good again"),
    Condition.HOLD: ("display held: what it shows is not the present", "display no longer held"),
    Condition.WARMING_UP: ("warming up: its readings are doubtful", "warmed up"),
    Condition.OLD: ("is old by its own time", "is of the present again"),
    Condition.FAULT: ("says that it is defective: no readings", "no longer says that it is defective"),
}
"""What is told when a condition begins, and when it is over."""

_Subject = tuple[str, Condition]
"""Name of a recorded value, or of a status that is old; an empty one for the instrument; and its condition."""


class States:
    """The conditions of one instrument; `points` are the recorded values with their points in words."""

    def __init__(self, name: str, values: Mapping[str, Value], points: Mapping[str, str]) -> None:
        self._name = name
        self._values = values
        self._points = points
        self._said: dict[str, frozenset[Condition]] = {}
        self._beyond: dict[str, Condition] = {}
        self._told: dict[_Subject, int | None] = {}
        self.battery: float | None = None
        """Charge, 0 to 1, as it was told last. [1]"""
        self.low_battery = False
        """Whether the charge is low, by its figure."""

    def step(self, sample: Sample, time: int) -> list[Event]:
        """Take what a message says; events of what begins, and of what is over."""
        self._hear(sample)
        present = self._present()
        began = [subject for subject in sorted(present) if subject not in self._told]
        self._told |= dict.fromkeys(present)
        ended = []
        for subject, since in list(self._told.items()):
            if subject in present:
                continue
            if since is None:
                self._told[subject] = time
            elif time - since >= OVER_AFTER or time < since:
                ended.append(self._event(subject, time, over=True))
                del self._told[subject]
        return [*ended, *(self._event(subject, time, over=False) for subject in began)]

    def quality(self, name: str) -> Quality:
        """What the conditions make of a value's reading."""
        of_all, own = self._of_all(), self._of_one(name)
        if (of_all | own) & USELESS:
            return Quality.BAD
        return Quality.SUSPECT if (of_all | own) & DOUBTFUL or Condition.OLD in own else Quality.GOOD

    def words(self) -> list[str]:
        """The conditions that hold, for people."""
        return [f"{self._point(name)}{WORDS[condition][0]}" for name, condition in sorted(self._present())]

    def _hear(self, sample: Sample) -> None:
        self._said |= sample.said
        rest = sample.conditions.difference(*sample.said.values()) if sample.said else sample.conditions
        if rest or not sample.said:
            self._said[""] = rest
        for name, value in sample.values.items():
            self._beyond.pop(name, None)
            if math.isinf(value):
                self._beyond[name] = Condition.OVER_RANGE if value > 0 else Condition.UNDER_RANGE
        if sample.battery is not None:
            self.battery = sample.battery
            self.low_battery = sample.battery < (GOOD_BATTERY if self.low_battery else LOW_BATTERY)

    def _of_all(self) -> frozenset[Condition]:
        """Conditions that the instrument has as a whole."""
        found: set[Condition] = set()
        for name, said in self._said.items():
            value = self._values.get(name)
            if value and value.role is Role.MEASURE:
                found |= said - _OF_ONE_VALUE
            elif not value or not value.about:
                found |= said - {Condition.OLD} if value else said
        return frozenset(found)

    def _of_one(self, name: str) -> frozenset[Condition]:
        """Conditions that a value has for itself: what it says, and what a status says that is about it."""
        found = set(self._said.get(name, frozenset()) & _OF_ONE_VALUE)
        for other, said in self._said.items():
            if other in self._values and name in self._values[other].about:
                found |= said - {Condition.OLD}
        return frozenset(found)

    def _present(self) -> Collection[_Subject]:
        of_all = self._of_all()
        present = {("", condition) for condition in of_all}
        if self.low_battery:
            present.add(("", Condition.LOW_BATTERY))
        for name in self._points:
            of_one = set(self._of_one(name))
            if name in self._beyond:
                of_one.add(self._beyond[name])
            present |= {(name, condition) for condition in of_one - of_all}
        for name, said in self._said.items():
            if Condition.OLD in said and name in self._values and self._values[name].role is Role.STATUS:
                present.add((name, Condition.OLD))
        return present

    def _event(self, subject: _Subject, time: int, *, over: bool) -> Event:
        name, condition = subject
        data = {"condition": str(condition), "value": name or None, "over": over}
        text = f"{self._name}: {self._point(name)}{WORDS[condition][over]}"
        return Event(time, EventKind.PROBLEM, text, self._name, data)

    def _point(self, name: str) -> str:
        return f"{self._points.get(name, name)} " if name else ""


class WarmUp:
    """The time after an instrument was switched on in which its readings are doubtful."""

    def __init__(self, name: str, seconds: float) -> None:
        self._name = name
        self._length = round(seconds * NANOSECONDS)
        self._until: int | None = None

    def begin(self, time: int) -> list[Event]:
        """It was switched on, as far as anybody can know, at `time` [ns]."""
        if not self._length:
            return []
        self._until = time + self._length
        return [
            self._event(time, f"warming up: its readings are doubtful for {self._length / NANOSECONDS:g} s", over=False)
        ]

    def step(self, time: int) -> list[Event]:
        """A message came at `time` [ns]."""
        if self._until is None or time < self._until:
            return []
        self._until = None
        return [self._event(time, WORDS[Condition.WARMING_UP][1], over=True)]

    def left(self, time: int) -> float:
        """Time left at `time` [ns]. [s]"""
        return max(0.0, (self._until - time) / NANOSECONDS) if self._until is not None else 0.0

    @property
    def active(self) -> bool:
        """Whether readings are doubtful."""
        return self._until is not None

    def _event(self, time: int, words: str, *, over: bool) -> Event:
        data = {"condition": str(Condition.WARMING_UP), "value": None, "over": over}
        return Event(time, EventKind.PROBLEM, f"{self._name}: {words}", self._name, data)
