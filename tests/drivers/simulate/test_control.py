"""The control on a plant that does as it should but for one thing: the sequence, its stages, and tries that fail.

Times are common practice and from memory unless a line of `ENVELOPE` says otherwise.
"""

import random
from math import nan

import pytest

from analysis.model import Timing
from drivers.simulate.control_settings import ControlSettings
from tests.drivers.simulate.control_bench import ENVELOPE, Bench, outcomes, spans

TIMING = Timing()


def test_normal_call_has_the_phases_of_the_settings() -> None:
    bench = Bench()
    bench.call(call_heat_2=1)
    bench.until("run_high")
    bench.run(100)
    bench.hang_up()
    bench.until("standby")
    (attempt,) = bench.attempts()
    expected = [
        ("inducer_start", 3.1),
        ("prepurge", TIMING.prepurge),
        ("igniter_warmup", TIMING.igniter_warmup),
        ("ignition_trial", 2.0),
        ("blower_on_delay", TIMING.blower_on_delay),
        ("run_low", 2.6),
        ("run_high", 100.0),
        ("post_purge", TIMING.post_purge),
        ("blower_off_delay", TIMING.blower_off_delay),
    ]
    assert [name for name, _ in spans(attempt)] == [name for name, _ in expected]
    for (name, length), (_, typical) in zip(spans(attempt), expected, strict=True):
        assert length == pytest.approx(typical, abs=0.11), name
        low, high = ENVELOPE.get(name, (0.0, 1e9))
        assert low - 1e-6 <= length <= high + 1e-6, name
    assert (attempt["outcome"], attempt["stage"], attempt["call"]) == ("heat", "high", 1)
    assert attempt["deciding_time"] == attempt["phases"][-2]["start"]


def test_relays_of_each_phase() -> None:
    seen: dict[str, set[tuple[int, int, int, int, int]]] = {}
    bench = Bench()
    bench.call(call_heat_2=1)
    for hung_up in (False, True):
        for _ in range(2000):
            bench.step()
            seen.setdefault(bench.control.phase, set()).add(bench.relays)
        if not hung_up:
            bench.hang_up()
    assert seen == {
        "standby": {(0, 0, 0, 0, 0)},
        "inducer_start": {(1, 0, 0, 0, 0)},
        "prepurge": {(1, 0, 0, 0, 0)},
        "igniter_warmup": {(1, 1, 0, 0, 0)},
        "ignition_trial": {(1, 1, 1, 0, 0)},
        "blower_on_delay": {(1, 0, 1, 0, 0)},
        "run_low": {(1, 0, 1, 0, 1), (2, 0, 1, 0, 1)},
        "run_high": {(2, 0, 1, 1, 2)},
        "post_purge": {(2, 0, 0, 0, 2)},
        "blower_off_delay": {(0, 0, 0, 0, 2)},
    }


@pytest.mark.parametrize("dt", [0.05, 0.1, 0.2, 0.5])
def test_length_of_the_step_moves_no_boundary_by_more_than_steps(dt: float) -> None:
    bench = Bench(dt=dt)
    bench.call()
    bench.run(180)
    bench.hang_up()
    bench.until("standby")
    (attempt,) = bench.attempts()
    typical = [3.1, 15.0, 17.0, 2.0, 30.0, None, 15.0, 120.0]
    for (name, length), expected in zip(spans(attempt), typical, strict=True):
        assert expected is None or length == pytest.approx(expected, abs=dt + 0.1), name


def test_self_check_comes_before_the_inducer() -> None:
    bench = Bench()
    bench.call()
    assert bench.until("inducer_start") == pytest.approx(1.6, abs=0.11)


# Staging


def test_thermostat_stages_up_and_down() -> None:
    bench = Bench()
    bench.heating()
    bench.run(60)
    assert bench.relays == (1, 0, 1, 0, 1)
    bench.inputs.call_heat_2 = 1
    bench.step()
    assert bench.relays == (2, 0, 1, 0, 1)
    bench.until("run_high", within=5)
    bench.inputs.call_heat_2 = 0
    bench.step()
    assert bench.relays == (1, 0, 1, 0, 1)
    assert bench.control.phase == "run_low"


def test_timer_stages_up_after_its_minutes_from_the_flame() -> None:
    bench = Bench(ControlSettings(staging="timer", low_stage_minutes=5.0))
    bench.call(call_heat_2=1)
    bench.until("blower_on_delay")
    assert bench.until(lambda: bench.control.inducer == 2) == pytest.approx(300.0, abs=0.11)
    bench.until("run_high", within=5)


