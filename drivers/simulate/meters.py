"""Meters as a technician owns them: what each kind is like, described and not programmed, and which are in a kit.

Figures of accuracy with a published source name it; all the others, and every range, resolution, noise, rate and delay,
are common practice, no published source. Time constants are typical ones: bare bead in moving air 5 to 15 s, sheathed
20 to 60 s, humidity 10 to 60 s, an analyser 90 % in 30 to 60 s behind the delay of its line (common practice, no
published source). No figure is that of any product.
"""

import math
import random
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from analysis.points import POINTS, measure_of, nearest
from analysis.uncertainty import Accuracy
from analysis.units import to_inside
from drivers.base import InputError

T90 = math.log(10)
"""Time to 90 % of a step over the time constant, first order: 2.3026. [1]"""


@dataclass(frozen=True, slots=True)
class Sensor:
    """How one input of a meter sees what is there."""

    unit: str
    """Native unit of what it shows."""
    low: float
    """Where its range begins; it shows that for anything below. [native unit]"""
    high: float
    """Where its range ends; it shows that for anything above. [native unit]"""
    resolution: float
    """Step of what it shows. [native unit]"""
    noise: float = 0.0
    """Standard deviation from one reading to the next, before the resolution. [native unit]"""
    response_time: float = 0.0
    """Time constant, first order; 0 follows at once. [s]"""
    delay: float = 0.0
    """Until what is there arrives at it: the line of an analyser. [s]"""
    accuracy: str | None = None
    """Statement as `analysis.uncertainty.Accuracy.parse` reads it; None shows what is there."""

    @property
    def decimals(self) -> int:
        """Digits behind the point that the resolution has. [1]"""
        return max(0, -int(Decimal(repr(self.resolution)).normalize().as_tuple().exponent))


@dataclass(frozen=True, slots=True)
class Move:
    """An input goes to another point, and the technician says so."""

    time: float
    """When it is said: readings after it belong to the new point. [s]"""
    point: str
    before: float = 2.0
    """How long before that the hose is pulled off. [s]"""
    after: float = 1.0
    """How long after that it is on its new tap. [s]"""


@dataclass(frozen=True, slots=True)
class Input:
    """A sensor of a meter on a point."""

    point: str
    """Name in `analysis.points.POINTS`."""
    sensor: Sensor
    unzeroed: float = 0.0
    """What it shows at nothing because nobody zeroed it, beyond its accuracy. [native unit]"""
    moves: tuple[Move, ...] = ()
    """In the order of time."""


@dataclass(frozen=True, slots=True)
class MeterClock:
    """How the times of a meter's readings differ from the true ones."""

    offset: float = 0.0
    """Ahead by so much. [s]"""
    drift: float = 0.0
    """Fast by so much; the meter samples by this clock. [ppm]"""
    jitter: float = 0.0
    """Each time is off by up to so much either way; not of a meter that reports on change. [s]"""


@dataclass(frozen=True, slots=True)
class DropOuts:
    """Spans in which nothing comes from a meter, as from a radio in the shadow of a cabinet."""

    per_minute: float = 0.0
    """How often one begins while there is none. [1/min]"""
    mean_length: float = 3.0
    """Lengths are exponential. [s]"""


