"""Heat pump: rated lines, frost and defrost, and what stops it."""

import math

import numpy as np
import pytest

from analysis import heatpump as yardstick
from drivers.simulate.heatpump import HeatPump, HeatPumpUnit, rated_capacity, rated_power
from drivers.simulate.moist_air import humidity_ratio

BTU = 0.2930710701722222
"""One Btu/h. [W]"""
SEA_LEVEL = 101_325.0
STANDARD = 0.075 * 0.45359237 / 60
"""Dry air in one cfm of standard air, 0.075 lb/ft3. [kg/s]"""
NEVER = HeatPumpUnit(defrost_interval=math.inf)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


class Trial:
    """A heat pump running at one outdoor condition, with what it gave and took so far."""

    def __init__(self, unit: HeatPumpUnit, fahrenheit: float, humidity: float = 0.0) -> None:
        self.temp = celsius(fahrenheit)
        self.ratio = humidity_ratio(self.temp, humidity, SEA_LEVEL)
        self.pump = HeatPump(unit, temp_outdoor=self.temp)
        self.call, self.reversing, self.flow, self.entering = 1.0, 0.0, 1100 * STANDARD, 21.1
        self.time = self.heat = self.energy = 0.0
        self.defrosts: list[tuple[float, float]] = []
        """Start and end. [s]"""
        self.ends: list[tuple[float, float]] = []
        """Time and heat so far at the end of each defrost. [s, J]"""
        self.coldest, self.warmest_coil, self.left = math.inf, -math.inf, math.inf
        """Least heat in a defrost, its warmest coil, frost at its end. [W, degC, kg]"""

    def run(self, seconds: float, dt: float = 0.5) -> "Trial":
        pump, began = self.pump, self.time
        for _ in range(round(seconds / dt)):
            before = pump.defrost_active
            pump.step(
                dt,
                call=self.call,
                temp_outdoor=self.temp,
                ratio_outdoor=self.ratio,
                pressure=SEA_LEVEL,
                air_flow=self.flow,
                temp_entering=self.entering,
                reversing=self.reversing,
            )
            self.heat += dt * pump.heat
            self.energy += dt * pump.power
            self.time += dt
            if pump.defrost_active:
                began = began if before else self.time - dt
                self.coldest = min(self.coldest, pump.heat)
                self.warmest_coil = max(self.warmest_coil, pump.coil_temp)
            elif before:
                self.defrosts.append((began, self.time))
                self.ends.append((self.time, self.heat))
                self.left = pump.frost
        return self

    def mean(self) -> float:
        """Heat over whole cycles, from the end of the first defrost to the end of the last. [W]"""
        (first, given), (last, more) = self.ends[0], self.ends[-1]
        return (more - given) / (last - first)


# Rating procedure, single speed: Q47 36,000, Q35 27,500, Q17 22,000 Btu/h; 3.05, 2.95, 2.75 kW; arithmetic of the lines
# of 10 CFR part 430, appendix M/M1, section 4.2.1 (from memory): degF, Btu/h, COP.
TABLE = (
    (5, 16_400, 1.828),
    (17, 22_000, 2.345),
    (25, 24_444, 2.524),
    (30, 25_972, 2.630),
    (35, 27_500, 2.732),
    (40, 29_028, 2.830),
    (44.9, 30_525, 2.924),
    (45, 35_067, 3.392),
    (47, 36_000, 3.459),
    (55, 39_733, 3.720),
)


@pytest.mark.parametrize(("fahrenheit", "heat", "cop"), TABLE)
def test_rated_lines_of_the_table(fahrenheit: float, heat: float, cop: float) -> None:
    pump = Trial(HeatPumpUnit(), fahrenheit).run(0.5).pump
    assert pump.rated_heat / BTU == pytest.approx(heat, abs=0.6)
    assert pump.rated_heat / pump.rated_power == pytest.approx(cop, abs=6e-4)


def test_rated_lines_agree_with_the_yardstick() -> None:
    unit = HeatPumpUnit()
    capacities = (unit.capacity_47, unit.capacity_17, unit.capacity_35)
    rated = yardstick.Rated(*capacities, unit.power_47, unit.power_17, unit.power_35)
    for temp in np.linspace(-30, 25, 1101):
        assert rated_capacity(unit, temp) == pytest.approx(float(yardstick.capacity(temp, rated)), rel=1e-12)
        assert rated_power(unit, temp) == pytest.approx(float(yardstick.power(temp, rated)), rel=1e-12)


