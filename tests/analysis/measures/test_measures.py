"""Measures of whole attempts: what is doubtful, what is left out, and what they cost."""

import sys
import time
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from analysis.measures import measures, spans
from analysis.measures.measured import Measured
from analysis.model import Channel, Series
from analysis.quantity import Quality
from analysis.sequence.attempts import Attempt, PhaseSpan
from drivers.simulate.meters import standard_meters
from tests.analysis.measures.bundled import bundled
from tests.analysis.measures.calibration import unit
from tests.analysis.measures.simulated import Truth, look

DAY = 24 * 3600.0
POINTS = (
    "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high gas_inlet gas_manifold"
    " static_return static_supply temp_return temp_supply flame_current volts_control amps_inducer gas_valve"
).split()
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


def test_a_day_of_ten_readings_a_second_with_a_hundred_attempts_takes_about_two_seconds() -> None:
    truth = seen()[0]
    attempt, rate = truth.attempts[0], 10.0
    clock = np.arange(0.0, DAY, 1 / rate)
    generator = np.random.default_rng(1)
    series, noise = [], generator.standard_normal(clock.size)
    for point in POINTS:
        values = np.resize(truth.block.values[point][: round(864 * rate)], clock.size)
        channel = Channel(point, "meter", "1")
        series.append(
            Series(channel, clock, values if point == "gas_valve" else values + 1e-3 * np.max(values) * noise)
        )
    attempts = tuple(moved(attempt, number, 864.0 * (number - 1), 860.0) for number in range(1, 101))
    papers = truth.papers
    begun = time.process_time()
    found = measures(series, attempts, papers.plate, papers.baseline, papers.timing)
    took = time.process_time() - begun
    sys.stdout.write(f"\n{len(found)} measures of {clock.size * len(POINTS):,} readings in {took:.2f} s\n")
    assert len(found) > 5000
    assert took < 4.0  # 1.5 where nothing else runs


def moved(attempt: Attempt, number: int, by: float, end: float) -> Attempt:
    """The attempt at another time, cut off at `end` of its own clock. [s]"""
    phases = tuple(
        PhaseSpan(span.phase, by + span.start, by + min(span.end, end), span.start_u, span.end_u)
        for span in attempt.phases
        if span.start < end
    )
    last = by + min(attempt.end, end)
    return replace(attempt, number=number, phases=phases, start=by + attempt.start, end=last, deciding_time=last)


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
