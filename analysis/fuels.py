"""Gaseous fuels, the air that burns them, and the enthalpies of what comes out."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.points import nearest
from analysis.ranges import bounded

GAS_CONSTANT = 8.314462618
"""CODATA 2018. [J/mol/K]"""
WATER_MASS = 18.015e-3
"""Molar mass of water. [kg/mol]"""
CONDENSATION = 43987.0
"""Heat of condensation of water at 25 degC: Wagner and Pruss, IAPWS-95 (2002), 2441.7 kJ/kg. [J/mol]"""
LIQUID_HEAT = 75.35
"""Heat capacity of liquid water, mean of 0 to 100 degC from IAPWS-95, 4.18 kJ/kg/K. [J/mol/K]"""

AIR: Mapping[str, float] = MappingProxyType(
    {"oxygen": 0.2095, "nitrogen": 0.7808, "argon": 0.0093, "carbon dioxide": 0.0004}
)
"""Mole fractions of dry air. U.S. Standard Atmosphere 1976, table 3, rounded; carbon dioxide 0.04 %. [1]"""

ROUNDING = 1e-9
"""How far a computed share may lie above its own limit. [1]"""

# Molar masses: IUPAC, Atomic weights of the elements 2021, abridged. [kg/mol]
_CARBON, _HYDROGEN, _OXYGEN, _NITROGEN, _ARGON = 12.011e-3, 1.008e-3, 15.999e-3, 14.007e-3, 39.95e-3
AIR_MASS = (
    AIR["oxygen"] * 2 * _OXYGEN
    + AIR["nitrogen"] * 2 * _NITROGEN
    + AIR["argon"] * _ARGON
    + AIR["carbon dioxide"] * (_CARBON + 2 * _OXYGEN)
)
"""Molar mass of dry air. [kg/mol]"""

_FORMED_CARBON_DIOXIDE, _FORMED_VAPOUR = -393510.0, -241826.0
"""Heats of formation at 25 degC, from the same source as those of the fuels. [J/mol]"""


class _Species(NamedTuple):
    """A component of a fuel: atoms in its molecule, and its heat of formation at 25 degC. [J/mol]"""

    carbon: int
    hydrogen: int
    formed: float


# Heats of formation: McBride, Gordon and Reno, NASA TM-4513 (1993), ideal gas.
_BURNING = {
    "methane": _Species(1, 4, -74600.0),
    "ethane": _Species(2, 6, -83851.0),
    "propane": _Species(3, 8, -104680.0),
    "butane": _Species(4, 10, -125790.0),
    "hydrogen": _Species(0, 2, 0.0),
}

# Enthalpy over gas constant: a1 T + a2 T**2/2 + ... + a5 T**5/5. McBride, Gordon and Reno, NASA TM-4513 (1993),
# interval 200 to 1000 K.
_POLYNOMIALS = {
    "carbon dioxide": (2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13),
    "water vapour": (4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12),
    "nitrogen": (3.53100528, -1.23660987e-4, -5.02999437e-7, 2.43530612e-9, -1.40881235e-12),
    "oxygen": (3.78245636, -2.99673415e-3, 9.847302e-6, -9.68129508e-9, 3.24372836e-12),
    "argon": (2.5, 0.0, 0.0, 0.0, 0.0),
}
_ZERO, _REFERENCE = 273.15, 298.15
_BESIDE = 1e-6
"""How far the mole fractions of a fuel may sum beside 1. [1]"""


@dataclass(frozen=True, slots=True)
class Fuel:
    """A dry fuel gas by its mole fractions, which sum to 1; ValueError where they do not, or nothing in it burns.

    name : what it is called. [-]
    methane : mole fraction of CH4, 0 <= value <= 1. [1]
    ethane : mole fraction of C2H6, 0 <= value <= 1. [1]
    propane : mole fraction of C3H8, 0 <= value <= 1. [1]
    butane : mole fraction of normal butane, C4H10, 0 <= value <= 1. [1]
    hydrogen : mole fraction of H2, 0 <= value <= 1. [1]
    nitrogen : mole fraction of N2, 0 <= value <= 1. [1]
    carbon_dioxide : mole fraction of CO2, 0 <= value <= 1. [1]
    """

    name: str
    methane: float = 0.0
    ethane: float = 0.0
    propane: float = 0.0
    butane: float = 0.0
    hydrogen: float = 0.0
    nitrogen: float = 0.0
    carbon_dioxide: float = 0.0

    def __post_init__(self) -> None:
        shares = {field.name: float(getattr(self, field.name)) for field in fields(self) if field.name != "name"}
        for component, share in shares.items():
            if not 0 <= share <= 1:
                raise ValueError(f"fuel '{self.name}': {component} = {share:g} is no mole fraction; write 93 % as 0.93")
        total = math.fsum(shares.values())
        if abs(total - 1) > _BESIDE:
            raise ValueError(f"fuel '{self.name}': its mole fractions sum to {total:.6g}, not 1; name every component")
        if not any(shares[component] for component in _BURNING):
            raise ValueError(f"fuel '{self.name}': nothing in it burns; name one of {', '.join(_BURNING)}")


METHANE = Fuel("methane", methane=1.0)
NATURAL_GAS = Fuel("natural gas", methane=0.93, ethane=0.035, propane=0.008, nitrogen=0.016, carbon_dioxide=0.011)
"""A typical pipeline gas (common practice, no published source); the gas of a region differs."""
PROPANE = Fuel("propane", propane=1.0)
"""Pure propane; commercial propane holds some ethane, propene and butane."""

FUELS: Mapping[str, Fuel] = MappingProxyType({fuel.name: fuel for fuel in (NATURAL_GAS, METHANE, PROPANE)})


def fuel_named(name: str) -> Fuel:
    """The fuel of that name; ValueError with the nearest names when there is none."""
    if name not in FUELS:
        hint = nearest(name, FUELS) or f"; known are {', '.join(FUELS)}"
        raise ValueError(f"unknown fuel '{name}'{hint}")
    return FUELS[name]


class Stoichiometry(NamedTuple):
    """One mole of a fuel, burnt completely with just enough dry air."""

    carbon_dioxide: float
    """From the fuel: what it burns to and what it holds, without the air's own. [mol]"""
    water: float
    """[mol]"""
    nitrogen: float
    """The fuel's own. [mol]"""
    oxygen: float
    """Used up. [mol]"""
    air: float
    """[mol]"""
    dry: float
    """All products but the water, the air's own carbon dioxide and argon included. [mol]"""
    mass: float
    """Of the fuel. [kg]"""
    gross: float
    """Heat of combustion at 25 degC, the water liquid. [J]"""
    net: float
    """The same, the water vapour. [J]"""


