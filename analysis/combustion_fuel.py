"""Properties of a fuel alone: air, heating value, the most carbon dioxide and water."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.fuels import AIR_MASS, GAS_CONSTANT, WATER_MASS, Fuel, stoichiometry
from analysis.points import nearest
from analysis.ranges import bounded

BASE_TEMP = (60 - 32) / 1.8
"""60 degF, the base of American gas volumes. [degC]"""
BASE_PRESSURE = 14.73 * 6894.757293168
"""14.73 psi absolute, the base of American gas volumes. [Pa]"""

_ZERO = 273.15


def air_need(fuel: Fuel | str, basis: str = "volume") -> NDArray[np.float64]:
    """Dry air for each unit of fuel, just enough to burn it.

    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    basis : `volume`: volume of air for each volume of fuel; `mass`: mass for each mass. [-]
    returns : () air over fuel. [1]

    Valid: complete combustion, ideal gases. A burner needs more: see `excess_air`.
    Method: half an oxygen molecule for two atoms of hydrogen, one for each of carbon; air holds 20.95 % of it.
    Source: balance of the elements; dry air after the U.S. Standard Atmosphere 1976, table 3.
    """
    burnt = stoichiometry(fuel)
    return np.asarray(burnt.air if _one_of(basis, "volume", "mass") == "volume" else burnt.air * AIR_MASS / burnt.mass)[
        ()
    ]


def specific_gravity(fuel: Fuel | str) -> NDArray[np.float64]:
    """Density of the fuel gas over that of dry air at the same temperature and pressure.

    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : () ideal specific gravity. [1]

    Valid: ideal gases; a real propane vapour at 60 degF is 1.8 % denser, methane 0.1 %.
    Method: ratio of the molar masses.
    Source: ISO 6976:2016, relative density of the ideal gas; IUPAC atomic weights 2021.
    """
    return np.asarray(stoichiometry(fuel).mass / AIR_MASS)[()]


def heating_value(fuel: Fuel | str, basis: str = "gross") -> NDArray[np.float64]:
    """Heat that an amount of fuel sets free.

    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    basis : `gross`: the water of combustion liquid (higher heating value, rating plates in North America); `net`: the
        water vapour (lower heating value). [-]
    returns : () heat at 25 degC. [J/mol]

    Valid: complete combustion of the ideal gas, fuel, air and products all at 25 degC. At 60 degF it is 0.1 % more.
    Method: heats of formation of the products less those of the fuel; heat of condensation 43.987 kJ/mol.
    Source: McBride, Gordon and Reno, NASA TM-4513, 1993; Wagner and Pruss, IAPWS-95, 2002, for the condensation.
    """
    burnt = stoichiometry(fuel)
    return np.asarray(burnt.gross if _one_of(basis, "gross", "net") == "gross" else burnt.net)[()]


def heating_value_volume(
    fuel: Fuel | str, basis: str = "gross", temp: ArrayLike = BASE_TEMP, pressure: ArrayLike = BASE_PRESSURE
) -> NDArray[np.float64]:
    """Heat that a volume of fuel gas sets free.

    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    basis : `gross` or `net`, as in `heating_value`. [-]
    temp : (...) temperature of the volume, -50 <= value <= 80; without it 60 degF. [degC]
    pressure : (...) absolute pressure of the volume, 20000 <= value <= 1000000; without it 14.73 psi. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [J/m3]

    Valid: dry ideal gas, burnt at 25 degC whatever the base of the volume. A real gas holds more in the same volume:
        methane 0.2 %, propane 1.8 % at 60 degF. A supplier's own figure goes before this one.
    Method: heat of an amount over the volume of that amount of ideal gas.
    Source: ISO 6976:2016, calorific value of the ideal gas by volume.
    """
    kelvin = bounded(temp, -50.0, 80.0) + _ZERO
    return (heating_value(fuel, basis) * bounded(pressure, 20000.0, 1e6) / (GAS_CONSTANT * kelvin))[()]


def heating_value_mass(fuel: Fuel | str, basis: str = "gross") -> NDArray[np.float64]:
    """Heat that a mass of fuel sets free.

    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    basis : `gross` or `net`, as in `heating_value`. [-]
    returns : () heat at 25 degC. [J/kg]

    Valid: as `heating_value`; the mass is that of the gas (to evaporate liquid propane takes 0.8 % of it).
    Method: heat of an amount over its mass.
    Source: as `heating_value`; IUPAC atomic weights 2021.
    """
    return np.asarray(heating_value(fuel, basis) / stoichiometry(fuel).mass)[()]


def ultimate_carbon_dioxide(fuel: Fuel | str) -> NDArray[np.float64]:
    """Largest carbon dioxide that the dry flue gas of a fuel can hold: with no excess air.

    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : () mole fraction of the dry flue gas; 0 for a fuel without carbon. [1]

    Valid: complete combustion. The air's own 0.04 % is left out, as by an analyser zeroed in fresh air.
    Method: carbon dioxide from the fuel over all dry products.
    Source: balance of the elements; dry air after the U.S. Standard Atmosphere 1976, table 3.
    """
    burnt = stoichiometry(fuel)
    return np.asarray(burnt.carbon_dioxide / burnt.dry)[()]


def water_made(fuel: Fuel | str) -> NDArray[np.float64]:
    """Water that a fuel makes for each unit of heat put in: the most that can come from it as condensate.

    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : () mass of water for the higher heating value. [kg/J]

    Valid: complete combustion; water that the combustion air brings is not counted.
    Method: one molecule of water for two atoms of hydrogen, over the higher heating value at 25 degC.
    Source: balance of the elements; heating value as `heating_value`.
    """
    burnt = stoichiometry(fuel)
    return np.asarray(burnt.water * WATER_MASS / burnt.gross)[()]


def _one_of(word: str, first: str, second: str) -> str:
    if word not in (first, second):
        raise ValueError(f"unknown basis '{word}'{nearest(word, (first, second)) or f'; it is {first} or {second}'}")
    return word
