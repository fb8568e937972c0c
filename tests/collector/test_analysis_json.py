"""An analysis as JSON: its schema, its units, its rounding, its times."""

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from analysis.checks import Check
from analysis.measures import Measured
from analysis.measures.names import NAMES, meaning, measure_of_name
from analysis.model import ORIGINS
from analysis.quantity import Quantity
from analysis.sequence.attempts import OUTCOMES, PHASES, Recognition
from collector.alarm_rule import PRIORITIES
from collector.analysis_json import in_json, text_of
from collector.analysis_run import Analysis
from collector.analysis_text import VERDICTS
from collector.analysis_units import UNITS, in_units, rounded, seconds
from collector.past_alarms import PastAlarm
from tests.collector.analyses import T0, opened, whole

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "analyze.schema.json").read_text())
VALID = Draft202012Validator(SCHEMA)


def test_the_schema_is_one():
    Draft202012Validator.check_schema(SCHEMA)


def test_an_analysis_with_something_in_every_part_is_as_the_schema_says():
    VALID.validate(json.loads(text_of(whole())))


def test_an_analysis_of_nothing_is_as_the_schema_says():
    empty = json.loads(text_of(Analysis(opened(start=0.0, end=0.0), Recognition())))
    VALID.validate(empty)
    assert empty["attempts"] == []
    assert (empty["recording"]["start"], empty["recording"]["job"]) == (None, None)


@pytest.mark.parametrize(
    ("path", "names"),
    [
        (("attempt", "properties", "outcome", "enum"), OUTCOMES),
        (("attempt", "properties", "phases", "items", "properties", "phase", "enum"), PHASES),
        (("alarm", "properties", "priority", "enum"), PRIORITIES),
        (("recording", "properties", "origins", "items", "enum"), sorted(ORIGINS)),
        (("check", "properties", "verdict", "enum"), tuple(VERDICTS)),
    ],
)
def test_the_schema_has_every_name_and_no_other(path, names):
    found = SCHEMA["$defs"]
    for step in path:
        found = found[step]
    assert found == list(names)


def test_a_name_that_is_none_is_refused_by_the_schema():
    wrong = in_json(whole())
    wrong["attempts"][0]["outcome"] = "exploded"
    assert [error.json_path for error in VALID.iter_errors(wrong)] == ["$.attempts[0].outcome"]


def test_times_count_from_the_first_row():
    first, *_ = in_json(whole())["attempts"]
    assert (first["start"], first["end"], first["deciding_time"]) == (10.1, 405.1, 383.6)
    assert first["phases"][1] == {"phase": "prepurge", "start": 14.6, "end": 29.6, "start_u": 0.05, "end_u": 0.05}
    late = replace(whole(), opened=opened(start=T0 + 10.0004))
    assert in_json(late)["attempts"][0]["start"] == 0.1


@pytest.mark.parametrize(
    ("name", "unit", "value", "u"),
    [
        ("temp_rise.settled.high", "degF", 54.0, 0.45),  # a difference: 30 K are 54 degF
        ("temp_supply.settled", "degF", 122.0, 0.9),
        ("flame_current.settled", "uA", 3.2, 0.05),
        ("humidity_supply.settled", "%", 8.0, 1.0),
        ("amps_inducer.settled", "A", 1.2, None),
        ("flue_co.settled", "ppm", None, None),
    ],
)
def test_units_are_those_of_the_heads_of_csv_files(name, unit, value, u):
    (found,) = [one for one in in_json(whole())["measures"] if one["name"] == name]
    assert (found["unit"], found["value"], found["u"]) == (unit, value, u)


@pytest.mark.parametrize(
    ("name", "quantity", "told"),
    [
        ("draft_collector.trend.high", Quantity(249.08891, "Pa/min", 2.4908891), ("inH2O/min", 1.0, 0.01)),
        ("flame_current.trend.high", Quantity(-4e-8, "A/min", 1e-9), ("uA/min", -0.04, 0.001)),
        ("temp_supply.trend.high", Quantity(5.0, "K/min", 0.1), ("degF/min", 9.0, 0.18)),
        ("temp_supply.swing", Quantity(5.0, "K", 0.1), ("degF", 9.0, 0.18)),
        ("cycle.mean", Quantity(300.0, "s", 1.0), ("s", 300.0, 1.0)),
    ],
)
def test_rates_and_differences_have_no_offset(name, quantity, told):
    one = Measured(name, quantity, T0, T0 + 1, None)
    (found,) = in_json(Analysis(opened(), Recognition(), measures=(one,)))["measures"]
    assert (found["unit"], found["value"], found["u"]) == told


