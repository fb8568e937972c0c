"""docs/causes/: a page for each cause, all of one form, whose signs are those of the draft network."""

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from analysis.diagnosis.causes import CAUSES
from analysis.draft import (
    Inducer,
    Resistances,
    State,
    Taps,
    pressure_through_leak,
    switch_differential,
    taps,
    water_slug,
)
from analysis.draft_network import GRAVITY, MOLAR_MASS_AIR, Floats
from drivers.simulate.design import Design, built
from drivers.simulate.faults import act
from drivers.simulate.maths import FLOATS
from drivers.simulate.parts import Parts
from tests.never import advised

FOLDER = Path(__file__).parents[1] / "docs" / "causes"
INDEX = (FOLDER / "README.md").read_text()
PAGES = {path.stem: path.read_text() for path in FOLDER.glob("*.md") if path.name != "README.md"}
HEADINGS = [
    "What happens",
    "What the taps and meters show, and why",
    "What looks like it",
    "How to confirm",
    "Cautions",
    "Sources",
]
MARKS = {"gas shut", "power off", "live electrical work", "licensed person", "combustion analyser"}
LINK = re.compile(r"\[[^]]+\]\(([^)]+)\)")
CODES_FIRST = "- Local codes, the maker's instructions and licensed practice come first."


def section(text: str, heading: str) -> str:
    return text.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]


class Step(NamedTuple):
    """A test and what it asks for."""

    test: str
    marks: str


def steps(text: str) -> list[Step]:
    """Numbered tests of a page, each with the marks at its end."""
    listed = re.split(r"\n(?=\d+\. )", section(text, "How to confirm"))[1:]
    found = [
        re.match(r"\d+\. \*\*(.+?)\.\*\* .*\[([a-z,\s]+)\]", one.partition("\n\n")[0], re.DOTALL) for one in listed
    ]
    assert found
    assert all(found), f"a test without a bold name or marks at its end: {listed[found.index(None)]}"
    return [Step(one[1], " ".join(one[2].split())) for one in found if one]


def orders() -> dict[str, list[Step]]:
    """The index's lists of tests by the complaint."""
    parts = re.split(r"^### (.+)$", section(INDEX, "Tests, their order and their marks"), flags=re.MULTILINE)[1:]
    named = zip(parts[::2], parts[1::2], strict=True)
    return {
        name: [
            Step(*row) for row in re.findall(r"^\| ([^|]+?) \| ([^|]+?) \|", table, re.MULTILINE) if row[0] != "test"
        ]
        for name, table in named
    }


def table(text: str) -> dict[str, str]:
    """What a page says of each tap; empty where it has no such table."""
    shows = section(text, "What the taps and meters show, and why").partition("| tap | change |\n|---|---|\n")[2]
    return dict(re.findall(r"^\| ([^|]+?) \| ([^|]+?) \|$", shows.partition("\n\n")[0], re.MULTILINE))


def test_each_cause_has_a_page_and_each_page_a_cause():
    assert sorted(PAGES) == sorted(CAUSES)


@pytest.mark.parametrize("cause", CAUSES)
def test_a_page_has_its_name_its_identifier_and_the_headings_in_their_order(cause):
    lines = PAGES[cause].splitlines()
    assert re.match(r"# [A-Z]", lines[0])
    assert lines[2] == f"`{cause}`"
    assert [line[3:] for line in lines if line.startswith("## ")] == HEADINGS
    assert [line for line in lines if line.startswith("# ")] == lines[:1]
    assert all(section(PAGES[cause], heading).strip() for heading in HEADINGS)
    assert 25 <= len(lines) <= 60


@pytest.mark.parametrize("cause", CAUSES)
def test_links_lead_to_pages_and_what_looks_like_it_to_two_others_at_least(cause):
    assert all((FOLDER / target).is_file() for target in LINK.findall(PAGES[cause]))
    alike = set(LINK.findall(section(PAGES[cause], "What looks like it"))) - {f"{cause}.md"}
    assert len(alike) >= 2


