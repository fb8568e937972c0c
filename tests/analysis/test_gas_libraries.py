"""Fuel gas against a library of fluid properties and against the same physics worked out another way."""

from collections.abc import Callable
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.gas import (
    HEAT_OF_LIQUID,
    HEAT_OF_STEEL,
    PROPANE_HEAT,
    VAPORISING_HEAT,
    altitude_factor,
    meter_correction,
    orifice_flow,
    propane_pressure,
    tank_cooling_rate,
    tank_pressure,
    tank_temperature,
)

POINTS = 2000
ZERO = 273.15
AIR = 28.966 / 1000
"""Molar mass of dry air. [kg/mol]"""
Numbers = NDArray[np.float64]


@pytest.fixture(scope="module")
def library() -> ModuleType:
    """The library of fluid properties."""
    import CoolProp.CoolProp

    return CoolProp.CoolProp


@pytest.fixture(scope="module")
def saturated(library: ModuleType) -> Callable[[str, float, Numbers], Numbers]:
    """A property of saturated propane: name, quality, temperatures in degC."""

    def values(name: str, quality: float, temp: Numbers) -> Numbers:
        found = library.PropsSI(name, "T", temp + ZERO, "Q", quality, "Propane")
        return np.asarray(found, np.float64)

    return values


def test_vapour_pressure_of_propane(saturated: Callable[[str, float, Numbers], Numbers]) -> None:
    temp = np.random.default_rng(31).uniform(-60, 60, POINTS)
    expected = saturated("P", 0, temp)
    worst = np.max(np.abs(propane_pressure(temp) / expected - 1))
    print(f"CoolProp, vapour pressure of propane: {worst:.1e}")  # noqa: T201
    assert worst < 0.001
    gauge = np.max(np.abs(tank_pressure(temp, 90_000.0) - (expected - 90_000.0)))
    print(f"CoolProp, tank pressure: {gauge:.0f} Pa")  # noqa: T201
    assert gauge < 0.3 * 6894.757


def test_orifice_constant_is_that_of_air(library: ModuleType) -> None:
    """The trade's constant lies within 0.3 % of first principles with the library's air of 60 degF at sea level."""
    density = library.PropsSI("D", "T", 288.7056, "P", 101_325.0, "Air")
    generator = np.random.default_rng(32)
    bore, pressure = generator.uniform(0.0003, 0.005, POINTS), generator.uniform(50, 3500, POINTS)
    gravity, coefficient = generator.uniform(0.5, 2.1, POINTS), generator.uniform(0.6, 1, POINTS)
    expected = coefficient * np.pi / 4 * bore**2 * np.sqrt(2 * pressure / (gravity * density))
    worst = np.max(np.abs(orifice_flow(bore, pressure, gravity, coefficient) / expected - 1))
    print(f"CoolProp, orifice with air of 60 degF: {worst:.1e}")  # noqa: T201
    assert worst < 0.003


def test_orifice_against_the_flow_of_a_gas_that_expands() -> None:
    """The formula takes the gas as incompressible; the isentropic nozzle shows what that costs."""
    generator = np.random.default_rng(33)
    bore, pressure = generator.uniform(0.0003, 0.005, POINTS), generator.uniform(50, 10_000, POINTS)
    gravity, outside, temp, kappa = generator.uniform(0.5, 2.1, POINTS), 101_325.0, 288.706, 1.3
    before = outside + pressure
    density = before * gravity * AIR / (8.314462618 * temp)
    ratio = outside / before
    expansion = 2 * kappa / (kappa - 1) * (ratio ** (2 / kappa) - ratio ** ((kappa + 1) / kappa))
    mass = 0.9 * np.pi / 4 * bore**2 * np.sqrt(density * before * expansion)
    expected = mass / (outside * gravity * AIR / (8.314462618 * temp))
    off = np.abs(orifice_flow(bore, pressure, gravity) / expected - 1)
    house = np.max(off[pressure <= 2740])
    print(f"isentropic nozzle: {house:.1e} to 11 in. w.c., {np.max(off):.1e} to 10 kPa")  # noqa: T201
    assert house < 0.005
    assert np.max(off) < 0.02


