"""How long the measures of a day's recording take; the bound is generous, since the machine is shared."""

import sys
import time
from dataclasses import replace

import numpy as np

from analysis.measures import measures
from analysis.model import Channel, Series
from analysis.sequence.attempts import Attempt, PhaseSpan
from tests.analysis.measures.calibration import unit

DAY = 24 * 3600.0
"""[s]"""
POINTS = (
    "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high gas_inlet gas_manifold"
    " static_return static_supply temp_return temp_supply flame_current volts_control amps_inducer gas_valve"
).split()
TWO_STAGES = 100
"""Seed of a unit with two stages. [1]"""
WISHED, HELD = 2.0, 6.0
"""Wished for, and held to. [s]"""


def test_a_day_of_ten_readings_a_second_with_a_hundred_attempts_takes_about_two_seconds() -> None:
    truth = unit(TWO_STAGES)
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
    sys.stdout.write(
        f"\n{len(found)} measures of {clock.size * len(POINTS):,} readings in {took:.2f} s, wished {WISHED:g} s\n"
    )
    assert len(found) > 5000
    assert took < HELD


def moved(attempt: Attempt, number: int, by: float, end: float) -> Attempt:
    """The attempt at another time, cut off at `end` of its own clock. [s]"""
    phases = tuple(
        PhaseSpan(span.phase, by + span.start, by + min(span.end, end), span.start_u, span.end_u)
        for span in attempt.phases
        if span.start < end
    )
    last = by + min(attempt.end, end)
    return replace(attempt, number=number, phases=phases, start=by + attempt.start, end=last, deciding_time=last)
