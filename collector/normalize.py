"""From the native value to the inside unit, with the zeroing of the meter: for the live path and for reading back."""

import math
from bisect import bisect_right, insort
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Quality, Series
from analysis.points import measure_of
from analysis.units import to_inside
from collector.recording import Recording
from collector.typed import is_typed
from drivers.base import InputError

_NEVER = -(1 << 63)

Zeros = Mapping[str, Sequence[tuple[int, float]]]
"""For each channel, in the order of time: from when [ns] and what the meter showed at nothing [native unit]."""


ZERO_AT_MOST = {"pressure": 25.0, "flame_current": 0.2e-6, "current": 0.2, "voltage": 1.0}
"""Measures whose meters show nothing where there is nothing, and how far off one may be; our choice. [inside unit]

Never a gas: a meter of carbon monoxide that is zeroed in bad air would say that the air is good.
"""


class Normalizer:
    """Conversion of one channel, worked out when the channel is opened; UnitError when its unit does not fit."""

    def __init__(self, channel: Channel, zeros: Sequence[tuple[int, float]] = ()) -> None:
        measure = measure_of(channel.point)
        self.channel = channel
        self._scale, self._offset = to_inside(channel.unit, measure)
        inside = sorted((limit - self._offset) / self._scale for limit in measure.plausible)
        self._low = inside[0] if channel.low is None else channel.low
        self._high = inside[1] if channel.high is None else channel.high
        self._zeros = list(zeros)

    def __call__(self, value: float, quality: Quality, time: int) -> tuple[float, Quality]:
        """Inside value and combined quality: BAD and NaN without a value, SUSPECT outside the plausible range."""
        if quality is Quality.BAD or value != value:  # noqa: PLR0124 - NaN
            return math.nan, Quality.BAD
        if not self._low <= value <= self._high:
            quality = max(quality, Quality.SUSPECT)
        zero = self.zero_at(time) if self._zeros else 0.0
        return (value - zero) * self._scale + self._offset, quality

    def zero(self, time: int, offset: float) -> None:
        """The meter shows `offset` [native unit] at nothing, from `time` [ns] on."""
        insort(self._zeros, (time, offset))

    def zero_at(self, time: int) -> float:
        """What the meter showed at nothing at a time [ns]. [native unit]"""
        return self._zero(time)[1]

    def zeroed_since(self, time: int) -> int | None:
        """From when on [ns] the zero holds that is in force at a time [ns], None where there is none."""
        since, zero = self._zero(time)
        return since if zero else None

    def _zero(self, time: int) -> tuple[int, float]:
        place = bisect_right(self._zeros, time, key=lambda zero: zero[0])
        return self._zeros[place - 1] if place else (_NEVER, 0.0)

    def carried_to(self, after: "Normalizer", time: int) -> Event | None:
        """Zeroing of the channel in which this meter shows from `time` [ns] on; None where that was zeroed later."""
        measure = measure_of(self.channel.point)
        scale = to_inside(self.channel.unit, measure).scale / to_inside(after.channel.unit, measure).scale
        (since, zero), (own_since, own) = self._zero(time), after._zero(time)
        if own_since > since or math.isclose(own, zero * scale, rel_tol=1e-9, abs_tol=1e-12):
            return None
        return zeroing(after.channel, zero * scale, time)


def refuse_zero(channel: Channel, native: float) -> None:
    """InputError where a meter that shows `native` at nothing cannot be zeroed, or is too far off to be."""
    measure = measure_of(channel.point)
    if measure.name not in ZERO_AT_MOST:
        raise InputError(f"{channel.instrument}: it cannot be zeroed here", "use the meter's own means")
    if abs(native) * to_inside(channel.unit, measure).scale > ZERO_AT_MOST[measure.name]:
        what = f"{channel.instrument}: {native:g} {channel.unit} is too far off to be its zero"
        raise InputError(what, "take hoses or leads off first; if it still shows that, have the meter checked")


def zeroing(channel: Channel, native: float, time: int) -> Event:
    """Event that zeroes a channel which shows `native` now, or undoes it with 0; raw values stay as they are."""
    what = f"zeroed at {native:g} {channel.unit}" if native else "zeroing undone"
    text = f"{channel.instrument}: {what} ({channel.point})"
    return Event(time, EventKind.ZEROED, text, channel.key, {"channel": channel.key, "offset": native})


def zeros_in(recording: Recording) -> Zeros:
    """Every zeroing of a recording."""
    found: dict[str, list[tuple[int, float]]] = {}
    for event in recording.events({EventKind.ZEROED}):
        found.setdefault(str(event.data["channel"]), []).append((event.time, float(str(event.data["offset"]))))
    return found


def series(
    recording: Recording,
    channel: Channel,
    start: int | None = None,
    end: int | None = None,
    *,
    zeros: Zeros | None = None,
) -> Series:
    """Readings of a channel from `start` to `end` [ns] in the inside unit, each with the zeroing of its time.

    Those that were withdrawn are left out. `zeros` are those of the recording, where they are known already.
    """
    rows = recording.read(channel.key, start, end)
    own = (zeros_in(recording) if zeros is None else zeros).get(channel.key, ())
    since, offsets = np.array([time for time, _ in own]), np.array([0.0, *(offset for _, offset in own)])
    value = rows.value - offsets[np.searchsorted(since, rows.time, side="right")]
    scale, offset = to_inside(channel.unit, measure_of(channel.point))
    value = np.where(rows.quality == Quality.BAD, np.nan, value * scale + offset)
    time = rows.time / NANOSECONDS
    if is_typed(channel.instrument) and (gone := recording.withdrawn().get(channel.key)):
        stays = ~np.isin(rows.time, list(gone))
        time, value = time[stays], value[stays]
    keep = np.diff(time, prepend=-np.inf) > 0  # float seconds cannot tell nanoseconds apart
    return Series(replace(channel, unit=measure_of(channel.point).inside), time[keep], value[keep])