@dataclass(frozen=True, slots=True)
class Meter:
    """One instrument with its inputs; ValueError in one sentence for one that cannot be."""

    name: str
    """In the trade's words, without an origin."""
    inputs: tuple[Input, ...]
    rate: float | None
    """Readings of each input. [Hz]; None: on change, and all again every `repeat`."""
    repeat: float = 5.0
    """[s]"""
    clock: MeterClock = MeterClock()
    drop_outs: DropOuts = DropOuts()

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        every = 1 / self.rate if self.rate else self.repeat
        if not 0 < every < math.inf or not self.inputs:
            raise ValueError(f"{self.name}: a meter needs an input and a rate above zero")
        if not (self.clock.jitter >= 0 and self.drop_outs.per_minute >= 0 and self.drop_outs.mean_length > 0):
            raise ValueError(f"{self.name}: jitter and drop-outs cannot be negative, nor a drop-out without length")
        owners: dict[str, Input] = {}
        for entry in self.inputs:
            for point in (entry.point, *(move.point for move in entry.moves)):
                if point not in POINTS:
                    raise ValueError(f"{self.name}: unknown point '{point}'{nearest(point)}")
                if owners.setdefault(point, entry) is not entry:
                    raise ValueError(f"{self.name}: two inputs on '{point}'")
                if measure_of(point) != measure_of(entry.point):
                    raise ValueError(f"{self.name}: '{entry.point}' and '{point}' are not measured by one sensor")
            self._check(entry)

    def _check(self, entry: Input) -> None:
        sensor, measure = entry.sensor, measure_of(entry.point)
        to_inside(sensor.unit, measure)
        if sensor.accuracy is not None:
            Accuracy.parse(sensor.accuracy, measure.name)
        sizes = (sensor.noise, sensor.response_time, sensor.delay)
        if not (sensor.resolution > 0 and sensor.low < sensor.high and all(0 <= size < math.inf for size in sizes)):
            raise ValueError(f"{self.name}: the sensor of '{entry.point}' has a size below zero, or no range")
        times = [move.time for move in entry.moves]
        if times != sorted(set(times)) or (times and self.rate is None):
            raise ValueError(f"{self.name}: moves of '{entry.point}' need rising times and a meter with a rate")


def _thermocouple(accuracy: str, response_time: float = 10.0) -> Sensor:
    """Wire with its tolerance and the meter behind it: 0.5 K, common practice, no published source."""
    statement = f"{accuracy} + 0.5 degC, resolution 0.1 degF"
    return Sensor("degF", -40.0, 2000.0, 0.1, 0.05, response_time, accuracy=statement)


def _gas(unit: str, high: float, resolution: float, noise: float, accuracy: str) -> Sensor:
    """Cell of a flue-gas analyser: 90 % in 40 s, 8 s of line."""
    return Sensor(unit, 0.0, high, resolution, noise, 40.0 / T90, 8.0, accuracy)


SENSORS: Mapping[str, Sensor] = {
    # digital manometers: 0.5 to 1 % of reading and 0.01 in. w.c., common practice, no published source
    "fine manometer": Sensor("inH2O", -10.0, 10.0, 0.001, 0.002, 0.15, accuracy="0.5 % + 0.01 inH2O"),
    "manometer": Sensor("inH2O", -10.0, 10.0, 0.01, 0.004, 0.5, accuracy="1 % + 0.01 inH2O, resolution 0.01 inH2O"),
    "gas manometer": Sensor("inH2O", -40.0, 40.0, 0.01, 0.006, 0.2, accuracy="1 % + 0.02 inH2O, resolution 0.01 inH2O"),
    # ASTM E230 (table of tolerances, from public reproductions), new wire above 0 degC, taken below it too
    "thermocouple K": _thermocouple("greater of 2.2 degC or 0.75 %"),
    "special thermocouple K": _thermocouple("greater of 1.1 degC or 0.4 %"),
    "thermocouple T": replace(_thermocouple("greater of 1.0 degC or 0.75 %"), high=698.0),
    "flue thermocouple": _thermocouple("greater of 2.2 degC or 0.75 %", 30.0),
    # NTC, 0.1 to 0.5 K from 0 to 70 degC, taken below it too: common practice, no published source
    "thermistor": Sensor("degF", -58.0, 158.0, 0.1, 0.03, 30.0, accuracy="0.5 degC, resolution 0.1 degF"),
    # 2 to 3 points from 10 to 90 %, 4 to 5 outside, not told apart here: common practice, no published source
    "hygrometer": Sensor("%", 0.0, 100.0, 0.1, 0.06, 20.0, accuracy="3 %"),
    # usual figures of analysers, common practice, no published source; what EN 50379 asks was not at hand
    "oxygen": _gas("%", 25.0, 0.1, 0.02, "0.3 vol %, resolution 0.1 vol %"),
    "carbon dioxide": _gas("%", 20.0, 0.1, 0.02, "0.3 vol %, resolution 0.1 vol %"),
    "carbon monoxide": _gas("ppm", 4000.0, 1.0, 0.5, "greater of 20 ppm or 5 %, resolution 1 ppm"),
    "room carbon monoxide": Sensor("ppm", 0.0, 1000.0, 1.0, 0.3, 30.0, accuracy="greater of 5 ppm or 10 %"),
    # 1 to 2 % and 0.05 to 0.1 uA, common practice, no published source
    "flame current": Sensor("uA", -50.0, 50.0, 0.1, 0.03, 0.2, accuracy="2 % + 0.1 uA, resolution 0.1 uA"),
    "voltage": Sensor("V", 0.0, 600.0, 0.1, 0.05, 0.1, accuracy="1 % + 0.3 V"),
    "current clamp": Sensor("A", 0.0, 60.0, 0.01, 0.01, 0.2, accuracy="2 % + 0.05 A"),
    "speed": Sensor("rpm", 0.0, 20_000.0, 1.0, 1.0, 0.3, accuracy="0.5 % + 5 rpm"),
    "contact": Sensor("1", 0.0, 1.0, 1.0),
}

