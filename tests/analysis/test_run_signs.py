"""Signs of danger in how a run went: seen where they are made, and in no bundled recording without them."""

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from analysis.blower_step import GUARD, WINDOW, step_at
from analysis.measures import Measured, measures
from analysis.quantity import Quantity
from analysis.run_signs import BREACH, LATE, late, rising, run_signs, steps
from analysis.sequence.attempts import Attempt, PhaseSpan
from collector.opened import open_data
from drivers.simulate.meters import standard_meters
from drivers.simulate.visits import visit
from tests.collector.analyses import T0, series, true_attempts
from tests.sequence.long_runs import observed

HEALTHY = "healthy_natural_gas healthy_propane intake_covered vent_iced_over secondary_corroded inducer_tired".split()

SIMULATED = {("none", 9): 0, ("none", 28): 0, ("heat_exchanger_breach", 10): 1, ("heat_exchanger_breach", 13): 1}
"""Drawn visits and whether they have the sign; of the healthy ones 9 has a gust, 28 a blower soon after the flame."""
RISES = "secondary_corroded"
"""Of them the one whose carbon monoxide does rise with the run: 25 ppm in 13 min."""


def run(stage_after: float = 600.0) -> Attempt:
    """Flame at 30 s, blower at 60 s, second stage later."""
    edges = (0.0, 25.0, 30.0, 60.0, 60.0 + stage_after, 1200.0)
    names = ("igniter_warmup", "ignition_trial", "blower_on_delay", "run_low", "run_high")
    phases = [
        PhaseSpan(name, T0 + start, T0 + end, 0.1, 0.1)
        for name, start, end in zip(names, edges, edges[1:], strict=False)
    ]
    return Attempt(1, 1, T0, T0 + 1200.0, 0.1, 0.1, "high", "heat", 1.0, T0 + 1200.0, 0.1, tuple(phases))


def suction(step: float, noise: float = 0.3, level: float = -120.0, point: str = "draft_transition"):
    """A suction that warms, with a step where the blower starts. [Pa]"""
    time = np.arange(0.0, 120.0, 0.2)
    drift = -8.0 * np.exp(-np.maximum(time - 30.0, 0.0) / 40.0)
    scatter = np.random.default_rng(int(-level)).normal(0.0, noise, time.size)
    ramp = np.clip((time - 60.0) / 2.0, 0.0, 1.0)
    return series(point, time, level + drift + scatter + step * ramp)


def measured(name: str, value: float, u: float, length: float = 300.0) -> Measured:
    return Measured(name, Quantity(value, "1/min", u), T0, T0 + length, 1)


@pytest.mark.parametrize(("size", "seen"), [(0.0, False), (6.0, False), (12.0, True), (-12.0, False), (60.0, False)])
def test_a_suction_that_becomes_weaker_when_the_blower_starts_is_a_possible_breach(size, seen):
    """Not one that becomes stronger, nor one that a gust makes, nor one so large that the speed must have changed."""
    found = list(steps([suction(size)], [run()]))
    assert [one.rule for one in found] == ["breach_sign"] * seen
    if seen:
        assert found[0].start == T0 + 60.0
        assert "possible heat exchanger breach: the suction at the transition box" in found[0].text
        assert "No step never clears an exchanger." in found[0].text


@pytest.mark.parametrize(("gust", "step", "seen"), [(12.0, 0.0, False), (12.0, 5.0, True), (0.0, 5.0, True)])
def test_with_the_burner_box_beside_it_a_gust_is_told_from_a_step(gust, step, seen):
    """12 Pa at both taps are wind; 5 Pa more at the transition box, on meters of 0.01 in. w.c., are not."""
    found = list(steps([suction(gust + step), suction(gust, level=-25.0, point="draft_burner_box")], [run()]))
    assert bool(found) == seen


def test_no_step_is_told_where_the_stage_changes_beside_it():
    assert list(steps([suction(12.0)], [run(stage_after=10.0)])) == []


def test_a_step_has_its_size_and_its_uncertainty():
    one = suction(6.0)
    step = step_at(one.time, one.value, T0 + 60.0, wind=0.0)
    assert step is not None
    assert step.size == pytest.approx(6.0, abs=2.0 * step.u)
    assert step.weaker
    early = one.time < T0 + 60.0 + GUARD + WINDOW / 3
    assert step_at(one.time[early], one.value[early], T0 + 60.0) is None


@pytest.mark.parametrize(("slope", "u", "seen"), [(5e-6, 1e-6, True), (5e-6, 3e-6, False), (1e-6, 1e-7, False)])
def test_co_that_rises_by_more_than_its_uncertainty_is_a_stop(slope, u, seen):
    """1 ppm a minute for five minutes is less than the ten that count."""
    assert [one.rule for one in rising([measured("flue_co.trend.high", slope, u)])] == ["flue_co_rising"] * seen


@pytest.mark.parametrize(
    ("delays", "count"),
    [([1.0, 1.2, 1.1], 0), ([LATE + 1.0], 1), ([LATE + 0.1], 0), ([1.0, 1.1, 3.2], 1), ([1.0, 3.2], 0)],
)
def test_a_flame_that_comes_late_for_any_unit_or_for_this_one_is_a_stop(delays, count):
    lit = [measured("ignition.light_off_delay", delay, 0.2) for delay in delays]
    assert len(list(late(lit))) == count


@pytest.mark.parametrize("name", HEALTHY)
def test_no_bundled_recording_without_them_has_such_signs(name):
    """Units that are in order, and units with other faults at their taps."""
    opened = open_data(Path(str(files("replay_data") / f"{name}.csv.gz")))
    attempts = true_attempts(name, opened.start)
    assert attempts
    found = measures(opened.series, attempts, opened.job.plate)
    signs = run_signs(opened.series, attempts, found)
    assert {one.rule for one in signs} == ({"flue_co_rising"} if name == RISES else set())


@pytest.mark.parametrize(("cause", "seed"), SIMULATED)
def test_a_simulated_breach_steps_and_a_healthy_unit_does_not(cause, seed):
    drawn = visit(seed, (cause,))
    seen = observed(drawn.plant, drawn.plant.unit, standard_meters(drawn.plant.points), seed, drawn.seconds)
    assert bool(list(steps(seen.series, seen.truth))) == bool(SIMULATED[cause, seed])


def test_the_breach_is_said_as_possible_and_as_what_else_it_may_be():
    assert "possible" in BREACH
    assert "confirm by inspection" in BREACH
    assert "blower door" in BREACH
