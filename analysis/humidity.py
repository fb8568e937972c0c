"""Humidity of the house: the signs of a humidifier that gives too much, and the formulas that they rest on."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from analysis.findings import Finding, Severity
from analysis.humidity_house import (
    evaporation_cooling,
    humidifier_load,
    indoor_ratio,
    indoor_ratio_after,
    ratio_gain,
    rise_over_room,
)
from analysis.humidity_surface import (
    guidance_humidity,
    largest_without_condensation,
    surface_factor,
    surface_margin,
    surface_temp,
    temperature_factor,
)
from analysis.psychrometrics import humidity_ratio

__all__ = [
    "HouseAir",
    "evaporation_cooling",
    "guidance_humidity",
    "humidifier_load",
    "indoor_ratio",
    "indoor_ratio_after",
    "largest_without_condensation",
    "overrun_evidence",
    "ratio_gain",
    "rise_over_room",
    "surface_factor",
    "surface_margin",
    "surface_temp",
    "temperature_factor",
]

OUTDOOR_HUMIDITY, OUTDOOR_HALF_WIDTH = 0.75, 0.25
"""Outdoor humidity and how far it may be off where it is not measured; our choice, cold air is seldom drier. [1]"""


@dataclass(frozen=True, slots=True)
class HouseAir:
    """What is known of a house's air and its humidifier; None is not measured. `u_` is a standard uncertainty.

    temp_room : () room air. [degC]
    humidity_room : () relative humidity of the room, 0 < value <= 1. [1]
    u_temp_room : () of the room's temperature, value >= 0. [K]
    u_humidity_room : () of the room's humidity, value >= 0. [1]
    temp_surface : () coldest surface of the room. [degC]
    u_temp_surface : () of the surface's temperature, value >= 0. [K]
    setting : () humidity at which the humidifier should stop, 0 < value <= 1. [1]
    humidifier_share : () share of the time that the humidifier was called, 0 <= value <= 1. [1]
    temp_outdoor : () outdoor air. [degC]
    u_temp_outdoor : () of the outdoor temperature, value >= 0. [K]
    humidity_outdoor : () relative humidity outdoors, 0 < value <= 1; where it is not given 0.75, at most 0.25 off. [1]
    u_humidity_outdoor : () of the outdoor humidity, value >= 0. [1]
    pressure : () barometric pressure, 20000 <= value <= 120000. [Pa]
    volume : () of the heated house, value > 0. [m3]
    air_changes : () outdoor air coming in, in volumes of the house, value > 0. [1/s]
    u_air_changes : () of the air changes, value >= 0. [1/s]
    sources : () water from people, cooking and washing, value >= 0. [kg/s]
    u_sources : () of the sources, value >= 0. [kg/s]
    temp_room_earlier : () room air at an earlier time, hours to days before. [degC]
    humidity_room_earlier : () relative humidity of the room then, 0 < value <= 1. [1]
    temp_outdoor_earlier : () outdoor air then. [degC]
    humidity_outdoor_earlier : () relative humidity outdoors then, as `humidity_outdoor`. [1]
    """

    temp_room: float | None
    humidity_room: float | None
    u_temp_room: float | None = None
    u_humidity_room: float | None = None
    temp_surface: float | None = None
    u_temp_surface: float | None = None
    setting: float | None = None
    humidifier_share: float | None = None
    temp_outdoor: float | None = None
    u_temp_outdoor: float | None = None
    humidity_outdoor: float | None = None
    u_humidity_outdoor: float | None = None
    pressure: float | None = None
    volume: float | None = None
    air_changes: float | None = None
    u_air_changes: float | None = None
    sources: float | None = None
    u_sources: float | None = None
    temp_room_earlier: float | None = None
    humidity_room_earlier: float | None = None
    temp_outdoor_earlier: float | None = None
    humidity_outdoor_earlier: float | None = None


def overrun_evidence(air: HouseAir) -> tuple[Finding, ...]:
    """Signs of a humidifier that gives too much, and what would have to be measured to see the others.

    air : HouseAir, see there. [-]
    returns : signs found, and what could not be judged; empty where all was judged and is in order. [-]

    Valid: steady weather and use of the house over the hours before. The errors of two readings of one meter are taken
        as independent, which hides a sign rather than inventing one.
    Method: a difference counts where it is more than twice its standard uncertainty, worked out by shifting each
        reading by its own. Judged are: room against the coldest surface (`largest_without_condensation`), or without
        one against `guidance_humidity`; room against the setting; water that leaves with the air changes against the
        known sources (`humidifier_load`); and whether the room's vapour over that outdoors grew as it became colder.
    Source: EN ISO 13788 for the surface, ASHRAE Handbook - HVAC Systems and Equipment, chapter Humidifiers, for the
        balance; the choice of signs is common practice, no published source.
    """
    return (*_surface(air), *_setting(air), *_supply(air), *_trend(air), *_outdoors(air))


Numbers = dict[str, float]


def _surface(air: HouseAir) -> Iterator[Finding]:
    def excess(n: Numbers) -> float:
        return n["humidity_room"] - float(largest_without_condensation(n["temp_surface"], n["temp_room"]))

    names = ("humidity_room", "temp_room", "temp_surface")
    over, u = _worked_out(air, excess, names)
    if math.isnan(over + u):
        yield _missing(air, "surface_unknown", "the coldest surface stays dry", names)
        yield from _guidance(air)
    elif over >= -2 * u:
        certain = over > 2 * u
        text = (
            "The room is more humid than its coldest surface allows: water or frost forms there; lower the setting."
            if certain
            else "The room is as humid as its coldest surface allows, as far as these meters can tell."
        )
        limit = _number(air, "humidity_room") - over
        values = (_room(air), ("largest without condensation", limit, "1"), ("twice the uncertainty", 2 * u, "1"))
        name = "condensation" if certain else "condensation_near"
        yield Finding(name, Severity.FAULT if certain else Severity.ADVICE, text, values)


def _guidance(air: HouseAir) -> Iterator[Finding]:
    largest = float(guidance_humidity(_number(air, "temp_outdoor")))
    over = _number(air, "humidity_room") - largest
    if over > 2 * _number(air, "u_humidity_room"):
        text = (
            "The room is more humid than published guidance allows behind double glazing in this weather: measure the"
            " coldest surface."
        )
        yield Finding("above_guidance", Severity.ADVICE, text, (_room(air), ("guidance", largest, "1")))


def _setting(air: HouseAir) -> Iterator[Finding]:
    names = ("humidity_room",)
    over, u = _worked_out(air, lambda n: n["humidity_room"] - _number(air, "setting"), names)
    if math.isnan(over + u):
        yield _missing(air, "setting_unknown", "the humidifier stops at its setting", (*names, "setting"))
    elif over > 2 * u:
        severity, then = {
            None: (Severity.ADVICE, ": see whether the humidifier is still called."),
            False: (
                Severity.ADVICE,
                " though the humidifier is not called: a valve leaks by, or there is another source.",
            ),
            True: (Severity.FAULT, " and the humidifier is still called: check the humidistat, its place and wiring."),
        }[_called(air)]
        values = (_room(air), ("setting", _number(air, "setting"), "1"), ("twice the uncertainty", 2 * u, "1"))
        yield Finding("above_setting", severity, f"The room is more humid than the setting{then}", values)


def _supply(air: HouseAir) -> Iterator[Finding]:
    def unexplained(n: Numbers) -> float:
        outdoors = _ratio(n, "temp_outdoor", "humidity_outdoor")
        house, rest = (n["volume"], n["air_changes"]), {"pressure": n["pressure"], "sources": n["sources"]}
        return float(humidifier_load(*house, _ratio(n), outdoors, n["temp_room"], **rest))

    names = ("temp_room", "humidity_room", "temp_outdoor", "humidity_outdoor", "air_changes", "sources")
    over, u = _worked_out(air, unexplained, names, ("volume", "pressure"))
    if math.isnan(over + u):
        question = "more water comes into the house than its known sources bring"
        yield _missing(air, "moisture_balance_unknown", question, (*names, "volume", "pressure"))
    elif over > 2 * u:
        severity, then = {
            None: (Severity.ADVICE, ": see whether the humidifier was called"),
            True: (Severity.ADVICE, ": it comes from the humidifier, which was called, or from another source"),
            False: (
                Severity.FAULT,
                ", and the humidifier was not called: a valve leaks by, or there is another source",
            ),
        }[_called(air)]
        known = _number(air, "sources")
        values = (
            ("water that leaves with the air", over + known, "kg/s"),
            ("known sources", known, "kg/s"),
            ("from elsewhere", over, "kg/s"),
            ("twice the uncertainty", 2 * u, "kg/s"),
        )
        spilled = "flue gas that spills indoors brings water too, so measure CO in the room first"
        text = f"More water leaves with the air changes than the known sources bring{then}; {spilled}."
        yield Finding("moisture_unexplained", severity, text, values)


def _trend(air: HouseAir) -> Iterator[Finding]:
    def above_outdoors(n: Numbers, then: str) -> float:
        outdoors = _ratio(n, f"temp_outdoor{then}", f"humidity_outdoor{then}")
        return _ratio(n, f"temp_room{then}", f"humidity_room{then}") - outdoors

    now = ("temp_room", "humidity_room", "temp_outdoor", "humidity_outdoor")
    names = (*now, *(f"{name}_earlier" for name in now))
    more, u = _worked_out(air, lambda n: above_outdoors(n, "") - above_outdoors(n, "_earlier"), names, ("pressure",))
    if math.isnan(more + u):
        yield _missing(air, "trend_unknown", "the room dries as it becomes colder outdoors", (*names, "pressure"))
        return
    colder = _number(air, "temp_outdoor_earlier") - _number(air, "temp_outdoor")
    if colder > 2 * math.sqrt(2) * _number(air, "u_temp_outdoor") and more > 2 * u:
        text = (
            "It became colder outdoors and the room has not dried with it: more water is supplied than before, or less"
            " air changes."
        )
        values = (
            ("colder outdoors by", colder, "K"),
            ("room humidity then", _number(air, "humidity_room_earlier"), "1"),
            _room(air),
            ("growth of the vapour over that outdoors", more, "kg/kg"),
            ("twice the uncertainty", 2 * u, "kg/kg"),
        )
        yield Finding("not_falling", Severity.ADVICE, text, values)


def _outdoors(air: HouseAir) -> Iterator[Finding]:
    if air.humidity_outdoor is None and air.temp_outdoor is not None:
        text = (
            "The outdoor humidity is not measured: where it enters, half to all that the outdoor air can hold is taken."
        )
        values = (("taken", OUTDOOR_HUMIDITY, "1"), ("at most off by", OUTDOOR_HALF_WIDTH, "1"))
        yield Finding("outdoor_humidity_taken", Severity.MISSING, text, values)


def _worked_out(
    air: HouseAir, function: Callable[[Numbers], float], names: tuple[str, ...], exact: tuple[str, ...] = ()
) -> tuple[float, float]:
    """A result and its standard uncertainty; NaN where a number is missing or cannot be."""
    numbers = {name: _number(air, name) for name in (*names, *exact)}
    result, total = function(numbers), 0.0
    for name in names:
        u = _uncertainty(air, name)
        up, down = (function({**numbers, name: numbers[name] + shift}) - result for shift in (u, -u))
        part = (up - down) / 2
        # A humidity near its end has one side only.
        total += (part if math.isfinite(part) else up if math.isfinite(up) else -down) ** 2
    return result, math.sqrt(total)


def _number(air: HouseAir, name: str) -> float:
    value = getattr(air, name)
    if value is None:
        return OUTDOOR_HUMIDITY if name.startswith("humidity_outdoor") else math.nan
    fraction = name == "setting" or name.startswith("humidity_")
    return float(value) if math.isfinite(value) and (not fraction or 0 < value <= 1) else math.nan


def _uncertainty(air: HouseAir, name: str) -> float:
    if name.startswith("humidity_outdoor") and getattr(air, name) is None:
        return OUTDOOR_HALF_WIDTH / math.sqrt(3)
    u = _number(air, f"u_{name.removesuffix('_earlier')}")
    return u if u >= 0 else math.nan


def _ratio(n: Numbers, temp: str = "temp_room", humidity: str = "humidity_room") -> float:
    return float(humidity_ratio(n[temp], n[humidity], n["pressure"]))


def _called(air: HouseAir) -> bool | None:
    share = _number(air, "humidifier_share")
    return None if math.isnan(share) else share > 0


def _room(air: HouseAir) -> tuple[str, float, str]:
    return ("room", _number(air, "humidity_room"), "1")


def _missing(air: HouseAir, name: str, question: str, names: tuple[str, ...]) -> Finding:
    """What a judgement would need: the numbers that are not there, and the uncertainties."""
    lacking = [_words(one) for one in names if math.isnan(_number(air, one))]
    measured = (one.removesuffix("_earlier") for one in names if one not in ("setting", "volume", "pressure"))
    unsure = [f"accuracy of {_words(one)}" for one in dict.fromkeys(measured) if math.isnan(_uncertainty(air, one))]
    needs = ", ".join([*lacking, *unsure]) or "numbers that can be: one is out of its range"
    return Finding(name, Severity.MISSING, f"Whether {question} needs {needs}.")


def _words(name: str) -> str:
    now = name.removesuffix("_earlier")
    what, _, where = now.partition("_")
    words = {"temp": "temperature", "humidity": "humidity"}
    plain = f"{where} {words[what]}" if what in words else now.replace("_", " ")
    return plain if now == name else f"earlier {plain}"
