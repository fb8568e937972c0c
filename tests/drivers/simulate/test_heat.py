"""Heat exchangers: settled runs against the analysis, exact energy, and what faults do."""

from dataclasses import fields
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis import airflow, combustion
from analysis.combustion import NATURAL_GAS, PROPANE
from analysis.psychrometrics import pressure_at_altitude, specific_volume
from drivers.simulate.flue import Flue
from drivers.simulate.heat import Exchanger, HeatUnit, heat_unit_for
from drivers.simulate.maths import ARRAYS, FLOATS, Maths

SEA_LEVEL = 101325.0
BTU_PER_HOUR = 0.29307107
CFM = 4.719474e-4
STANDARD = 1.2041
"""Dry air of 0.075 lb/ft3, to which American airflow tables refer. [kg/m3]"""
INPUT = 23400.0
OUTPUTS = ("temp_leaving", "temp_stream", "temp_primary", "temp_secondary", "temp_transition", "temp_flue")
RATES = ("heat_released", "heat_to_air", "flue_loss", "jacket_loss")


def play(
    exchanger: Exchanger,
    flue: Flue,
    seconds: float,
    *,
    heat: Any = INPUT,
    excess_air: Any = 0.4,
    air_flow: Any = 0.66,
    dt: float = 0.5,
    ratio: Any = 0.0,
    pressure: Any = SEA_LEVEL,
    temp_entering: Any = 20.0,
) -> Exchanger:
    """A steady fire and blower for so long; combustion air and room at 20 degC."""
    burnt = heat / flue.heating_value
    intake = burnt * flue.air_need * (1 + excess_air) * (1 + ratio)
    for _ in range(round(seconds / dt)):
        flue.burn(burnt=burnt, air_flow=intake, ratio=ratio, temp_air=20.0, pressure=pressure)
        exchanger.step(
            dt, flue=flue, air_flow=air_flow, temp_entering=temp_entering, ratio=ratio, temp_room=temp_entering
        )
    return exchanger


def settled(unit: HeatUnit, *, m: Maths = FLOATS, fuel: Any = NATURAL_GAS, **given: Any) -> Exchanger:
    bypass, fouling = given.pop("bypass", 0.0), given.pop("fouling", 1.0)
    exchanger = Exchanger(m, unit)
    exchanger.bypass, exchanger.fouling = bypass, fouling
    return play(exchanger, Flue(m, fuel), 900.0, **given)


@pytest.fixture(scope="module")
def hot() -> Exchanger:
    return settled(HeatUnit())


# Common practice, no published source: gas 1200 degF in the mean of the primary exchanger, flue gas 105 to 140 degF.
def test_a_hot_condensing_unit_has_the_temperatures_of_its_kind(hot: Exchanger) -> None:
    assert_allclose(hot.temp_primary_gas, (1200 - 32) / 1.8, atol=30)
    assert 105 < 1.8 * hot.temp_flue + 32 < 140
    assert hot.temp_flue < hot.temp_secondary_gas < hot.temp_transition < hot.temp_primary_gas
    assert_allclose(hot.heat_to_air / hot.heat_released, 0.93, atol=1e-3)
    # 30 to 65 degF of rise.
    assert 30 < 1.8 * (hot.temp_leaving - 20.0) < 65


def test_settled_runs_agree_with_the_analysis_over_fuels_air_and_altitude() -> None:
    fuels, shares, altitudes = (NATURAL_GAS, PROPANE), (0.2, 0.4, 0.6, 1.0), (0.0, 8000 * 0.3048)
    cases = [(fuel, share, altitude) for fuel in fuels for share in shares for altitude in altitudes]
    excess_air = np.array([case[1] for case in cases])
    pressure = np.asarray(pressure_at_altitude([case[2] for case in cases]))
    thinner, ratio = pressure / SEA_LEVEL, 0.004
    heat, air_flow = INPUT * thinner, 0.66 * thinner
    flue, unit = Flue(ARRAYS, [case[0] for case in cases]), HeatUnit()
    run = Exchanger(ARRAYS, unit)
    play(run, flue, 900.0, heat=heat, excess_air=excess_air, air_flow=air_flow, ratio=ratio, pressure=pressure)
    for place, (fuel, share, _) in enumerate(cases):
        given = share, run.temp_flue[place], 20.0
        pressed = {"pressure": pressure[place]}
        found = run.heat_to_air[place] / heat[place]
        jacket = run.jacket_loss[place] / heat[place]
        expected = combustion.efficiency(*given, fuel, ratio, **pressed) - jacket
        assert_allclose(found, expected, atol=1.5e-3)
        dew = combustion.flue_dew_point(share, fuel, ratio, pressure[place])
        assert_allclose(flue.dew_point[place], dew, atol=0.05)
        assert_allclose(flue.o2[place], combustion.oxygen(share, fuel), rtol=1e-9)
        assert_allclose(flue.co2[place], combustion.carbon_dioxide(flue.o2[place], fuel), rtol=1e-9)
        dropped = combustion.condensate(*given, ratio, fuel, **pressed)
        assert dropped > 1e-9
        assert_allclose(run.condensate[place] / heat[place], dropped, rtol=0.01)
        volume = specific_volume(run.temp_leaving[place], ratio, pressure[place])
        flow = air_flow[place] * volume
        rise = airflow.rise_from_heat(run.heat_to_air[place], flow, 20.0, ratio, pressure[place])
        assert_allclose(run.temp_leaving[place] - 20.0, rise, rtol=1e-4)


