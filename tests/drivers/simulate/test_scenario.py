"""Visits: calls of a technician or the thermostat, a unit that has what its causes are about, and weather for it."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.diagnosis.causes import CAUSES
from drivers.simulate.causes import Cause
from drivers.simulate.scenario import BY_THERMOSTAT, CALL_BEGINS, CALL_ENDS, ROUND, bench_calls, fitted, prepared
from drivers.simulate.thermostat import ThermostatUnit
from drivers.simulate.unit import random_unit
from drivers.simulate.weather import WeatherUnit
from tests.drivers.simulate.plant_bench import ran, typical


@pytest.mark.parametrize("minutes", [1.0, 4.0, 6.0, 10.0, 25.0, 120.0])
def test_a_bench_call_has_both_stages_and_time_to_stop(minutes: float) -> None:
    (start, staged, first), (again, end, second) = bench_calls(60.0 * minutes)
    assert (start, first, second) == (CALL_BEGINS, 1, 2)
    assert start < staged == again < end
    assert end == pytest.approx(max(60.0 * minutes - CALL_ENDS, CALL_BEGINS + 60.0))


@pytest.mark.parametrize("cause", CAUSES)
def test_a_unit_has_what_its_cause_is_about(cause: str) -> None:
    """A heat pump, a humidifier, moist rooms; and its papers know it. All else stays as it is."""
    plain = typical()
    unit = fitted(plain, {cause})
    assert (unit.heat_pump is not None) == (cause in BY_THERMOSTAT)
    assert (unit.papers.capacity_47 is not None) == (cause in BY_THERMOSTAT)
    assert unit.thermostat.dual_fuel == (cause in BY_THERMOSTAT)
    assert (unit.humidifier is not None) == (cause == "humidifier_overrun")
    assert (unit.papers.humidifier_setting is not None) == (cause == "humidifier_overrun")
    assert unit.physical is plain.physical
    if cause not in (*BY_THERMOSTAT, "humidifier_overrun"):
        assert unit == plain


def test_what_a_unit_has_already_stays() -> None:
    unit = next(each for each in map(random_unit, range(50)) if each.heat_pump and each.humidifier)
    found = fitted(unit, set(CAUSES))
    assert found.heat_pump == unit.heat_pump
    assert found.humidifier == unit.humidifier
    assert found.papers == unit.papers


def test_the_bench_calls_as_said_and_ends_in_time() -> None:
    plant = prepared(typical(), (), seed=1, minutes=8.0)
    found = ran(plant, 480.0)
    called = np.flatnonzero(np.diff(found["call_heat"]))
    assert found.time[called] == pytest.approx([CALL_BEGINS, 480.0 - CALL_ENDS], abs=1.0)
    assert [attempt["outcome"] for attempt in found.attempts] == ["heat"]
    assert found["blower_on"][-1] == 0, "it has come to rest"


def test_without_an_end_the_bench_calls_in_rounds() -> None:
    plant = prepared(typical(), (), seed=1)
    found = ran(plant, ROUND + 120.0)
    assert [attempt["call"] for attempt in found.attempts] == [1, 2]
    starts = found.time[np.flatnonzero(np.diff(found["call_heat"]) > 0)]
    assert np.diff(starts) == pytest.approx([ROUND], abs=1.0)


@pytest.mark.parametrize("cause", sorted(BY_THERMOSTAT))
def test_causes_of_the_thermostat_get_its_calls_and_a_weather_between(cause: str) -> None:
    """Outdoors a heat pump and a furnace have their turn, so that the sound unit heats and the wrong one shows."""
    unit = replace(typical(), weather=WeatherUnit(temp_mean=-25.0))
    plant = prepared(unit, [Cause(cause, 0.5)], seed=3)
    lockout = plant.unit.thermostat
    assert lockout.compressor_lockout < plant.weather.temp < lockout.auxiliary_lockout
    found = ran(plant, 60.0)
    assert found["call_compressor"].max() == (cause == "heat_pump_weak")
    assert found["call_heat"].max() == 0
    assert plant.thermostat.schedule is None


def test_who_calls_can_be_chosen() -> None:
    cold = replace(typical(), thermostat=ThermostatUnit(setpoint=21.0))
    by_room = prepared(cold, (), seed=1, minutes=5.0, bench=False)
    assert by_room.thermostat.schedule is None
    assert ran(by_room, 60.0)["call_heat"].max() == 1
    on_bench = prepared(cold, [Cause("heat_pump_weak", 0.5)], seed=1, minutes=5.0, bench=True)
    assert on_bench.thermostat.schedule is not None


def test_the_step_goes_through() -> None:
    assert np.diff(prepared(typical(), (), seed=1, minutes=5.0, step=0.05).advance(1.0).time) == pytest.approx(0.05)
