"""Measures of whole attempts: what is doubtful, what is left out, and what they cost."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from analysis.measures import measures, spans
from analysis.measures.measured import Measured
from analysis.measures.names import meaning
from analysis.model import Series
from analysis.quantity import Quality
from analysis.sequence.attempts import OUTCOMES, Attempt
from drivers.simulate.meters import standard_meters
from tests.analysis.measures.bundled import bundled
from tests.analysis.measures.calibration import unit
from tests.analysis.measures.simulated import Truth, look

TWO_STAGES = 100
"""Seed of a unit with two stages. [1]"""


@lru_cache(maxsize=1)
def seen() -> tuple[Truth, tuple[Series, ...]]:
    truth = unit(TWO_STAGES)
    return truth, look(truth, standard_meters(truth.block.values, "full"), 1)


def by_name(series: tuple[Series, ...], attempts: tuple[Attempt, ...] | None = None) -> dict[str, Measured]:
    truth = seen()[0]
    papers = truth.papers
    found = measures(series, attempts or truth.attempts, papers.plate, papers.baseline, papers.timing)
    return {one.name: one for one in found}


def without(series: tuple[Series, ...], *points: str) -> tuple[Series, ...]:
    return tuple(one for one in series if one.channel.point not in points)


def test_a_rise_of_three_minutes_is_not_called_settled_and_says_where_it_was_heading() -> None:
    found = by_name(seen()[1])
    low, high = found["temp_rise.settled.low"], found["temp_rise.settled.high"]
    assert low.quantity.quality is Quality.SUSPECT
    assert "not settled after" in low.quantity.reason
    assert high.quantity.quality is Quality.GOOD
    assert high.start - seen()[0].attempts[0].spans("run_high")[0].start >= 900.0
    heading = found["temp_rise.expected.low"].quantity
    assert heading.u > low.quantity.u
    assert heading.quality is Quality.SUSPECT
    assert "temp_rise.expected.high" not in found


def test_a_blower_that_runs_already_does_not_show_its_delay() -> None:
    series = seen()[1]
    on = tuple(
        replace(one, value=np.ones_like(one.value)) if one.channel.point == "blower_on" else one for one in series
    )
    assert {"phase.duration.blower_on_delay", "phase.over_timing.blower_on_delay"} <= set(by_name(series))
    assert not [name for name in by_name(on) if name.endswith(".blower_on_delay")]


@pytest.mark.parametrize(
    ("missing", "untold"),
    [
        (("amps_igniter",), {"prepurge", "igniter_warmup"}),
        (("flame_current",), {"ignition_trial", "blower_on_delay"}),
        (("blower_on", "amps_blower", "static_supply", "static_return"), {"blower_on_delay", "blower_off_delay"}),
    ],
)
def test_a_phase_whose_ends_no_channel_shows_is_not_measured(missing: tuple[str, ...], untold: set[str]) -> None:
    """The recognizer fills it in by what is usual, or by the job file's own figure, which would pass then."""
    series = seen()[1]
    timed = {name.rpartition(".")[2] for name in by_name(series) if name.startswith("phase.over_timing")}
    left = {name.rpartition(".")[2] for name in by_name(without(series, *missing)) if "over_timing" in name}
    assert timed - left == untold


def test_a_meter_that_is_not_zeroed_makes_its_levels_doubtful_and_is_not_put_right() -> None:
    series = seen()[1]
    shifted = tuple(
        replace(one, value=one.value + 20.0) if one.channel.point == "draft_collector" else one for one in series
    )
    before, after = by_name(series)["draft_collector.hot.high"], by_name(shifted)["draft_collector.hot.high"]
    assert before.quantity.quality is Quality.GOOD
    assert after.quantity.quality is Quality.SUSPECT
    assert "at rest: not zeroed" in after.quantity.reason
    assert after.quantity.value == pytest.approx(before.quantity.value + 20.0, abs=0.5)
    assert by_name(shifted)["draft_vent.hot.high"].quantity.quality is Quality.GOOD


def test_a_measure_is_left_out_where_its_channel_is() -> None:
    found = by_name(without(seen()[1], "temp_return", "flame_current", "draft_switch"))
    words = {name.partition(".")[0] for name in found}
    assert not words & {"temp_rise", "flame_current", "draft_margin", "draft_switch"}
    assert "temp_supply.settled.high" in found
    assert not any(name.startswith("draft_margin.") for name in measured_without_plate())


