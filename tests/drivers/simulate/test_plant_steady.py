"""What a plant settles at, against `analysis`, published tables and worked examples; and that its step does not matter.

`analysis` is checked against handbooks and general libraries in its own tests.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from analysis.airflow import rise_from_heat
from analysis.combustion import carbon_dioxide, oxygen
from analysis.combustion_fuel import air_need, heating_value_volume, specific_gravity
from analysis.combustion_losses import condensate, efficiency, flue_dew_point
from analysis.gas import meter_input, orifice_flow
from analysis.units import INCH_OF_WATER
from drivers.simulate.heatpump import HeatPumpUnit
from drivers.simulate.meters import Sensor
from drivers.simulate.plant import Plant
from drivers.simulate.thermostat import ThermostatUnit
from drivers.simulate.unit import Unit, random_unit
from tests.drivers.simulate.meter_bench import Truth, one, seen
from tests.drivers.simulate.plant_bench import BTU, CALLS, CFM, Kept, Run, in_a_calm, phases, typical

FOOT = 0.3048
SITES: dict[str, dict[str, Any]] = {
    "natural gas, sea level": {},
    "natural gas, 7000 ft": {"altitude": 7000 * FOOT},
    "propane, sea level": {"fuel": "propane", "manifold": 10 * INCH_OF_WATER},
    "propane, 7000 ft": {"fuel": "propane", "manifold": 10 * INCH_OF_WATER, "altitude": 7000 * FOOT},
}
LOOK = CALLS[-1][1] - 5.0
"""After 12 min in high stage. [s]"""
SHORT = ((10.0, 190.0, 1), (190.0, 430.0, 2))
"""A shorter call. [s]"""
POINTS = (
    "draft_burner_box draft_transition draft_collector draft_vent draft_switch gas_inlet gas_manifold static_return"
    " static_supply flame_current volts_control amps_inducer amps_blower speed_inducer temp_flue temp_supply"
    " temp_supply_2 temp_return temp_room flue_o2 flue_co2 flue_co humidity_room"
).split()
UNITS: dict[str, Callable[[], Unit]] = {
    "typical": typical,
    "drawn, 1": lambda: in_a_calm(random_unit(1)),
    "drawn, 7": lambda: in_a_calm(random_unit(7)),
}


def settled(kept: Kept, site: str) -> Run:
    """In high stage, still running."""

    def run() -> Run:
        plant = Plant(typical(**SITES[site]), seed=1, calls=CALLS)
        return Run(plant, plant.advance(LOOK))

    found: Run = kept(("settled", site), run)
    assert found.plant.control.phase == "run_high"
    return found


@pytest.fixture(params=SITES)
def hot(request: pytest.FixtureRequest, kept: Kept) -> Plant:
    return settled(kept, request.param).plant


def excess_air(plant: Plant) -> float:
    """From the flows of air and gas. [1]"""
    draft, gas = plant.parts.draft, plant.parts.gas
    dry = draft.intake_flow / (1 + plant.weather.ratio)
    return float(dry / gas.flow / air_need(plant.unit.physical.design.fuel, "mass") - 1)


def test_input_is_that_of_the_orifices_and_of_the_plate(hot: Plant) -> None:
    """The trade's orifice formula, for sea level; the mass goes with the root of the density."""
    gas, fuel = hot.parts.gas, hot.unit.physical.design.fuel
    bore = math.sqrt(4 / math.pi * gas.orifice_area)
    flow = orifice_flow(bore, gas.manifold - hot.parts.draft.burner_box, specific_gravity(fuel))
    heat = float(flow * heating_value_volume(fuel)) * math.sqrt(hot.parts.physical.pressure / 101325)
    assert gas.heat == pytest.approx(heat, rel=0.01)
    assert gas.heat == pytest.approx(hot.unit.physical.input[0], rel=0.01)


def test_input_by_clocking_a_meter(hot: Plant) -> None:
    """Seconds for 2 cubic feet of the gas that flows, given to the trade's rule."""
    fuel, volume = hot.unit.physical.design.fuel, 2 * FOOT**3
    value = float(heating_value_volume(fuel))
    seconds = volume * value / hot.parts.gas.heating_value / hot.parts.gas.flow
    assert float(meter_input(volume, seconds, value)) == pytest.approx(hot.unit.physical.input[0], rel=0.01)


def test_derating_at_altitude(hot: Plant) -> None:
    """2 % for each 1,000 ft, condensing models: two published installation manuals, brand withheld."""
    design = hot.unit.physical.design
    expected = 1 - 0.02 * design.altitude / (1000 * FOOT)
    assert hot.parts.gas.heat == pytest.approx(design.input * expected, rel=0.01)


