"""From the native value to the inside unit, with the zeroing of the meter: for the live path and for reading back."""

import math
from bisect import bisect_right, insort
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Quality, Series
from analysis.points import measure_of
from analysis.thinning import SMALLEST
from analysis.units import to_inside
from collector.outline import Outline, spacing_of
from collector.recording import Recording
from collector.rows import EARLIEST, LATEST, Rows
from collector.typed import is_typed
from drivers.base import InputError

_NEVER = -(1 << 63)
MANY = 8
"""So many readings for a point are looked at one by one; of more only their smallest and largest are. [1]"""

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

    def all(
        self, value: NDArray[np.float64], quality: NDArray[np.int8], time: NDArray[np.int64]
    ) -> tuple[NDArray[np.float64], NDArray[np.int8]]:
        """The same of many readings at once, to the last bit: inside values and combined qualities."""
        bad = (quality == Quality.BAD) | np.isnan(value)
        within = (self._low <= value) & (value <= self._high)
        quality = np.where(bad, np.int8(Quality.BAD), np.where(within, quality, np.maximum(quality, Quality.SUSPECT)))
        if self._zeros:
            since, offsets = np.array([at for at, _ in self._zeros]), np.array([0.0, *(one for _, one in self._zeros)])
            value = value - offsets[np.searchsorted(since, time, side="right")]
        return np.where(bad, np.nan, value * self._scale + self._offset), quality.astype(np.int8)

    def inside(self) -> Channel:
        """The channel with its limits in the inside unit."""
        limits = (self.channel.low, self.channel.high)
        low, high = (None if limit is None else limit * self._scale + self._offset for limit in limits)
        return replace(self.channel, unit=measure_of(self.channel.point).inside, low=low, high=high)

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
    normalizer = Normalizer(channel, (zeros_in(recording) if zeros is None else zeros).get(channel.key, ()))
    gone = recording.withdrawn().get(channel.key, ()) if is_typed(channel.instrument) else ()
    return series_of(normalizer, rows, gone)[0]


def outline(
    recording: Recording,
    channel: Channel,
    start: int | None,
    end: int | None,
    *,
    points: int,
    zeros: Zeros,
) -> Series:
    """The same as `series` in about so many points where there are many more, for a picture (`Outline`)."""
    if is_typed(channel.instrument) or recording.about(channel.key, start, end) <= MANY * points:
        return series(recording, channel, start, end, zeros=zeros)
    own = zeros.get(channel.key, ())
    normalizer = Normalizer(channel, own)
    begin, finish = EARLIEST if start is None else start, LATEST if end is None else end
    turns = [begin, *sorted({time for time, _ in own if begin < time <= finish}), finish + 1]
    share = max(SMALLEST, points // (2 * (len(turns) - 1)))
    seen = [recording.overview(channel.key, a, b - 1, share) for a, b in pairwise(turns)]
    time = np.concatenate([np.column_stack((one.time, one.until)).ravel() for one in seen]) / NANOSECONDS
    value = np.concatenate([_in_order_of_time(one.low, one.high) for one in seen])
    at = np.concatenate([np.repeat(one.time, 2) for one in seen])
    inside, _ = normalizer.all(value, np.zeros(value.size, np.int8), at)
    keep = np.diff(time, prepend=-np.inf) > 0  # of a span with one reading one
    spacing = min((one.spacing for one in seen if not math.isnan(one.spacing)), default=math.nan)
    return Outline(normalizer.inside(), time[keep], inside[keep], spacing)


def _in_order_of_time(low: NDArray[np.float64], high: NDArray[np.float64]) -> NDArray[np.float64]:
    """Two values of each span, the one first that is nearer to the span before it."""
    middle = (low + high) / 2
    falls = np.append(False, middle[1:] < middle[:-1])
    return np.column_stack((np.where(falls, high, low), np.where(falls, low, high))).ravel()


def series_of(
    normalizer: Normalizer, rows: Rows, gone: Collection[int] = (), *, seconds: NDArray[np.float64] | None = None
) -> tuple[Series, NDArray[np.float64]]:
    """Readings of a channel in the inside unit, without those of the times `gone` [ns]; when doubtful ones were [s].

    `seconds` are the times [s], where another series has the same ones already.
    """
    value, quality = normalizer.all(rows.value, rows.quality, rows.time)
    time = rows.time / NANOSECONDS if seconds is None else seconds
    if gone:
        stays = ~np.isin(rows.time, list(gone))
        time, value, quality = time[stays], value[stays], quality[stays]
    keep = np.diff(time, prepend=-np.inf) > 0  # float seconds cannot tell nanoseconds apart
    if not keep.all():
        time, value, quality = time[keep], value[keep], quality[keep]
    return Series(normalizer.inside(), time, value), time[quality == Quality.SUSPECT]


def joined(found: Sequence[Series], changes: Sequence[tuple[str, str]]) -> list[Series]:
    """The series with those of a meter that showed another unit put together, as its last channel.

    `changes` are keys of channels, from and to, in the order of time.
    """
    groups = same_meters(changes)
    by_key = {series.channel.key: series for series in found}
    result, done = [], set[str]()
    for key in by_key:
        if key in done:
            continue
        own = [by_key[one] for one in dict.fromkeys(groups.get(key, [key])) if one in by_key]
        done |= {one.channel.key for one in own}
        result.append(own[0] if len(own) == 1 else one_series(own))
    return result


def same_meters(changes: Sequence[tuple[str, str]]) -> dict[str, list[str]]:
    """For each channel of a meter that showed another unit all channels of that meter, the last one at the end."""
    groups: dict[str, list[str]] = {}
    for before, after in changes:
        group = groups.get(before) or groups.get(after) or []
        group[:] = [*(key for key in (*group, before) if key != after), after]
        groups[before] = groups[after] = group
    return groups


def one_series(own: Sequence[Series]) -> Series:
    """Series of one meter put together, as the last of them."""
    time, value = (np.concatenate([getattr(one, name) for one in own]) for name in ("time", "value"))
    time, first = np.unique(time, return_index=True)
    channel = replace(own[-1].channel, unit=own[0].channel.unit)
    if any(isinstance(one, Outline) for one in own):
        return Outline(channel, time, value[first], min(map(spacing_of, own)))
    return Series(channel, time, value[first])
