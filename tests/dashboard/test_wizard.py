"""Words for a new meter: every point has its place, and nothing that is said defeats a safety or opens gas."""

import re

import pytest

from analysis.points import POINTS, measure_of
from collector.instruments import LIVE_PARTS
from collector.job_values import accuracy
from dashboard.wizard import GROUPS, PLACES, group_of, words

NEVER = re.compile(r"\b(jumper|tape|adjust|drill|reset|light the|start the|turn on|open the gas|match|lighter|smoke)\b")
"""What no advice may hold; common practice, no published source."""


def test_every_point_has_its_place_and_the_table_no_other():
    assert set(PLACES) == set(POINTS)


@pytest.mark.parametrize("point", [*POINTS])
def test_advice_is_short_and_harmless(point):
    place = PLACES[point]
    for text in (place.where, place.move):
        assert 5 < len(text) < 120
        assert not NEVER.search(text.lower())
    assert "blow into" not in place.move or "Do not blow into" in place.move
    assert place.move.endswith(".")


@pytest.mark.parametrize("point", [*POINTS])
def test_nothing_is_handled_before_it_is_off_the_unit(point):
    """Common practice, no published source: leads may be clipped on, a hose may be on gas, a flue's probe is hot."""
    move = PLACES[point].move
    if "tips" in move or "battery" in move:
        assert move.startswith("Take both leads off the unit first. ")
    if "pinch" in move:
        assert move.startswith(
            ("Only before the hose is on its tap: ", "With the burners off and the hose off the unit, ")
        )
    if point.startswith("gas_") and point != "gas_valve":
        assert move.endswith("If it is on already, leave it on.")
    if "flue" in point and point != "flue_co":
        assert move.startswith("Only before it is in the flue: ")


@pytest.mark.parametrize("point", sorted(LIVE_PARTS - {"flame_current"}))
def test_a_place_that_may_be_on_the_line_circuit_says_live_work(point):
    assert PLACES[point].where.endswith("; live work")


def test_what_an_accuracy_looks_like_is_one_at_its_point():
    told = {name: facts["accuracy"] for name, facts in words().items()}
    for point, example in told.items():
        assert bool(example) == (measure_of(point).name != "contact"), point
        if example:
            accuracy(example, point)


def test_headings_gather_what_belongs_together():
    assert group_of("gas_inlet") == "Gas"
    assert group_of("gas_valve") == "Contacts"
    assert group_of("flue_o2") == group_of("room_co") == "Gas analysis"
    assert {facts["group"] for facts in words().values()} == {heading for heading, _ in GROUPS}
