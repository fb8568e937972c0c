"""A meter as an instrument: its samples become channels, readings and events; what it lost is counted."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from analysis.model import Channel, Event, EventKind, Quality, Reading
from analysis.points import POINTS
from drivers.base import Emission, Emit, SettingsError
from drivers.codecs.lines import Problems
from drivers.codecs.sample import Decoded, Sample
from drivers.meter_clock import ClockWatch, Course, in_words
from drivers.meter_counter import PAUSE, CounterWatch, Place
from drivers.meter_states import States, WarmUp
from drivers.meter_units import Units
from drivers.profile import Role
from drivers.setup import Setup

STEP = 1_000
"""Least time between two messages; still told apart as float seconds, as 1 ns is not. [ns]"""
BACK = 1_000_000_000
"""A clock that was set back further than this is followed. [ns]"""


class Meter:
    """State of one instrument over its sessions; every driver hands it what it decoded.

    A message that came late by the instrument's counter is kept at the time of its arrival and is suspect: its value is
    right and its place in time is not, and times of a channel rise. One that came twice is counted and dropped.
    SettingsError at once where the job's channels cannot be those of the profile.
    """

    def __init__(self, setup: Setup) -> None:
        self._setup = setup
        self._values = {value.name: value for value in setup.profile.values}
        for name in setup.channels:
            if name not in self._values or self._values[name].role is not Role.MEASURE:
                known = ", ".join(value.name for value in setup.profile.measures())
                raise SettingsError(setup.name, f"its profile has no value '{name}'", f"it has {known}")
        if not setup.channels:
            raise SettingsError(setup.name, "it has no channels", "say which point each of its values is")
        self._units = Units(setup, self._values)
        if len({channel.key for channel in self.channels}) < len(self.channels):
            raise SettingsError(setup.name, "two of its values go to the same point", "give each a point of its own")
        points = {name: POINTS[point].text if point in POINTS else point for name, point in setup.channels.items()}
        self._states = States(setup.name, self._values, points)
        self._warm_up = WarmUp(setup.name, setup.profile.warm_up)
        sizes = (value.counter_size for value in setup.profile.values if value.role is Role.COUNTER)
        self._counter = CounterWatch(next(sizes, 256))
        self._clock = ClockWatch()
        lines = setup.profile.driver == "serial" and setup.profile.serial.format != "frame"
        self._problems = Problems(setup.name, "line" if lines else "message")
        self._counts = Counter(
            messages=0, readings=0, unreadable=0, duplicates=0, late=0, out_of_range=0, misfits=0, without_unit=0
        )
        self._last = 0
        self._heard = False

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Channels as they stand, in the order of the job."""
        return tuple(self._units.channels.values())

    @property
    def waiting(self) -> bool:
        """Whether there is something to tell that waits for its turn; see `tell`."""
        return bool(self._problems.waiting) or self._counter.waiting or self._units.waiting

    def begin(self, emit: Emit) -> None:
        """A session has its instrument: announce the channels."""
        self._last = 0
        self._counter.begin()
        _emit_all(emit, self._units.begin())

    def take(self, decoded: Decoded, data: bytes, time: int, emit: Emit) -> None:
        """Take a message in that arrived at `time` [ns]; `data` is shown where it could not be read."""
        self._counts["messages"] += 1
        self._last = time if time < self._last - BACK else max(time, self._last + STEP)
        if decoded.reason:
            self.unreadable(decoded.reason, data, self._last, emit)
        if decoded.sample is None:
            return
        place = self._place(decoded.sample)
        if place is Place.AGAIN:
            self._counts["duplicates"] += 1
            return
        course = Course.ON if place is Place.LATE else self._course(decoded.sample)
        self._warm(emit, switched_on=place is Place.RESTARTED or course is Course.RESTARTED)
        if course is Course.JUMPED:
            emit(self._jumped())
        _emit_all(emit, self._states.step(decoded.sample, self._last))
        self._read(decoded.sample, emit, late=place is Place.LATE)

    def missed(self) -> None:
        """The driver lost messages and told it: its counter says nothing about them."""
        self._counter.skip()

    def unreadable(self, reason: str, data: bytes, time: int, emit: Emit) -> None:
        """Something that arrived could not be read, or not in full."""
        self._counts["unreadable"] += 1
        _emit_all(emit, self._problems.add(reason, data, time))

    def tell(self, emit: Emit, *, now: bool = False) -> None:
        """Sum up what is missing, not read or changed, at most every ten seconds, or `now` at the end of a session."""
        time = self._setup.now()
        _emit_all(emit, self._problems.summary(time, **({"pause": 0} if now else {})))
        _emit_all(emit, self._units.summary(max(time, self._last), **({"pause": 0} if now else {})))
        if missing := self._counter.told(time, 0 if now else PAUSE):
            named = "1 message is" if missing.messages == 1 else f"{missing.messages} messages are"
            text = f"{self._setup.name}: {named} missing by its own counter"
            data = {"from": missing.start, "to": missing.end, "messages": missing.messages}
            emit(Event(time, EventKind.GAP, text, self._setup.name, data))

    def statistics(self) -> dict[str, int]:
        """Counts over all sessions. [1]"""
        return {**self._counts, "missing": self._counter.missing}

    def facts(self) -> Mapping[str, Any]:
        """What else there is to say of the instrument; plain JSON values."""
        now, found = self._setup.now(), dict[str, Any]()
        if self._states.battery is not None:
            found |= {"battery": self._states.battery, "low_battery": self._states.low_battery}
        if conditions := self._states.words():
            found["conditions"] = conditions
        if left := self._warm_up.left(now):
            found["warm_up_left"] = left
        if estimate := self._clock.estimate(now):
            found["clock"] = {**estimate._asdict(), "text": in_words(estimate)}
        return found

    def _place(self, sample: Sample) -> Place:
        if sample.counter is None:
            return Place.NEXT
        place = self._counter.step(sample.counter, _content(sample), self._last)
        self._counts["late"] += place is Place.LATE
        return place

    def _course(self, sample: Sample) -> Course:
        return Course.ON if sample.clock is None else self._clock.step(sample.clock, self._last)

    def _warm(self, emit: Emit, *, switched_on: bool) -> None:
        """An instrument that is heard for the first time was switched on at that time, as far as anybody can know."""
        if switched_on:
            text = f"{self._setup.name}: it counts from its beginning again, so it was switched off and on"
            emit(Event(self._last, EventKind.INSTRUMENT, text, self._setup.name, {"what": "switched on"}))
        if switched_on or not self._heard:
            _emit_all(emit, self._warm_up.begin(self._last))
        self._heard = True
        _emit_all(emit, self._warm_up.step(self._last))

    def _jumped(self) -> Event:
        jump = self._clock.jump
        words = f"{abs(jump):.0f} s {'ahead' if jump > 0 else 'back'}"
        text = f"{self._setup.name}: its clock went {words} at once, as if it was set by hand"
        return Event(self._last, EventKind.CLOCK, text, self._setup.name, {"jump": jump})

    def _read(self, sample: Sample, emit: Emit, *, late: bool) -> None:
        self._units.hear(sample.units)
        doubtful = Quality.SUSPECT if late or self._warm_up.active else Quality.GOOD
        for name, value in sample.values.items():
            if name not in self._setup.channels:
                continue
            _emit_all(emit, self._units.follow(name, self._last))
            self._counts["readings"] += 1
            self._counts["out_of_range"] += math.isinf(value)
            if refusal := self._units.refusal(name):
                self._counts[refusal] += 1
            key = self._units.channels[name].key
            if math.isfinite(value) and not refusal:
                emit(Reading(key, self._last, value, max(doubtful, self._states.quality(name))))
            else:
                emit(Reading(key, self._last, math.nan, Quality.BAD))


def _content(sample: Sample) -> str:
    """What tells a message from another of the same number, all that it says."""
    said = sorted((name, sorted(conditions)) for name, conditions in sample.said.items())
    return repr((sample.values, sample.units, sample.battery, sorted(sample.conditions), said))


def _emit_all(emit: Emit, emissions: Iterable[Emission]) -> None:
    for emission in emissions:
        emit(emission)
