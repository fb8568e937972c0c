"""What slow sensors show of steps, ramps and waves, against the theory of first order."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import Channel, Series
from analysis.unlag import lagged
from drivers.simulate.meters import SENSORS
from tests.drivers.simulate.meter_bench import LINE, Truth, constant, grid, one, seen


def stepped(seconds: float, high: float, step: float = 0.05, at: float = 1.0) -> Truth:
    """Nothing before `at` [s], `high` [degC] after it: the middle of the straight line between two values."""
    clock = grid(seconds, step)
    return Truth(clock, {"temp_supply": np.where(clock < at + step / 4, 0.0, high)})


@pytest.mark.parametrize(("spans", "share"), [(1, 0.63212), (2, 0.86466), (3, 0.95021), (5, 0.99326)])
def test_a_step_is_followed_as_first_order_does(spans, share):
    """1 - exp(-n): 63.212, 86.466, 95.021, 99.326 % after 1, 2, 3, 5 time constants."""
    sensor = replace(LINE, unit="degC", response_time=10.0)
    times, value = seen(one(sensor, "temp_supply", rate=100.0), stepped(60, 100.0))
    assert np.interp(1.025 + spans * 10.0, times, value) == pytest.approx(100 * share, abs=0.002)


def test_ninety_percent_come_after_2_3026_time_constants_behind_the_delay_of_the_line():
    """t90 = 2.3026 time constants (ln 10)."""
    sensor = replace(SENSORS["oxygen"], noise=0.0, resolution=1e-6, accuracy=None, high=1e6)
    clock = grid(120, 0.05)
    truth = Truth(clock, {"flue_o2": np.where(clock < 1.01, 0.0, 0.08)})
    times, value = seen(one(sensor, "flue_o2", rate=100.0), truth)
    t90 = np.interp(0.9 * 8.0, value, times) - 1.025
    assert t90 == pytest.approx(2.3026 * sensor.response_time + sensor.delay, abs=0.003)
    assert t90 == pytest.approx(48.0, abs=0.003), "90 % in 40 s, and 8 s of line"
    assert np.all(value[times < 1.0 + sensor.delay] == 0)


def test_a_ramp_is_followed_late():
    """Lag on a ramp is time constant times rate: 20 s and 2 degF/min give 0.67 degF."""
    clock = grid(300)
    temp = (70 + clock * 2 / 60 - 32) / 1.8
    times, value = seen(one(replace(LINE, response_time=20.0), "temp_supply"), Truth(clock, {"temp_supply": temp}))
    assert (70 + times * 2 / 60 - value)[-1] == pytest.approx(0.67, abs=0.005)


@given(st.integers(0, 1000), st.floats(0.05, 60.0))
@settings(max_examples=20, deadline=None)
def test_the_lag_is_that_of_the_analysis(seed, response_time):
    clock = grid(30)
    temp = np.random.default_rng(seed).standard_normal(clock.size).cumsum()
    sensor = replace(LINE, unit="degC", response_time=response_time, resolution=1e-9)
    times, value = seen(one(sensor, "temp_supply", rate=3.0), Truth(clock, {"temp_supply": temp}))
    expected = lagged(Series(Channel("temp_supply", "m", "degC"), clock, temp), response_time)
    steepest = np.max(np.abs(np.diff(expected.value))) / 0.1
    shown = np.interp(times, clock, expected.value)
    assert value == pytest.approx(shown, abs=0.00051 * steepest + 1e-9), "times are printed in whole milliseconds"


def test_it_had_settled_on_what_was_there_first():
    _, value = seen(one(replace(LINE, response_time=60.0), "temp_supply"), constant("temp_supply", 140.0, "degF", 5))
    assert value == pytest.approx(140.0, abs=1e-6)


def test_the_step_of_the_plant_may_be_another():
    for step in (0.05, 0.0625, 0.1):
        clock = grid(50, step)
        truth = Truth(clock, {"temp_supply": np.sin(clock)})
        meter = one(replace(LINE, unit="degC", response_time=0.5), "temp_supply")
        times, value = seen(meter, truth)
        # first order: amplitude 1/sqrt(1 + tau^2), behind by atan(tau); after the beginning has died away
        expected = np.sin(times - math.atan(0.5)) / math.hypot(1, 0.5)
        assert value[times > 10] == pytest.approx(expected[times > 10], abs=0.003)
