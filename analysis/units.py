"""Units, converted once: everything behind a channel's opening is plain arithmetic with a scale and an offset."""

import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from analysis.points import Measure, nearest

if TYPE_CHECKING:
    import pint

INCH_OF_WATER = 249.08891
"""One inch of water at 4 degC with 1000 kg/m3 and standard gravity. [Pa]"""

ALIASES: dict[str, str] = {
    "inwc": "inch_of_water",
    "in. w.c.": "inch_of_water",
    "in.w.c.": "inch_of_water",
    "in w.c.": "inch_of_water",
    "in wc": "inch_of_water",
    "iwc": "inch_of_water",
    '"wc': "inch_of_water",
    '"w.c.': "inch_of_water",
    '" w.c.': "inch_of_water",
    "inH2O": "inch_of_water",
    "F": "degF",
    "°F": "degF",
    "C": "degC",
    "°C": "degC",
    "%RH": "percent",
    "%": "percent",
    "cfm": "ft**3/min",
    "Btu/h": "Btu/hour",
    "Btu/hr": "Btu/hour",
    "kBtu/h": "kBtu/hour",
    "kBtu/hr": "kBtu/hour",
    "µA": "uA",
    "μA": "uA",
    "fpm": "ft/min",
    "cu ft": "ft**3",
    "℉": "degF",
    "℃": "degC",
    "Vac": "V",
    "Vdc": "V",
    "1": "dimensionless",
    "": "dimensionless",
}
"""Spellings of the trade, and those that pint alone would take for something else (`cfm`, `F`, `C`)."""

_DEGREES = {
    "kelvin": (1.0, -273.15),
    "degree_Celsius": (1.0, 0.0),
    "degree_Fahrenheit": (5 / 9, -160 / 9),
    "degree_Rankine": (5 / 9, -273.15),
}
"""Size of one degree [K] and where its scale begins [degC]; exact where a general converter leaves rounding behind."""

_TEMPERATURE = {"[temperature]": 1}

_USUAL_DEGREES = {"degC": "degree_Celsius", "degF": "degree_Fahrenheit", "K": "kelvin"}
_USUAL = {
    "Pa": ("pressure", 1.0),
    "inH2O": ("pressure", INCH_OF_WATER),
    "A": ("current", 1.0),
    "uA": ("current", 1e-6),
    "V": ("voltage", 1.0),
    "W": ("power", 1.0),
    "kW": ("power", 1000.0),
    "rpm": ("speed", 1.0),
    "s": ("time", 1.0),
    "h": ("time", 3600.0),
    "m": ("length", 1.0),
    "ft": ("length", 0.3048),
    "1": ("number", 1.0),
    "%": ("number", 0.01),
    "ppm": ("number", 1e-6),
}
"""What nearly every call converts, with the size of each: read without pint, whose start takes half a second."""
LONGEST = 40
"""Longest text of a unit. [characters]"""
_POWERS = re.compile(r"\*\*(?=-?\d(?!\d|\s*\*\*))")
"""A power of one digit: pint would work out any other, however long that takes."""

_SHORT_POWERS = re.compile(r"\b(m|ft|in|inch|cm|mm)([234])\b")
"""Areas and volumes as they are written in the trade: `ft3/min`."""
_FLOW = re.compile(r"\bcfm\b")

_FAMILIAR = (*ALIASES, *"Pa kPa hPa mbar psi degF degC K percent ppm uA mA A mV V rpm W kW ft m".split())
"""Units named when one is not known."""

_NUMBER = re.compile(r"\s*([-+−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")  # noqa: RUF001


class Conversion(NamedTuple):
    """`inside = value * scale + offset`."""

    scale: float
    offset: float


class UnitError(ValueError):
    """A unit that is not known or does not measure what is asked for; the text is one sentence for people."""