@pytest.mark.parametrize("fuel", [NATURAL_GAS, PROPANE], ids=lambda fuel: fuel.name)
@pytest.mark.parametrize("wanted", [0.76, 0.78, 0.80, 0.83, 0.89, 0.90, 0.92, 0.95])
def test_a_unit_for_an_efficiency_settles_there(fuel: Any, wanted: float) -> None:
    unit = heat_unit_for(15000.0, wanted, 0.5, 0.45, fuel, ratio=0.003, pressure=90000.0)
    given: dict[str, Any] = {"heat": 15000.0, "excess_air": 0.5, "air_flow": 0.45, "ratio": 0.003, "pressure": 90000.0}
    run = settled(unit, fuel=fuel, **given)
    assert_allclose(run.heat_to_air / run.heat_released, wanted, atol=1e-4)
    assert (unit.secondary_gas > 0) == (wanted > 0.86)
    # Propane has fewer hydrogen atoms: at 0.90 its gas is still above the dew point.
    assert wanted <= 0.86 or wanted >= 0.92 or fuel is PROPANE or run.condensate > 1e-6
    assert wanted < 0.92 or run.condensate > 1e-5
    assert wanted > 0.86 or run.condensate < 1e-12


def test_units_for_many_efficiencies_are_those_for_each() -> None:
    wanted, heat = np.array([0.80, 0.93, 0.90]), np.array([20000.0, 30000.0, 12000.0])
    fuels = [NATURAL_GAS, PROPANE, NATURAL_GAS]
    together = heat_unit_for(heat, wanted, 0.45, heat * 2.9e-5, fuels, m=ARRAYS)
    for place, fuel in enumerate(fuels):
        alone = heat_unit_for(heat[place], wanted[place], 0.45, heat[place] * 2.9e-5, fuel)
        for field in fields(HeatUnit):
            values = np.broadcast_to(getattr(together, field.name), 3)
            assert_allclose(values[place], getattr(alone, field.name), rtol=1e-9, err_msg=field.name)


@pytest.mark.parametrize("wanted", [0.99, 1.1, 0.6, 0.0, float("nan")])
def test_an_impossible_efficiency_is_refused_and_named(wanted: float) -> None:
    with pytest.raises(ValueError, match=f"efficiency of {wanted:.4g} "):
        heat_unit_for(INPUT, wanted, 0.4, 0.66)
    with pytest.raises(ValueError, match=f"efficiency of {wanted:.4g} "):
        heat_unit_for(INPUT, np.array([0.9, wanted]), 0.4, 0.66, m=ARRAYS)


# An airflow table of a line of condensing furnaces, from its installation manual: rise * cfm * 1.08 / input is 0.91
# within 0.02 in all its rows. Input [Btu/h], airflow [cfm], rise [degF].
@pytest.mark.parametrize(
    ("heat", "flow", "rise"),
    [
        (40000, 980, 35),
        (40000, 780, 43),
        (60000, 1190, 43),
        (60000, 1075, 47),
        (80000, 1460, 46),
        (80000, 1180, 57),
        (100000, 1600, 53),
        (100000, 1380, 61),
        (100000, 1160, 73),
    ],
)
def test_rise_at_a_published_airflow(heat: float, flow: float, rise: float) -> None:
    given: dict[str, Any] = {"heat": heat * BTU_PER_HOUR, "air_flow": flow * CFM * STANDARD}
    run = settled(heat_unit_for(given["heat"], 0.915, 0.4, given["air_flow"]), **given)
    found = 1.8 * (run.temp_leaving - 20.0)
    assert_allclose(found * flow * 1.08 / heat, 0.91, atol=0.02)
    assert_allclose(found, rise, rtol=0.022)


