"""A meter in hand: a profile with everything that an instrument may say, and messages of it with their times."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Reading
from drivers.base import Emission
from drivers.codecs.sample import Decoded, Sample
from drivers.meter import Meter
from drivers.profile import Condition, Profile, Role, Value
from drivers.setup import Setup
from tests.support import StillClock

VALUES = (
    Value(name="pressure", unit="inH2O", units={"inH2O": "inH2O", "Pa": "Pa", "ohm": "ohm"}, low=-5.0, high=5.0),
    Value(name="temperature", unit="degC"),
    Value(name="battery", role=Role.BATTERY, unit="%"),
    Value(name="number", role=Role.COUNTER, counter_bits=8),
    Value(name="uptime", role=Role.CLOCK, unit="s"),
    Value(name="state", role=Role.STATUS, bits={0: Condition.LOW_BATTERY}),
)
POINTS = {"pressure": "draft_switch", "temperature": "temp_supply"}


@dataclass
class Held:
    """A meter, and everything that it emitted."""

    warm_up: float = 0.0
    channels: Mapping[str, str] = field(default_factory=lambda: POINTS)
    values: tuple[Value, ...] = VALUES

    def __post_init__(self) -> None:
        """Made, with its first session."""
        self.clock = StillClock()
        profile = Profile(name="all", driver="serial", values=self.values, warm_up=self.warm_up)
        setup = Setup(name="meter", profile=profile, address="/dev/none", channels=self.channels, now=self.clock)
        self.meter = Meter(setup)
        self.emitted: list[Emission] = []
        self.begin()

    def begin(self) -> None:
        """Another session has it."""
        self.meter.begin(self.emitted.append)

    def say(self, pressure: float | None = 0.5, *, after: float = 1.0, **sample: Any) -> list[Emission]:
        """A message `after` so long [s]; what it brought about."""
        self.clock.advance(after)
        before = len(self.emitted)
        values = sample.pop("values", {} if pressure is None else {"pressure": pressure})
        self.meter.take(Decoded(Sample(values, **sample)), b"", self.clock.time, self.emitted.append)
        return self.emitted[before:]

    def tell(self, *, after: float = 0.0) -> list[Event]:
        """What is summed up after so long [s]."""
        self.clock.advance(after)
        before = len(self.emitted)
        self.meter.tell(self.emitted.append)
        return [one for one in self.emitted[before:] if isinstance(one, Event)]

    @property
    def readings(self) -> list[Reading]:
        """All readings."""
        return [one for one in self.emitted if isinstance(one, Reading)]

    def texts(self, kind: EventKind = EventKind.PROBLEM) -> list[str]:
        """What was told of a kind."""
        return [one.text for one in self.emitted if isinstance(one, Event) and one.kind is kind]

    def announced(self) -> list[str]:
        """Keys of the channels, in the order in which they were announced."""
        return [one.key for one in self.emitted if isinstance(one, Channel)]

    def seconds(self, event: Event) -> float:
        """Time of an event from now. [s]"""
        return (event.time - self.clock.time) / NANOSECONDS
