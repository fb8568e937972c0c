"""docs/analyze.md: what it shows is what the program prints, and no name is forgotten."""

import re

import pytest

from collector.cli import main
from tests.analyze_document import DOCUMENT, MADE, rewritten

TEXT = DOCUMENT.read_text()


@pytest.mark.parametrize("name", ["outcomes", "phases", "measures", "checks", "kinds"])
def test_the_tables_are_those_of_the_program(name):
    assert rewritten(TEXT, name) == TEXT


@pytest.mark.parametrize("name", ["text", "json"])
def test_the_example_is_what_the_program_prints(name):
    assert rewritten(TEXT, name) == TEXT


def test_every_option_has_its_row():
    rows = set(re.findall(r"^\| `(--?\w+)` \|", TEXT, re.MULTILINE))
    own = {parameter.opts[0] for parameter in main.commands["analyze"].params if parameter.opts[0].startswith("-")}
    assert own - rows <= {"--force"}
    assert rows <= own


def test_everything_that_is_marked_is_made():
    marked = set(re.findall(r"<!-- (\w+) -->", TEXT)) - {"end"}
    assert marked == set(MADE)


def test_safety_comes_before_the_first_example():
    assert TEXT.index("none clears a heat exchanger") < TEXT.index("```")
    assert TEXT.index("nothing is fired again to see") < TEXT.index("```")