def measured_without_plate() -> dict[str, Measured]:
    truth, series = seen()
    return {one.name: one for one in measures(series, truth.attempts)}


def test_of_two_meters_on_a_point_the_better_one_is_taken() -> None:
    series = seen()[1]
    first = next(one for one in series if one.channel.point == "temp_supply")
    better = replace(
        first, channel=replace(first.channel, instrument="better", accuracy="0.1 degC"), value=first.value + 1.0
    )
    found = by_name((*series, better))["temp_supply.settled.high"]
    assert found.channels == ("temp_supply@better",)
    assert by_name(series)["temp_supply.settled.high"].channels != found.channels


def test_the_low_stage_ends_before_the_inducer_speeds_up_for_the_high_one() -> None:
    truth, series = seen()
    one = by_name(series)["speed_inducer.hot.low"]
    speeds = truth.of("speed_inducer", one.start, one.end)
    assert np.ptp(speeds) < 20.0
    assert truth.of("speed_inducer", one.end, spans.stages_up(truth.attempts[0]) or 0.0)[-1] > speeds[-1] + 100.0


def test_drops_and_margins_share_the_error_of_their_one_sensor() -> None:
    found = by_name(seen()[1])
    assert found["gas_inlet.drop.high"].quantity.u < found["gas_inlet.static"].quantity.u / 4
    margin, pressure = found["draft_margin.hot.high"].quantity, found["draft_switch.hot.high"].quantity
    assert margin.u == pytest.approx(pressure.u)
    assert margin.value == pytest.approx(pressure.value - seen()[0].papers.plate.switch_open[-1])


def test_spans_of_boundaries_that_are_not_sure_keep_away_from_them() -> None:
    truth = seen()[0]
    attempt = truth.attempts[0]
    vague = replace(attempt, phases=tuple(replace(span, start_u=1.0, end_u=1.0) for span in attempt.phases))
    sharp, wide = spans.cold(attempt), spans.cold(vague)
    assert sharp is not None
    assert wide is not None
    assert wide.start > sharp.start + 1.5
    assert wide.end < sharp.end - 1.5


def test_a_blower_that_runs_for_the_heat_pump_is_no_zero_error_of_the_static_meters() -> None:
    recording = bundled("night_dual_fuel")
    found = measures(recording.series, recording.attempts, recording.job.plate)
    statics = [one for one in found if one.name.startswith("static_")]
    assert statics
    assert not any("not zeroed" in one.quantity.reason for one in statics)


def test_the_one_meter_that_was_left_unzeroed_is_found_and_no_other() -> None:
    recording = bundled("vent_iced_over")
    found = measures(recording.series, recording.attempts, recording.job.plate)
    said = {one.name.partition(".")[0] for one in found if "not zeroed" in one.quantity.reason}
    assert said == {"draft_vent"}


@pytest.mark.parametrize("seed", range(8))
def test_whatever_is_missing_or_out_of_place_measures_are_finite_or_left_out(seed: int) -> None:
    generator = np.random.default_rng(seed)
    recording = bundled(generator.choice(["healthy_natural_gas", "vent_iced_over", "flame_rod_dirty"]))
    series = []
    for whole in recording.series:
        kept = generator.random(whole.time.size) < generator.choice([0.0, 0.001, 0.02, 0.3, 1.0])
        value = np.where(generator.random(whole.time.size) < 0.1, np.nan, whole.value)
        series.append(Series(whole.channel, whole.time[kept], value[kept]))
    attempts = []
    for attempt in recording.attempts:
        by = float(generator.normal(0.0, 20.0))
        phases = tuple(
            replace(span, start=span.start + by, end=span.end + by, start_u=5.0 * generator.random(), end_u=3.0)
            for span in attempt.phases[: generator.integers(0, len(attempt.phases) + 1)]
        )
        attempts.append(replace(attempt, phases=phases, outcome=str(generator.choice(OUTCOMES)), probability=0.4))
    job = recording.job
    for one in measures(tuple(series), tuple(attempts), job.plate, job.baseline, job.timing):
        meaning(one.name)
        assert math.isfinite(one.quantity.value), one.name
        assert one.quantity.u >= 0, one.name
        assert one.start <= one.end, one.name
        assert one.quantity.reason or one.quantity.quality is Quality.GOOD, one.name
        assert one.quantity.explain()
