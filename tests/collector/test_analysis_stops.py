"""What stops all firing and no alarm rule watches."""

import numpy as np
import pytest

from collector.analysis_stops import stops
from tests.collector.analyses import T0, series, true_attempts

CALL = series("call_heat", range(0, 120, 5), [1.0] * 24)
VALVE = series("gas_valve", (0, 20, 60, 80), (0, 1, 0, 0))


def rules(*given, attempts=()):
    return [(stop.rule, stop.start - T0, stop.end - T0) for stop in stops(given, attempts)]


def flame(*spans):
    time = np.arange(0, 100, 0.5)
    burning = np.any([(time >= start) & (time < end) for start, end in spans], axis=0)
    return series("flame_current", time, np.where(burning, 3e-6, 0.0))


def test_a_call_that_goes_as_it_should_has_no_stop():
    assert rules(CALL, VALVE, flame((22, 60.5)), attempts=true_attempts("healthy_natural_gas")) == []


def test_a_flame_that_goes_on_after_the_valve_closed_is_a_stop():
    assert rules(CALL, VALVE, flame((22, 70))) == [("flame_without_gas", 60.0, 69.5)]


def test_a_flame_current_that_lags_behind_the_valve_is_none():
    assert rules(CALL, VALVE, flame((22, 62.5))) == []


def test_a_valve_that_was_not_read_for_long_says_nothing():
    assert rules(CALL, series("gas_valve", (0, 20), (0, 0)), flame((55, 95))) == []


def test_gas_without_a_call_is_a_stop():
    ended = series("call_heat", (0, 30, 50), (1, 0, 0))
    assert rules(ended, series("gas_valve", (0, 20, 40, 60), (0, 1, 1, 0))) == [("gas_without_call", 30.0, 50.0)]


def test_a_roll_out_switch_that_opens_is_a_stop_once():
    opened = series("rollout_closed", (0, 30, 40, 50), (1, 0, 0, 0))
    assert rules(opened) == [("rollout_open", 30.0, 50.0)]


def test_one_that_reads_open_because_the_24_v_are_off_is_none():
    opened = series("rollout_closed", (0, 30, 40, 50), (1, 0, 0, 0))
    assert rules(opened, series("volts_control", (0, 29, 45), (26, 0, 0))) == []
    assert len(rules(opened, series("volts_control", (0, 29, 45), (26, 26, 26)))) == 1


@pytest.mark.parametrize(("ppm", "count"), [(399, 0), (401, 1)])
def test_flue_co_above_the_limit_is_a_stop(ppm, count):
    """400 ppm air-free: ANSI Z21.47/CSA 2.3, from published summaries; as read it is less than air-free."""
    read = series("flue_co", range(0, 40, 2), [ppm * 1e-6] * 20)
    assert [rule for rule, _, _ in rules(read)] == ["flue_co"] * count


def test_a_short_peak_of_flue_co_at_light_off_is_none():
    assert rules(series("flue_co", (0, 2, 4, 6, 8, 10), (0, 5e-4, 6e-4, 5e-4, 1e-4, 0))) == []
