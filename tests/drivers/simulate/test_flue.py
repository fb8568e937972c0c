"""Flue gas: what is in it and its heat, against the analysis, a library of thermodynamics and handbook figures."""

import random
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from analysis import combustion
from analysis.combustion import METHANE, NATURAL_GAS, PROPANE
from analysis.fuels import AIR, AIR_MASS, Fuel, stoichiometry
from drivers.simulate.flue import Flue
from drivers.simulate.maths import ARRAYS, FLOATS, Maths

SEA_LEVEL = 101325.0
BURNT = 4e-4
"""Fuel of most tests, about 22 kW. [kg/s]"""
NAMES = {"carbon dioxide": "CO2", "nitrogen": "N2", "oxygen": "O2", "argon": "AR"}


def flue_gas(excess_air: Any, fuel: Any = NATURAL_GAS, *, m: Maths = FLOATS, **given: Any) -> Flue:
    """A steady flame with that excess of dry air at 20 degC, unless told otherwise."""
    flue = Flue(m, fuel)
    ratio = given.get("ratio", 0.0)
    fresh = BURNT * flue.air_need * (1 + excess_air) * (1 + ratio)
    air_flow = fresh / (1 - given.get("recirculation", 0.0))
    usual = {"ratio": ratio, "temp_air": 20.0, "pressure": SEA_LEVEL}
    for _ in range(6):
        flue.burn(burnt=BURNT, air_flow=air_flow, **{**usual, **given})
    return flue


@pytest.fixture(scope="module")
def gases() -> Any:
    """The gases of GRI-Mech 3.0, without its reactions."""
    import cantera

    wanted = {"H2O", *NAMES.values()}
    species = [one for one in cantera.Species.list_from_file("gri30.yaml") if one.name in wanted]
    return cantera.Solution(thermo="ideal-gas", species=species)


def library_enthalpy(gases: Any, amounts: dict[str, float], temp: float) -> float:
    """Of so many moles, above that at 25 degC. [J]"""
    total = sum(amounts.values())
    gases.TPX = 298.15, SEA_LEVEL, amounts
    reference = gases.enthalpy_mole
    gases.TP = temp + 273.15, SEA_LEVEL
    return float(total * (gases.enthalpy_mole - reference) / 1000)


def amounts_of(fuel: Fuel, excess_air: float) -> dict[str, float]:
    """Products of one mole of fuel. [mol]"""
    burnt = stoichiometry(fuel)
    amounts = {NAMES[gas]: burnt.air * (1 + excess_air) * share for gas, share in AIR.items()}
    amounts["CO2"] += burnt.carbon_dioxide
    amounts["N2"] += burnt.nitrogen
    amounts["O2"] -= burnt.oxygen
    return {**amounts, "H2O": burnt.water}


# cantera with the thermodynamic data of GRI-Mech 3.0; the closed form is within 0.15 %.
@pytest.mark.parametrize("fuel", [NATURAL_GAS, PROPANE], ids=lambda fuel: fuel.name)
@pytest.mark.parametrize("temp", [60.0, 100.0, 200.0, 300.0, 600.0, 1000.0, 1400.0, 1800.0])
def test_enthalpy_of_the_gas_is_that_of_a_library(gases: Any, fuel: Fuel, temp: float) -> None:
    flue = flue_gas(0.4, fuel)
    expected = library_enthalpy(gases, amounts_of(fuel, 0.4), temp) * BURNT / stoichiometry(fuel).mass
    assert_allclose(flue.enthalpy(temp), expected, rtol=1.5e-3)


@pytest.mark.parametrize("temp", [-20.0, 0.0, 20.0, 40.0, 60.0])
def test_enthalpy_of_plain_air_is_that_of_a_library_near_room_temperature(gases: Any, temp: float) -> None:
    flue = Flue(FLOATS, NATURAL_GAS)
    flue.burn(burnt=0.0, air_flow=AIR_MASS, ratio=0.0, temp_air=20.0, pressure=SEA_LEVEL)
    expected = library_enthalpy(gases, {NAMES[gas]: share for gas, share in AIR.items()}, temp)
    assert_allclose(flue.enthalpy(temp), expected, rtol=2e-3)