def test_high_switch_that_stays_open_sends_the_unit_back_to_low() -> None:
    bench = Bench(ControlSettings(stage_trial=20.0))
    bench.force["switch_high"] = 0
    bench.heating(call_heat_2=1)
    bench.until(lambda: bench.control.inducer == 2)
    assert bench.until(lambda: bench.control.inducer == 1) == pytest.approx(20.0, abs=0.11)
    bench.run(120)
    assert (bench.control.phase, bench.control.inducer) == ("run_low", 1)
    assert bench.events("high pressure switch") == ["high pressure switch did not close, stays on low"]
    bench.inputs.call_heat_2 = 0
    bench.step()
    bench.inputs.call_heat_2 = 1
    bench.step()
    assert bench.control.inducer == 2, "a new call for the high stage gets a new trial"
    (attempt,) = bench.attempts()
    assert (attempt["stage"], attempt["outcome"]) == ("low", "cut_off")


def test_high_gas_goes_with_the_high_switch_and_may_come_back() -> None:
    bench = Bench()
    bench.call(call_heat_2=1)
    bench.until("run_high")
    bench.force["switch_high"] = 0
    bench.step()
    assert bench.relays == (2, 0, 1, 0, 1)
    assert bench.control.phase == "run_low"
    bench.force.clear()
    bench.step()
    assert bench.relays == (2, 0, 1, 1, 2)


def test_lights_on_high_and_drops_once_the_flame_is_stable() -> None:
    bench = Bench(ControlSettings(light_on="high"))
    bench.call()
    bench.until("ignition_trial")
    assert bench.relays == (2, 1, 1, 1, 0)
    bench.until("blower_on_delay")
    assert bench.until(lambda: bench.control.inducer == 1) == pytest.approx(8.0, abs=0.11)
    assert bench.relays == (1, 0, 1, 0, 0)
    bench.until("run_low")
    assert bench.attempts()[0]["stage"] == "low"


def test_lights_on_low_where_the_high_switch_does_not_close() -> None:
    bench = Bench(ControlSettings(light_on="high", stage_trial=10.0))
    bench.force["switch_high"] = 0
    bench.call()
    bench.until("inducer_start")
    assert bench.until("prepurge") == pytest.approx(10.0, abs=0.11)
    bench.until("run_low")
    assert bench.control.valve_high == 0


@pytest.mark.parametrize("phase", ["igniter_warmup", "ignition_trial", "blower_on_delay"])
def test_high_switch_lost_at_light_off_takes_the_high_gas(phase: str) -> None:
    bench = Bench(ControlSettings(light_on="high"))
    bench.call()
    bench.until(phase)
    bench.force["switch_high"] = 0
    bench.until("blower_on_delay")
    bench.step()
    assert bench.relays == (1, 0, 1, 0, 0)


def test_single_stage_runs_on_its_one_speed_without_a_high_switch() -> None:
    bench = Bench(ControlSettings(stages=1))
    bench.force["switch_high"] = 0
    bench.call()
    bench.until("ignition_trial")
    assert bench.relays == (2, 1, 1, 1, 0)
    bench.until("run_high")
    bench.run(60)
    assert bench.relays == (2, 0, 1, 1, 2)
    assert bench.attempts()[0]["stage"] == "high"


# Tries that fail


def test_draft_not_proved_is_tried_again_and_then_locked_out_for_its_time() -> None:
    bench = Bench(ControlSettings(draft_retries=2))
    bench.force["switch"] = 0
    bench.call()
    bench.until("lockout")
    assert bench.events("retry") == ["retry 2 of 3", "retry 3 of 3"]
    assert bench.until("inducer_start", within=4000) == pytest.approx(3600.0 + 1.5, abs=0.21)
    assert bench.control.tally.draft_failures == 0
    first, second, third, fourth = bench.attempts()
    assert outcomes(bench) == ["draft_not_proved"] * 3 + ["cut_off"]
    for attempt in (first, second):
        (start, proving), (purge, purging) = spans(attempt)
        assert (start, purge) == ("inducer_start", "interpurge")
        assert proving == pytest.approx(60.0, abs=0.11)
        assert purging == pytest.approx(20.0 + 1.5, abs=0.21)
        assert attempt["deciding_time"] == attempt["phases"][0]["end"]
    assert [name for name, _ in spans(third)] == ["inducer_start", "post_purge", "lockout"]
    assert [a["end"] for a in (first, second, third)] == [a["start"] for a in (second, third, fourth)]
    assert bench.events("soft lockout") == ["soft lockout", "soft lockout ended"]


