"""Derived quantities, stepped with each value as it arrives."""

import math
from collections.abc import Callable
from functools import cache
from typing import NamedTuple

from analysis.airflow import external_static, temperature_rise
from analysis.draft import margin, switch_margin
from analysis.humidity import surface_margin
from analysis.model import NANOSECONDS, Plate, Quality
from analysis.points import measure_of

PRESSURE_FRESH = 5.0
"""How old a pressure may be and still enter a derived quantity. Our choice, as are the three below. [s]"""
TEMPERATURE_FRESH = 60.0
"""[s]"""
HUMIDITY_FRESH = 120.0
"""[s]"""
CONTACT_FRESH = 30.0
"""Contacts come on change and every few seconds. [s]"""
SATURATED_READING = 1.05
"""A humidity sensor in saturated air may read up to this; it then counts as saturated and suspect. Our choice. [1]"""

FRESH = {
    "pressure": PRESSURE_FRESH,
    "temperature": TEMPERATURE_FRESH,
    "humidity": HUMIDITY_FRESH,
    "contact": CONTACT_FRESH,
}

RISE = ("temp_return", "temp_supply")
STATIC = ("static_supply", "static_return")
SWITCH = ("draft_switch", "switch_closed")
SWITCH_HIGH = ("draft_switch_high", "switch_high_closed")
MARGINS = frozenset({"draft_margin", "draft_margin_high"})
"""Quantities that there are only with a plate that has switch points."""
_OF_PLATE = frozenset((*SWITCH, *SWITCH_HIGH))
"""Remembered without a plate too: it may come while they are measured."""
SURFACE = ("temp_surface", "temp_room", "humidity_room")
SURFACE_IN_RETURN = ("temp_surface", "temp_return", "humidity_return")

_NEEDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "temp_rise": (RISE,),
    "static_external": (STATIC,),
    "draft_margin": (SWITCH[:1],),
    "draft_margin_high": (SWITCH_HIGH[:1],),
    "dew_point_margin": (SURFACE, SURFACE_IN_RETURN),
}
"""Points without which there is no such quantity; several ways to the same one."""


@cache
def _fresh(point: str) -> float:
    """How old a point's value may be. [ns]"""
    return FRESH[measure_of(point).name] * NANOSECONDS


Derivation = tuple[str, float, Quality]
"""Name, value [inside unit] and quality of a derived quantity."""


class _Input(NamedTuple):
    time: int
    value: float
    quality: Quality


_Result = tuple[float, Quality]
_NOTHING: _Result = (math.nan, Quality.BAD)


def can_derive(name: str, measured: frozenset[str]) -> bool:
    """Whether the measured points suffice for a derived quantity, with the set-points it needs; KeyError if unknown."""
    return any(measured.issuperset(points) for points in _NEEDS[name])