ON_ARRIVAL = MeterClock(jitter=0.005)
"""Of readings that are given their time when they arrive; common practice, no published source."""


def _meter(name: str, rate: float | None, *kinds: tuple[str, str]) -> Meter:
    """A meter with inputs by kind of sensor: its name and the points."""
    inputs = (Input(point, SENSORS[kind]) for kind, points in kinds for point in points.split())
    return Meter(name, tuple(inputs), rate, clock=ON_ARRIVAL)


_CONTACTS = " ".join(point.name for point in POINTS.values() if point.measure == "contact")
_DRAFT = "draft_burner_box draft_transition draft_collector draft_vent"
_GASES = (("oxygen", "flue_o2"), ("carbon dioxide", "flue_co2"), ("carbon monoxide", "flue_co"))

METERS: Mapping[str, Meter] = {
    meter.name: meter
    for meter in (
        _meter("draft meter", 10.0, ("fine manometer", _DRAFT)),
        _meter("switch manometer", 10.0, ("fine manometer", "draft_switch draft_switch_high")),
        _meter("gas manometer", 5.0, ("gas manometer", "gas_inlet gas_manifold")),
        _meter("static manometer", 2.0, ("manometer", "static_return static_supply")),
        _meter("manometer", 2.0, ("manometer", "draft_switch")),
        _meter("duct thermometer", 1.0, ("thermocouple K", "temp_return temp_supply temp_supply_2")),
        _meter("supply thermometer", 1.0, ("thermocouple K", "temp_supply")),
        _meter("return thermometer", 1.0, ("thermocouple K", "temp_return")),
        _meter("house thermometer", 0.5, ("thermistor", "temp_outdoor temp_surface temp_room")),
        _meter("flue analyser", 1.0, *_GASES, ("flue thermocouple", "temp_flue")),
        _meter("hygrometer", 0.5, ("hygrometer", "humidity_return humidity_supply humidity_room humidity_outdoor")),
        _meter("flame meter", 5.0, ("flame current", "flame_current")),
        _meter("volt meter", 5.0, ("voltage", "volts_control volts_line volts_line_neutral_ground volts_switch")),
        _meter("current clamp", 5.0, ("current clamp", "amps_inducer amps_blower amps_igniter")),
        _meter("tachometer", 2.0, ("speed", "speed_inducer")),
        _meter("room CO meter", 0.2, ("room carbon monoxide", "room_co")),
        _meter("contact logger", None, ("contact", _CONTACTS)),
    )
}

KITS: Mapping[str, tuple[str, ...]] = {
    "full": tuple(name for name in METERS if name not in ("manometer", "supply thermometer", "return thermometer")),
    "draft": ("draft meter", "switch manometer", "duct thermometer", "house thermometer"),
    "basic": ("manometer", "supply thermometer", "return thermometer"),
    "contacts": ("contact logger",),
}
"""Which meters are in a kit; `full` has one for every point."""

