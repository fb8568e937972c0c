"""Stories of fire, gas, air and moisture: how the attempts ended, and the figure that decides, as the meters show it.

What is worked out by hand stands beside the check; nothing here is taken from the simulation.
"""

import numpy as np
import pytest

from tests.replay_data.recording import BURNING, INCH, dew_point, job, outcomes, recording, rise, truth


def test_dirty_rod_shows_too_little_of_a_good_flame() -> None:
    name = "flame_rod_dirty"
    found, plate = recording(name), job(name).plate
    assert outcomes(name).count("flame_lost") >= 2
    times, current = found.readings("flame_current")
    lit = current * 1e-6 > 0.8 * BURNING
    assert lit.sum() > 50
    assert plate.flame_current_min is not None
    assert current.max() * 1e-6 < plate.flame_current_min
    gas = found.at("gas_manifold", times[lit])
    assert np.median(gas) * INCH > 0.9 * plate.manifold[-1], "gas is as it should be"


def test_aged_igniter_needs_two_tries_each_time() -> None:
    name = "igniter_aged"
    found = recording(name)
    assert outcomes(name) == ["no_ignition", "heat"] * 3
    for first in truth(name)["attempts"][::2]:
        (warmup,) = [phase for phase in first["phases"] if phase["phase"] == "igniter_warmup"]
        assert found.mean("amps_igniter", warmup["start"] + 3, warmup["end"]) > 0.5
        (trial,) = [phase for phase in first["phases"] if phase["phase"] == "ignition_trial"]
        assert found.mean("gas_manifold", trial["start"] + 2, trial["end"]) > 1.0, "gas is there"
        assert abs(found.mean("flame_current", trial["start"], trial["end"])) < 0.2
    assert found.changes("gas_valve", 1)[0] < found.changes("blower_on", 1)[0]


def test_loaded_filter_trips_the_limit() -> None:
    name = "filter_loaded"
    found, plate = recording(name), job(name).plate
    assert outcomes(name).count("limit_open") >= 3
    trip = found.changes("limit_closed", 0)[0]
    assert plate.rise is not None
    assert rise(found, trip - 15, trip) / 1.8 > plate.rise[1]
    assert found.mean("static_return", trip - 30, trip) * INCH < -0.35 * INCH, "most of the static is before the blower"
    times, _ = found.readings("temp_supply")
    gaps = np.diff(times)
    assert gaps.max() > 4, "the thermometer's radio drops out"
    assert np.median(gaps) == pytest.approx(1.0, abs=0.02)


def test_forgotten_baffle_lets_air_go_past_the_exchangers() -> None:
    name = "air_baffle_forgotten"
    found, plate = recording(name), job(name).plate
    assert set(outcomes(name)) <= {"heat", "limit_open"}
    apart = found.mean("temp_supply", 700, 900) - found.mean("temp_supply_2", 700, 900)
    healthy = recording("healthy_natural_gas")
    assert apart > 15, "streams that have not mixed"
    assert abs(healthy.mean("temp_supply", 700, 900) - healthy.mean("temp_supply_2", 700, 900)) < 12
    assert found.mean("gas_manifold", 700, 900) * INCH == pytest.approx(plate.manifold[0], rel=0.03)
    assert found.mean("temp_flue", 700, 900) > found.mean("temp_return", 700, 900) + 30


def test_cold_tank_sags_while_it_is_drawn_from_and_recovers_at_rest() -> None:
    name = "propane_tank_cold"
    found, plate = recording(name), job(name).plate
    assert plate.gas_inlet is not None
    assert found.mean("temp_outdoor", 0, 1300) < 5
    at_rest, early, late = (found.mean("gas_inlet", *span) for span in ((2, 10), (230, 260), (1040, 1070)))
    again = found.mean("gas_inlet", 1250, 1310)
    assert plate.gas_inlet[0] < at_rest * INCH < plate.gas_inlet[1]
    assert late < 0.85 * early < at_rest
    assert late * INCH < plate.gas_inlet[0]
    assert again > 0.97 * at_rest
    assert found.mean("gas_manifold", 1040, 1070) < 0.9 * found.mean("gas_manifold", 230, 260)
    assert found.mean("flame_current", 1040, 1070) < found.mean("flame_current", 230, 260)
    assert found.mean("flue_co2", 1040, 1070) < found.mean("flue_co2", 280, 310)


