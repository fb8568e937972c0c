"""Where in the system something is measured: the one table of points, their units and their words on screen."""

import difflib
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measure:
    """A kind of quantity: its unit inside the program and on screen."""

    name: str
    inside: str
    """Unit of every value inside the program."""
    trade: str
    """Unit in files and on screen, trade's units."""
    trade_label: str
    """The same as it is written on screen."""
    trade_decimals: int
    metric: str
    metric_label: str
    metric_decimals: int
    plausible: tuple[float, float]
    """A reading outside is doubtful wherever it comes from; wide, our choice. [inside unit]"""
    difference: bool = False
    """A temperature difference: no offset when converted."""


@dataclass(frozen=True, slots=True)
class Point:
    """A place in the system, or a quantity derived from several of them."""

    name: str
    measure: str
    """Name in `MEASURES`."""
    text: str
    """What it is, in the trade's words."""
    derived: bool = False
    """Computed from other points, never read from an instrument."""


_PRESSURE_ON_SCREEN = ("inH2O", "in. w.c.", 2, "Pa", "Pa", 0)

MEASURES: dict[str, Measure] = {
    measure.name: measure
    for measure in (
        Measure("pressure", "Pa", *_PRESSURE_ON_SCREEN, (-50_000.0, 50_000.0)),
        Measure("temperature", "degC", "degF", "°F", 0, "degC", "°C", 1, (-60.0, 1100.0)),
        Measure("temperature_difference", "K", "degF", "°F", 0, "K", "K", 1, (-1200.0, 1200.0), difference=True),
        Measure("humidity", "1", "%", "%RH", 0, "%", "%RH", 0, (0.0, 1.05)),
        Measure("flame_current", "A", "uA", "µA", 1, "uA", "µA", 1, (-1e-3, 1e-3)),
        Measure("voltage", "V", "V", "V", 1, "V", "V", 1, (-1000.0, 1000.0)),
        Measure("current", "A", "A", "A", 2, "A", "A", 2, (-200.0, 200.0)),
        Measure("speed", "rpm", "rpm", "rpm", 0, "rpm", "rpm", 0, (0.0, 50_000.0)),
        Measure("fraction", "1", "%", "%", 1, "%", "%", 1, (-0.01, 1.0)),
        Measure("trace", "1", "ppm", "ppm", 0, "ppm", "ppm", 0, (0.0, 0.1)),
        Measure("contact", "1", "1", "", 0, "1", "", 0, (0.0, 1.0)),
    )
}

POINTS: dict[str, Point] = {
    name: Point(name, measure, text)
    for name, measure, text in (
        ("draft_burner_box", "pressure", "burner box"),
        ("draft_transition", "pressure", "transition box"),
        ("draft_collector", "pressure", "collector box"),
        ("draft_vent", "pressure", "vent side"),
        ("draft_switch", "pressure", "at the pressure switch"),
        ("draft_switch_high", "pressure", "at the high-stage pressure switch"),
        ("gas_inlet", "pressure", "gas inlet"),
        ("gas_manifold", "pressure", "gas manifold"),
        ("static_return", "pressure", "return static"),
        ("static_supply", "pressure", "supply static"),
        ("temp_return", "temperature", "return air"),
        ("temp_supply", "temperature", "supply air"),
        ("temp_supply_2", "temperature", "supply air, second place"),
        ("temp_outdoor", "temperature", "outdoor air"),
        ("temp_flue", "temperature", "flue gas"),
        ("temp_surface", "temperature", "coldest watched surface"),
        ("temp_room", "temperature", "room air"),
        ("humidity_return", "humidity", "return humidity"),
        ("humidity_supply", "humidity", "supply humidity"),
        ("humidity_room", "humidity", "room humidity"),
        ("humidity_outdoor", "humidity", "outdoor humidity"),
        ("flame_current", "flame_current", "flame current"),
        ("volts_control", "voltage", "24 V control supply"),
        ("volts_line", "voltage", "line voltage"),
        ("volts_line_neutral_ground", "voltage", "neutral to ground"),
        ("volts_switch", "voltage", "across the pressure switch"),
        ("amps_inducer", "current", "inducer current"),
        ("amps_blower", "current", "blower current"),
        ("amps_igniter", "current", "igniter current"),
        ("speed_inducer", "speed", "inducer speed"),
        ("call_heat", "contact", "call for heat"),
        ("call_heat_2", "contact", "call for second stage"),
        ("call_compressor", "contact", "call for the heat pump"),
        ("switch_closed", "contact", "pressure switch closed"),
        ("switch_high_closed", "contact", "high-stage pressure switch closed"),
        ("limit_closed", "contact", "limit closed"),
        ("gas_valve", "contact", "gas valve energised"),
        ("blower_on", "contact", "blower on"),
        ("rollout_closed", "contact", "roll-out switch closed"),
        ("float_closed", "contact", "float switch closed"),
        ("door_closed", "contact", "door switch closed"),
        ("call_fan", "contact", "call for fan"),
        ("call_reversing", "contact", "reversing valve energised"),
        ("call_humidifier", "contact", "call for humidity"),
        ("humidifier_valve", "contact", "humidifier valve open"),
        ("defrost_active", "contact", "defrost active"),
        ("flue_o2", "fraction", "flue oxygen"),
        ("flue_co2", "fraction", "flue carbon dioxide"),
        ("flue_co", "trace", "flue carbon monoxide"),
        ("room_co", "trace", "room carbon monoxide"),
    )
}

DERIVED: dict[str, Point] = {
    name: Point(name, measure, text, derived=True)
    for name, measure, text in (
        ("temp_rise", "temperature_difference", "temperature rise"),
        ("draft_margin", "pressure", "margin at the pressure switch"),
        ("draft_margin_high", "pressure", "margin at the high-stage pressure switch"),
        ("dew_point_margin", "temperature_difference", "surface above dew point"),
        ("static_external", "pressure", "external static"),
    )
}


def measure_of(name: str) -> Measure:
    """Measure of a point or derived quantity; KeyError when there is none of that name."""
    point = POINTS.get(name) or DERIVED[name]
    return MEASURES[point.measure]


def nearest(name: str, known: object = POINTS) -> str:
    """`; nearest known: ...` for a name that is not known, or an empty string when nothing is near."""
    names = [str(candidate) for candidate in known]  # type: ignore[attr-defined]
    close = difflib.get_close_matches(name, names, n=2, cutoff=0.5)
    return f"; nearest known: {', '.join(close)}" if close else ""
