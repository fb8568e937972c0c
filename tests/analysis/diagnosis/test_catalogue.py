"""The catalogue of tests: names, tables, marks and orders are those of the trade."""

import re
from pathlib import Path

import pytest

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.situation import CAUTIONS, MARK_CAUTIONS
from analysis.diagnosis.steps import air, comfort, control, draft, fire, meters, running
from analysis.diagnosis.steps.catalogue import ORDERS, STEPS
from analysis.diagnosis.steps.complaints import complained, shares
from analysis.diagnosis.steps.step import Result, State, Step
from analysis.measures.names import meaning
from tests.never import IN_PROPOSALS, advised

INDEX = (Path(__file__).parents[3] / "docs" / "causes" / "README.md").read_text()
LETTERS = {
    "gas shut": "G",
    "power off": "P",
    "live electrical work": "E",
    "licensed person": "L",
    "combustion analyser": "A",
}


def texts(step: Step) -> str:
    results = " . ".join(f"{one.text}. {one.meaning}" for one in step.results)
    return f"{step.text}. {step.how} {results}."


def listed() -> list[list[tuple[str, str]]]:
    """Marks and minutes of each list of the document about causes; minutes only in the first two."""
    parts = INDEX.partition("## Tests, their order and their marks")[2].partition("\n## ")[0].split("\n### ")[1:]
    return [
        [
            (row[1], row[2])
            for row in re.findall(r"^\| ([^|]+?) \| ([^|]+?) \|(?: ([\d-]+) \|)?$", part, re.M)
            if row[0] != "test"
        ]
        for part in parts
    ]


def test_every_name_is_its_own():
    parts = (running, draft, fire, air, control, comfort, meters)
    assert len(STEPS) == sum(len(part.STEPS) for part in parts)
    for step in STEPS.values():
        names = [one.name for one in step.results]
        assert len(set(names)) == len(names), step.name


def test_each_table_has_a_row_for_every_cause_that_adds_to_one():
    for step in STEPS.values():
        if step.results:
            rows = step.rows()
            assert list(rows) == CAUSES
            assert all(sum(row) == pytest.approx(1.0) and min(row) > 0.0 for row in rows.values()), step.name


def test_measures_are_known_by_the_names_of_the_table_of_measures():
    assert [meaning(name) for step in STEPS.values() for name in step.measures]


def test_the_orders_of_the_first_two_lists_have_the_minutes_and_marks_of_the_trade():
    """Practice: marks and minutes of both lists about the pressure switch; the inducer-only state carries G."""
    for (complaint, names), rows in zip(ORDERS.items(), listed(), strict=True):
        assert len(names) == len(rows), complaint
        for name, (marks, minutes) in zip(names, rows, strict=True):
            step, wanted = STEPS[name], {LETTERS[mark] for mark in marks.split(", ") if mark != "no mark"}
            stated = set(step.marks) | ({"G"} if step.states == (State.INDUCER,) else set())
            assert stated == wanted | (stated & {"G"} if "E" in wanted or not wanted else set()), (name, wanted)
            if minutes and "-" not in minutes:
                assert step.minutes == float(minutes), name


def test_what_opens_the_burner_box_intake_or_vent_is_never_done_while_it_fires():
    for step in STEPS.values():
        if {"intake_pipe", "vent_joint"} & set(step.parts) or re.search(
            r"\b(?:cover|joint|pipe)\b.*\boff\b", step.text
        ):
            assert step.states == (State.INDUCER,), step.name
    assert STEPS["intake_off"].states == STEPS["vent_joint"].states == (State.INDUCER,)


def test_what_is_opened_is_put_back_in_its_own_text():
    for step in STEPS.values():
        if {"gas_inlet", "gas_manifold"} & set(step.parts):
            assert "L" in step.marks
            assert "bubble-tested" in step.how
        if step.name.startswith("meter_draft"):
            assert "plugged and bubble-tested" in step.how
        if "refit" not in step.how and {"intake_pipe", "vent_joint"} & set(step.parts):
            pytest.fail(f"{step.name} does not say that it is refitted")
        if "trap" in step.name:
            assert "prime the trap again before firing" in step.how
            assert "P" in step.marks


def test_no_text_advises_what_is_never_done():
    for step in STEPS.values():
        assert advised(texts(step), IN_PROPOSALS) == [], step.name
    assert advised(" ".join([*CAUTIONS.values(), *MARK_CAUTIONS.values()]), IN_PROPOSALS) == []


def test_no_result_clears_an_exchanger():
    assert "clears no exchanger" in STEPS["secondary_inspection"].results[0].meaning
    assert "nothing is cleared" in STEPS["o2_across_blower"].results[0].meaning
    assert "No change never clears an exchanger" in STEPS["o2_across_blower"].how
    likely = {
        (step.name, result.name): step.rows()["heat_exchanger_breach"][place] / step.rows()["none"][place]
        for step in STEPS.values()
        for place, result in enumerate(step.results)
    }
    assert min(likely["o2_across_blower", "steady"], likely["secondary_inspection", "clean"]) > 0.2


@pytest.mark.parametrize("table", ["usual 50 40", "usual 100 0", "usual 50 50\nsnow 50 50", "usual 50 50\nusual 50 50"])
def test_a_table_that_does_not_add_up_or_names_no_cause_is_refused(table):
    results = (Result("a", "a", "a"), Result("b", "b", "b"))
    with pytest.raises(ValueError, match="test odd"):
        Step("odd", "odd", 1, "look", results=results, table=table)


def test_a_complaint_makes_its_own_causes_probable():
    assert all(sum(told.values()) == pytest.approx(1.0) for told in shares().values())
    even = dict.fromkeys(CAUSES, 1 / len(CAUSES))
    first = {complaint: max(CAUSES, key=complained(even, complaint).__getitem__) for complaint in ORDERS}
    assert first == {
        "pressure switch did not close": "switch_hose_leak",
        "pressure switch opens while running": "secondary_restricted",
        "no ignition, or flame lost": "igniter_faulty",
        "limit opens, or the rise is wrong": "air_baffle_missing",
        "nothing starts": "switch_stuck_closed",
        "heat pump and humidity": "heat_pump_weak",
    }
