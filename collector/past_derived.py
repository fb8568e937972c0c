"""Derived quantities of a whole recording: what `Derived` gives reading by reading, worked out as arrays."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.airflow import external_static, temperature_rise
from analysis.draft import margin, switch_margin
from analysis.humidity import surface_margin
from analysis.model import NANOSECONDS, Plate
from analysis.points import measure_of
from collector import derived as live
from collector.past_streams import Stream, in_order

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


class _Together:
    """Points side by side: at each reading of any of them what was read last of each."""

    def __init__(self, inputs: Mapping[str, Stream], points: Sequence[str]) -> None:
        there = sorted((point for point in points if point in inputs), key=lambda point: inputs[point].orders()[0])
        streams = [inputs[point] for point in there]
        place = in_order(streams)
        self.time = np.concatenate([one.time for one in streams])[place]
        self.order = np.concatenate([one.orders() for one in streams])[place]
        self._which = np.repeat(np.arange(len(there), dtype=np.int8), [one.time.size for one in streams])[place]
        self._inputs = dict(zip(there, streams, strict=True))
        self._there = there
        self._last: dict[str, NDArray[np.int64]] = {}

    def of(self, point: str) -> Mask:
        """(n,) whether it is a reading of the point."""
        return self._which == self._there.index(point) if point in self._there else np.zeros(self.time.size, np.bool_)

    def last(self, point: str) -> NDArray[np.int64]:
        """(n,) number of the reading of the point that was read last, -1 before the first."""
        if point not in self._last:
            self._last[point] = np.cumsum(self.of(point)) - 1
        return self._last[point]

    def seen(self, *points: str) -> Mask:
        """(n,) whether all of them were read."""
        found: Mask = np.logical_and.reduce([self.last(point) >= 0 for point in points])
        return found

    def value(self, point: str) -> Array:
        """(n,) last value, meaningless before the first."""
        return self._inputs[point].value[self.last(point)] if point in self._inputs else np.full(self.time.size, np.nan)

    def quality(self, *points: str) -> tuple[Mask, Mask]:
        """(n,) whether all can be used, and whether one of them is suspect."""
        good, suspect = np.ones(self.time.size, np.bool_), np.zeros(self.time.size, np.bool_)
        for point in points:
            if point not in self._inputs:
                return np.zeros_like(good), suspect
            held, last = self._inputs[point], self.last(point)
            fresh = round(live.FRESH[measure_of(point).name] * NANOSECONDS)
            good &= (self.time - held.time[last] <= fresh) & ~np.isnan(held.value)[last]
            if held.suspect is not None:
                suspect |= held.suspect[last]
        return good, suspect


def inputs_of(name: str) -> tuple[str, ...]:
    """Points that a derived quantity may follow from."""
    return _INPUTS[name]


def past_derived(name: str, inputs: Mapping[str, Stream], plate: Plate) -> Stream | None:
    """A derived quantity at every reading that it follows from; None where it cannot be worked out."""
    found = _QUANTITIES[name](inputs, plate)
    return None if found is None or not found.time.size else found


def _both(name: str, points: tuple[str, str], of: Callable[..., Array], inputs: Mapping[str, Stream]) -> Stream | None:
    if not all(point in inputs for point in points):
        return None
    together = _Together(inputs, points)
    good, suspect = together.quality(*points)
    value = np.where(good, of(*(together.value(point) for point in points)), np.nan)
    return _stream(name, together, value, suspect, together.seen(*points))


def _stream(name: str, together: _Together, value: Array, suspect: Mask, there: Mask) -> Stream:
    if there.all():
        return Stream(name, together.time, value, suspect if suspect.any() else None, together.order)
    return Stream(name, together.time, value, suspect, together.order).only(there)


def _margin(
    name: str, points: tuple[str, str], inputs: Mapping[str, Stream], closing: float, opening: tuple[float, ...]
) -> Stream | None:
    pressure, contact = points
    if pressure not in inputs:
        return None
    together = _Together(inputs, points)
    alone = ~together.seen(contact)
    closed = np.where(alone, 0.0, together.value(contact))
    good, suspect = together.quality(*points) if contact in inputs else together.quality(pressure)
    if alone.any():
        own, doubt = together.quality(pressure)
        good, suspect = np.where(alone, own, good), alone | suspect | doubt
    if not opening:
        suspect |= closed == 1
    read = together.value(pressure)
    value = np.asarray(switch_margin(read, closed, closing, opening[0] if opening else closing))
    if alone.any():
        value = np.where(alone, margin(read, closing), value)
    return _stream(name, together, np.where(good, value, np.nan), suspect, together.seen(pressure))


def _low(inputs: Mapping[str, Stream], plate: Plate) -> Stream | None:
    if not plate.switch_close:
        return None
    return _margin("draft_margin", live.SWITCH, inputs, plate.switch_close[-1], plate.switch_open[-1:])


def _high(inputs: Mapping[str, Stream], plate: Plate) -> Stream | None:
    if len(plate.switch_close) < 2:
        return None
    opening = plate.switch_open[:1] if len(plate.switch_open) > 1 else ()
    return _margin("draft_margin_high", live.SWITCH_HIGH, inputs, plate.switch_close[0], opening)


def _dew_point_margin(inputs: Mapping[str, Stream], _: Plate) -> Stream | None:
    ways = [way for way in (live.SURFACE, live.SURFACE_IN_RETURN) if all(point in inputs for point in way)]
    if not ways:
        return None
    together = _Together(inputs, (*live.SURFACE, *live.SURFACE_IN_RETURN[1:]))
    value, doubt = np.full(together.time.size, np.nan), np.zeros(together.time.size, np.bool_)
    told, seen = np.zeros_like(doubt), np.zeros_like(doubt)
    open_ = np.ones_like(doubt)
    for way in ways:
        known = together.seen(*way)
        good, suspect = together.quality(*way)
        chosen = open_ & known & good
        enters = chosen & np.logical_or.reduce([together.of(point) for point in way])
        surface, air, humidity = (together.value(point)[enters] for point in way)
        damp = (humidity > 1) & (humidity <= live.SATURATED_READING)
        value[enters] = surface_margin(surface, air, np.where(damp, 1.0, humidity))
        doubt[enters] = suspect[enters] | damp
        told |= enters
        open_ &= ~chosen
        seen |= known
    return _stream("dew_point_margin", together, value, doubt, told | (open_ & seen))


_QUANTITIES: dict[str, Callable[[Mapping[str, Stream], Plate], Stream | None]] = {
    "temp_rise": lambda inputs, _: _both("temp_rise", live.RISE, temperature_rise, inputs),
    "static_external": lambda inputs, _: _both("static_external", live.STATIC, external_static, inputs),
    "draft_margin": _low,
    "draft_margin_high": _high,
    "dew_point_margin": _dew_point_margin,
}

_INPUTS: dict[str, tuple[str, ...]] = {
    "temp_rise": live.RISE,
    "static_external": live.STATIC,
    "draft_margin": live.SWITCH,
    "draft_margin_high": live.SWITCH_HIGH,
    "dew_point_margin": (*live.SURFACE, *live.SURFACE_IN_RETURN[1:]),
}