def test_inducer_rests_through_a_lockout_and_a_new_call_ends_it() -> None:
    bench = Bench(ControlSettings(draft_retries=0))
    bench.force["switch"] = 0
    bench.call()
    bench.until("lockout")
    bench.run(600)
    assert bench.relays == (0, 0, 0, 0, 0)
    bench.hang_up()
    bench.step()
    assert bench.control.phase == "standby"
    bench.call()
    bench.until("inducer_start", within=5)
    assert (bench.control.calls, bench.control.trial) == (2, 1)


@pytest.mark.parametrize("trials", [1, 3, 5])
def test_ignition_trials_are_counted_exactly(trials: int) -> None:
    bench = Bench(ControlSettings(timing=Timing(trials=trials)))
    bench.burns = False
    bench.call()
    bench.until("lockout", within=1000)
    assert (bench.openings, bench.control.trial) == (trials, trials)
    assert outcomes(bench) == ["no_ignition"] * trials
    assert bench.events("retry") == [f"retry {number} of {trials}" for number in range(2, trials + 1)]
    trial = next(length for name, length in spans(bench.attempts()[0]) if name == "ignition_trial")
    assert trial == pytest.approx(TIMING.ignition_trial, abs=0.11)


@pytest.mark.parametrize("recycles", [0, 2, 5])
def test_recycles_after_a_stable_flame_are_counted_exactly(recycles: int) -> None:
    bench = Bench(ControlSettings(recycles=recycles))
    bench.call()
    for number in range(recycles + 1):
        bench.until("run_low")
        bench.burns = False
        assert bench.until(lambda: not bench.control.valve) <= 0.8 + 2 * bench.dt
        bench.burns = True
        assert bench.control.recycles == number + 1
    bench.until("lockout")
    assert bench.openings == recycles + 1
    assert outcomes(bench) == ["flame_lost"] * (recycles + 1)
    assert bench.events("recycle") == [f"recycle {n} of {recycles}" for n in range(1, recycles + 1)]


def test_flame_lost_before_it_is_stable_is_a_failed_trial() -> None:
    bench = Bench()
    bench.call()
    for _ in range(3):
        bench.until("blower_on_delay")
        bench.run(5)
        bench.force["flame_current"] = 0.0
        bench.until(lambda: not bench.control.valve, within=1.0)
        bench.force.clear()
    bench.until("lockout")
    assert (bench.openings, bench.control.recycles) == (3, 0)
    assert outcomes(bench) == ["flame_lost"] * 3


@pytest.mark.parametrize(("current", "proven"), [(0.45e-6, False), (0.5e-6, True), (nan, False)])
def test_flame_is_proven_from_its_threshold(current: float, proven: bool) -> None:
    bench = Bench()
    bench.call()
    bench.until("ignition_trial")
    bench.force["flame_current"] = current
    bench.step()
    assert (bench.control.phase == "blower_on_delay") is proven


@pytest.mark.parametrize("phase", ["prepurge", "igniter_warmup", "ignition_trial", "blower_on_delay", "run_low"])
def test_lost_draft_shuts_everything_in_the_same_step(phase: str) -> None:
    bench = Bench()
    bench.call()
    bench.until(phase)
    bench.force["switch"] = 0
    bench.step()
    assert bench.relays[1:4] == (0, 0, 0)
    assert (bench.control.phase, bench.control.inducer) == ("interpurge", 1)
    bench.force.clear()
    bench.until("inducer_start")
    assert [name for name, _ in spans(bench.attempts()[0])][-1] == "interpurge"
    assert bench.attempts()[0]["outcome"] == "draft_lost"


def test_chatter_of_the_switch_shuts_the_valve_each_time() -> None:
    rng = random.Random(11)
    bench = Bench(ControlSettings(draft_retries=40))
    bench.call()
    for number in range(20):
        bench.until("blower_on_delay")
        bench.run(rng.uniform(0.0, 60.0))
        assert bench.control.valve == 1
        bench.force["switch"] = 0
        for _ in range(rng.randint(1, 5)):  # opens for 0.1-0.5 s
            bench.step()
            assert bench.relays[1:4] == (0, 0, 0)
        bench.force.clear()
        bench.run(10)
        assert bench.control.valve == 0
        assert bench.events("pressure switch opened") == ["pressure switch opened"] * (number + 1)


def test_trial_that_loses_its_draft_counts_as_both() -> None:
    bench = Bench()
    bench.call()
    for _ in range(3):
        bench.until("ignition_trial")
        bench.run(1)
        bench.force["switch"] = 0
        bench.step()
        bench.force.clear()
    bench.until("lockout")
    assert (bench.control.tally.failed_trials, bench.control.tally.draft_failures) == (3, 3)