@pytest.mark.parametrize(("fluid", "high", "target"), [("Methane", 110_000.0, 0.003), ("Methane", 300_000.0, 0.015)])
def test_meter_correction_of_real_gas(library: ModuleType, fluid: str, high: float, target: float) -> None:
    generator = np.random.default_rng(34)
    temp, pressure = generator.uniform(-50, 60, POINTS), generator.uniform(20_000, high, POINTS)
    base = library.PropsSI("Dmolar", "T", 288.7055556, "P", 101_559.775, fluid)
    expected = np.asarray(library.PropsSI("Dmolar", "T", temp + ZERO, "P", pressure, fluid), np.float64) / base
    worst = np.max(np.abs(meter_correction(temp, pressure) / expected - 1))
    print(f"CoolProp, meter correction, {fluid} to {high / 1000:.0f} kPa: {worst:.1e}")  # noqa: T201
    assert worst < target


def test_density_ratio_of_the_standard_atmosphere() -> None:
    import psychrolib

    altitude = np.random.default_rng(35).uniform(-500, 4500, POINTS)
    before = psychrolib.PSYCHROLIB_UNITS
    psychrolib.SetUnitSystem(psychrolib.SI)
    try:
        expected = np.array([psychrolib.GetStandardAtmPressure(one) for one in altitude]) / 101_325.0
    finally:
        psychrolib.PSYCHROLIB_UNITS = before
    worst = np.max(np.abs(altitude_factor(altitude, "density ratio") / expected - 1))
    print(f"psychrolib, density ratio: {worst:.1e}")  # noqa: T201
    assert worst < 1e-6


def test_constants_of_liquid_propane(saturated: Callable[[str, float, Numbers], Numbers]) -> None:
    """The constants are those of 0 degC; how far they are off elsewhere stands in the docstrings."""
    temp = np.array([0.0, -43.0, 27.0])
    vaporising = saturated("H", 1, temp) - saturated("H", 0, temp)
    liquid = saturated("C", 0, temp)
    assert abs(vaporising[0] / VAPORISING_HEAT - 1) < 0.002
    assert abs(liquid[0] / HEAT_OF_LIQUID - 1) < 0.002
    np.testing.assert_allclose(vaporising[1:], [427e3, 332e3], rtol=0.003)
    np.testing.assert_allclose(liquid[1:], [2240, 2740], rtol=0.003)
    rate = tank_cooling_rate(20_000.0, 100.0) / (20_000.0 / PROPANE_HEAT * vaporising / (100.0 * liquid)) - 1
    np.testing.assert_allclose(rate[1:], [-0.21, 0.24], atol=0.006)


def test_tank_against_its_balance_step_by_step(saturated: Callable[[str, float, Numbers], Numbers]) -> None:
    """The closed form against a Runge-Kutta solution with properties of each temperature and falling mass."""
    grid = np.linspace(-60, 60, 241)
    heats, capacities = saturated("H", 1, grid) - saturated("H", 0, grid), saturated("C", 0, grid)
    generator = np.random.default_rng(36)
    outdoor, draw = generator.uniform(-30, 20, POINTS), generator.uniform(2000, 40_000, POINTS)
    liquid, metal = generator.uniform(40, 400, POINTS), generator.uniform(50, 300, POINTS)
    conductance = generator.uniform(0, 40, POINTS)
    # At most a tenth of the liquid is drawn.
    seconds = generator.uniform(0.1, 1, POINTS) * np.minimum(0.1 * liquid * PROPANE_HEAT / draw, 6 * 3600)

    def slope(time: Numbers, temp: Numbers) -> Numbers:
        left = liquid - draw / PROPANE_HEAT * time
        capacity = left * np.interp(temp, grid, capacities) + metal * HEAT_OF_STEEL
        return (conductance * (outdoor - temp) - draw / PROPANE_HEAT * np.interp(temp, grid, heats)) / capacity

    temp, time, step = outdoor.copy(), np.zeros(POINTS), seconds / 100
    for _ in range(100):
        first = slope(time, temp)
        second = slope(time + step / 2, temp + step / 2 * first)
        third = slope(time + step / 2, temp + step / 2 * second)
        fourth = slope(time + step, temp + step * third)
        temp, time = temp + step / 6 * (first + 2 * second + 2 * third + fourth), time + step
    found = tank_temperature(outdoor, draw, liquid, seconds, conductance, metal=metal)
    off, fall = np.abs(found - temp), outdoor - temp
    worst = np.max(off / fall)
    print(f"step by step: {np.max(off):.2f} K of {np.max(fall):.0f} K, {worst:.1e} of the fall")  # noqa: T201
    assert worst < 0.25
    assert np.median(off / fall) < 0.10
