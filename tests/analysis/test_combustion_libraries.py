"""Combustion against general libraries at random points of the whole valid range, largest deviations printed."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.combustion import (
    NATURAL_GAS,
    Fuel,
    air_need,
    carbon_dioxide,
    condensate,
    condensed_share,
    efficiency,
    excess_air,
    excess_air_from_carbon_dioxide,
    flue_dew_point,
    flue_mass,
    heating_value,
    heating_value_mass,
    oxygen,
    sensible_loss,
    specific_gravity,
    ultimate_carbon_dioxide,
    water_made,
)
from analysis.fuels import CONDENSATION, FUELS, enthalpy

POINTS = 2000
AIR = {"O2": 0.2095, "N2": 0.7808, "AR": 0.0093, "CO2": 0.0004}
SPECIES = {
    "methane": "CH4",
    "ethane": "C2H6",
    "propane": "C3H8",
    "butane": "C4H10,n-butane",
    "hydrogen": "H2",
    "nitrogen": "N2",
    "carbon_dioxide": "CO2",
}
GASES = {"carbon dioxide": "CO2", "water vapour": "H2O", "nitrogen": "N2", "oxygen": "O2", "argon": "AR"}
FREEZING = 273.16
"""Triple point of water, where the library's liquid begins. [K]"""


@pytest.fixture(scope="module")
def cantera() -> Any:
    """The gases of GRI-Mech 3.0 without its reactions, and normal butane, which it has not."""
    import cantera

    wanted = {*AIR, "H2O", *SPECIES.values()}
    species = [one for one in cantera.Species.list_from_file("gri30.yaml") if one.name in wanted]
    butane = [one for one in cantera.Species.list_from_file("nasa_gas.yaml") if one.name == "C4H10,n-butane"]
    return cantera.Solution(thermo="ideal-gas", species=species + butane)


@pytest.fixture(scope="module")
def water() -> Callable[..., float]:
    """Properties of real water and other fluids: `water(output, name, value, name, value, fluid)`."""
    from CoolProp.CoolProp import PropsSI

    return PropsSI


@pytest.fixture(scope="module")
def fuels() -> list[Fuel]:
    """The named fuels, and random mixtures of all components."""
    generator = np.random.default_rng(411)
    names = [field.name for field in fields(Fuel) if field.name != "name"]
    mixtures = []
    for number in range(POINTS - len(FUELS)):
        shares = generator.dirichlet(np.full(len(names), 0.4))
        if shares[-1] + shares[-2] > 0.5:
            shares[-2:] *= 0.5 / (shares[-1] + shares[-2])
            shares[:-2] *= (1 - shares[-2:].sum()) / shares[:-2].sum()
        mixtures.append(Fuel(f"mixture {number}", **dict(zip(names, map(float, shares), strict=True))))
    return [*FUELS.values(), *mixtures]


@dataclass(frozen=True, slots=True)
class Flue:
    """Flue gas of one mole of fuel by the library's own counting of atoms, none of it condensed."""

    gases: dict[str, float]
    made: float
    brought: float
    net: float
    mass: float

    @property
    def dry(self) -> float:
        return sum(amount for gas, amount in self.gases.items() if gas != "H2O")


def flue_of(cantera: Any, fuel: Fuel, excess: float, ratio: float = 0.0) -> Flue:
    """Complete combustion: all atoms of fuel and air in carbon dioxide, water, nitrogen, argon and oxygen."""

    def atoms(mixture: dict[str, float], element: str) -> float:
        return float(sum(amount * cantera.n_atoms(gas, element) for gas, amount in mixture.items()))

    def formed(mixture: dict[str, float]) -> float:
        return float(sum(amount * cantera.species(gas).thermo.h(298.15) / 1000 for gas, amount in mixture.items()))

    def mass(mixture: dict[str, float]) -> float:
        weights = cantera.molecular_weights
        return float(sum(amount * weights[cantera.species_index(gas)] / 1000 for gas, amount in mixture.items()))

    burning = {gas: getattr(fuel, name) for name, gas in SPECIES.items() if getattr(fuel, name) > 0}
    needed = (2 * atoms(burning, "C") + atoms(burning, "H") / 2 - atoms(burning, "O")) / 2
    air = {gas: share * needed / AIR["O2"] * (1 + excess) for gas, share in AIR.items()}
    brought = ratio * mass(air) / (cantera.molecular_weights[cantera.species_index("H2O")] / 1000)
    every = {gas: burning.get(gas, 0.0) + air.get(gas, 0.0) for gas in {*burning, *air}}
    carbon, hydrogen = atoms(every, "C"), atoms(every, "H")
    gases = {
        "CO2": carbon,
        "H2O": hydrogen / 2 + brought,
        "N2": atoms(every, "N") / 2,
        "AR": every["AR"],
        "O2": max((atoms(every, "O") - 2 * carbon - hydrogen / 2) / 2, 0.0),
    }
    dry_products = {**gases, "H2O": hydrogen / 2}
    return Flue(
        gases, hydrogen / 2, brought, formed(every) - formed(dry_products), mass(every) + mass({"H2O": brought})
    )


