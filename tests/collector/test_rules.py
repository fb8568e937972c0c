"""Alarm rules that follow from a plate, and what they ask people to do."""

from dataclasses import replace

import pytest

from analysis.model import Plate, Quality
from analysis.points import DERIVED, POINTS
from collector.alarm_rule import AlarmRule
from collector.alarms import AlarmError, Alarms
from collector.rules import default_rules
from tests.collector.plate import INCH, PLATE


def names(rules: tuple[AlarmRule, ...]) -> set[str]:
    return {one.name for one in rules}


def test_empty_plate_leaves_what_needs_no_plate() -> None:
    ladder = {"room_co_evacuate", "room_co_shut_down", "room_co_advise"}
    assert names(default_rules(Plate())) == ladder | {"dew_point_margin", "volts_control_low"}
    assert names(default_rules(Plate(), frozenset())) == ladder


@pytest.mark.parametrize(
    ("key", "rules"),
    [
        ("rise", {"rise_high", "rise_low"}),
        ("static_max", {"static_max"}),
        ("supply_max", {"supply_max"}),
        ("gas_inlet", {"gas_inlet_low", "gas_inlet_high"}),
        ("switch_close", {"draft_margin", "draft_margin_high"}),
        ("flame_current_min", {"flame_current_min"}),
    ],
)
def test_figure_of_the_plate_brings_its_rules(key: str, rules: set[str]) -> None:
    alone = replace(Plate(), **{key: getattr(PLATE, key)})
    assert names(default_rules(alone)) - names(default_rules(Plate())) == rules


def test_limits_are_the_plates() -> None:
    rules = {one.name: one for one in default_rules(PLATE)}
    limits = {name: (one.above, one.below) for name, one in rules.items()}
    low, high = (35 / 1.8, 65 / 1.8)
    assert limits["rise_high"] == (high, None)
    assert limits["rise_low"] == (None, low)
    assert limits["static_max"] == (0.5 * INCH, None)
    assert limits["supply_max"] == (76.7, None)
    assert limits["gas_inlet_low"] == (None, 4.5 * INCH)
    assert limits["gas_inlet_high"] == (10.5 * INCH, None)
    assert limits["flame_current_min"] == (None, 1e-6)
    assert limits["draft_margin"] == limits["draft_margin_high"] == (None, 0.0)
    assert rules["draft_margin_high"].when == ("switch_high_closed", 1.0)
    # Rise counts after 15-20 min at full fire (two maker's manuals); too high a rise is told before.
    assert (rules["rise_low"].settle, rules["rise_high"].settle) == (900, 120)


def test_single_stage_has_one_switch() -> None:
    rules = default_rules(Plate(switch_close=(125.0,)))
    assert "draft_margin" in names(rules)
    assert "draft_margin_high" not in names(rules)
    [draft] = [one for one in rules if one.name == "draft_margin"]
    assert draft.text == "Pressure switch is closed, under its closing point"


# ANSI/BPI-1200 from memory: up to 8 ppm go on, 9 to 35 advise, 36 to 69 shut down and ventilate, 70 and more evacuate.
@pytest.mark.parametrize(
    ("ppm", "active"),
    [
        (8, set()),
        (9, {"room_co_advise"}),
        (35, {"room_co_advise"}),
        (36, {"room_co_advise", "room_co_shut_down"}),
        (69, {"room_co_advise", "room_co_shut_down"}),
        (70, {"room_co_advise", "room_co_shut_down", "room_co_evacuate"}),
    ],
)
def test_ladder_of_carbon_monoxide_in_the_room(ppm: int, active: set[str]) -> None:
    changes = Alarms(default_rules(Plate())).step("room_co", 0, ppm * 1e-6, Quality.GOOD)
    assert {change.name for change in changes} == active
    assert {change.priority for change in changes if change.name != "room_co_advise"} <= {"safety"}
    assert all(f": {ppm} ppm, limit " in change.text for change in changes)


@pytest.mark.parametrize("name", ["room_co_advise", "room_co_shut_down", "room_co_evacuate"])
def test_no_alarm_of_carbon_monoxide_can_be_muted(name: str) -> None:
    alarms = Alarms(default_rules(Plate()))
    alarms.step("room_co", 0, 80e-6, Quality.GOOD)
    with pytest.raises(AlarmError, match="cannot be muted"):
        alarms.shelve(name, 1, 60)
    assert not any(status.can_be_muted for status in alarms.snapshot() if status.point == "room_co")


def test_rule_without_its_instrument_is_left_out() -> None:
    measured = frozenset({"temp_supply", "temp_return", "gas_valve", "draft_switch", "flame_current"})
    found = names(default_rules(PLATE, measured)) - names(default_rules(Plate(), frozenset()))
    assert found == {"supply_max", "rise_high", "rise_low", "flame_current_min"}


def test_rule_loses_a_contact_that_is_not_measured_unless_it_would_alarm_at_rest() -> None:
    measured = frozenset(POINTS) - {"gas_valve", "blower_on", "switch_closed"}
    rules = {one.name: one for one in default_rules(PLATE, measured)}
    assert {"rise_low", "flame_current_min", "draft_margin"}.isdisjoint(rules)
    assert all(rules[name].when is None for name in ("rise_high", "static_max", "gas_inlet_low"))
    assert rules["draft_margin_high"].when is not None


def test_every_rule_says_what_to_do_and_leaves_every_safety_in_place() -> None:
    for one in default_rules(PLATE):
        assert one.point in (*POINTS, *DERIVED)
        assert not one.text[0].islower()
        assert not one.text.endswith(".")
        assert one.action.endswith(".")
        assert "maker's instructions" in one.action or "ocal codes" in one.action, one.name
        for never in ("jumper", "bypass", "bridge", "tape", "drill", "raise the manifold", "reset"):
            assert never not in one.action.lower()


def test_what_stops_all_firing_takes_the_page_over_and_nothing_else_does():
    plate = Plate(
        rise=(20.0, 36.0),
        supply_max=76.0,
        gas_inlet=(1100.0, 2600.0),
        switch_close=(200.0,),
        flame_current_min=1e-6,
        static_max=125.0,
    )
    rules = default_rules(plate)
    assert {rule.name for rule in rules if rule.takes_over} == {
        "room_co_evacuate",
        "room_co_shut_down",
        "gas_inlet_high",
    }
    alarms = Alarms(rules)
    told = {status.name: (status.takes_over, status.can_be_muted) for status in alarms.snapshot()}
    assert told["gas_inlet_high"] == (True, False)
    assert told["gas_inlet_low"] == (False, True)