@pytest.mark.parametrize(("fuel", "excess_air"), [(METHANE, 0.4), (NATURAL_GAS, 0.6), (PROPANE, 0.4), (PROPANE, 1.0)])
def test_gas_behind_the_flame_is_as_hot_as_complete_combustion_makes_it(
    gases: Any, fuel: Fuel, excess_air: float
) -> None:
    burnt, amounts = stoichiometry(fuel), amounts_of(fuel, excess_air)
    air = {NAMES[gas]: burnt.air * (1 + excess_air) * share for gas, share in AIR.items()}
    entering = burnt.net + library_enthalpy(gases, air, 20.0)
    expected = brentq(lambda temp: library_enthalpy(gases, amounts, temp) - entering, 500.0, 2500.0)
    assert_allclose(flue_gas(excess_air, fuel).temp_adiabatic, expected, atol=2.0)


# Chemical equilibrium, cantera 3.2 with GRI-Mech 3.0: methane, 40 % excess air, 1858 K from 25 degC; without
# dissociation it is a little hotter.
def test_gas_behind_the_flame_is_a_little_above_chemical_equilibrium() -> None:
    above = flue_gas(0.4, METHANE, temp_air=25.0).temp_adiabatic + 273.15 - 1858.0
    assert 0.0 < above < 15.0


# cantera 3.2 (composition) and CoolProp 7 (dew point), dry combustion air at 101325 Pa: excess air, oxygen and carbon
# dioxide of the dry gas in percent, dew point in degC.
@pytest.mark.parametrize(
    ("fuel", "excess_air", "oxygen", "carbon_dioxide", "dew_point"),
    [
        (NATURAL_GAS, 0.0, 0.0, 11.92, 58.89),
        (NATURAL_GAS, 0.2, 3.81, 9.75, 55.37),
        (NATURAL_GAS, 0.4, 6.45, 8.25, 52.42),
        (NATURAL_GAS, 1.0, 11.03, 5.64, 45.71),
        (NATURAL_GAS, 2.0, 14.45, 3.70, 38.32),
        (PROPANE, 0.2, 3.75, 11.26, 51.39),
        (PROPANE, 0.4, 6.37, 9.55, 48.47),
        (PROPANE, 1.0, 10.93, 6.56, 41.86),
    ],
)
def test_composition_and_dew_point_by_excess_air(
    fuel: Fuel, excess_air: float, oxygen: float, carbon_dioxide: float, dew_point: float
) -> None:
    flue = flue_gas(excess_air, fuel)
    assert_allclose(flue.excess_air, excess_air, atol=1e-12)
    assert_allclose([100 * flue.o2, 100 * flue.co2], [oxygen, carbon_dioxide], atol=0.02)
    assert_allclose(flue.dew_point, dew_point, atol=0.1)


# cantera 3.2 and CoolProp 7: efficiency of the higher heating value in percent without jacket loss, air 20 degC, dry.
@pytest.mark.parametrize(
    ("fuel", "excess_air", "percents"),
    [
        (NATURAL_GAS, 0.4, (94.09, 92.26, 89.95, 88.24, 83.77, 81.25)),
        (NATURAL_GAS, 0.8, (92.38, 90.01, 88.35, 87.74, 82.13, 78.98)),
        (PROPANE, 0.4, (94.06, 92.22, 90.58, 90.10, 85.68, 83.18)),
        (PROPANE, 0.8, (92.34, 90.51, 90.21, 89.60, 84.04, 80.90)),
    ],
)
def test_heat_left_in_the_flue_gas_makes_the_published_efficiency(
    fuel: Fuel, excess_air: float, percents: tuple[float, ...]
) -> None:
    flue = flue_gas(excess_air, fuel)
    for temp, percent in zip((40.0, 45.0, 50.0, 60.0, 150.0, 200.0), percents, strict=True):
        efficiency = 100 * (flue.enthalpy_entering - flue.enthalpy(temp)) / flue.heat_released
        assert_allclose(efficiency, percent, atol=0.15)