def test_energy_closes_at_every_step_whatever_happens() -> None:
    generator = np.random.default_rng(17)
    flue, exchanger, brought = Flue(FLOATS, NATURAL_GAS), Exchanger(FLOATS, HeatUnit()), 0.0
    before = beginning = exchanger.stored
    for step in range(4000):
        if step % 100 == 0:
            fire, draft, blower, exchanger.bypass = generator.random(4) > (0.4, 0.2, 0.5, 0.8)
            exchanger.bypass, exchanger.fouling = 0.4 * exchanger.bypass, generator.uniform(0.5, 1.0)
            ratio, cold = generator.uniform(0.0, 0.01), generator.uniform(-20.0, 25.0)
        burnt, intake = 4.2e-4 * float(fire and draft), 0.0098 * float(draft)
        flue.burn(burnt=burnt, air_flow=intake, ratio=ratio, temp_air=cold, pressure=95000.0)
        exchanger.step(0.5, flue=flue, air_flow=0.6 * float(blower), temp_entering=18.0, ratio=ratio, temp_room=15.0)
        leaving = exchanger.heat_to_air + exchanger.flue_loss + exchanger.jacket_loss
        assert_allclose(0.5 * (exchanger.heat_released - leaving), exchanger.stored - before, atol=1e-6)
        # The flue loss is the heat of the gas at the temperature it leaves with.
        carried = flue.heat_released - flue.enthalpy_entering + flue.enthalpy(exchanger.temp_flue)
        assert_allclose(exchanger.flue_loss, carried, atol=5.0 if step % 100 < 5 else 0.05)
        rise = (exchanger.temp_leaving - 18.0) * (1006 + 1860 * ratio) * exchanger.leaving_flow
        assert_allclose(rise, exchanger.heat_to_air, rtol=1e-9, atol=1e-6)
        before, brought = exchanger.stored, brought + 0.5 * (exchanger.heat_released - leaving)
    assert_allclose(exchanger.stored - beginning, brought, atol=1e-3)


# Energy balance at 57000 Btu/h and 1200 cfm: rise of the air through the exchangers, by the share beside them [degF].
@pytest.mark.parametrize(("bypass", "rise"), [(0.0, 43.98), (0.10, 48.87), (0.25, 58.64), (0.40, 73.30)])
def test_a_missing_baffle_heats_the_stream_and_not_the_mixture(bypass: float, rise: float) -> None:
    heat, air_flow = 57000 * BTU_PER_HOUR / 0.93, 1200 * CFM * STANDARD
    run = settled(heat_unit_for(heat, 0.93, 0.4, air_flow), heat=heat, air_flow=air_flow, bypass=bypass)
    # By the heat that does reach the air: a starved exchanger is less efficient. 1.08 is 1206 J/m3/K, here 1211.
    share = run.heat_to_air / (57000 * BTU_PER_HOUR)
    assert_allclose(1.8 * (run.temp_stream - 20.0) / share, rise, rtol=6e-3)
    assert_allclose(1.8 * (run.temp_leaving - 20.0) / share, 43.98, rtol=6e-3)
    assert_allclose(run.stream_flow, (1 - bypass) * air_flow, rtol=1e-4)
    assert_allclose(run.leaving_flow, air_flow, rtol=1e-4)


@pytest.mark.parametrize(
    "fault",
    [{"bypass": 0.3}, {"air_flow": 0.4}, {"fouling": 0.6}, {"temp_entering": 28.0}],
    ids=lambda fault: next(iter(fault)),
)
def test_a_starved_or_fouled_exchanger_has_hotter_flue_gas_and_less_condensate(
    fault: dict[str, Any], hot: Exchanger
) -> None:
    run = settled(HeatUnit(), **fault)
    assert run.temp_flue > hot.temp_flue + 1.0
    assert run.condensate < 0.95 * hot.condensate
    assert run.heat_to_air < 0.995 * hot.heat_to_air


def test_less_fire_makes_cooler_gas_and_more_of_its_water_condenses(hot: Exchanger) -> None:
    low = settled(HeatUnit(), heat=0.67 * INPUT, air_flow=0.49)
    assert low.temp_flue < hot.temp_flue
    assert low.temp_primary_gas < hot.temp_primary_gas
    assert low.condensate / low.heat_released > hot.condensate / hot.heat_released
    # 5 to 10 degF less rise in low stage, common practice.
    assert 5 <= 1.8 * (hot.temp_leaving - low.temp_leaving) <= 10


def test_without_blower_the_air_at_the_exchanger_is_hot_at_once_and_the_metal_hotter() -> None:
    run = play(Exchanger(FLOATS, HeatUnit()), Flue(FLOATS, NATURAL_GAS), 15.0, air_flow=0.0)
    assert run.temp_stream > 35.0
    assert 0.005 < run.stream_flow < 0.05
    assert run.temp_primary > 60.0
    later = play(run, Flue(FLOATS, NATURAL_GAS), 60.0, air_flow=0.0)
    assert later.temp_stream > 93.0
    # The blower's first air is cooler than what stood there.
    standing = later.temp_stream
    assert play(later, Flue(FLOATS, NATURAL_GAS), 2.0).temp_leaving < standing - 30.0


