"""Results as the trade writes them: the unit on screen for each unit inside."""

import re
from dataclasses import replace

from analysis.quantity import Quantity
from analysis.units import conversion

TRADE: dict[str, str] = {
    "degC": "degF",
    "K": "degF",
    "Pa": "inH2O",
    "W": "Btu/hr",
    "W/K": "Btu/hr/degF",
    "W/m2/K": "Btu/hr/ft2/degF",
    "m3/s": "cfm",
    "kg/kg": "gr/lb",
    "J/kg": "Btu/lb",
    "J/m3": "Btu/ft3",
    "J/m3/K": "Btu/hr/cfm/degF",
    "kg/m3": "lb/ft3",
    "m3/kg": "ft3/lb",
    "kg/s": "lb/hr",
    "kg": "lb",
    "m/s": "ft/min",
    "m": "ft",
    "m2": "ft2",
    "m3": "ft3",
    "A": "uA",
    "K/s": "degF/hr",
    "1/s": "1/hr",
    "kg/J": "lb/therm",
}
"""Unit on screen for results of the computation; a unit that is not here is shown as it is."""

_BY_NAME: dict[str, tuple[tuple[str, str], ...]] = {
    "1": (
        (r"co(_air_free.*)?$", "ppm"),
        (
            r"(relative_)?humidity|guidance_humidity|largest_without|o2|oxygen|co2|carbon_dioxide|ultimate|excess_air"
            r"|dilution|efficiency|share|bypass|condensed_share|sensible_loss",
            "%",
        ),
    ),
    "Pa": ((r"tank_pressure|propane_pressure|absolute_pressure|altitude_at_pressure", "psi"),),
    "W": ((r"(fan_)?power|power_\d+", "W"),),
    "J/kg": ((r"enthalpy", "kJ/kg"),),
    "m3/s": ((r"orifice_flow|meter_flow", "ft3/hr"),),
    "m": ((r"diameter", "inch"),),
    "1/J": ((r"price_electricity", "1/kWh"), (r"price_fuel", "1/therm")),
}
"""Where the unit alone does not say how the trade writes it: by the name. The charts' Btu/lb counts from 0 degF, the
enthalpy here from 0 degC, so that it stays metric."""

ATMOSPHERIC = 15_000.0
"""From here on a pressure is not one of the trade's inches of water; it is shown in psi. [Pa]"""


def in_unit(quantity: Quantity, unit: str) -> Quantity:
    """The quantity in another unit, with its uncertainty; UnitError when that unit measures something else."""
    scale, offset = conversion(quantity.unit, unit, difference=quantity.unit == "K")
    return replace(
        quantity,
        value=quantity.value * scale + offset,
        unit=unit,
        u=quantity.u * abs(scale),
        budget=tuple((error, part * scale) for error, part in quantity.budget),
        interval=_ordered(*(end * scale + offset for end in quantity.interval)) if quantity.interval else None,
    )


def shown(name: str, quantity: Quantity) -> str:
    """The quantity of that name as the trade writes it, with its uncertainty where that is known."""
    return str(in_trade(name, quantity))


def in_trade(name: str, quantity: Quantity) -> Quantity:
    """The quantity in the trade's unit."""
    unit = unit_of(name, quantity.unit)
    if unit == "inH2O" and abs(quantity.value) >= ATMOSPHERIC:
        unit = "psi"
    return quantity if unit == quantity.unit else in_unit(quantity, unit)


def unit_of(name: str, inside: str) -> str:
    """The trade's unit for a quantity of that name and inside unit."""
    for pattern, unit in _BY_NAME.get(inside, ()):
        if re.match(pattern, name):
            return unit
    return TRADE.get(inside, inside)


def _ordered(first: float, second: float) -> tuple[float, float]:
    return (first, second) if first <= second else (second, first)
