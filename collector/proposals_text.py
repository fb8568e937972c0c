"""Next tests for people: what comes before any test, how each is done safely, and what its results would mean."""

from collections.abc import Iterator

from analysis.diagnosis.next_tests import NextTest, Proposals, Withheld
from analysis.diagnosis.steps.step import MARKS
from collector.analysis_layout import wrapped

MOST = 3
"""Tests told in full. [1]"""
TELLS = ((0.5, "tells much"), (0.15, "tells something"), (0.0, "tells a little"))
"""Words for expected information from so much on. [bit]"""


def next_tests(found: Proposals) -> list[str]:
    """The lines of the section."""
    rows = [line for text in found.before for line in wrapped(text, 4, first=2)]
    for number, one in enumerate(found.tests[:MOST], 1):
        rows += _test(number, one)
    if found.says and not found.tests:
        rows += wrapped(found.says, 4, first=2)
    rows += [line for one in found.withheld[:MOST] for line in _withheld(one)]
    return rows


def tells(bits: float) -> str:
    """How much a test tells, in words."""
    return next(words for least, words in TELLS if bits >= least)


def _test(number: int, one: NextTest) -> Iterator[str]:
    marks = f"; {', '.join(MARKS[mark] for mark in one.marks)}" if one.marks else ""
    yield from wrapped(f"{number}. {one.text} ({one.minutes:.0f} min, {tells(one.bits)}{marks})", 5, first=2)
    yield from wrapped(f"Safely: {one.safely}", 7, first=5)
    for result in one.results:
        yield from wrapped(f"{result.text}: {result.meaning}", 9, first=7)
    if one.reason:
        yield from wrapped(f"Why: {one.reason}", 7, first=5)


def _withheld(one: Withheld) -> Iterator[str]:
    yield from wrapped(f"Not offered: {one.text} ({'; '.join(one.why)})", 6, first=2)
