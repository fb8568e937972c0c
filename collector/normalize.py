"""From the native value to the inside unit, with the zeroing of the meter: for the live path and for reading back."""

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Quality, Series
from analysis.points import measure_of
from analysis.units import to_inside
from collector.recording import Recording


class Normalizer:
    """Conversion of one channel, worked out when the channel is opened; UnitError when its unit does not fit."""

    def __init__(self, channel: Channel, *, zero: float = 0.0) -> None:
        self.channel = channel
        self._scale, self._offset = to_inside(channel.unit, measure_of(channel.point))
        self._low = -math.inf if channel.low is None else channel.low
        self._high = math.inf if channel.high is None else channel.high
        self.zero = zero
        """What the meter showed at nothing. [native unit]"""

    def __call__(self, value: float, quality: Quality) -> tuple[float, Quality]:
        """Inside value and combined quality: BAD and NaN without a value, SUSPECT outside the plausible range."""
        if quality is Quality.BAD or value != value:  # noqa: PLR0124 - NaN
            return math.nan, Quality.BAD
        if not self._low <= value <= self._high:
            quality = Quality.SUSPECT
        return (value - self.zero) * self._scale + self._offset, quality


def zeroing(channel: Channel, native: float, time: int) -> Event:
    """Event that zeroes a channel which shows `native` now; raw values stay as they are."""
    text = f"{channel.instrument}: zeroed at {native:g} {channel.unit} ({channel.point})"
    return Event(time, EventKind.ZEROED, text, channel.key, {"channel": channel.key, "offset": native})


def zeros_in(recording: Recording) -> dict[str, float]:
    """Zeroing in force at the end of a recording, by channel. [native units]"""
    events = recording.events({EventKind.ZEROED})
    return {str(event.data["channel"]): float(str(event.data["offset"])) for event in events}


def series(recording: Recording, channel: Channel, start: int | None = None, end: int | None = None) -> Series:
    """Readings of a channel from `start` to `end` [ns] in the inside unit, each with the zeroing of its time."""
    rows = recording.read(channel.key, start, end)
    value = rows.value - _zeros(recording.events({EventKind.ZEROED}), channel, rows.time)
    scale, offset = to_inside(channel.unit, measure_of(channel.point))
    value = np.where(rows.quality == Quality.BAD, np.nan, value * scale + offset)
    time = rows.time / NANOSECONDS
    keep = np.diff(time, prepend=-np.inf) > 0  # float seconds cannot tell nanoseconds apart
    return Series(replace(channel, unit=measure_of(channel.point).inside), time[keep], value[keep])


def _zeros(events: Iterable[Event], channel: Channel, time: NDArray[np.int64]) -> NDArray[np.float64]:
    own = [event for event in events if event.data.get("channel") == channel.key]
    if not own:
        return np.zeros(time.shape)
    since = np.array([event.time for event in own])
    offsets = np.array([0.0, *(float(str(event.data["offset"])) for event in own)])
    return offsets[np.searchsorted(since, time, side="right")]
