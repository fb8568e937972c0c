"""The simulated technician: ends when sure, saves against the checklist, takes measurements from whoever makes them."""

import random
from dataclasses import replace

import pytest

from analysis.diagnosis.situation import Situation
from analysis.diagnosis.steps.catalogue import ORDERS, STEPS
from tests.benchmarks.diagnosis.next_tests import (
    FULL,
    SURE,
    FromTables,
    Searched,
    by_order,
    by_ranking,
    calls,
    compared,
    report,
    saved,
    search,
)

SWITCH = [complaint for complaint in ORDERS if complaint.startswith("pressure switch")]


def test_following_the_results_saves_forty_percent_of_the_minutes_of_pressure_switch_calls():
    """A tenth of the calls of the benchmark, whose own figure is in docs/next-tests.md."""
    ranked, fixed = compared(calls(30, 7, SWITCH))
    assert saved(ranked, fixed) >= 0.4
    assert sum(one.sure for one in ranked) >= sum(one.sure for one in fixed)
    assert sum(one.named == one.cause for one in ranked if one.sure) >= 0.8 * sum(one.sure for one in ranked)
    assert "quartiles" in report(ranked, fixed)


def test_both_ways_see_the_same_result_of_the_same_test():
    start = FromTables({"igniter_faulty": 0.5, "flame_sensor_weak": 0.5})
    courses = [
        search(by_order("no ignition, or flame lost"), "igniter_faulty", start, FULL, number=3) for _ in range(2)
    ]
    assert courses[0] == courses[1]


class Sharp(FromTables):
    """Beliefs to which a clamp on the igniter's lead tells everything."""

    def information(self, measures: tuple[str, ...]) -> float:
        return 2.0 if measures == ("amps_igniter.warmup",) else 0.0


def told(beliefs: Searched, measures: tuple[str, ...], cause: str, draw: random.Random) -> Searched:
    """A stand-in for a measurement: it names the cause."""
    assert measures == ("amps_igniter.warmup",)
    shares = {one: 0.95 if one == cause else 0.05 for one in beliefs.probabilities}
    return Sharp({one: share / sum(shares.values()) for one, share in shares.items()}, beliefs.measured | {*measures})


def test_measurements_are_made_by_whoever_makes_them():
    start = Sharp({"igniter_faulty": 0.5, "flame_sensor_weak": 0.5})
    course = search(by_ranking, "flame_sensor_weak", start, FULL, number=1, measuring=told)
    assert (course.named, course.sure, course.tests) == ("flame_sensor_weak", True, 1)
    assert course.minutes == STEPS["meter_igniter"].minutes


@pytest.mark.parametrize("situation", [Situation(), replace(FULL, stops=frozenset(["gas_smell"]))])
def test_where_nothing_may_be_done_the_search_ends(situation):
    start = FromTables({"igniter_faulty": 0.6, "gas_valve_faulty": 0.4})
    course = search(by_order(SWITCH[0]), "igniter_faulty", start, replace(situation, done=STEPS_MADE), number=1)
    assert (course.tests, course.minutes, course.sure) == (0, 0.0, False)
    assert max(start.probabilities.values()) < SURE


STEPS_MADE = dict.fromkeys(STEPS, "")