def test_agrees_with_the_analysis_over_fuels_air_humidity_and_altitude() -> None:
    fuels = [fuel for fuel in (NATURAL_GAS, PROPANE) for _ in range(60)]
    generator = np.random.default_rng(5)
    excess_air, ratio = generator.uniform(0.1, 1.5, 120), generator.uniform(0.0, 0.012, 120)
    pressure, temp = generator.uniform(74000.0, 103000.0, 120), generator.uniform(25.0, 250.0, 120)
    flue = flue_gas(excess_air, fuels, m=ARRAYS, ratio=ratio, pressure=pressure)
    for place, fuel in enumerate(fuels):
        given = excess_air[place], temp[place], 20.0, fuel, ratio[place]
        expected = combustion.efficiency(*given, pressure=pressure[place])
        kept = (flue.enthalpy_entering - flue.enthalpy(temp))[place] / flue.heat_released[place]
        assert_allclose(kept, expected, atol=1.2e-3)
        dew = combustion.flue_dew_point(excess_air[place], fuel, ratio[place], pressure[place])
        assert_allclose(flue.dew_point[place], dew, atol=0.05)
        assert_allclose(flue.o2[place], combustion.oxygen(excess_air[place], fuel), rtol=1e-9)
        assert_allclose(flue.co2[place], combustion.carbon_dioxide(flue.o2[place], fuel), rtol=1e-9)
        dropped = combustion.condensate(*given[:3], given[4], fuel, pressure=pressure[place])
        drained = flue.liquid(temp)[place] / flue.heat_released[place]
        assert_allclose(drained, dropped, rtol=5e-3, atol=3e-3 * float(combustion.water_made(fuel)))
        mass = combustion.flue_mass(excess_air[place], fuel, ratio[place])
        assert_allclose(flue.mass_flow[place] / flue.heat_released[place], mass, rtol=1e-9)


@pytest.mark.parametrize("temp", [5.0, 25.0, 40.0, 52.0, 52.4, 53.0, 60.0, 200.0, 900.0, 1600.0])
@pytest.mark.parametrize("start", [-10.0, 30.0, 55.0, 300.0, 2000.0])
def test_temperature_is_found_back_from_enthalpy_from_anywhere(temp: float, start: float) -> None:
    flue = flue_gas(0.4)
    found = start
    for _ in range(2):
        found = flue.temperature(flue.enthalpy(temp), found)
    assert_allclose(found, temp, atol=1e-4)


def test_temperature_follows_a_changing_gas_at_once() -> None:
    flue = flue_gas(0.4)
    temp = 40.0
    for wanted in np.arange(40.0, 70.0, 0.5):
        temp = flue.temperature(flue.enthalpy(float(wanted)), temp)
        assert_allclose(temp, wanted, atol=1e-3)


def test_mass_closes() -> None:
    generator = random.Random(8)
    for _ in range(50):
        flue = Flue(FLOATS, generator.choice([NATURAL_GAS, METHANE, PROPANE]))
        burnt, air_flow = generator.uniform(0.0, 8e-4), generator.uniform(0.003, 0.02)
        ratio, recirculation = generator.uniform(0.0, 0.01), generator.uniform(0.0, 0.3)
        flue.burn(
            burnt=burnt,
            air_flow=air_flow,
            ratio=ratio,
            temp_air=generator.uniform(-20, 25),
            pressure=SEA_LEVEL,
            recirculation=recirculation,
        )
        assert_allclose(flue.mass_flow + flue.unburnt, air_flow + burnt, rtol=1e-12)
        assert_allclose(flue.molar_mass * (flue.dry + flue.water), flue.mass_flow, rtol=1e-12)