@pytest.mark.parametrize(("fahrenheit", "heat", "cop"), [row for row in TABLE if not 17 < row[0] < 45])
def test_running_without_frost_gives_the_table(fahrenheit: float, heat: float, cop: float) -> None:
    pump = Trial(NEVER, fahrenheit).run(900).pump
    assert pump.heat / BTU == pytest.approx(heat, rel=1e-4)
    assert pump.heat / pump.power == pytest.approx(cop, rel=4e-4)


# The rating at 35 degF includes frost and defrost at a wet bulb of 33 degF, about 82 %: from memory, AHRI 210/240.
@pytest.mark.parametrize("minutes", [60, 90])
def test_cycles_with_frost_and_defrost_give_the_rating_at_35(minutes: float) -> None:
    trial = Trial(HeatPumpUnit(defrost_interval=60 * minutes), 35, 0.82).run(5 * 3600)
    assert len(trial.ends) >= 3
    assert trial.mean() / BTU == pytest.approx(27_500, rel=0.005)


@pytest.mark.parametrize("fahrenheit", [25, 30, 40])
def test_cycles_keep_near_the_rated_line_of_the_frost(fahrenheit: float) -> None:
    trial = Trial(HeatPumpUnit(), fahrenheit, 0.80).run(5 * 3600, dt=1)
    assert trial.mean() == pytest.approx(trial.pump.rated_heat, rel=0.03)


def test_start_takes_a_minute() -> None:
    trial = Trial(NEVER, 47).run(60)
    assert trial.pump.heat / BTU == pytest.approx(36_000 * (1 - math.exp(-1)), rel=1e-9)
    trial.run(900)
    trial.call = 0.0
    trial.run(30)
    assert trial.pump.heat / BTU == pytest.approx(36_000 * math.exp(-1), rel=1e-3)
    assert (trial.pump.running, trial.pump.power) == (0, 0)


def test_air_that_stops_with_the_compressor_does_not_get_hot() -> None:
    """What a coil at rest gives is bounded by its own temperature, however little air takes it up."""
    trial = Trial(NEVER, 47).run(900)
    trial.call, trial.flow = 0.0, 0.02
    trial.run(5)
    given = trial.pump.heat / (0.02 * 1006.0)
    assert 0 < given < trial.pump.temp_condensing - 20


def test_frost_needs_cold_and_moist_air() -> None:
    def frost(fahrenheit: float, humidity: float) -> float:
        return Trial(NEVER, fahrenheit, humidity).run(3600, dt=2).pump.frost

    assert frost(35, 0.0) == 0
    assert 0 < frost(35, 0.75) < 0.8 * frost(35, 0.85)
    # None above about 6 degC: common practice, no published source.
    assert frost(44, 1.0) == 0
    assert frost(41, 0.95) > 0.5
    assert 0 < frost(10, 0.85) < 0.2 * frost(35, 0.85)


def test_frost_lowers_capacity_and_warm_air_at_rest_melts_it() -> None:
    trial = Trial(NEVER, 35, 0.82).run(1800)
    early, frosted = trial.pump.heat, trial.pump.frost
    trial.run(7200)
    assert trial.pump.heat < 0.93 * early
    assert trial.pump.frost > 2 * frosted
    trial.call = 0.0
    trial.run(3600)
    assert trial.pump.frost < 0.1


@pytest.mark.parametrize("minutes", [30, 60, 90])
def test_defrost_as_the_service_pages_have_it(minutes: float) -> None:
    # Published service pages: after 30, 60 or 90 min with the coil at or below 32 degF, to 57 degF, 1 to 10 min.
    trial = Trial(HeatPumpUnit(defrost_interval=60 * minutes), 30, 0.85).run(60 * minutes + 900)
    ((start, end),) = trial.defrosts
    assert 60 * minutes <= start < 60 * minutes + 120
    assert 60 <= end - start <= 600
    assert 57 <= trial.warmest_coil * 1.8 + 32 < 58
    assert trial.pump.run_time < 900
    assert trial.left == 0