@lru_cache(maxsize=1)
def _registry() -> "pint.UnitRegistry[float]":
    import pint  # noqa: PLC0415 - most programs of the trade never need it

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    registry.define(f"inch_of_water = {INCH_OF_WATER} * pascal")
    return registry


def _unit(text: str) -> "pint.Unit":
    name = text.strip()
    try:
        if _POWERS.sub("", name) != name.replace("**", "") or "^" in name or len(name) > LONGEST:
            raise ValueError("no unit of the trade")
        spelled = _SHORT_POWERS.sub(r"\1**\2", _FLOW.sub("(ft**3/min)", name))
        return _registry().Unit(ALIASES.get(name) or ("1" + spelled if spelled.startswith("/") else spelled))
    except Exception as error:  # pint raises its own, tokenize's and Python's syntax errors for odd text
        raise UnitError(f"unknown unit '{name}'{nearest(name, _FAMILIAR)}") from error


@lru_cache(maxsize=512)
def conversion(unit: str, to: str, *, difference: bool = False) -> Conversion:
    """Scale and offset from one unit to another; `difference` for temperature differences (no offset).

    Raises UnitError when a unit is unknown or the two measure different things.
    """
    usual = _usual(unit, to, difference=difference)
    if usual is not None:
        return usual
    return _converted(unit, to, difference=difference)


def _usual(unit: str, to: str, *, difference: bool) -> Conversion | None:
    """Conversion between two usual units of one kind, None for any others."""
    if unit in _USUAL_DEGREES and to in _USUAL_DEGREES:
        return _degrees(_USUAL_DEGREES[unit], _USUAL_DEGREES[to], difference=difference)
    (kind, size), (target_kind, target_size) = _USUAL.get(unit, ("", 1.0)), _USUAL.get(to, ("", 1.0))
    return Conversion(size / target_size, 0.0) if kind and kind == target_kind else None


def _degrees(name: str, target_name: str, *, difference: bool) -> Conversion:
    (size, zero), (target_size, target_zero) = _DEGREES[name], _DEGREES[target_name]
    return Conversion(size / target_size, 0.0 if difference else (zero - target_zero) / target_size)


def _converted(unit: str, to: str, *, difference: bool) -> Conversion:
    source, target = _unit(unit), _unit(to)
    if source.dimensionality != target.dimensionality:
        raise UnitError(f"unit '{unit}' does not measure what '{to}' does")
    registry = _registry()
    if _TEMPERATURE in (source.dimensionality, target.dimensionality):
        for found, text in ((source, unit), (target, to)):
            if str(found) not in _DEGREES:
                raise UnitError(f"unknown unit of temperature '{text}'; write degF, degC or K")
        return _degrees(str(source), str(target), difference=difference)
    one, ten = (float(registry.Quantity(count, source).to(target).magnitude) for count in (1.0, 10.0))
    if not math.isclose(ten, 10 * one):
        raise UnitError(f"unknown unit '{unit}'; its steps are not even, as those of a logarithm")
    return Conversion(one, 0.0)


def to_inside(unit: str, measure: Measure) -> Conversion:
    """Conversion from a channel's native unit to the inside unit of its measure; UnitError when it does not fit."""
    return conversion(unit, measure.inside, difference=measure.difference)


def parse(text: str, inside: str, *, difference: bool = False) -> float:
    """Number with unit as people type it (`35 degF`, `0.5 inH2O`), in the unit `inside`; UnitError in one sentence."""
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise UnitError(f"'{text}' is not a number with a unit, such as '0.50 inH2O'")
    number, unit = match.groups()
    value = float(number.replace("−", "-"))  # noqa: RUF001
    if not unit and inside != "1":
        raise UnitError(f"'{text}' has no unit; write for example '{number} {inside}'")
    scale, offset = conversion(unit, inside, difference=difference)
    result = float(f"{value * scale + offset:.14g}")  # 392 degF is 200 degC, and not a hair more
    if not math.isfinite(result):
        raise UnitError(f"'{text}' is not a finite number")
    return result
