"""Known truths and simple meters, to see what meters make of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS
from analysis.points import POINTS, measure_of
from analysis.units import to_inside
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import SENSORS, DropOuts, Input, Meter, MeterClock, Move, Sensor, standard_meters
from drivers.simulate.observed import Observed

Array = NDArray[np.float64]
PLAIN = Sensor("inH2O", -10.0, 10.0, 1e-6)
"""Shows what is there."""
LINE = Sensor("degF", -1e4, 1e5, 1e-6)


@dataclass
class Truth:
    """A block."""

    time: Array
    values: Mapping[str, Array] = field(default_factory=dict)

    def cut(self, *places: int) -> list["Truth"]:
        edges = [0, *sorted(places), self.time.size]
        return [
            Truth(self.time[low:high], {point: value[low:high] for point, value in self.values.items()})
            for low, high in pairwise(edges)
        ]


def grid(seconds: float, step: float = 0.1) -> Array:
    return np.arange(round(seconds / step) + 1, dtype=np.float64) * step


def one(sensor: Sensor, point: str = "draft_collector", rate: float | None = 10.0, **more) -> Meter:
    inputs = (Input(point, sensor, more.pop("unzeroed", 0.0), more.pop("moves", ())),)
    return Meter(more.pop("name", "meter"), inputs, rate, **more)


def seen(meter: Meter, truth: Truth, seed: int = 1) -> tuple[Array, Array]:
    """Time [s] and value [native unit] of a meter with one channel."""
    (readings,) = Observer([meter], seed).observe(truth).readings
    return readings.time / NANOSECONDS, readings.value


def constant(point: str, native: float, unit: str, seconds: float = 2.0) -> Truth:
    scale, offset = to_inside(unit, measure_of(point))
    clock = grid(seconds)
    return Truth(clock, {point: np.full(clock.size, native * scale + offset)})


def everything(seconds: float = 120.0) -> tuple[Truth, tuple[Meter, ...]]:
    clock = grid(seconds)
    rng = np.random.default_rng(11)
    values: dict[str, Array] = {}
    for point in POINTS:
        if measure_of(point).name == "contact":
            values[point] = (rng.random(clock.size).cumsum() % 60 > 30).astype(float)
        else:
            scale = measure_of(point).plausible[1] / 1e3
            values[point] = scale * rng.standard_normal(clock.size).cumsum()
    values["temp_flue"][200:300] = np.nan
    values["humidity_room"][:50] = np.nan
    meters: list[Meter] = []
    for meter in standard_meters(POINTS):
        busy = replace(meter, clock=MeterClock(0.3 - 0.1 * len(meters), 80.0, 0.02), drop_outs=DropOuts(3.0, 4.0))
        meters.append(busy)
    moves = (Move(30.0, "draft_vent"), Move(31.0, "draft_collector"), Move(80.04, "draft_switch_high"))
    meters.append(one(SENSORS["manometer"], "draft_switch", moves=moves, name="other", clock=MeterClock(jitter=0.05)))
    return Truth(clock, values), tuple(meters)


def joined(parts: Sequence[Observed]) -> dict[str, bytes]:
    """Times and values of each channel, bit by bit; events and channels beside them."""
    found: dict[str, tuple[list[bytes], list[bytes]]] = {}
    for part in parts:
        for readings in part.readings:
            times, values = found.setdefault(readings.channel.key, ([], []))
            times.append(readings.time.tobytes())
            values.append(readings.value.tobytes())
    bits = {key: b"".join([*times, *values]) for key, (times, values) in found.items()}
    bits["events"] = repr([event for part in parts for event in part.events]).encode()
    bits["begun"] = repr(sorted(channel.key for part in parts for channel in part.begun)).encode()
    return bits
