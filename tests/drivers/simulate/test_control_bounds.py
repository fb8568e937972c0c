"""Dead relays, the bounds of the log, settings and steps that are refused, and the cost of a step."""

import timeit
from dataclasses import replace
from itertools import pairwise
from math import nan

import pytest

from analysis.model import Timing
from drivers.base import InputError
from drivers.simulate.attempts import KEPT_PHASES, AttemptLog
from drivers.simulate.control import Control
from drivers.simulate.control_settings import ControlSettings, Inputs
from tests.drivers.simulate.control_bench import Bench, outcomes


@pytest.mark.parametrize(
    ("dead", "outcome"),
    [("inducer", "no_start"), ("igniter", "no_ignition"), ("valve", "no_ignition"), ("blower", "no_blower")],
)
def test_dead_relay_stays_open_and_names_the_outcome(dead: str, outcome: str) -> None:
    bench = Bench()
    bench.control.dead = frozenset({dead})
    bench.call()
    for _ in range(4000):
        bench.force["limit"] = int(bench.control.phase != "run_low")
        bench.step()
        assert getattr(bench.control, dead) == 0
    assert bench.attempts()[0]["outcome"] == outcome


def test_relay_that_dies_opens_at_once() -> None:
    bench = Bench()
    bench.heating()
    bench.control.dead = frozenset({"valve", "blower"})
    assert bench.relays == (1, 0, 0, 0, 0)
    with pytest.raises(InputError, match="no output pump; use blower, igniter, inducer, valve"):
        bench.control.dead = frozenset({"pump"})


def test_finish_cuts_off_what_is_undecided_and_keeps_what_is_decided() -> None:
    bench = Bench()
    bench.heating()
    now = bench.control.now
    bench.control.finish(now + 0.04)
    (attempt,) = bench.log.attempts
    assert (attempt["outcome"], attempt["end"], attempt["deciding_time"]) == ("cut_off", now + 0.04, now + 0.04)
    bench = Bench()
    bench.heating()
    bench.hang_up()
    bench.run(5)
    assert outcomes(bench) == ["heat"]


def test_log_is_bounded_and_counts_what_it_leaves_out() -> None:
    log = AttemptLog(kept_attempts=3, kept_events=4)
    for number in range(10):
        log.begin(float(number), number, "low", "inducer_start")
        log.event(float(number), "something")
    for number in range(KEPT_PHASES + 7):
        log.enter("run_high" if number % 2 else "run_low", 10.0 + number)
    log.finish(1000.0)
    assert [attempt["call"] for attempt in log.attempts] == [7, 8, 9]
    assert (log.attempts_dropped, log.events_dropped, log.phases_dropped) == (7, 6, 8)
    last = log.attempts[-1]["phases"]
    assert (len(last), last[-1]["end"]) == (KEPT_PHASES, 1000.0)
    assert all(before["end"] == after["start"] for before, after in pairwise(last))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"flame_failure_response": 2.5}, "flame_failure_response is 2.5; use a value from 0 to 1"),
        ({"flame_failure_response": nan}, "flame_failure_response is nan"),
        ({"flame_threshold": 0.0}, "flame_threshold is 0"),
        ({"stages": 3}, "stages is 3; use 1 or 2"),
        ({"staging": "clock"}, "staging is 'clock'; use thermostat or timer"),
        ({"light_on": "medium"}, "light_on is 'medium'; use low or high"),
        ({"forced_stage": "off"}, "forced_stage is 'off'; use none or low or high"),
        ({"interpurge": -1.0}, "interpurge is -1"),
        ({"timing": Timing(trials=0)}, "trials is 0"),
        ({"timing": Timing(prepurge=nan)}, "prepurge is nan"),
    ],
)
def test_settings_that_no_control_can_have_are_refused(change: dict[str, object], message: str) -> None:
    with pytest.raises(InputError, match=f"^control setting {message}"):
        replace(ControlSettings(), **change)  # type: ignore[arg-type]


@pytest.mark.parametrize("dt", [0.0, -0.1, 1.5, nan])
def test_step_too_long_to_keep_a_flame_safe_is_refused(dt: float) -> None:
    with pytest.raises(InputError, match="control cannot step by"):
        Control().step(dt, Inputs())


def test_step_costs_a_few_calls_of_a_function() -> None:
    """Side by side, best of many: some 0.4 us a step here, 10 to 12 times an empty call."""
    bench = Bench()
    bench.heating()
    inputs, step = bench.inputs, bench.control.step

    def nothing(_dt: float, _inputs: Inputs) -> None:
        return

    ours = min(timeit.repeat(lambda: step(0.1, inputs), number=2000, repeat=9))
    empty = min(timeit.repeat(lambda: nothing(0.1, inputs), number=2000, repeat=9))
    assert bench.control.phase == "run_low"
    assert ours < 30 * empty, f"{ours / 2000 * 1e6:.2f} us a step, {ours / empty:.0f} empty calls"
