"""The table of tiles against the table of points, and the units on screen against worked conversions."""

import json
from collections import Counter
from typing import Any

import pytest

from analysis.model import Plate
from analysis.points import DERIVED, MEASURES, POINTS
from analysis.units import to_inside
from collector.rules import default_rules
from dashboard.tiles import CO_LADDER, CONTACTS, CORNER, SUCTION, TILES, placed, scale_of, skeletons, words
from drivers.manual import Manual, parse_entry


def test_every_point_and_derived_quantity_has_exactly_one_place() -> None:
    places = Counter(placed())
    assert set(places) == {*POINTS, *DERIVED}
    assert set(places.values()) == {1}


def test_contacts_are_the_contact_points_and_have_two_words_each() -> None:
    contacts = {name for name, point in POINTS.items() if point.measure == "contact"}
    assert {contact.point for contact in CONTACTS} == contacts
    assert all(contact.on.lower() != contact.off.lower() for contact in CONTACTS)


def test_suction_is_told_of_pressures_only() -> None:
    assert all(POINTS[name].measure == "pressure" for name in SUCTION)


def test_tiles_stand_in_the_order_of_the_sequence() -> None:
    names = [tile.name for tile in TILES]
    first = ["draft_switch", "volts_control", "gas_manifold", "flame_current", "temp_supply", "humidity_supply"]
    assert sorted(first, key=names.index) == first


def test_the_largest_number_has_its_name_where_the_title_does_not_tell_it() -> None:
    told = {tile.title: tile.names_its_number for tile in TILES}
    assert told == {tile.title: True for tile in TILES} | {
        "24 V and contacts": False,
        "gas": False,
        "humidity": False,
        "static pressure": False,
        "flue gas": False,
        "other temperatures": False,
        "line and switch volts": False,
        "motors and igniter": False,
    }


def test_levels_of_carbon_monoxide_are_those_of_the_alarms() -> None:
    rules = [rule for rule in default_rules(Plate()) if rule.point == CORNER]
    assert [level.value for level in CO_LADDER] == pytest.approx([rule.above for rule in rules])
    for level, rule in zip(CO_LADDER, rules, strict=True):
        assert rule.name == f"room_co_{level.name.replace('-', '_')}"
    assert len({level.shape for level in CO_LADDER}) == len(CO_LADDER), "told apart without colours too"


@pytest.mark.parametrize("units", ["trade", "metric"])
@pytest.mark.parametrize("point", POINTS)
def test_the_example_in_the_form_can_be_typed_in_with_the_unit_shown(point: str, units: str) -> None:
    told = words()
    measure = told["points"][point]["measure"]
    text = f"{told['examples'][measure][units].split()[0]} {told['measures'][measure][units]['label']}"
    reading = Manual(now=lambda: 0).enter(point, *parse_entry(text))
    assert reading.value == float(text.split(maxsplit=1)[0])


def every(element: Any) -> list[dict[str, Any]]:
    """All elements of a layout, as plain objects."""
    if isinstance(element, list):
        return [one for child in element for one in every(child)]
    if not isinstance(element, dict):
        return []
    return [element["props"], *every(element["props"].get("children"))]


def test_skeletons_are_hidden_and_can_be_found() -> None:
    markup = json.loads(
        json.dumps([tile.to_plotly_json() for tile in skeletons()], default=lambda o: o.to_plotly_json())
    )
    elements = every(markup)
    tiles = [one for one in elements if str(one.get("id", "")).startswith("tile-")]
    assert [one["id"] for one in tiles] == [f"tile-{tile.name}" for tile in TILES]
    assert all(one["hidden"] for one in tiles)
    mains = [one for one in elements if "tile-main" in str(one.get("className"))]
    assert ["tile-told" in one["className"] for one in mains] == [tile.names_its_number for tile in TILES]
    rows = [one["data-point"] for one in elements if "tile-row" in str(one.get("className"))]
    assert rows == [point for tile in TILES for point in tile.points]
    assert sum(one.get("className") == "tile-value" for one in elements) == len(rows)
    assert sum(one.get("className") == "tile-age" for one in elements) == len(rows)


@pytest.mark.parametrize(
    ("measure", "inside", "trade", "metric"),
    [
        ("pressure", 124.544455, 0.5, 124.544455),  # 1 inH2O at 4 degC is 249.08891 Pa, NIST SP 811 table B.8
        ("temperature", 76.0 + 2 / 3, 170.0, 76.0 + 2 / 3),
        ("temperature", -40.0, -40.0, -40.0),
        ("temperature_difference", 25.0, 45.0, 25.0),
        ("humidity", 0.38, 38.0, 38.0),
        ("flame_current", 3.2e-6, 3.2, 3.2),
        ("trace", 9e-6, 9.0, 9.0),
        ("fraction", 0.209, 20.9, 20.9),
    ],
)
def test_screen_units(measure: str, inside: float, trade: float, metric: float) -> None:
    for units, expected in (("trade", trade), ("metric", metric)):
        scale, offset = scale_of(MEASURES[measure], units)
        assert inside * scale + offset == pytest.approx(expected, rel=1e-6)


def test_the_script_is_told_every_measure_point_and_contact() -> None:
    told = json.loads(json.dumps(words()))
    assert set(told["points"]) == {*POINTS, *DERIVED}
    assert {point["measure"] for point in told["points"].values()} <= set(told["measures"])
    assert set(told["typed"]) == set(POINTS)
    assert told["measures"]["pressure"]["trade"]["label"] == "in. w.c."
    assert told["points"]["draft_collector"]["suction"]
    assert not told["points"]["draft_switch"]["suction"]


def test_every_unit_that_is_offered_measures_its_point_and_the_one_shown_is_among_them() -> None:
    units = words()["units"]
    assert set(units) == {POINTS[name].measure for name in POINTS} - {"contact"}
    for name, offered in units.items():
        for unit in offered:
            to_inside(unit, MEASURES[name])
        assert {MEASURES[name].trade_label, MEASURES[name].metric_label} <= set(offered)