def test_oxygen_and_carbon_dioxide(hot: Plant) -> None:
    fuel = hot.unit.physical.design.fuel
    expected = float(oxygen(excess_air(hot), fuel))
    assert hot.parts.flue.vent_o2 == pytest.approx(expected, rel=0.01)
    assert hot.parts.flue.vent_co2 == pytest.approx(float(carbon_dioxide(expected, fuel)), rel=0.01)
    assert 0.05 < expected < 0.09, "usual window of induced-draft condensing units, from memory"


def test_dew_point_efficiency_and_condensate(hot: Plant) -> None:
    """Efficiency by the flue-loss method and the plant's own account of what the flue takes."""
    heat, fuel, pressure = hot.parts.heat, hot.unit.physical.design.fuel, hot.parts.physical.pressure
    air, ratio, excess = hot.furnace.temp_intake, hot.weather.ratio, excess_air(hot)
    expected = float(flue_dew_point(excess, fuel, ratio, pressure))
    assert hot.parts.flue.dew_point == pytest.approx(expected, abs=0.1)
    expected = float(efficiency(excess, heat.temp_flue, air, fuel, ratio, pressure=pressure))
    assert 1 - heat.flue_loss / heat.heat_released == pytest.approx(expected, rel=0.01)
    expected = float(condensate(excess, heat.temp_flue, air, ratio, fuel, pressure=pressure))
    assert heat.condensate == pytest.approx(expected * heat.heat_released, rel=0.01)


def test_rise_goes_with_heat_and_airflow(hot: Plant) -> None:
    """The thermometers' rise from the heat that the air got, and what was given from what was burnt."""
    parts, pressure, ratio = hot.parts, hot.parts.physical.pressure, hot.furnace.ratio_entering
    volume = 287.042 * (parts.ducts.temp_supply + 273.15) * (1 + 1.607858 * ratio) / pressure
    heat = parts.heat.heat_to_air
    expected = float(rise_from_heat(heat, parts.air.mass_flow * volume, parts.ducts.temp_return, ratio, pressure))
    assert parts.ducts.temp_supply - parts.ducts.temp_return == pytest.approx(expected, rel=0.01)
    design = hot.unit.physical.design
    assert expected == pytest.approx(design.rise, rel=0.02), "in cold weather a little beside the rating"
    assert heat / parts.heat.heat_released == pytest.approx(design.efficiency, rel=0.02)


# Input [Btu/h], airflow [cfm] and rise [F] of one line of condensing units: published airflow table, brand withheld.
ROWS = (
    (40_000, 980, 35), (40_000, 780, 43), (60_000, 1190, 43), (60_000, 1075, 47), (80_000, 1460, 46),
    (80_000, 1180, 57), (100_000, 1600, 53), (100_000, 1380, 61), (100_000, 1160, 73),
)  # fmt: skip


@pytest.mark.parametrize(("heat", "flow", "rise"), ROWS)
def test_published_airflow_and_rise(heat: int, flow: int, rise: int) -> None:
    """A unit designed to input and rise of a row moves the row's air: rise * cfm * 1.08 / input is 0.91 +- 0.02."""
    unit = typical(20.0, input=heat * BTU, rise=rise / 1.8, efficiency=0.915, limit_opening=110.0)
    plant = Plant(unit, seed=1, calls=((5.0, 900.0, 2),))
    plant.advance(360.0)
    found = plant.parts.air.flow / CFM
    read = 1.8 * (plant.parts.ducts.temp_supply - plant.parts.ducts.temp_return)
    assert found == pytest.approx(flow, rel=0.035)
    assert read * found * 1.08 / heat == pytest.approx(0.91, abs=0.02)


# Outdoors [F], capacity [Btu/h] and COP by the rating procedure, 36,000, 27,500 and 22,000 Btu/h at 47, 35 and 17 F:
# 10 CFR 430, subpart B, appendix M1, section 4.2.1 (formula from memory, figures arithmetic).
CAPACITY = (
    (5, 16_400, 1.828), (17, 22_000, 2.345), (25, 24_444, 2.524), (30, 25_972, 2.630), (35, 27_500, 2.732),
    (40, 29_028, 2.830), (44.9, 30_525, 2.924), (45, 35_067, 3.392), (47, 36_000, 3.459), (55, 39_733, 3.720),
)  # fmt: skip


