"""Whether the uncertainty of measures is what it says: random units, random meters with errors within their statements.

The truth is the simulator's own over the same span. LIGHTOFF_RECORDINGS=400 runs so many; the default is a small part.
"""

import math
import os
import sys

import numpy as np
import pytest

from analysis.measures import measures
from drivers.simulate.meters import standard_meters
from drivers.simulate.plant import Plant
from drivers.simulate.unit import random_unit
from tests.analysis.measures.calibration import Row, grouped, rows, table, unit
from tests.analysis.measures.simulated import Truth, look, run

RECORDINGS = int(os.environ.get("LIGHTOFF_RECORDINGS", "12"))
METERS_A_UNIT = 4
"""Sets of meters that look at one unit. [1]"""
JUDGED = (
    "temp_rise.settled draft_burner_box.cold draft_transition.cold draft_collector.cold draft_vent.cold"
    " draft_switch.cold draft_burner_box.hot draft_transition.hot draft_collector.hot draft_vent.hot draft_switch.hot"
    " draft_margin.cold draft_margin.hot draft_margin_high.hot gas_inlet.static gas_inlet.flowing gas_inlet.drop"
    " gas_manifold.flowing flame_current.settled static_return.settled static_supply.settled static_external.settled"
).split()
"""Measures whose intervals are held to their word."""
LONG = 200
"""Recordings from which coverage is judged without an allowance for chance. [1]"""
SPREAD = 1.0
"""Standard deviation of a squared error of unit variance, between that of one rectangle (0.9) and a normal (1.4)."""

pytestmark = pytest.mark.timeout(60 + 3 * RECORDINGS)


@pytest.fixture(scope="module")
def compared() -> list[Row]:
    found = []
    for seed in range(-(-RECORDINGS // METERS_A_UNIT)):
        truth = unit(1000 + seed)
        for specimen in range(METERS_A_UNIT):
            found += rows(truth, 1000 * (1 + specimen) + seed)
    judged = [row for row in found if row.name.startswith(tuple(JUDGED))]
    sys.stdout.write(f"\n{RECORDINGS} recordings\n{table(judged)}\nall others\n")
    sys.stdout.write(f"{table(row for row in found if row not in judged)}\n")
    return judged


def test_intervals_hold_the_truth_and_are_no_wider_than_they_have_to_be(compared: list[Row]) -> None:
    squares = np.array([row.z**2 for row in compared])
    assert np.mean(squares <= 4) >= 0.93
    assert 0.8 <= np.mean(squares) <= 1.2


def test_each_measure_alone_keeps_its_word_as_far_as_so_few_recordings_tell(compared: list[Row]) -> None:
    spreads = 2 if RECORDINGS >= LONG else 3
    for name, own in grouped(compared).items():
        squares = np.array([row.z**2 for row in own])
        chance = spreads * SPREAD / math.sqrt(len(own))
        assert np.mean(squares <= 4) >= 0.93 - 3 * math.sqrt(0.05 / len(own)) * (RECORDINGS < LONG), name
        assert 0.8 - chance <= np.mean(squares) <= 1.2 + chance, name


def test_a_rise_is_right_on_average_to_a_degree_fahrenheit(compared: list[Row]) -> None:
    for stage in ("low", "high"):
        errors = [row.value - row.truth for row in compared if row.name == f"temp_rise.settled.{stage}"]
        sure = np.mean([row.u for row in compared if row.name == f"temp_rise.settled.{stage}"])
        assert abs(np.mean(errors)) < 5 / 9 + 2 * sure / math.sqrt(len(errors))


def test_where_an_unsettled_rise_was_heading_holds_what_it_came_to() -> None:
    squares, added = [], []
    for seed in range(2006, 2006 + max(4, RECORDINGS // 10)):  # the first four have a low stage
        kind = random_unit(seed)
        short = run(Plant(kind, seed=seed, calls=((20.0, 240.0, 1),)), 250.0)
        series = look(short, standard_meters(short.block.values, "full"), seed)
        found = {one.name: one for one in measures(series, short.attempts, short.papers.plate)}
        if "temp_rise.expected.low" not in found:
            continue
        heading, reached = found["temp_rise.expected.low"].quantity, found["temp_rise.settled.low"]
        settled = run(Plant(kind, seed=seed, calls=((20.0, 1000.0, 1),)), 860.0)
        came, was = rise(settled, 820.0, 860.0), rise(short, reached.start, reached.end)
        squares.append(((heading.value - came) / heading.u) ** 2)
        share = next(size for error, size in heading.budget if error.name.startswith("what the rise still had"))
        added.append(((heading.value - reached.quantity.value - (came - was)) / share) ** 2)
    sys.stdout.write(f"\nheading of {len(squares)} rises: mean squared error {np.mean(squares):.2f} u2")
    sys.stdout.write(f", of what was added {np.mean(added):.2f} of its own u2\n")
    assert len(squares) >= 4
    assert np.mean(squares) < 1.5
    assert np.mean(np.array(squares) <= 4) >= 0.93
    assert np.mean(added) < 2.0


def rise(truth: Truth, start: float, end: float) -> float:
    """True mean rise over a span. [K]"""
    return truth.mean("temp_supply", start, end) - truth.mean("temp_return", start, end)