def test_defrost_cools_the_air_as_worked_out() -> None:
    # 24,000 Btu/h of cooling at 1000 cfm from 70 degF gives 47.8 degF, with 1.08 Btu/(h cfm degF): arithmetic.
    trial = Trial(HeatPumpUnit(coil_heat=60_000), 30, 0.85)
    trial.flow = 1000 * STANDARD
    trial.run(5400 + 900)
    assert trial.coldest / BTU == pytest.approx(-24_000, rel=1e-3)
    assert 70 + trial.coldest / BTU / (1.08 * 1000) == pytest.approx(47.8, abs=0.05)


def test_defrost_ends_after_ten_minutes_at_the_latest() -> None:
    trial = Trial(HeatPumpUnit(), 30, 0.85)
    trial.pump.stuck_reversing = -1
    trial.run(5400 + 900)
    ((start, end),) = trial.defrosts
    assert end - start == pytest.approx(600, abs=1)
    assert trial.coldest > 0
    assert trial.pump.frost > 1


def test_coil_above_freezing_never_defrosts() -> None:
    assert not Trial(HeatPumpUnit(defrost_interval=1800), 47, 0.9).run(7200, dt=1).defrosts


def test_call_that_ends_in_a_defrost_takes_it_up_again() -> None:
    trial = Trial(HeatPumpUnit(defrost_interval=1800), 25, 0.85).run(1850)
    assert trial.pump.defrost_active == 1
    trial.call = 0.0
    trial.run(300)
    assert trial.pump.defrost_active == 0
    trial.call = 1.0
    trial.run(2)
    assert trial.pump.defrost_active == 1


def test_valve_stuck_in_cooling_chills_the_house() -> None:
    trial = Trial(HeatPumpUnit(), 35, 0.82)
    trial.pump.stuck_reversing = 1
    trial.run(3600)
    assert trial.pump.heat / BTU == pytest.approx(-24_000, rel=1e-6)
    assert not trial.defrosts
    assert celsius(35) < trial.pump.coil_temp < 20
    called = Trial(HeatPumpUnit(), 35, 0.82)
    called.reversing = 1.0
    assert called.run(3600).pump.heat == trial.pump.heat


def test_low_charge_gives_less_for_the_same_power() -> None:
    whole, weak = Trial(NEVER, 25), Trial(NEVER, 25)
    weak.pump.capacity_factor = 0.6
    whole.run(900)
    weak.run(900)
    assert weak.pump.heat == pytest.approx(0.6 * whole.pump.heat)
    assert weak.pump.power == whole.pump.power


def test_no_air_trips_it_and_three_trips_lock_it_out_until_the_call_ends() -> None:
    trial = Trial(HeatPumpUnit(), 40, 0.8)
    trial.flow = 0.0
    trial.run(60)
    assert (trial.pump.trips, trial.pump.running) == (1, 0)
    trial.run(3600)
    assert (trial.pump.trips, trial.pump.running) == (3, 0)
    assert trial.heat == 0
    trial.call = 0.0
    trial.run(310)
    trial.call, trial.flow = 1.0, 1100 * STANDARD
    trial.run(600)
    assert (trial.pump.trips, trial.pump.running) == (0, 1)
    assert trial.pump.heat > 8000


def test_furnace_upstream_drives_the_pressure_up() -> None:
    trial = Trial(HeatPumpUnit(), 40, 0.8).run(1200)
    assert trial.pump.trips == 0
    trial.entering = 50.0
    trial.run(600)
    assert trial.pump.trips >= 1


@pytest.mark.parametrize("humidity", [0.0, 0.82])
def test_step_does_not_matter(humidity: float) -> None:
    unit = HeatPumpUnit(defrost_interval=1800)
    usual = Trial(unit, 33, humidity).run(7200)
    halved = Trial(unit, 33, humidity).run(7200, dt=0.25)
    doubled = Trial(unit, 33, humidity).run(7200, dt=1.0)
    assert halved.heat == pytest.approx(usual.heat, rel=2e-3)
    assert doubled.heat == pytest.approx(usual.heat, rel=4e-3)
    assert halved.energy == pytest.approx(usual.energy, rel=1e-3)
    assert len(halved.defrosts) == len(usual.defrosts) == 3
    assert sum(e - s for s, e in halved.defrosts) == pytest.approx(sum(e - s for s, e in usual.defrosts), rel=0.01)
