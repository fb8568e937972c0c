"""The house around the unit: humidity, the coldest surface above the dew point, outdoor and room air, room CO."""

import math
from collections.abc import Iterator

import numpy as np

from analysis.humidity import surface_margin
from analysis.measures import extremes
from analysis.measures.levels import best
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench, Source
from analysis.propagation import propagate
from analysis.quantity import Derivation, Quality, Quantity
from analysis.steady import Span

MEANS = ("temp_outdoor temp_room temp_surface humidity_return humidity_supply humidity_room humidity_outdoor").split()
MOST = 4096
"""Moments at which the margin over the dew point is worked out. [1]"""
FRESH = 120.0
"""How far apart readings may be that are taken together. [s]"""
WAYS = (("temp_room", "humidity_room"), ("temp_return", "humidity_return"))
"""Air that touches the surface: the room's, or the return's where that is not measured."""
LOWEST, HIGHEST = ("volts_line",), ("humidity_supply", "humidity_room")


def means(bench: Bench) -> Iterator[Measured]:
    """Mean over the recording of what belongs to no attempt."""
    span = Span(bench.start, bench.end)
    for point in MEANS:
        found = best(bench, point, span, whole=True)
        if found:
            key = found[1].channel.key
            yield Measured(f"{point}.mean", found[0], span.start, span.end, None, (key,))
    for point in HIGHEST:
        yield from _highest(bench, point)


def room_air(bench: Bench) -> Iterator[Measured]:
    """The highest carbon monoxide in the room."""
    yield from _highest(bench, "room_co")


def dew_point(bench: Bench) -> Iterator[Measured]:
    """How far the coldest watched surface stood above the dew point of the air at it: smallest and mean."""
    surfaces = bench.at("temp_surface")
    way = next((way for way in WAYS if all(bench.at(point) for point in way)), None)
    if not surfaces or way is None:
        return
    surface, air, humidity = surfaces[0], bench.at(way[0])[0], bench.at(way[1])[0]
    step = -(-surface.time.size // MOST)
    time = surface.time[::step]
    fresh = (_age(air, time) < FRESH) & (_age(humidity, time) < FRESH)
    time = time[fresh]
    if not time.size:
        return
    values = [np.interp(time, source.time, source.value) for source in (surface, air, humidity)]
    margins = surface_margin(values[0], values[1], np.minimum(values[2], 1.0))
    if not np.isfinite(margins).any():
        return
    keys = (surface.channel.key, air.channel.key, humidity.channel.key)
    least = int(np.nanargmin(margins))
    means = [float(np.mean(one)) for one in values]
    least_values = [float(one[least]) for one in values]
    moment = float(time[least])
    for name, inputs, start, end in (
        ("smallest", least_values, moment, moment),
        ("mean", means, float(time[0]), float(time[-1])),
    ):
        quantity = _surface(name, inputs, (surface, air, humidity))
        yield Measured(f"dew_point_margin.{name}", quantity, start, end, None, keys)


def _surface(name: str, values: list[float], sources: tuple[Source, Source, Source]) -> Quantity:
    units = ("degC", "degC", "1")
    inputs = {
        key: Quantity(value, unit, math.hypot(*(share for _, share in errors)), budget=tuple(errors))
        for key, value, unit, source in zip(
            ("temp_surface", "temp_air", "humidity_air"), values, units, sources, strict=True
        )
        for errors in [source.budget(value)]
    }

    def margin(temp_surface: object, temp_air: object, humidity_air: object) -> object:
        shown = np.clip(np.asarray(humidity_air, np.float64), 1e-3, 1.0)
        return surface_margin(temp_surface, temp_air, shown)  # type: ignore[arg-type]

    found = propagate(margin, inputs, unit="K", name="surface_margin")  # type: ignore[arg-type]
    how = Derivation(
        "surface_margin",
        f"Coldest surface above the dew point, {name}",
        tuple(inputs.items()),
        "the air is that at the surface.",
        "surface less dew point.",
        "as `analysis.humidity.surface_margin`.",
        propagation=found.way,
    )
    quantity = found.quantity
    return Quantity(
        quantity.value,
        "K",
        quantity.u,
        quantity.freedom,
        quantity.budget,
        quantity.interval,
        max(quantity.quality, Quality.GOOD),
        quantity.reason,
        how,
    )


def _age(
    source: Source, time: "np.ndarray[tuple[int], np.dtype[np.float64]]"
) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    """How far the nearest reading is. [s]"""
    after = np.clip(source.time.searchsorted(time), 0, source.time.size - 1)
    before = np.maximum(after - 1, 0)
    return np.minimum(np.abs(source.time[after] - time), np.abs(source.time[before] - time))


def _highest(bench: Bench, point: str) -> Iterator[Measured]:
    for source in bench.at(point):
        found = extremes.extreme(source, Span(bench.start, bench.end), smallest=False)
        if found:
            quantity, moment = found
            yield Measured(f"{point}.highest", quantity, moment, moment, None, (source.channel.key,))
            return