def test_only_as_much_burns_as_there_is_air_for() -> None:
    flue = Flue(FLOATS, NATURAL_GAS)
    flue.burn(burnt=BURNT, air_flow=0.7 * BURNT * flue.air_need, ratio=0.0, temp_air=20.0, pressure=SEA_LEVEL)
    assert_allclose(flue.heat_released, 0.7 * BURNT * flue.heating_value)
    assert_allclose(flue.unburnt, 0.3 * BURNT)
    assert flue.o2 == pytest.approx(0.0, abs=1e-15)
    assert_allclose(flue.excess_air, -0.3)
    assert combustion.co_air_free(flue.co, flue.o2) > 20 * combustion.CO_LIMIT


# Common practice, no published source: well under 100 ppm air-free from 30 to 100 % excess air, steep below 20 %.
def test_carbon_monoxide_is_low_in_the_window_and_steep_beside_it() -> None:
    def air_free(excess_air: float, **given: Any) -> float:
        flue = flue_gas(excess_air, **given)
        return float(combustion.co_air_free(flue.co, flue.o2))

    assert all(air_free(share) < 50e-6 for share in (0.3, 0.5, 0.8, 1.0))
    little = [air_free(share) for share in (0.3, 0.2, 0.15, 0.1, 0.05, 0.0, -0.1)]
    assert all(later > 1.5 * earlier for earlier, later in pairwise(little))
    assert little[1] < 100e-6 < little[3]
    assert little[4] > combustion.CO_LIMIT
    assert air_free(1.6) > 5 * air_free(1.0)
    assert air_free(0.4, lift=0.7) > combustion.CO_LIMIT
    again = [air_free(0.4, recirculation=share) for share in (0.0, 0.05, 0.1, 0.2)]
    assert all(later > 2 * earlier for earlier, later in pairwise(again))


def test_flue_gas_in_the_intake_takes_the_place_of_air() -> None:
    sound = flue_gas(0.4)
    flue = Flue(FLOATS, NATURAL_GAS)
    air_flow = BURNT * flue.air_need * 1.4
    given = {"burnt": BURNT, "air_flow": air_flow, "ratio": 0.0, "temp_air": 5.0, "pressure": SEA_LEVEL}
    for _ in range(5):
        flue.burn(recirculation=0.15, **given)
    # Fresh air alone brings oxygen: balance of the elements.
    assert_allclose(flue.excess_air, 1.4 * 0.85 - 1)
    assert_allclose(flue.o2, combustion.oxygen(1.4 * 0.85 - 1, NATURAL_GAS))
    assert flue.temp_adiabatic < flue_gas(1.4 * 0.85 - 1, temp_air=5.0).temp_adiabatic - 50
    assert flue.co > 10 * sound.co


def test_flue_gas_in_the_intake_brings_no_heat_of_its_own() -> None:
    sound, again = flue_gas(0.4, temp_air=25.0), flue_gas(0.4, temp_air=25.0, recirculation=0.2)
    # At 25 degC all gases have no enthalpy; and what went round gives nothing when it leaves as it came.
    assert_allclose(again.enthalpy_entering, sound.enthalpy_entering)
    assert again.mass_flow > 1.2 * sound.mass_flow


def test_prepurge_air_of_the_metals_temperature_carries_nothing_away() -> None:
    flue = Flue(FLOATS, NATURAL_GAS)
    for _ in range(3):
        flue.burn(burnt=0.0, air_flow=0.012, ratio=0.004, temp_air=12.0, pressure=SEA_LEVEL)
    assert_allclose(flue.enthalpy(12.0), flue.enthalpy_entering, rtol=1e-12)
    assert_allclose(flue.temp_adiabatic, 12.0, atol=1e-6)
    assert_allclose([flue.o2, flue.co2, flue.co, flue.heat_released], [AIR["oxygen"], 0.0, 0.0, 0.0])
    assert_allclose(flue.molar_mass, AIR_MASS, rtol=3e-3)
    assert flue.excess_air == 20.0