def test_supply_decays_when_the_fire_is_out(hot: Exchanger) -> None:
    run = settled(HeatUnit())
    rises = []
    for _ in range(4):
        play(run, Flue(FLOATS, NATURAL_GAS), 40.0, heat=0.0)
        rises.append(run.temp_leaving - 20.0)
    assert all(later < 0.75 * earlier for earlier, later in pairwise(rises))
    assert 0 < rises[-1] < rises[0] < hot.temp_leaving - 20.0
    # Metal over heat transfer: 6 kJ/K over about 115 W/K, some 50 s.
    assert 30 < 40 / np.log(rises[0] / rises[1]) < 80


def test_water_out_of_the_gas_is_what_the_vapour_that_leaves_lacks(hot: Exchanger) -> None:
    flue = Flue(FLOATS, NATURAL_GAS)
    play(Exchanger(FLOATS, HeatUnit()), flue, 5.0)
    kept = flue.water * 0.018015 - hot.condensate
    saturated = flue.dry * 0.018015 * _vapour(hot.temp_flue) / (SEA_LEVEL - _vapour(hot.temp_flue))
    assert_allclose(kept, saturated, rtol=2e-3)


def _vapour(temp: float) -> float:
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI("P", "T", temp + 273.15, "Q", 1, "Water"))


@pytest.mark.parametrize("air_flow", [0.0, 0.66])
def test_half_the_step_changes_next_to_nothing(air_flow: float) -> None:
    runs = [Exchanger(FLOATS, HeatUnit()) for _ in range(2)]
    sums = np.zeros((2, 3))
    for place, (run, dt) in enumerate(zip(runs, (0.5, 0.25), strict=True)):
        flue = Flue(FLOATS, NATURAL_GAS)
        for _ in range(round(45 / dt)):
            play(run, flue, dt, air_flow=air_flow, dt=dt)
            sums[place] += dt * np.array([run.heat_to_air, run.flue_loss, run.condensate])
    for name in (*OUTPUTS, "stored"):
        one, other = (getattr(run, name) for run in runs)
        assert_allclose(one, other, rtol=5e-3, err_msg=name)
    assert_allclose(sums[0], sums[1], rtol=5e-3)
    assert_allclose(runs[0].temp_primary, runs[1].temp_primary, rtol=2e-4)


def test_floats_and_arrays_agree() -> None:
    generator = np.random.default_rng(23)
    many = 12
    scale = generator.uniform(0.8, 1.2, many)
    unit = heat_unit_for(INPUT * scale, 0.92, 0.4, 0.66 * scale, m=ARRAYS)
    fuels = [(NATURAL_GAS, PROPANE)[place % 2] for place in range(many)]
    together, flue = Exchanger(ARRAYS, unit), Flue(ARRAYS, fuels)
    units = [
        HeatUnit(
            **{field.name: float(np.broadcast_to(getattr(unit, field.name), many)[place]) for field in fields(unit)}
        )
        for place in range(many)
    ]
    alone = [(Exchanger(FLOATS, one), Flue(FLOATS, fuel)) for one, fuel in zip(units, fuels, strict=True)]
    together.bypass, together.fouling = generator.uniform(0.0, 0.5, many), generator.uniform(0.5, 1.0, many)
    for place, (exchanger, _) in enumerate(alone):
        exchanger.bypass, exchanger.fouling = float(together.bypass[place]), float(together.fouling[place])
    for _ in range(6):
        burning, blowing = generator.random((2, many)) > 0.3
        fire = {
            "burnt": 4e-4 * burning,
            "air_flow": generator.uniform(0.0, 0.012, many),
            "ratio": generator.uniform(0.0, 0.01, many),
            "temp_air": generator.uniform(-20.0, 25.0, many),
            "pressure": generator.uniform(75000.0, 102000.0, many),
        }
        air = {
            "air_flow": 0.6 * blowing,
            "temp_entering": generator.uniform(12.0, 24.0, many),
            "ratio": fire["ratio"],
            "temp_room": generator.uniform(5.0, 24.0, many),
        }
        for _ in range(20):
            flue.burn(**fire)
            together.step(0.5, flue=flue, **air)
            for place, (exchanger, single) in enumerate(alone):
                single.burn(**{name: float(values[place]) for name, values in fire.items()})
                exchanger.step(0.5, flue=single, **{name: float(values[place]) for name, values in air.items()})
        for name in (*OUTPUTS, *RATES, "stored", "condensate", "temp_primary_gas", "temp_secondary_gas"):
            scalars = [getattr(exchanger, name) for exchanger, _ in alone]
            assert_allclose(getattr(together, name), scalars, rtol=1e-9, atol=1e-9, err_msg=name)
