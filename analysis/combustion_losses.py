"""What leaves with the flue gas: heat, water and mass."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.fuels import AIR, AIR_MASS, ROUNDING, WATER_MASS, Fuel, Stoichiometry, enthalpy, fuel_named, stoichiometry
from analysis.psychrometrics import dew_point, saturation_pressure
from analysis.ranges import bounded

_HOT = 150.0
"""Any temperature whose saturation pressure is above all barometric pressures. [degC]"""
_FOG = 1.01
"""Vapour in the combustion air over saturation that rounding explains; more cannot be carried as vapour. [1]"""
_PREVAILING = 0.8
"""Share of methane or propane from which the published constants of natural gas or propane are taken to hold. [1]"""


class _Siegert(NamedTuple):
    oxygen: float
    carbon_dioxide: float
    offset: float


_CONSTANTS = {"methane": _Siegert(0.66, 0.37, 0.009), "propane": _Siegert(0.63, 0.42, 0.008)}


def flue_dew_point(
    excess_air: ArrayLike, fuel: Fuel | str, ratio: ArrayLike = 0.0, pressure: ArrayLike = 101325.0
) -> NDArray[np.float64]:
    """Temperature below which water condenses out of the flue gas.

    excess_air : (...) excess air, 0 <= value <= 10, 0.4 means 40 %. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    ratio : (...) humidity ratio of the combustion air, 0 <= value <= 0.05; without it dry air. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000; without it that of sea level. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [degC]

    Valid: complete combustion of a fuel without sulphur; the flue within 1 kPa of the barometric pressure.
    Method: share of the water among all products times the pressure, and where that saturates; below 0.01 degC the
        frost point.
    Source: balance of the elements; ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 5 and 6.
    """
    flue = _flue(excess_air, fuel, ratio)
    water = flue.made + flue.brought
    vapour = bounded(pressure, 20000.0, 120000.0) * water / (flue.dry + water)
    return dew_point(_HOT, vapour / saturation_pressure(_HOT))


def efficiency(
    excess_air: ArrayLike,
    temp_flue: ArrayLike,
    temp_air: ArrayLike,
    fuel: Fuel | str,
    ratio: ArrayLike = 0.0,
    *,
    pressure: ArrayLike = 101325.0,
) -> NDArray[np.float64]:
    """Share of the fuel's higher heating value that does not leave with flue gas and condensate.

    excess_air : (...) excess air, 0 <= value <= 10, 0.4 means 40 %. [1]
    temp_flue : (...) flue gas where it leaves, 0 <= value <= 600. [degC]
    temp_air : (...) combustion air where it enters the appliance, -60 <= value <= 60. [degC]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    ratio : (...) humidity ratio of the combustion air, 0 <= value <= 0.05; without it dry air. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000; without it that of sea level. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, the air cannot carry its vapour, or more
        heat would leave than the fuel brings. [1]

    Valid: steady firing, complete combustion. No loss of the jacket, no unburnt gas, no off-cycle: not an annual
        figure, and a good one says nothing of carbon monoxide. Not below 0 degC in the flue, where ice would form.
        Above 1 only where humid combustion air gives its own water up. The reference is the temperature of the
        combustion air, with the fuel's water liquid: heat above the temperature of cold outdoor air counts as lost.
    Method: flue-loss method: 1 - (enthalpy of flue gas and condensate at the flue's temperature, above that of the
        same products at the air's temperature) / higher heating value at 25 degC. Condensed until the flue gas is
        saturated at its own temperature, condensate leaving at that temperature too. The exact balance, which takes
        the heating value at the air's temperature, gives 0.0005 more for air at 20 degC and 0.005 more at -20 degC.
    Source: energy balance; enthalpies McBride, Gordon and Reno, NASA TM-4513, 1993; saturation ASHRAE Handbook -
        Fundamentals 2017, chapter 1, equation 6; heat of condensation Wagner and Pruss, IAPWS-95, 2002.
    """
    hot, cold = bounded(temp_flue, 0.0, 600.0), bounded(temp_air, -60.0, 60.0)
    flue = _flue(excess_air, fuel, _carried(ratio, cold, pressure))
    liquid = _liquid(flue, hot, pressure)
    vapour = flue.made + flue.brought - liquid
    before = flue.made * enthalpy("water", cold) + flue.brought * enthalpy("water vapour", cold)
    after = vapour * enthalpy("water vapour", hot) + liquid * enthalpy("water", hot)
    share = 1 - (_dry_heat(flue, hot, cold) + after - before) / flue.burnt.gross
    return np.where(share >= 0, share, np.nan)[()]


def condensed_share(
    excess_air: ArrayLike,
    temp_flue: ArrayLike,
    fuel: Fuel | str,
    ratio: ArrayLike = 0.0,
    pressure: ArrayLike = 101325.0,
) -> NDArray[np.float64]:
    """Water that condenses over the water that the fuel makes.

    excess_air : (...) excess air, 0 <= value <= 10, 0.4 means 40 %. [1]
    temp_flue : (...) flue gas where it leaves, 0 <= value <= 600. [degC]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    ratio : (...) humidity ratio of the combustion air, 0 <= value <= 0.05; without it dry air. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000; without it that of sea level. [Pa]
    returns : (...) broadcast shape; 0 above the dew point, above 1 where water of the combustion air condenses too; NaN
        where an input is NaN or out of range. [1]

    Valid: all flue gas saturated at the temperature where it leaves: the most that can condense. Less does where gas
        passes the surface uncooled; what is measured at the drain tells. Not below 0 degC, where ice would form.
    Method: the dry flue gas keeps what saturates it at its temperature, the rest is liquid.
    Source: balance of the elements; ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 6.
    """
    flue = _flue(excess_air, fuel, ratio)
    return (_liquid(flue, bounded(temp_flue, 0.0, 600.0), pressure) / flue.made)[()]


def condensate(
    excess_air: ArrayLike,
    temp_flue: ArrayLike,
    temp_air: ArrayLike,
    ratio: ArrayLike,
    fuel: Fuel | str,
    *,
    pressure: ArrayLike = 101325.0,
) -> NDArray[np.float64]:
    """Mass of water that condenses for each unit of heat put in.

    excess_air : (...) excess air, 0 <= value <= 10, 0.4 means 40 %. [1]
    temp_flue : (...) flue gas where it leaves, 0 <= value <= 600. [degC]
    temp_air : (...) combustion air where it enters the appliance, -60 <= value <= 60. [degC]
    ratio : (...) humidity ratio of the combustion air, 0 <= value <= 0.05. [kg/kg]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    pressure : (...) barometric pressure, 20000 <= value <= 120000; without it that of sea level. [Pa]
    returns : (...) for the higher heating value, broadcast shape; NaN where an input is NaN or out of range, or the air
        cannot carry its vapour. [kg/J]

    Valid: as `condensed_share`; the air's temperature only decides whether it can carry its vapour.
    Method: condensed share times the water that the fuel makes, over the higher heating value at 25 degC.
    Source: balance of the elements; ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 6.
    """
    flue = _flue(excess_air, fuel, _carried(ratio, bounded(temp_air, -60.0, 60.0), pressure))
    return (_liquid(flue, bounded(temp_flue, 0.0, 600.0), pressure) * WATER_MASS / flue.burnt.gross)[()]


def flue_mass(excess_air: ArrayLike, fuel: Fuel | str, ratio: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Mass of wet flue gas, before anything condenses, for each unit of heat put in.

    excess_air : (...) excess air, 0 <= value <= 10, 0.4 means 40 %. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    ratio : (...) humidity ratio of the combustion air, 0 <= value <= 0.05; without it dry air. [kg/kg]
    returns : (...) for the higher heating value, broadcast shape; NaN where an input is NaN or out of range. [kg/J]

    Valid: flue gas not diluted after the burner.
    Method: mass of the fuel and of all the air that comes with it, over the higher heating value at 25 degC.
    Source: balance of the mass; IUPAC atomic weights 2021.
    """
    burnt = stoichiometry(fuel)
    air = burnt.air * (1 + bounded(excess_air, 0.0, 10.0)) * AIR_MASS * (1 + bounded(ratio, 0.0, 0.05))
    return ((burnt.mass + air) / burnt.gross)[()]


def sensible_loss(
    excess_air: ArrayLike, temp_flue: ArrayLike, temp_air: ArrayLike, fuel: Fuel | str
) -> NDArray[np.float64]:
    """Heat of the flue gas above the air's temperature, over the lower heating value.

    excess_air : (...) excess air, 0 <= value <= 10, 0.4 means 40 %. [1]
    temp_flue : (...) flue gas where it leaves, 0 <= value <= 600. [degC]
    temp_air : (...) combustion air where it enters the appliance, -60 <= value <= 60. [degC]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or more heat would leave than the fuel
        brings. [1]

    Valid: dry combustion air, all water still vapour: above the dew point the flue loss of European practice. 1 less
        this loss exceeds the efficiency on the higher heating value, and is not to be compared with it.
    Method: enthalpy of all products from the air's temperature to the flue's, over the lower heating value at 25 degC.
    Source: energy balance; enthalpies McBride, Gordon and Reno, NASA TM-4513, 1993.
    """
    hot, cold = bounded(temp_flue, 0.0, 600.0), bounded(temp_air, -60.0, 60.0)
    flue = _flue(excess_air, fuel, 0.0)
    steam = flue.made * (enthalpy("water vapour", hot) - enthalpy("water vapour", cold))
    share = (_dry_heat(flue, hot, cold) + steam) / flue.burnt.net
    return np.where(share <= 1, share, np.nan)[()]


def sensible_loss_short(
    temp_flue: ArrayLike, temp_air: ArrayLike, o2: ArrayLike, fuel: Fuel | str
) -> NDArray[np.float64]:
    """Flue loss over the lower heating value by Siegert's short form, from the oxygen.

    temp_flue : (...) flue gas where it leaves, 0 <= value <= 400. [degC]
    temp_air : (...) combustion air where it enters the appliance, -60 <= value <= 60. [degC]
    o2 : (...) mole fraction of oxygen in the dry flue gas, 0 <= value <= 0.16. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of mostly methane or propane. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: to compare with an instrument that uses it; `sensible_loss` is the full balance. Up to 10 % oxygen it lies
        below that by up to 0.004 at 150 degC, 0.009 at 250 degC and 0.018 at 400 degC for propane, by 0.0005, 0.0025
        and 0.0085 for natural gas; at 16 % oxygen by twice as much and more. It is never more than 0.001 above.
    Method: (temp_flue - temp_air) * (A2 / (21 - o2) + B) / 100 with o2 in percent; A2 0.66, B 0.009 for natural gas and
        methane, A2 0.63, B 0.008 for propane.
    Source: Siegert's formula with the constants of the German ordinance on small combustion plants (1. BImSchV), as
        given in public trade references.
    """
    constants = _constants(fuel)
    percent = 100 * bounded(o2, 0.0, 0.16)
    return _short(temp_flue, temp_air, constants.oxygen / (21 - percent) + constants.offset)


def sensible_loss_short_from_carbon_dioxide(
    temp_flue: ArrayLike, temp_air: ArrayLike, co2: ArrayLike, fuel: Fuel | str
) -> NDArray[np.float64]:
    """Flue loss over the lower heating value by Siegert's short form, from the carbon dioxide.

    temp_flue : (...) flue gas where it leaves, 0 <= value <= 400. [degC]
    temp_air : (...) combustion air where it enters the appliance, -60 <= value <= 60. [degC]
    co2 : (...) mole fraction of carbon dioxide in the dry flue gas, 0.02 <= value <= 0.2, not above the ultimate. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of mostly methane or propane. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or above the ultimate carbon dioxide of
        the fuel. [1]

    Valid: to compare with an instrument that uses it; `sensible_loss` is the full balance. Up to 10 % oxygen it lies
        below that by up to 0.002 at 150 degC, 0.005 at 250 degC and 0.013 at 400 degC; at 16 % oxygen by twice as much
        and more. It is never more than 0.001 above, for methane at 16 % oxygen 0.003.
    Method: (temp_flue - temp_air) * (A1 / co2 + B) / 100 with co2 in percent; A1 0.37, B 0.009 for natural gas and
        methane, A1 0.42, B 0.008 for propane.
    Source: Siegert's formula with the constants of the German ordinance on small combustion plants (1. BImSchV), as
        given in public trade references.
    """
    constants, burnt = _constants(fuel), stoichiometry(fuel)
    percent = 100 * bounded(co2, 0.02, burnt.carbon_dioxide / burnt.dry * (1 + ROUNDING))
    return _short(temp_flue, temp_air, constants.carbon_dioxide / percent + constants.offset)


class _Flue(NamedTuple):
    """Flue gas of one mole of fuel. [mol]"""

    burnt: Stoichiometry
    gases: dict[str, NDArray[np.float64]]
    made: float
    """Water from the fuel."""
    brought: NDArray[np.float64]
    """Water from the combustion air."""

    @property
    def dry(self) -> NDArray[np.float64]:
        return sum(self.gases.values(), np.zeros(()))


def _flue(excess_air: ArrayLike, fuel: Fuel | str, ratio: ArrayLike) -> _Flue:
    burnt, excess = stoichiometry(fuel), bounded(excess_air, 0.0, 10.0)
    air = burnt.air * (1 + excess)
    gases = {
        "carbon dioxide": burnt.carbon_dioxide + air * AIR["carbon dioxide"],
        "nitrogen": burnt.nitrogen + air * AIR["nitrogen"],
        "oxygen": burnt.oxygen * excess,
        "argon": air * AIR["argon"],
    }
    return _Flue(burnt, gases, burnt.water, air * bounded(ratio, 0.0, 0.05) * AIR_MASS / WATER_MASS)


def _dry_heat(flue: _Flue, hot: NDArray[np.float64], cold: NDArray[np.float64]) -> NDArray[np.float64]:
    """Heat that the dry gases carry from the one temperature to the other. [J]"""
    parts = (amount * (enthalpy(gas, hot) - enthalpy(gas, cold)) for gas, amount in flue.gases.items())
    return sum(parts, np.zeros(()))


def _liquid(flue: _Flue, temp: NDArray[np.float64], pressure: ArrayLike) -> NDArray[np.float64]:
    """Water beyond what saturates the flue gas. [mol]"""
    saturated = saturation_pressure(np.minimum(temp, _HOT), over="water")
    room = bounded(pressure, 20000.0, 120000.0) - saturated
    boiling = room <= 0
    kept = np.where(boiling, np.inf, flue.dry * saturated / np.where(boiling, 1.0, room))
    return np.maximum(flue.made + flue.brought - kept, 0.0)


def _carried(ratio: ArrayLike, temp: NDArray[np.float64], pressure: ArrayLike) -> NDArray[np.float64]:
    """The humidity ratio, NaN where air of that temperature cannot hold so much vapour."""
    moisture = bounded(ratio, 0.0, 0.05)
    vapour = bounded(pressure, 20000.0, 120000.0) * moisture / (WATER_MASS / AIR_MASS + moisture)
    return np.where(vapour <= _FOG * saturation_pressure(temp, over="water"), moisture, np.nan)


def _short(temp_flue: ArrayLike, temp_air: ArrayLike, factor: NDArray[np.float64]) -> NDArray[np.float64]:
    return ((bounded(temp_flue, 0.0, 400.0) - bounded(temp_air, -60.0, 60.0)) * factor / 100)[()]


def _constants(fuel: Fuel | str) -> _Siegert:
    burnt = fuel_named(fuel) if isinstance(fuel, str) else fuel
    for component, constants in _CONSTANTS.items():
        if getattr(burnt, component) >= _PREVAILING:
            return constants
    raise ValueError(
        f"no published constants of the short form for '{burnt.name}'; sensible_loss works for any composition"
    )