@pytest.mark.parametrize("air_flow", [0.0, -0.002])
def test_a_flue_at_rest_has_no_holes_in_its_numbers(air_flow: float) -> None:
    flue = flue_gas(0.4)
    flue.burn(burnt=0.0, air_flow=air_flow, ratio=0.0, temp_air=20.0, pressure=SEA_LEVEL)
    found = [flue.enthalpy(80.0), flue.temperature(flue.enthalpy(80.0), 20.0), flue.o2, flue.dew_point, flue.co]
    assert np.all(np.isfinite(found))
    assert_allclose(found[1], 80.0, atol=1e-6)
    assert abs(found[0]) < 0.02


def test_false_air_dilutes_oxygen_carbon_dioxide_dew_point_and_temperature() -> None:
    flue = flue_gas(0.4)
    temp = 42.0
    condensate = flue.liquid(temp)
    given = {"temp_leak": 20.0, "ratio": 0.005, "temp_flue": temp, "condensate": condensate}
    flue.dilute(leak=0.0, **given)
    assert_allclose([flue.vent_o2, flue.vent_co2, flue.vent_co, flue.vent_temp], [flue.o2, flue.co2, flue.co, temp])
    assert_allclose(flue.vent_dew_point, temp, atol=1e-6)
    leak = 0.5 * flue.dry * AIR_MASS * 1.005
    flue.dilute(leak=leak, **given)
    assert_allclose(combustion.dilution(flue.vent_o2, flue.o2), 1 / 3, rtol=1e-9)
    assert_allclose(flue.vent_co2, combustion.carbon_dioxide(flue.vent_o2, NATURAL_GAS), rtol=1e-9)
    # What an analyser computes from carbon monoxide is free of the dilution.
    before = combustion.co_air_free(flue.co, flue.o2)
    assert_allclose(combustion.co_air_free(flue.vent_co, flue.vent_o2), before, rtol=4e-3)
    # Two thirds by mole, of a little more heat capacity than air.
    assert 20.0 + 22.0 * 0.66 < flue.vent_temp < 20.0 + 22.0 * 0.72
    assert 20.0 < flue.vent_dew_point < temp - 5


def test_floats_and_arrays_agree() -> None:
    generator = np.random.default_rng(3)
    many = 40
    fuels = [(NATURAL_GAS, PROPANE, METHANE)[place % 3] for place in range(many)]
    together = Flue(ARRAYS, fuels)
    each = [Flue(FLOATS, fuel) for fuel in fuels]
    found = np.full(many, 30.0)
    alone = [30.0] * many
    for _ in range(5):
        given = {
            "burnt": generator.uniform(0.0, 6e-4, many) * (generator.random(many) > 0.2),
            "air_flow": generator.uniform(-0.001, 0.02, many),
            "ratio": generator.uniform(0.0, 0.01, many),
            "temp_air": generator.uniform(-25.0, 35.0, many),
            "pressure": generator.uniform(74000.0, 103000.0, many),
            "recirculation": generator.uniform(0.0, 0.2, many),
            "lift": generator.uniform(0.0, 1.0, many),
        }
        temp, leak = generator.uniform(10.0, 400.0, many), generator.uniform(0.0, 0.005, many)
        together.burn(**given)
        found = together.temperature(together.enthalpy(temp), found)
        false_air = {"temp_leak": 18.0, "ratio": 0.004}
        together.dilute(leak=leak, temp_flue=temp, condensate=together.liquid(temp), **false_air)
        for place, flue in enumerate(each):
            flue.burn(**{name: float(values[place]) for name, values in given.items()})
            here = float(temp[place])
            alone[place] = flue.temperature(flue.enthalpy(here), alone[place])
            flue.dilute(leak=float(leak[place]), temp_flue=here, condensate=flue.liquid(here), **false_air)
        assert_allclose(found, alone, rtol=1e-9)
        for name in Flue.__slots__:
            if not name.startswith("_"):
                scalars = [getattr(flue, name) for flue in each]
                assert_allclose(getattr(together, name), scalars, rtol=1e-9, atol=1e-15, err_msg=name)
