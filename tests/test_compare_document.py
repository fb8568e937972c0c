"""docs/compare.md: what it shows is what the program says, and no name is forgotten."""

import re

import pytest

from analysis.comparison.compare import BETTER, CANNOT, CHANGED, SAME, WORSE
from analysis.comparison.link import CANNOT_TELL, EXCLUDED, NOT_MEASURED, SHOWN
from collector.cli import main
from collector.compare_json import in_json
from tests.compare_document import DOCUMENT, MADE, example, rewritten

TEXT = DOCUMENT.read_text()


@pytest.mark.parametrize("name", sorted(MADE))
def test_what_is_shown_is_what_the_program_says(name):
    assert rewritten(TEXT, name) == TEXT


def test_everything_that_is_marked_is_made():
    assert set(re.findall(r"<!-- (\w+) -->", TEXT)) - {"end"} == set(MADE)


def test_every_option_has_its_row():
    rows = set(re.findall(r"^\| `(--?\w+)` \|", TEXT, re.MULTILINE))
    own = {parameter.opts[0] for parameter in main.commands["compare"].params if parameter.opts[0].startswith("-")}
    assert rows == own


def test_every_part_verdict_and_link_has_its_row():
    rows = set(re.findall(r"^\| `([\w.]+)`", TEXT, re.MULTILINE))
    found = in_json(example())
    assert {name.replace(" ", "_") for name in (BETTER, WORSE, CHANGED, SAME, CANNOT)} <= rows
    assert {name.replace(" ", "_") for name in (SHOWN, EXCLUDED, CANNOT_TELL, NOT_MEASURED)} <= rows
    assert set(found) <= rows
    assert {name for measure in found["measures"] for name in measure} <= rows
    kinds = {row.partition(".")[0] for row in rows}
    assert {link["item"].partition(".")[0] for link in found["chain"]} <= kinds
    assert {correction["what"] for measure in found["measures"] for correction in measure["corrections"]} <= set(
        re.findall(r"^\| ([\w ]+) \|", TEXT, re.MULTILINE)
    )


def test_safety_comes_before_the_first_example():
    assert TEXT.index("none clears a heat exchanger") < TEXT.index("```")
    assert TEXT.index("nothing is fired again to see") < TEXT.index("```")
