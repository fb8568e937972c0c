"""Words for a new meter: every point has its place, and nothing that is said defeats a safety or opens gas."""

import re

import pytest

from analysis.points import POINTS
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


def test_headings_gather_what_belongs_together():
    assert group_of("gas_inlet") == "Gas"
    assert group_of("gas_valve") == "Contacts"
    assert group_of("flue_o2") == group_of("room_co") == "Gas analysis"
    assert {facts["group"] for facts in words().values()} == {heading for heading, _ in GROUPS}