_OWNED = {
    "draft meter": 0.6,
    "switch manometer": 0.5,
    "gas manometer": 0.6,
    "static manometer": 0.5,
    "manometer": 0.4,
    "duct thermometer": 0.8,
    "house thermometer": 0.6,
    "flue analyser": 0.3,
    "hygrometer": 0.4,
    "flame meter": 0.6,
    "volt meter": 0.6,
    "current clamp": 0.4,
    "tachometer": 0.1,
    "room CO meter": 0.5,
    "contact logger": 0.7,
}
"""Share of technicians who have one; our choice, as is everything else that is drawn here."""

_INSTEAD: Mapping[Sensor, tuple[str, ...]] = {
    SENSORS["fine manometer"]: ("fine manometer", "manometer"),
    SENSORS["thermocouple K"]: ("thermocouple K", "special thermocouple K", "thermocouple T"),
}
"""What sensors a meter of this kind may have."""


def standard_meters(available: Collection[str], kit: str | random.Random = "full") -> tuple[Meter, ...]:
    """Meters of a kit in `KITS`, or of a random one, with those inputs whose points are available.

    A random kit has at least one meter when there is one for a point; its pressures may be unzeroed, its clocks wrong,
    its radios shadowed and its single manometer moved to another tap, as happens to people.
    """
    if isinstance(kit, random.Random):
        return _random_meters(available, kit)
    if kit not in KITS:
        raise InputError(f"unknown kit of meters '{kit}'{nearest(kit, KITS)}", f"say one of {', '.join(KITS)}")
    return tuple(meter for name in KITS[kit] if (meter := _with_points(METERS[name], available)) is not None)


def _with_points(meter: Meter, available: Collection[str]) -> Meter | None:
    inputs = tuple(entry for entry in meter.inputs if entry.point in available)
    return replace(meter, inputs=inputs) if inputs else None


def _random_meters(available: Collection[str], rng: random.Random) -> tuple[Meter, ...]:
    there = [meter for name in _OWNED if (meter := _with_points(METERS[name], available)) is not None]
    chosen = [meter for meter in there if rng.random() < _OWNED[meter.name]]
    if there and not chosen:
        chosen = [rng.choice(there)]
    taps = [point for point in _DRAFT.split() if point in available]
    return tuple(_random_meter(meter, taps if meter.name == "manometer" else [], rng) for meter in chosen)


def _random_meter(meter: Meter, taps: Sequence[str], rng: random.Random) -> Meter:
    """One specimen: some of its inputs, its sensors and habits, and what went wrong with it."""
    kept = [entry for entry in meter.inputs if rng.random() < 0.8] or [rng.choice(meter.inputs)]
    kinds = {entry.sensor: rng.choice(_INSTEAD[entry.sensor]) for entry in kept if entry.sensor in _INSTEAD}
    inputs = []
    for entry in kept:
        sensor = SENSORS[kinds[entry.sensor]] if entry.sensor in kinds else entry.sensor
        forgotten = POINTS[entry.point].measure == "pressure" and rng.random() < 0.15
        unzeroed = rng.uniform(-0.08, 0.08) if forgotten else 0.0
        moves = (Move(rng.uniform(120.0, 900.0), rng.choice(taps)),) if taps and rng.random() < 0.25 else ()
        inputs.append(Input(entry.point, sensor, unzeroed, moves))
    return replace(
        meter,
        inputs=tuple(inputs),
        rate=meter.rate and meter.rate * rng.choice((1.0, 1.0, 0.5, 0.2)),
        clock=MeterClock(rng.uniform(-0.3, 0.3), rng.uniform(-50.0, 50.0), rng.uniform(0.0, 0.02)),
        drop_outs=DropOuts(rng.uniform(0.05, 1.0), rng.uniform(1.0, 8.0)) if rng.random() < 0.3 else DropOuts(),
    )