def test_the_index_lists_each_page_once():
    listed = LINK.findall(section(INDEX, "Where in the system"))
    assert sorted(listed) == sorted(f"{cause}.md" for cause in CAUSES)


@pytest.mark.parametrize("name", ["README", *CAUSES])
def test_nothing_that_defeats_a_safety_is_advised(name):
    assert advised(INDEX if name == "README" else PAGES[name]) == []


@pytest.mark.parametrize(
    "text",
    [
        "Put a jumper across the switch.",
        "To be sure, bypass the switch for a moment.",
        "- Tape the door switch and look.",
        "Never mind. Drill a port into the vent.",
        "It is never long; hold the switch closed until it lights.",
        "Blow into\nthe hose.",
    ],
)
def test_such_advice_would_be_found(text):
    assert advised(text)
    assert advised("- Never do this: look away.\n- Never put a jumper across it, never hold the switch.") == []


@pytest.mark.parametrize("cause", CAUSES)
def test_tests_come_from_one_list_in_its_order_with_its_marks(cause):
    text = PAGES[cause]
    (named,) = re.findall(r"^Order: \*(.+)\*$", section(text, "How to confirm"), re.MULTILINE)
    order, taken = orders()[named], steps(text)
    assert [step for step in order if step in taken] == taken
    assert taken[0].test.startswith("Room CO")


def test_the_lists_use_the_marks_that_the_index_explains():
    used = {mark for order in orders().values() for step in order for mark in step.marks.split(", ")}
    assert used - {"no mark"} == MARKS
    explained = section(INDEX, "Tests, their order and their marks").partition("###")[0]
    assert {
        mark
        for mark in MARKS
        if f"**{mark}**" in " ".join(explained.replace("**gas shut** (", "**gas shut**(").split())
    } == MARKS


@pytest.mark.parametrize("cause", CAUSES)
def test_codes_and_licensed_practice_come_first_on_every_page(cause):
    assert section(PAGES[cause], "Cautions").rstrip().endswith(CODES_FIRST)


def test_a_possible_breach_is_made_safe_and_never_cleared_by_a_step():
    words = " ".join(PAGES["heat_exchanger_breach"].split())
    assert "Possible breach: make safe, confirm by inspection and analyser." in words
    assert "**no step never clears an exchanger.**" in words


UNIT = built(FLOATS, Design())
HOT = State(temp_intake=20.0, temp_primary=650.0, temp_secondary=90.0, temp_inducer=48.0)
COLD = State(temp_intake=20.0, temp_primary=20.0, temp_secondary=20.0, temp_inducer=20.0, molar_mass=MOLAR_MASS_AIR)
STATES = [HOT, COLD]
SECTIONS = ("intake", "primary", "secondary", "vent")
SPLITS = np.vstack([np.ones(4), 1.0 + 2.0 * np.eye(4), 1.0 - 0.6 * np.eye(4)]).T
"""The unit's resistances and eight other circuits: one section three times as narrow, or less than half."""
SEVERITIES = (0.3, 0.6)
FLOODED = 0.3
"""Share of the secondary's passages under water that a blocked drain brings sooner or later. [1]"""
NOTICED = 1e-3
"""A smaller relative change counts as none. [1]"""


def turned(cause: str, severity: float) -> Parts:
    parts = Parts(FLOATS, UNIT)
    act(parts, {cause: severity})
    return parts


def knobs(parts: Parts) -> list[object]:
    """All that stands in the way of the gas or between a tap and the contact."""
    draft = [getattr(parts.draft, f"{name}_factor") for name in (*SECTIONS, "speed")]
    switch = [getattr(parts.switch, name) for name in ("hose_leak", "closing_shift", "contact_open", "stuck_closed")]
    return [*draft, parts.draft.exchanger_hole, parts.false_air, parts.water.drain_factor, parts.slug, *switch]