class Derived:
    """Latest inputs of the derived quantities, and what follows from them."""

    def __init__(self, plate: Plate) -> None:
        self._inputs: dict[str, _Input] = {}
        self.use(plate)

    def use(self, plate: Plate) -> None:
        """Work with this plate from now on; what was measured stays."""
        self._plate = plate
        self._making: dict[str, bool | None] = {}
        self._readers: dict[str, list[tuple[str, Callable[[str, int], _Result | None]]]] = {}
        self._register("temp_rise", RISE, self._temp_rise)
        self._register("static_external", STATIC, self._static_external)
        if plate.switch_close:
            self._register("draft_margin", SWITCH, self._draft_margin)
        if len(plate.switch_close) > 1:
            self._register("draft_margin_high", SWITCH_HIGH, self._draft_margin_high)
        self._register("dew_point_margin", (*SURFACE, *SURFACE_IN_RETURN[1:]), self._dew_point_margin)

    def step(self, point: str, time: int, value: float, quality: Quality) -> list[Derivation]:
        """Take a point's value [inside unit] at `time` [ns]; returns the quantities that it enters, each at most once.

        NaN and BAD where an input is missing its value or too old; nothing where an input was never measured.
        """
        readers = self._readers.get(point)
        if readers is None and point not in _OF_PLATE:
            return []
        self._inputs[point] = _Input(time, value, Quality.BAD if math.isnan(value) else quality)
        results = ((name, compute(point, time)) for name, compute in readers or ())
        return [(name, *result) for name, result in results if result is not None]

    def again(self) -> list[tuple[int, Derivation]]:
        """The margins of the plate at the time of the pressure that each was last worked out for [ns]."""
        held = [(point, self._inputs[point]) for point in (SWITCH[0], SWITCH_HIGH[0]) if point in self._inputs]
        return [(one.time, found) for point, one in held for found in self.step(point, *one)]

    def forget(self, point: str) -> tuple[str, ...]:
        """Nothing measures a point any more: the quantities that it entered, which its last value must not hold."""
        if self._inputs.pop(point, None) is None:
            return ()
        names = tuple(name for name, _ in self._readers.get(point, ()))
        for name in names:
            self._making.pop(name, None)
        return names

    @property
    def making(self) -> bool | None:
        """True while `draft_margin` is the margin to make, False while to break, None while there is no margin."""
        return self._making.get("draft_margin")

    @property
    def making_high(self) -> bool | None:
        """The same for `draft_margin_high`."""
        return self._making.get("draft_margin_high")

    def _register(self, name: str, points: tuple[str, ...], compute: Callable[[str, int], _Result | None]) -> None:
        for point in points:
            self._readers.setdefault(point, []).append((name, compute))

    def _seen(self, points: tuple[str, ...]) -> bool:
        return all(point in self._inputs for point in points)

    def _quality(self, points: tuple[str, ...], time: int) -> Quality:
        """The worst quality of the inputs, BAD when one of them is too old, or ahead of a time that went back."""
        worst = Quality.GOOD
        for point in points:
            held = self._inputs[point]
            fresh = abs(time - held.time) <= _fresh(point)
            worst = max(worst, held.quality if fresh else Quality.BAD)
        return worst

    def _value(self, point: str) -> float:
        return self._inputs[point].value

    def _temp_rise(self, _: str, time: int) -> _Result | None:
        if not self._seen(RISE):
            return None
        return _result(float(temperature_rise(*map(self._value, RISE))), self._quality(RISE, time))

    def _static_external(self, _: str, time: int) -> _Result | None:
        if not self._seen(STATIC):
            return None
        return _result(float(external_static(*map(self._value, STATIC))), self._quality(STATIC, time))

    def _draft_margin(self, _: str, time: int) -> _Result | None:
        opening = self._plate.switch_open
        return self._margin("draft_margin", SWITCH, time, self._plate.switch_close[-1], opening[-1:])

    def _draft_margin_high(self, _: str, time: int) -> _Result | None:
        opening = self._plate.switch_open
        high = opening[:1] if len(opening) > 1 else ()  # one figure alone is the low stage's
        return self._margin("draft_margin_high", SWITCH_HIGH, time, self._plate.switch_close[0], high)

    def _margin(
        self, name: str, points: tuple[str, str], time: int, closing: float, opening: tuple[float, ...]
    ) -> _Result | None:
        pressure, contact = points
        if not self._seen((pressure,)):
            return None
        if not self._seen((contact,)):
            quality = max(Quality.SUSPECT, self._quality((pressure,), time))
            result = _result(float(margin(self._value(pressure), closing)), quality)
            self._making[name] = None if result is _NOTHING else True
            return result
        closed, quality = self._value(contact), self._quality(points, time)
        if closed == 1 and not opening:
            quality = max(quality, Quality.SUSPECT)
        break_point = opening[0] if opening else closing
        result = _result(float(switch_margin(self._value(pressure), closed, closing, break_point)), quality)
        self._making[name] = None if result is _NOTHING else closed == 0
        return result

    def _dew_point_margin(self, point: str, time: int) -> _Result | None:
        """From the room's air, or from the return's where the room's is not there or not usable now."""
        ways = [way for way in (SURFACE, SURFACE_IN_RETURN) if self._seen(way)]
        usable = [way for way in ways if self._quality(way, time) is not Quality.BAD]
        if usable and point not in usable[0]:
            return None
        if not usable:
            return _NOTHING if ways else None
        surface, air, humidity = map(self._value, usable[0])
        quality = self._quality(usable[0], time)
        if 1 < humidity <= SATURATED_READING:
            humidity, quality = 1.0, max(quality, Quality.SUSPECT)
        return _result(float(surface_margin(surface, air, humidity)), quality)


def _result(value: float, quality: Quality) -> _Result:
    """The value with its quality, or nothing usable."""
    return _NOTHING if quality is Quality.BAD or math.isnan(value) else (value, quality)