def test_every_measure_stands_in_the_units_of_the_heads():
    for name in (name for entry in NAMES for name in entry.names):
        entry, measure = meaning(name), measure_of_name(name)
        per = "/min" if entry.per_minute else ""
        inside = entry.unit or (f"{measure.inside}{per}" if measure else "")
        for units in UNITS:
            wanted = f"{getattr(measure, units)}{per}" if measure else inside
            assert in_units(name, Quantity(1.0, inside, 0.1), units).unit == wanted, name


def test_an_inch_of_water_is_that_at_4_degc():
    """249.08891 Pa: NIST SP 811 (2008), appendix B.8, inch of water (4 degC) 2.490 89 E+02."""
    (smallest, _) = [one for one in in_json(whole())["measures"] if one["name"] == "draft_margin.smallest"]
    assert (smallest["value"], smallest["unit"]) == (-0.01, "inH2O")


def test_metric_units_are_metric():
    found = in_json(replace(whole(), units="metric"))
    told = {one["name"]: (one["value"], one["unit"]) for one in found["measures"]}
    assert told["temp_rise.settled.high"] == (30.0, "K")
    assert told["temp_supply.settled"] == (50.0, "degC")
    assert told["humidity_supply.settled"] == (8.0, "%")
    assert found["units"] == "metric"
    VALID.validate(found)


@pytest.mark.parametrize(
    ("check", "quantity", "low", "told"),
    [
        ("furnace.rise", Quantity(30.0, "K", 0.2), 350 / 18, ("degF", 35.0)),
        ("furnace.supply_max", Quantity(70.0, "degC", 0.5), 76.66666666666667, ("degF", 170.0)),
        ("furnace.manifold", Quantity(870.0, "Pa", 5.0), 871.811185, ("inH2O", 3.5)),
        ("furnace.flame_current_min", Quantity(2e-6, "A", 1e-8), 1e-6, ("uA", 1.0)),
        ("humidifier.setting", Quantity(0.4, "1", 0.01), 0.38, ("%", 38.0)),
    ],
)
def test_limits_stand_in_the_unit_of_what_they_judge(check, quantity, low, told):
    one = Check(check, quantity, low, None, "pass", "")
    (found,) = in_json(Analysis(opened(), Recognition(), checks=(one,)))["checks"]
    assert (found["unit"], found["low"], found["high"]) == (*told, None)


def test_nothing_is_nan():
    odd = Measured("draft_switch.largest", Quantity(math.inf, "Pa", math.nan), math.nan, T0, None)
    alarm = PastAlarm("late", T0, math.inf, "low", "late")
    text = text_of(Analysis(opened(), Recognition(), measures=(odd,), alarms=(alarm,)))
    assert "NaN" not in text
    assert "Infinity" not in text
    VALID.validate(json.loads(text))


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e3))
def test_rounding_loses_nothing_of_the_uncertainty(value, u):
    shown, shown_u = rounded(Quantity(value, "Pa", u))
    assert abs(shown - value) <= u / 1000 + 1e-12 * abs(value)
    assert abs(shown_u - u) <= u / 1000


def test_no_number_is_minus_nothing():
    assert str(rounded(Quantity(-1e-9, "Pa", 1.0))[0]) == "0.0"
    assert str(seconds(-1e-9)) == "0.0"


def test_rows_that_could_not_be_read_are_told_and_counted():
    found = in_json(whole())
    told = [one["text"] for one in found["data_problems"] if one["kind"] == "row_not_read"]
    assert found["recording"]["rows_not_read"] == 3
    assert told[0].startswith("line 7: ")
    assert told[1].startswith("2 further rows")
