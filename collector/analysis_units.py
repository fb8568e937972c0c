"""Results in the units of the trade or in metric ones, and rounded so that nothing of their uncertainty is lost."""

import math
from dataclasses import replace

from analysis.checks import Check
from analysis.display import in_trade, in_unit
from analysis.measures.names import measure_of_name
from analysis.points import DERIVED, MEASURES, POINTS
from analysis.quantity import Quantity
from analysis.units import conversion

UNITS = ("trade", "metric")
"""The two ways to show a number."""
_PER = ("s", "min", "h", "hr")
_JUDGED = {"setting": "humidity_room", "flame_current_min": "flame_current"}
"""What a key of the job file speaks of, where neither its own name nor its unit says it."""


def in_units(name: str, quantity: Quantity, units: str = "trade") -> Quantity:
    """The quantity of a measure or check, `temp_rise.settled.high`, in the units of the heads of CSV files.

    name : a point or derived quantity, a dot and what was taken of it; other names go by their unit. [-]
    units : `trade` or `metric`. [-]
    """
    point = POINTS.get(head := name.partition(".")[0]) or DERIVED.get(head)
    measure = MEASURES[point.measure] if point else None
    unit, slash, per = quantity.unit.partition("/")
    if measure is not None and per in ("", *_PER) and measure.inside == unit:
        wished = measure.trade if units == "trade" else measure.metric
        return _a_time(quantity, wished, per) if slash else _in(quantity, wished)
    if per in _PER and unit == "K" and units == "trade":
        return _a_time(quantity, "degF", per)
    if units == "metric":
        return quantity
    return in_trade(head, quantity)


def labelled(name: str, quantity: Quantity, units: str = "trade") -> Quantity:
    """The quantity of a measure with its unit as it is written on screen: `in. w.c.` and not `inH2O`."""
    try:
        measure = measure_of_name(name)
    except KeyError:
        return quantity
    if measure is None:
        return quantity
    label = measure.trade_label if units == "trade" else measure.metric_label
    _, slash, per = quantity.unit.partition("/")
    return replace(quantity, unit=f"{label}{slash}{per}")


def judged(one: Check, units: str = "trade") -> tuple[Quantity, float | None, float | None]:
    """The quantity of a check and its limits, in the units of the heads of CSV files."""
    key = one.check.rpartition(".")[2]
    name, quantity = _JUDGED.get(key, key), one.quantity or Quantity(math.nan, "")
    low, high = (
        None if limit is None else in_units(name, replace(quantity, value=limit, u=math.nan), units).value
        for limit in (one.low, one.high)
    )
    return in_units(name, quantity, units), low, high


def rounded(quantity: Quantity) -> tuple[float | None, float | None]:
    """Value and uncertainty, to a thousandth of the uncertainty; six digits where there is none; None is no number."""
    value, u = quantity.value, quantity.u
    if not math.isfinite(value):
        return None, _digits(u, 4)
    if not math.isfinite(u) or u <= 0:
        return _digits(value, 6), _digits(u, 4)
    return _clean(round(value, 3 - math.floor(math.log10(u)))), _digits(u, 4)


def limit(value: float | None) -> float | None:
    """A limit to ten digits, free of what the conversion of units left behind; None where there is none."""
    return None if value is None else _digits(value, 10)


def seconds(time: float) -> float | None:
    """A time to the millisecond; None where there is none. [s]"""
    return _clean(round(time, 3)) if math.isfinite(time) else None


def _in(quantity: Quantity, unit: str) -> Quantity:
    return quantity if unit == quantity.unit else in_unit(quantity, unit)


def _a_time(quantity: Quantity, unit: str, per: str) -> Quantity:
    """A rate in another unit, in the same time."""
    scale = conversion(quantity.unit.partition("/")[0], unit, difference=True).scale
    interval = quantity.interval
    return replace(
        quantity,
        value=quantity.value * scale,
        unit=f"{unit}/{per}",
        u=quantity.u * scale,
        budget=tuple((error, part * scale) for error, part in quantity.budget),
        interval=(interval[0] * scale, interval[1] * scale) if interval else None,
    )


def _digits(value: float, count: int) -> float | None:
    if not math.isfinite(value):
        return None
    return _clean(round(value, count - 1 - math.floor(math.log10(abs(value))))) if value else 0.0


def _clean(value: float) -> float:
    return value + 0.0