def pressures(parts: Parts, state: State, speed: float) -> dict[str, Floats]:
    """By the rows of the pages' tables, for all circuits. [Pa]"""
    draft, unit = parts.draft, UNIT.draft
    flooded = 1.0 if parts.water.drain_factor == 1.0 else (1.0 - FLOODED) ** -2
    factors = (draft.intake_factor, draft.primary_factor, draft.secondary_factor * flooded, draft.vent_factor)
    sections = (
        getattr(unit, name) * split * factor for name, split, factor in zip(SECTIONS, SPLITS, factors, strict=True)
    )
    intake, primary, secondary, vent = sections
    found = taps(
        Resistances(intake, primary, secondary, vent, parts.false_air, exchanger_hole=draft.exchanger_hole),
        Inducer(unit.shutoff, unit.slope, speed * draft.speed_factor),
        state,
    )
    return readings(parts, found)


def readings(parts: Parts, found: Taps) -> dict[str, Floats]:
    """What the taps show by rows, and the switch with its other port open to the room and at A. [Pa]"""
    box, transition, collector, vent = found.burner_box, found.transition, found.collector, found.vent
    arriving: Floats = collector
    if parts.switch.hose_leak > 0.0:
        arriving = pressure_through_leak(collector, 1.0 / parts.switch.hose_leak)
    arriving = water_slug(arriving, parts.slug / (1000.0 * GRAVITY))
    return {
        "A, burner box": box,
        "X, transition box": transition,
        "B, collector box": collector,
        "C, vent side": vent,
        "A to X": box - transition,
        "X to B": transition - collector,
        "A to B": box - collector,
        "B to C": vent - collector,
        "at the switch": np.concatenate([switch_differential(arriving), switch_differential(arriving, box)]),
    }


def changes(cause: str) -> Iterable[dict[str, Floats]]:
    """Relative change of each row in every severity, state and stage; of a breach with the blower off and on."""
    for severity in SEVERITIES:
        for state in STATES:
            for speed in (1.0, UNIT.draft.low_speed):
                for blower in (0.0, 75.0) if cause == "heat_exchanger_breach" else (0.0,):
                    here = replace(state, blower_pressure=blower)
                    before = pressures(turned("none", 0.0), here, speed)
                    after = pressures(turned(cause, severity), here, speed)
                    yield {row: np.abs(after[row]) / np.abs(before[row]) - 1.0 for row in before}


def signs(cause: str) -> dict[str, set[str]]:
    words: dict[str, set[str]] = {}
    for change in changes(cause):
        for row, values in change.items():
            said = np.where(values > NOTICED, "stronger", np.where(values < -NOTICED, "weaker", "same"))
            words.setdefault(row, set()).update(said.tolist())
    return words


IN_THE_NETWORK = [cause for cause in CAUSES if knobs(turned(cause, 0.95)) != knobs(turned("none", 0.0))]


def test_pages_have_a_table_of_taps_where_the_cause_touches_draft_or_switch_and_nowhere_else():
    assert [cause for cause in CAUSES if table(PAGES[cause])] == IN_THE_NETWORK
    assert {"intake_blocked", "drain_blocked", "switch_stuck_closed"} < set(IN_THE_NETWORK)


@pytest.mark.parametrize("cause", IN_THE_NETWORK)
def test_the_signs_of_the_taps_are_those_of_the_network(cause):
    """Cold and hot, in both stages, slight and bad, and wherever else the circuit resists."""
    found, written = signs(cause), table(PAGES[cause])
    assert list(written)[:4] == list(found)[:4]
    assert {row: {word} for row, word in written.items()} == {row: found[row] for row in written}


def test_what_the_network_leaves_open_is_in_no_table():
    assert len(signs("heat_exchanger_breach")["A to B"]) > 1
    assert "A to B" not in table(PAGES["heat_exchanger_breach"])