def heat_of(cantera: Any, gases: dict[str, float], kelvin: float) -> float:
    """Enthalpy of a mixture, from the library's own mixing. [J]"""
    cantera.TPX = kelvin, 101325.0, gases
    return float(cantera.enthalpy_mole) / 1000 * sum(gases.values())


def latent_of(cantera: Any, water: Callable[..., float], kelvin: float) -> float:
    """Heat of condensation; below freezing carried on with the heat capacities at the triple point. [J/mol]"""
    above = max(kelvin, FREEZING)
    heat = water("Hmolar", "T", above, "Q", 1, "Water") - water("Hmolar", "T", above, "Q", 0, "Water")
    if kelvin >= FREEZING:
        return float(heat)
    vapour = cantera.species("H2O").thermo
    liquid = water("Cpmolar", "T", FREEZING, "Q", 0, "Water")
    return float(heat + (vapour.h(kelvin) - vapour.h(FREEZING)) / 1000 - liquid * (kelvin - FREEZING))


def liquid_of(water: Callable[..., float], flue: Flue, kelvin: float, pressure: float) -> float:
    """Water that condenses until the flue gas is saturated. [mol]"""
    saturated = water("P", "T", max(kelvin, FREEZING), "Q", 0, "Water") if kelvin < 500 else np.inf
    if saturated >= pressure:
        return 0.0
    return max(flue.gases["H2O"] - flue.dry * saturated / (pressure - saturated), 0.0)


@pytest.fixture(scope="module")
def points(fuels: list[Fuel], water: Callable[..., float]) -> dict[str, Any]:
    """Random conditions over the whole valid range; half of the flues cool, where water condenses."""
    generator = np.random.default_rng(1856)
    cold = generator.uniform(-60, 60, POINTS)
    pressure = generator.uniform(50e3, 110e3, POINTS)
    over_ice = 611.2 * np.exp(22.46 * cold / (272.62 + cold))  # Magnus' formula, good enough to draw from
    over_water = np.array([water("P", "T", max(t + 273.15, FREEZING), "Q", 0, "Water") for t in cold])
    vapour = generator.uniform(0, 1, POINTS) * np.where(cold > 0, over_water, over_ice)
    return {
        "fuels": fuels,
        "excess_air": np.where(
            generator.random(POINTS) < 0.7, generator.uniform(0, 2, POINTS), generator.uniform(0, 10, POINTS)
        ),
        "temp_flue": np.where(
            generator.random(POINTS) < 0.5, generator.uniform(0.02, 80, POINTS), generator.uniform(0.02, 600, POINTS)
        ),
        "temp_air": cold,
        "ratio": np.minimum(0.6219 * vapour / (pressure - vapour), 0.05),
        "pressure": pressure,
    }