def stoichiometry(fuel: Fuel | str) -> Stoichiometry:
    """What burning one mole of a fuel needs, makes and sets free; ValueError for an unknown name."""
    burnt = fuel_named(fuel) if isinstance(fuel, str) else fuel
    carbon = hydrogen = net = 0.0
    for component, species in _BURNING.items():
        share = getattr(burnt, component)
        carbon += share * species.carbon
        hydrogen += share * species.hydrogen
        products = species.carbon * _FORMED_CARBON_DIOXIDE + species.hydrogen / 2 * _FORMED_VAPOUR
        net += share * (species.formed - products)
    oxygen = carbon + hydrogen / 4
    air = oxygen / AIR["oxygen"]
    carbon_dioxide = carbon + burnt.carbon_dioxide
    return Stoichiometry(
        carbon_dioxide=carbon_dioxide,
        water=hydrogen / 2,
        nitrogen=burnt.nitrogen,
        oxygen=oxygen,
        air=air,
        dry=carbon_dioxide + burnt.nitrogen + air * (1 - AIR["oxygen"]),
        mass=carbon_dioxide * _CARBON
        + hydrogen * _HYDROGEN
        + burnt.carbon_dioxide * 2 * _OXYGEN
        + burnt.nitrogen * 2 * _NITROGEN,
        gross=net + hydrogen / 2 * CONDENSATION,
        net=net,
    )


def enthalpy(substance: str, temp: ArrayLike) -> NDArray[np.float64]:
    """Enthalpy of a gas above that at 25 degC; of liquid water above that of its vapour at 25 degC.

    substance : `carbon dioxide`, `water vapour`, `nitrogen`, `oxygen`, `argon` or `water`. [-]
    temp : (...) temperature, -73 <= value <= 700. [degC]
    returns : (...) same shape; NaN where an input is NaN or out of range. [J/mol]

    Valid: ideal gases; saturated vapour is really 18 J/mol lower at 40 degC, 56 J/mol at 60 degC. Liquid water within
        15 J/mol from 0 to 100 degC, below 0 degC extrapolated.
    Method: fourth-degree polynomials of the heat capacity, integrated; liquid water with a constant heat capacity.
    Source: McBride, Gordon and Reno, NASA TM-4513, 1993; liquid water from Wagner and Pruss, IAPWS-95, 2002.
    """
    celsius = bounded(temp, -73.0, 700.0)
    if substance == "water":
        return (LIQUID_HEAT * (celsius + _ZERO - _REFERENCE) - CONDENSATION)[()]
    if substance not in _POLYNOMIALS:
        raise ValueError(f"unknown substance '{substance}'{nearest(substance, (*_POLYNOMIALS, 'water'))}")
    a = _POLYNOMIALS[substance]
    return (GAS_CONSTANT * (_integral(celsius + _ZERO, a) - _integral(np.float64(_REFERENCE), a)))[()]


def _integral(kelvin: NDArray[np.float64] | np.float64, a: tuple[float, ...]) -> NDArray[np.float64]:
    inner = a[1] / 2 + kelvin * (a[2] / 3 + kelvin * (a[3] / 4 + kelvin * a[4] / 5))
    return np.asarray(kelvin * (a[0] + kelvin * inner))
