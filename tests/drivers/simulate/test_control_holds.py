"""What holds the control up: limit, roll-out, loss of supply, what it finds at rest, and calls that come and go."""

from dataclasses import replace

import pytest

from analysis.model import Timing
from drivers.simulate.control_settings import ControlSettings
from tests.drivers.simulate.control_bench import FLAME, Bench, outcomes, spans

TIMING = Timing()


def test_limit_shuts_the_valve_and_inducer_and_blower_run_until_it_closes() -> None:
    bench = Bench()
    bench.heating()
    bench.run(60)
    bench.force["limit"] = 0
    bench.step()
    assert bench.relays == (1, 0, 0, 0, 1)
    bench.run(240)
    assert (bench.control.phase, bench.relays) == ("limit_cooldown", (1, 0, 0, 0, 1))
    bench.force.clear()
    bench.until("inducer_start")
    assert bench.control.blower == 1
    first = bench.attempts()[0]
    assert (first["outcome"], [name for name, _ in spans(first)][-1]) == ("limit_open", "limit_cooldown")


@pytest.mark.parametrize("trips", [1, 3])
def test_limit_trips_of_one_call_end_in_a_lockout_once_it_has_closed(trips: int) -> None:
    bench = Bench(ControlSettings(limit_trips=trips))
    bench.call()
    for _ in range(trips):
        bench.until("run_low")
        bench.force["limit"] = 0
        bench.run(60)
        assert bench.control.phase == "limit_cooldown"
        bench.force.clear()
    bench.until("lockout", within=5)
    assert bench.events("soft lockout") == ["soft lockout"]
    assert outcomes(bench) == ["limit_open"] * trips


@pytest.mark.parametrize(("forced", "called", "phase"), [("high", 0, "run_high"), ("low", 1, "run_low")])
def test_stage_is_forced_after_limit_trips(forced: str, called: int, phase: str) -> None:
    bench = Bench(replace(ControlSettings(), forced_stage=forced, forced_after=2))  # type: ignore[arg-type]
    bench.call(call_heat_2=called)
    for _ in range(2):
        bench.until("run_low")
        bench.until("run_high" if called else "run_low")
        bench.force["limit"] = 0
        bench.run(30)
        bench.force.clear()
        bench.until("inducer_start")
    bench.until("run_low")
    bench.run(60)
    assert bench.control.phase == phase


def test_limit_found_open_by_a_call_is_logged_as_its_reason() -> None:
    bench = Bench()
    bench.force["limit"] = 0
    bench.call()
    bench.run(100)
    assert bench.relays == (1, 0, 0, 0, 2)
    (attempt,) = bench.attempts()
    assert (attempt["outcome"], attempt["call"]) == ("limit_open", 1)
    assert [name for name, _ in spans(attempt)] == ["limit_cooldown"]


def test_limit_that_opens_without_a_call_cools_and_counts_nothing() -> None:
    bench = Bench()
    bench.force["limit"] = 0
    bench.run(20)
    assert bench.relays == (1, 0, 0, 0, 2)
    bench.force.clear()
    bench.until("standby")
    assert bench.attempts() == []
    assert bench.control.tally.limit_trips == 0


@pytest.mark.parametrize("phase", ["prepurge", "igniter_warmup", "ignition_trial", "run_low"])
def test_roll_out_locks_until_power_goes_and_the_blower_runs(phase: str) -> None:
    bench = Bench()
    bench.call()
    bench.until(phase)
    bench.force["rollout"] = 0
    bench.step()
    assert bench.relays[1:4] == (0, 0, 0)
    assert bench.control.blower == 2
    bench.run(3600)
    assert (bench.control.phase, bench.relays) == ("lockout", (0, 0, 0, 0, 2))
    bench.force.clear()
    bench.run(3700)
    assert (bench.control.phase, bench.relays) == ("lockout", (0, 0, 0, 0, 0))
    bench.hang_up()
    bench.run(5)
    bench.call()
    bench.run(5)
    assert bench.control.phase == "lockout", "a new call does not reset it"
    bench.control.reset()
    bench.until("inducer_start", within=5)
    assert outcomes(bench)[:2] == ["rollout_open", "rollout_open"]


# Power, door, float, restart


@pytest.mark.parametrize("phase", ["inducer_start", "igniter_warmup", "ignition_trial", "run_low", "post_purge"])
@pytest.mark.parametrize(
    ("terminal", "text"), [("powered", "power lost"), ("door", "door opened"), ("float_ok", "float switch opened")]
)
def test_loss_of_supply_stops_everything_at_once(phase: str, terminal: str, text: str) -> None:
    bench = Bench()
    bench.call()
    if phase == "post_purge":
        bench.until("run_low")
        bench.hang_up()
    bench.until(phase)
    gas = bench.control.valve
    bench.force[terminal] = 0
    bench.step()
    assert (bench.control.phase, bench.relays) == ("standby", (0, 0, 0, 0, 0))
    bench.run(30)
    bench.force.clear()
    bench.hang_up()
    bench.step()
    assert [event for _, event in bench.log.events][-2:] == [text, "power back"]
    bench.call()
    assert bench.until("inducer_start", within=5) >= 1.4
    expected = "gas_off_unexplained" if gas else "unknown"
    assert bench.attempts()[0]["outcome"] == ("heat" if phase == "post_purge" else expected)
    assert bench.control.calls == 2