def each(points: dict[str, Any], function: Callable[..., Any], *names: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """The function at each point with its own fuel."""
    rows = zip(points["fuels"], *(points[name] for name in names), strict=True)
    return np.array([float(function(fuel=fuel, **dict(zip(names, row, strict=True)))) for fuel, *row in rows])


def say(text: str, deviations: Any, unit: str) -> float:
    """Print and give the largest deviation."""
    largest = float(np.max(np.abs(np.asarray(deviations))))
    print(f"{text}: largest deviation {largest:.3g} {unit} at {np.size(deviations)} points")  # noqa: T201
    return largest


def test_oxygen_carbon_dioxide_and_excess_air(cantera: Any, points: dict[str, Any]) -> None:
    flues = [flue_of(cantera, fuel, e) for fuel, e in zip(points["fuels"], points["excess_air"], strict=True)]
    excess = points["excess_air"]
    o2 = np.array([flue.gases["O2"] / flue.dry for flue in flues])
    assert say("oxygen", 100 * (each(points, oxygen, "excess_air") - o2), "% of the dry gas") < 1e-6
    back = each({**points, "o2": o2}, excess_air, "o2")
    assert say(f"excess air, oxygen up to {100 * o2.max():.2f} %", 100 * (back - excess), "% of the air") < 0.02
    # The air's own carbon dioxide is in the flue gas, and in the fresh air in which an analyser is zeroed.
    read = np.array([flue.gases["CO2"] / flue.dry for flue in flues]) - AIR["CO2"]
    co2 = each({**points, "o2": o2}, carbon_dioxide, "o2")
    assert say("carbon dioxide, zeroed in fresh air", 100 * (co2 - read), "% of the dry gas") < 0.02
    fossil = np.array([fuel.hydrogen < 0.5 for fuel in points["fuels"]])
    back = each({**points, "co2": np.where(fossil, co2, np.nan)}, excess_air_from_carbon_dioxide, "co2")
    assert say("excess air from carbon dioxide", 100 * (back - excess)[fossil], "% of the air") < 1e-6


def test_excess_air_close_to_fresh_air(cantera: Any) -> None:
    o2 = np.linspace(0, 0.2094, 2000)
    one = flue_of(cantera, NATURAL_GAS, 0.0)
    air = 2.0225 / AIR["O2"]
    by_balance = o2 * one.dry / (air * (AIR["O2"] - o2))
    near = say("excess air up to 20.94 % oxygen", 100 * (excess_air(o2, NATURAL_GAS) - by_balance), "% of the air")
    assert near < 0.02


def test_air_gravity_mass_and_water(cantera: Any, points: dict[str, Any]) -> None:
    fuels, excess, ratio = points["fuels"], points["excess_air"], points["ratio"]
    flues = [flue_of(cantera, *row) for row in zip(fuels, excess, ratio, strict=True)]
    bare = [flue_of(cantera, fuel, 0.0) for fuel in fuels]
    gross = np.array([flue.net + flue.made * CONDENSATION for flue in bare])
    cantera.X = AIR
    air = cantera.mean_molecular_weight / 1000
    own = []
    for fuel in fuels:
        cantera.X = {gas: getattr(fuel, name) for name, gas in SPECIES.items()}
        own.append(cantera.mean_molecular_weight / 1000)
    need = np.array([(flue.mass - mass) / air for flue, mass in zip(bare, own, strict=True)])
    assert say("air need", each(points, air_need) / need - 1, "of it") < 3e-5
    by_mass = np.array([float(air_need(fuel, "mass")) for fuel in fuels])
    assert say("air need by mass", by_mass / (need * air / own) - 1, "of it") < 3e-5
    assert say("specific gravity", each(points, specific_gravity) / (np.array(own) / air) - 1, "of it") < 3e-5
    mass = np.array([flue.mass for flue in flues]) / gross
    assert say("flue mass", each(points, flue_mass, "excess_air", "ratio") / mass - 1, "of it") < 1e-3
    made = np.array([flue.made for flue in bare]) * 18.015e-3 / gross
    assert say("water made", each(points, water_made) / made - 1, "of it") < 1e-3
    ultimate = np.array(
        [(flue.gases["CO2"] - need_ * AIR["CO2"]) / flue.dry for flue, need_ in zip(bare, need, strict=True)]
    )
    assert say("ultimate carbon dioxide", 100 * (each(points, ultimate_carbon_dioxide) - ultimate), "%") < 0.001
    per_mass = each(points, heating_value_mass)
    assert say("heating value by mass", per_mass / (gross / own) - 1, "of it") < 1e-3


def test_heating_values(cantera: Any, points: dict[str, Any]) -> None:
    bare = [flue_of(cantera, fuel, 0.0) for fuel in points["fuels"]]
    net = np.array([flue.net for flue in bare])
    gross = net + np.array([flue.made for flue in bare]) * CONDENSATION
    assert say("gross heating value", each(points, heating_value) / gross - 1, "of it") < 1e-3
    found = np.array([float(heating_value(fuel, "net")) for fuel in points["fuels"]])
    assert say("net heating value", found / net - 1, "of it") < 1e-3


def test_heat_of_condensation(cantera: Any, water: Callable[..., float]) -> None:
    temp = np.linspace(0.02, 100, 101)
    real = [latent_of(cantera, water, float(t) + 273.15) for t in temp]
    at_25 = latent_of(cantera, water, 298.15)
    assert abs(CONDENSATION - at_25) < 1, at_25
    ours = enthalpy("water vapour", temp) - enthalpy("water", temp)
    assert say("heat of condensation, 0 to 60 degC", (ours / real - 1)[temp <= 60], "of it") < 2e-3
    assert say("heat of condensation, 60 to 100 degC", (ours / real - 1)[temp > 60], "of it") < 6e-3
    liquid = np.array([water("Hmolar", "T", float(t) + 273.15, "Q", 0, "Water") for t in temp])
    start = float(np.interp(25, temp, liquid))
    assert say("liquid water", enthalpy("water", temp) + CONDENSATION - (liquid - start), "J/mol") < 15


@pytest.mark.parametrize(("gas", "name"), GASES.items())
def test_enthalpy_of_the_gases(cantera: Any, gas: str, name: str) -> None:
    temp = np.random.default_rng(7).uniform(-73, 700, POINTS)
    thermo = cantera.species(name).thermo
    expected = np.array([(thermo.h(t + 273.15) - thermo.h(298.15)) / 1000 for t in temp])
    # Nitrogen is fitted from 300 K only there; below it is carried on.
    assert say(f"enthalpy of {gas}", enthalpy(gas, temp) - expected, "J/mol") < 25


@pytest.mark.parametrize(
    ("gas", "fluid"),
    [
        ("carbon dioxide", "CO2"),
        ("nitrogen", "Nitrogen"),
        ("oxygen", "Oxygen"),
        ("argon", "Argon"),
        ("water vapour", "Water"),
    ],
)
def test_enthalpy_of_thin_real_gases(water: Callable[..., float], gas: str, fluid: str) -> None:
    temp = np.linspace(1 if gas == "water vapour" else -50, 600, 100)
    start = water("Hmolar", "T", 298.15, "P", 100.0, fluid)
    expected = [water("Hmolar", "T", float(t) + 273.15, "P", 100.0, fluid) - start for t in temp]
    deviation = (enthalpy(gas, temp) - expected) / np.maximum(np.abs(temp - 25) * 30, 1000)
    assert say(f"enthalpy of {gas} against the real gas", deviation, "of it") < 2e-3


def test_dew_point(cantera: Any, water: Callable[..., float], points: dict[str, Any]) -> None:
    names = ("excess_air", "ratio", "pressure")
    rows = zip(points["fuels"], *(points[name] for name in names), strict=True)
    vapour = []
    for fuel, e, ratio, pressure in rows:
        gases = flue_of(cantera, fuel, e, ratio).gases
        vapour.append(pressure * gases["H2O"] / sum(gases.values()))
    above = np.array(vapour) > 612
    expected = np.array([water("T", "P", max(p, 612.0), "Q", 1, "Water") for p in vapour]) - 273.15
    found = each(points, flue_dew_point, *names)
    assert np.count_nonzero(above) > 0.95 * POINTS
    assert say("dew point", (found - expected)[above], "K") < 0.1
    assert np.all(found[~above] < 0.1)


def test_condensed_share_and_condensate(cantera: Any, water: Callable[..., float], points: dict[str, Any]) -> None:
    names = ("excess_air", "temp_flue", "ratio", "pressure")
    expected, mass = [], []
    for fuel, e, hot, ratio, pressure in zip(points["fuels"], *(points[name] for name in names), strict=True):
        flue = flue_of(cantera, fuel, e, ratio)
        liquid = liquid_of(water, flue, hot + 273.15, pressure)
        expected.append(liquid / flue.made)
        mass.append(liquid * 18.015e-3 / (flue.net + flue.made * CONDENSATION))
    found = each(points, condensed_share, *names)
    assert np.count_nonzero(found) > 0.2 * POINTS
    assert say("condensed share", found - expected, "of the water made") < 2e-3
    found = each(points, condensate, *names, "temp_air")
    assert say("condensate", 1e6 * (found - mass), "kg/MJ") < 1e-4


def test_efficiency(cantera: Any, water: Callable[..., float], points: dict[str, Any]) -> None:
    names = ("excess_air", "temp_flue", "temp_air", "ratio", "pressure")
    expected = []
    for fuel, e, hot, cold, ratio, pressure in zip(points["fuels"], *(points[name] for name in names), strict=True):
        flue, high, low = flue_of(cantera, fuel, e, ratio), hot + 273.15, cold + 273.15
        liquid = liquid_of(water, flue, high, pressure)
        lost = heat_of(cantera, flue.gases, high) - heat_of(cantera, flue.gases, low)
        lost += flue.made * latent_of(cantera, water, low) - (liquid and liquid * latent_of(cantera, water, high))
        expected.append(1 - lost / (flue.net + flue.made * CONDENSATION))
    real = np.array(expected)
    found = each(points, efficiency, *names)
    possible = real > 0.001
    assert np.count_nonzero(possible) > 0.9 * POINTS
    assert np.all(np.isnan(found[real < -0.001]))
    # Enthalpies agree within 0.1 % of themselves: what is lost above the whole heating value cannot be told better.
    normal = possible & (points["excess_air"] <= 4)
    assert say("efficiency, excess air up to 400 %", 100 * (found - real)[normal], "% of the heating value") < 0.15
    assert say("efficiency, excess air up to 1000 %", 100 * (found - real)[possible], "% of the heating value") < 0.15


def test_sensible_loss(cantera: Any, points: dict[str, Any]) -> None:
    names = ("excess_air", "temp_flue", "temp_air")
    expected = []
    for fuel, e, hot, cold in zip(points["fuels"], *(points[name] for name in names), strict=True):
        flue = flue_of(cantera, fuel, e)
        expected.append(
            (heat_of(cantera, flue.gases, hot + 273.15) - heat_of(cantera, flue.gases, cold + 273.15)) / flue.net
        )
    real = np.array(expected)
    found = each(points, sensible_loss, *names)
    possible = real < 0.999
    assert np.all(np.isnan(found[real > 1.001]))
    assert say("sensible loss", 100 * (found - real)[possible], "% of the lower heating value") < 0.15


@pytest.mark.parametrize(("cold", "more"), [(20.0, 0.0005), (-20.0, 0.005)])
def test_exact_balance_gives_a_little_more(cantera: Any, cold: float, more: float) -> None:
    """Fuel and air entering at the air's temperature, the heating value at 25 degC: what the docstring says of it."""
    flue, low, high = flue_of(cantera, NATURAL_GAS, 0.4), cold + 273.15, 423.15
    burning = {gas: getattr(NATURAL_GAS, name) for name, gas in SPECIES.items()}
    air = {gas: share * 2.0225 / AIR["O2"] * 1.4 for gas, share in AIR.items()}
    entering = heat_of(cantera, burning, low) + heat_of(cantera, air, low)
    useful = entering - heat_of(cantera, flue.gases, high)
    exact = useful / (flue.net + flue.made * CONDENSATION)
    assert_allclose(exact - efficiency(0.4, 150.0, cold, "natural gas"), more, rtol=0.2)


def test_real_gases_are_denser_by_what_is_said(water: Callable[..., float]) -> None:
    def density(fluid: str) -> float:
        return water("D", "T", 288.7056, "P", 101325.0, fluid)

    for fuel, fluid, gap in (("methane", "Methane", 0.0015), ("propane", "n-Propane", 0.018)):
        assert_allclose(density(fluid) / density("Air") / specific_gravity(fuel) - 1, gap, atol=5e-4)


def test_the_library_has_every_gas(cantera: Any) -> None:
    import CoolProp

    module: ModuleType = CoolProp
    import cantera as library

    print(f"cantera {library.__version__}, CoolProp {module.__version__}")  # noqa: T201
    assert {*GASES.values(), *SPECIES.values()} == set(cantera.species_names)