@pytest.mark.parametrize(("outdoor", "capacity", "cop"), CAPACITY)
def test_heat_pump_capacity(outdoor: float, capacity: float, cop: float) -> None:
    """The rated lines; a clean coil out of the frost gives them, and the air gets Q / (1.08 cfm) warmer."""
    thermostat = ThermostatUnit(dual_fuel=True)
    unit = replace(typical((outdoor - 32) / 1.8), heat_pump=HeatPumpUnit(), thermostat=thermostat)
    plant = Plant(unit, seed=1, calls=((5.0, 900.0, 0),))
    plant.advance(1.0)
    pump, ducts = plant.heat_pump, plant.parts.ducts
    assert pump is not None
    assert pump.rated_heat == pytest.approx(capacity * BTU, rel=1e-4)
    assert pump.rated_heat / pump.rated_power == pytest.approx(cop, rel=1e-3)
    if 17 < outdoor < 45:
        return
    plant.advance(360.0)
    assert pump.heat == pytest.approx(capacity * BTU, rel=0.005)
    expected = pump.heat / BTU / 1.08 / (plant.parts.air.flow / CFM)
    for supply in (ducts.temp_supply, ducts.temp_supply_2):
        assert 1.8 * (supply - ducts.temp_return) == pytest.approx(expected, rel=0.025)
    assert plant.parts.fire.flame == 0.0


def test_a_slow_sensor_on_the_plant_shows_a_first_order_lag(kept: Kept) -> None:
    """Share of a step after one, two and three time constants, and its 90 % at 2.3026 of them: arithmetic."""
    run, lag = settled(kept, "natural gas, sea level"), 12.0
    meter = one(Sensor("inH2O", -20.0, 20.0, 1e-6, response_time=lag), "gas_manifold")
    time, value = seen(meter, Truth(run.time, run.block.values))
    began = run.time[int(np.argmax(run["gas_manifold"] > 50.0))] + 0.2  # the valve's own lag of 0.3 s
    whole = run.mean("gas_manifold", began + 20.0, began + 60.0) / INCH_OF_WATER
    start = float(value[np.searchsorted(time, began)])
    for lags, share in ((1.0, 0.63212), (2.0, 0.86466), (3.0, 0.95021), (2.3026, 0.9)):
        found = float(np.interp(began + lags * lag, time, value))
        assert (found - start) / (whole - start) == pytest.approx(share, abs=0.012)


@dataclass(frozen=True)
class Trial:
    """One run with one step."""

    run: Run
    """Until near the end of the call."""
    efficiency: float
    phases: dict[str, float]


def both(kept: Kept, name: str) -> tuple[Trial, Trial]:
    """A unit with the usual step and with half of it."""

    def trial(step: float) -> Trial:
        plant = Plant(UNITS[name](), seed=1, calls=SHORT, step=step)
        run, heat = Run(plant, plant.advance(SHORT[1][1] - 5.0)), plant.parts.heat
        lost = heat.flue_loss / heat.heat_released
        plant.advance(240.0)
        plant.finish()
        return Trial(run, 1 - lost, phases(plant.attempts[0]))

    found: tuple[Trial, Trial] = kept(("both steps", name), lambda: (trial(0.1), trial(0.05)))
    return found


@pytest.mark.parametrize("name", UNITS)
def test_half_the_step_changes_nothing_that_is_measured(kept: Kept, name: str) -> None:
    """Less than 0.5 % in a calm, where nothing is random."""
    usual, half = both(kept, name)
    for before in (SHORT[0][1] - 5.0, SHORT[1][1] - 5.0):
        for point in POINTS:
            expected = usual.run.settled(point, before)
            assert half.run.settled(point, before) == pytest.approx(expected, rel=0.005), point
        rises = [t.run.settled("temp_supply", before) - t.run.settled("temp_return", before) for t in (usual, half)]
        assert rises[1] == pytest.approx(rises[0], rel=0.005)
    assert half.efficiency == pytest.approx(usual.efficiency, rel=0.005)
    assert np.max(np.abs(half.run["temp_room"][1::2] - usual.run["temp_room"])) < 0.01


@pytest.mark.parametrize("name", UNITS)
def test_half_the_step_changes_no_phase(kept: Kept, name: str) -> None:
    """By more than 0.5 % and one step on either side."""
    usual, half = (trial.phases for trial in both(kept, name))
    assert list(usual) == list(half)
    for phase, seconds in usual.items():
        assert half[phase] == pytest.approx(seconds, rel=0.005, abs=0.101), phase


def test_a_run_settles(kept: Kept) -> None:
    """Less than 1 F in 3 min after 12 min at full fire: service practice, from memory."""
    run = settled(kept, "natural gas, sea level")
    for point in ("temp_supply", "temp_return", "temp_flue"):
        assert abs(run.settled(point, LOOK) - run.settled(point, LOOK - 180.0)) < 1 / 1.8