@pytest.mark.parametrize("phase", ["prepurge", "ignition_trial", "run_low"])
def test_restart_of_the_board_goes_back_to_standby_with_everything_off(phase: str) -> None:
    bench = Bench()
    bench.call()
    bench.until(phase)
    bench.control.reset()
    assert (bench.control.phase, bench.relays) == ("standby", (0, 0, 0, 0, 0))
    bench.until("run_low")
    assert [attempt["call"] for attempt in bench.attempts()] == [1, 2]


# What is found at rest


def test_switch_found_closed_keeps_the_inducer_off() -> None:
    bench = Bench()
    bench.force["switch"] = 1
    bench.call()
    bench.run(300)
    assert (bench.control.phase, bench.relays) == ("standby", (0, 0, 0, 0, 0))
    bench.force.clear()
    bench.until("run_low")
    found, run = bench.attempts()
    assert (found["outcome"], found["end"]) == ("switch_found_closed", run["start"])
    assert [name for name, _ in spans(found)] == ["standby"]
    assert found["start"] == pytest.approx(1.6, abs=0.11)


def test_switch_that_stays_closed_after_a_run_is_found_after_its_release() -> None:
    bench = Bench()
    bench.burns = False
    bench.call()
    bench.until("interpurge")
    bench.force["switch"] = 1
    bench.run(100)
    assert bench.control.inducer == 0
    first, found = bench.attempts()
    name, length = spans(first)[-1]
    assert name == "interpurge"
    assert length == pytest.approx(20.0 + 10.0, abs=0.21)
    assert found["outcome"] == "switch_found_closed"


@pytest.mark.parametrize("called", [0, 1])
def test_flame_without_gas_stays_locked_with_inducer_and_blower_running(called: int) -> None:
    bench = Bench()
    bench.call(call_heat=called)
    bench.force["flame_current"] = FLAME
    bench.run(5000)
    assert (bench.control.phase, bench.relays) == ("lockout", (1, 0, 0, 0, 2))
    bench.force.clear()
    assert bench.until(lambda: bench.control.inducer == 0) == pytest.approx(TIMING.post_purge, abs=0.11)
    assert bench.openings == 0
    assert outcomes(bench) == ["unknown"] * called


@pytest.mark.parametrize("phase", ["inducer_start", "prepurge", "igniter_warmup"])
def test_no_gas_is_let_into_a_flame_seen_before(phase: str) -> None:
    bench = Bench()
    bench.call()
    bench.until(phase)
    bench.force["flame_current"] = FLAME
    bench.run(60)
    assert (bench.control.phase, bench.control.igniter, bench.openings) == ("lockout", 0, 0)
    assert bench.control.inducer == 1


def test_flame_that_burns_on_after_the_call_is_seen_and_one_that_dies_is_not() -> None:
    for seconds, phase in ((2.0, "post_purge"), (8.0, "lockout")):
        bench = Bench()
        bench.heating()
        bench.hang_up()
        bench.force["flame_current"] = FLAME
        bench.run(seconds)
        bench.force.clear()
        bench.step()
        assert bench.control.phase == phase


def test_flame_that_dies_after_a_restart_is_no_flame_without_gas() -> None:
    bench = Bench()
    bench.heating()
    bench.control.reset()
    bench.force["flame_current"] = FLAME
    bench.run(2)
    assert (bench.control.phase, bench.control.inducer) == ("standby", 0)
    bench.force.clear()
    bench.until("run_low")
    assert bench.events("flame seen") == []


# Calls


@pytest.mark.parametrize(
    ("phase", "outcome"),
    [
        ("inducer_start", "call_ended"),
        ("ignition_trial", "call_ended"),
        ("blower_on_delay", "call_ended"),
        ("run_low", "heat"),
    ],
)
def test_end_of_the_call_shuts_the_valve_in_the_same_step(phase: str, outcome: str) -> None:
    bench = Bench()
    bench.call()
    bench.until(phase)
    bench.hang_up()
    bench.step()
    assert (bench.control.phase, bench.relays[:4]) == ("post_purge", (1, 0, 0, 0))
    bench.until("standby")
    (attempt,) = bench.attempts()
    assert attempt["outcome"] == outcome
    assert ("blower_off_delay" in dict(spans(attempt))) is (outcome == "heat")


def test_call_that_returns_soon_waits_for_the_purge_and_the_open_switch() -> None:
    bench = Bench()
    bench.heating()
    bench.hang_up()
    bench.run(3)
    bench.call()
    assert bench.until("inducer_start") > TIMING.post_purge - 3 + 1.4
    assert bench.control.blower == 1, "the off delay of the run before goes on"
    first, second = bench.attempts()
    assert [first["call"], second["call"]] == [1, 2]
    assert first["end"] == second["start"]


def test_defrost_calls_for_tempering_heat_beside_the_compressor() -> None:
    bench = Bench()
    bench.call(call_heat=0, call_compressor=1)
    bench.run(10)
    assert bench.relays == (0, 0, 0, 0, 3)
    bench.call(call_heat=0, defrost=1)
    bench.until("blower_on_delay")
    assert bench.relays == (1, 0, 1, 0, 3)
    bench.until("run_low")
    assert bench.relays == (1, 0, 1, 0, 1)
    bench.hang_up()
    bench.until("standby")
    assert bench.relays == (0, 0, 0, 0, 3)
    assert outcomes(bench) == ["heat"]


@pytest.mark.parametrize("terminal", ["call_fan", "call_compressor"])
def test_fan_and_compressor_run_the_blower_at_fan_speed(terminal: str) -> None:
    bench = Bench()
    bench.call(call_heat=0, **{terminal: 1})
    bench.run(1)
    assert bench.relays == (0, 0, 0, 0, 3)