def test_switch_fails_once_in_six_attempts() -> None:
    name = "switch_now_and_then"
    found, plate = recording(name), job(name).plate
    ends = outcomes(name)
    assert len(ends) == 6
    assert ends.count("heat") == 5
    (failed,) = [attempt for attempt in truth(name)["attempts"] if attempt["outcome"] != "heat"]
    assert failed["outcome"] in ("draft_lost", "draft_not_proved")
    opened = failed["deciding_time"]
    # pressure at the switch is above its closing point, and its contact is open
    assert found.mean("draft_switch", opened - 0.5, opened + 0.5) * INCH > plate.switch_close[-1]
    assert not found.held("switch_closed", np.array([opened + 0.3]))[0]
    assert len({attempt["call"] for attempt in truth(name)["attempts"]}) == 5


def test_humidifier_runs_on_and_the_window_gets_wet() -> None:
    name = "humidifier_runs_on"
    found = recording(name)
    assert set(outcomes(name)[:-1]) == {"heat"}
    times, humidity = found.readings("humidity_room")
    margin = found.at("temp_surface", times) - dew_point(found.at("temp_room", times), humidity)
    assert margin[:20].mean() > 0.5
    assert margin[-20:].mean() < -0.5
    assert humidity[-20:].mean() / 100 > (job(name).humidifier.setting or 1.0) + 0.03
    blowing = found.held("blower_on", times)
    open_valve = found.held("humidifier_valve", times)
    assert open_valve[blowing].mean() > 0.9
    assert open_valve[~blowing].mean() < 0.1


def test_the_dew_point_used_here_is_that_of_the_handbook() -> None:
    # 70 degF at 35, 45, 50 %: 41.12, 47.71, 50.53 degF, computed with psychrolib 2.5.0 (ASHRAE Fundamentals ch. 1)
    known = dew_point(np.full(3, 70.0), np.array([35.0, 45.0, 50.0]))
    assert known == pytest.approx([41.12, 47.71, 50.53], abs=0.1)


def test_two_faults_show_beside_each_other() -> None:
    name = "filter_and_flame_rod"
    found, plate = recording(name), job(name).plate
    ends = outcomes(name)
    assert ends.count("limit_open") >= 2
    assert ends.count("flame_lost") + ends.count("no_ignition") >= 1
    trip = found.changes("limit_closed", 0)[0]
    assert plate.rise is not None
    assert rise(found, trip - 15, trip) / 1.8 > plate.rise[1]
    assert plate.flame_current_min is not None
    assert found.readings("flame_current")[1].max() * 1e-6 < plate.flame_current_min


def test_a_night_of_dual_fuel() -> None:
    name = "night_dual_fuel"
    found, pump = recording(name), job(name).heat_pump
    ends = outcomes(name)
    assert set(ends) <= {"heat", "call_ended", "cut_off"}
    assert len(ends) > 10
    times, outdoor = found.readings("temp_outdoor")
    compressor, furnace = found.held("call_compressor", times), found.held("gas_valve", times)
    assert pump.compressor_lockout is not None
    lockout = pump.compressor_lockout * 1.8 + 32
    assert outdoor[0] > lockout + 5
    assert outdoor[-1] < lockout - 1
    # the lockout is by the thermostat's sensor and outdoor air falls slowly: 1 degF to either side
    assert not compressor[outdoor < lockout - 1].any()
    assert compressor[outdoor > lockout + 1].mean() > 0.5
    defrosts = found.changes("defrost_active", 1)
    assert 2 <= len(defrosts) <= 8
    for begin in defrosts:
        end = min(time for time in found.changes("defrost_active", 0) if time > begin)
        assert 60 < end - begin < 15 * 60, "published service pages: one to ten minutes"
        during = (times > begin + 70) & (times < end)
        assert furnace[during].any(), "the furnace warms the air of a defrost"
        assert compressor[during].any()
    apart = compressor & furnace & ~found.held("defrost_active", times)
    assert apart.mean() < 0.01, "otherwise never both at once"
    assert furnace[outdoor < lockout - 1].mean() > 0.3
    room = found.readings("temp_room")[1]
    assert 66 < room.min() < room.max() < 73
    assert found.held("humidifier_valve", times).mean() > 0.05
    assert np.median(np.diff(times)) == pytest.approx(10.0, abs=0.1)
