"""What a driver is made from: an instrument of a job with its profile, and what those of a call share."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from analysis.model import Channel
from analysis.units import UnitError, conversion
from drivers.base import Now
from drivers.profile import Profile, Value

Thing = TypeVar("Thing")


class Shared:
    """Things that several instruments of one call have in common: a line with several units, a radio, a broker."""

    def __init__(self) -> None:
        self._things: dict[tuple[type, str], Any] = {}

    def get(self, kind: type[Thing], key: str, make: Callable[[], Thing]) -> Thing:
        """The thing of a kind at an address, made where it is asked for first."""
        thing: Thing = self._things.setdefault((kind, key), None) or make()
        self._things[kind, key] = thing
        return thing


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """One instrument of a job."""

    name: str
    profile: Profile
    address: str
    """A port, `usb:` and a serial number, a Bluetooth address, or the URL of a server or broker."""
    channels: Mapping[str, str]
    """Point of each value that is recorded, by the value's name."""
    now: Now
    accuracy: str | None = None
    """As the job states it, in place of the profile's."""
    response_time: float | None = None
    """As the job states it, in place of the profile's. [s]"""
    device: int | None = None
    """Number of the unit on its line. [1]"""
    topic: str = ""
    """Topic under which an instrument's messages come."""
    secret: str | None = field(default=None, repr=False)
    """Password, or key in hexadecimal digits."""
    shared: Shared = field(default_factory=Shared)

    def channel(self, value: Value, unit: str | None = None) -> Channel:
        """Channel of a value; `unit` where the instrument shows another than it began with.

        A number is kept as it was shown, so another unit is another channel.
        """
        first = value.unit or next(iter(value.units.values()), "")
        changed = unit is not None and unit != first
        low, high = (_converted(limit, first, unit) for limit in (value.low, value.high))
        return Channel(
            self.channels[value.name],
            f"{self.name} ({unit})" if changed else self.name,
            unit if unit is not None else first,
            low=low,
            high=high,
            accuracy=self.accuracy or value.accuracy,
            response_time=value.response_time if self.response_time is None else self.response_time,
        )


def _converted(limit: float | None, unit: str, to: str | None) -> float | None:
    """A limit in another unit, None where there is none or it cannot be converted."""
    if limit is None or to is None or to == unit:
        return limit
    try:
        scale, offset = conversion(unit, to)
    except UnitError:
        return None
    return limit * scale + offset
