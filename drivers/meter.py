"""A meter as an instrument: its samples become channels, readings and events; what it lost is counted."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from analysis.model import Channel, Event, EventKind, Quality, Reading
from drivers.base import Emission, Emit, SettingsError
from drivers.codecs.lines import Problems
from drivers.codecs.sample import Decoded, Sample
from drivers.profile import Condition, Role
from drivers.setup import Setup

STEP = 1_000
"""Least time between two messages; still told apart as float seconds, as 1 ns is not. [ns]"""
BACK = 1_000_000_000
"""A clock that was set back further than this is followed. [ns]"""

DOUBTFUL = frozenset({Condition.LOW_BATTERY, Condition.HOLD, Condition.WARMING_UP, Condition.OLD})
"""Conditions under which a value is suspect."""


class Meter:
    """State of one instrument over its sessions; every driver hands it what it decoded.

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
        self._channels = {name: setup.channel(self._values[name]) for name in setup.channels}
        if len({channel.key for channel in self._channels.values()}) < len(self._channels):
            raise SettingsError(setup.name, "two of its values go to the same point", "give each a point of its own")
        self._problems = Problems(setup.name)
        self._counts = Counter(messages=0, readings=0, unreadable=0)
        self._last = 0
        self._present: dict[str, frozenset[Condition]] = {}
        self._battery: float | None = None

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Channels as they stand, in the order of the job."""
        return tuple(self._channels.values())

    @property
    def waiting(self) -> bool:
        """Whether there is something to tell that waits for its turn; see `tell`."""
        return bool(self._problems.waiting)

    def begin(self, emit: Emit) -> None:
        """A session has its instrument: announce the channels."""
        self._last = 0
        _emit_all(emit, self.channels)

    def take(self, decoded: Decoded, data: bytes, time: int, emit: Emit, source: str = "") -> None:
        """Take a message in that arrived at `time` [ns]; `data` is shown where it could not be read.

        Conditions hold for the messages of one `source`.
        """
        self._counts["messages"] += 1
        self._last = time if time < self._last - BACK else max(time, self._last + STEP)
        if decoded.reason:
            self.unreadable(decoded.reason, data, self._last, emit)
        if decoded.sample:
            self._say(decoded.sample, emit, source)
            self._read(decoded.sample, emit)

    def unreadable(self, reason: str, data: bytes, time: int, emit: Emit) -> None:
        """Something that arrived could not be read, or not in full."""
        self._counts["unreadable"] += 1
        _emit_all(emit, self._problems.add(reason, data, time))

    def tell(self, emit: Emit, *, now: bool = False) -> None:
        """Sum up what could not be read, at most every ten seconds, or `now` at the end of a session."""
        _emit_all(emit, self._problems.summary(self._setup.now(), **({"pause": 0} if now else {})))

    def statistics(self) -> dict[str, int]:
        """Counts over all sessions. [1]"""
        return dict(self._counts)

    def facts(self) -> Mapping[str, Any]:
        """What else there is to say of the instrument; plain JSON values."""
        return {"battery": self._battery} if self._battery is not None else {}

    def _read(self, sample: Sample, emit: Emit) -> None:
        quality = Quality.SUSPECT if sample.conditions & DOUBTFUL else Quality.GOOD
        for name, value in sample.values.items():
            if name not in self._channels:
                continue
            self._counts["readings"] += 1
            if math.isfinite(value):
                emit(Reading(self._channels[name].key, self._last, value, quality))
            else:
                emit(Reading(self._channels[name].key, self._last, math.nan, Quality.BAD))

    def _say(self, sample: Sample, emit: Emit, source: str) -> None:
        """Tell conditions that begin."""
        if sample.battery is not None:
            self._battery = sample.battery
        for condition in sorted(sample.conditions - self._present.get(source, frozenset())):
            text = f"{self._setup.name}: {condition.replace('_', ' ')}"
            emit(Event(self._last, EventKind.PROBLEM, text, self._setup.name, {"condition": str(condition)}))
        self._present[source] = sample.conditions


def _emit_all(emit: Emit, emissions: Iterable[Emission]) -> None:
    for emission in emissions:
        emit(emission)
