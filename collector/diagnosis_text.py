"""Causes for people: how probable each is, what speaks for and against it, and what is not ruled out."""

import math
from collections.abc import Iterator

from analysis.diagnosis.causes import WORDS
from analysis.diagnosis.result import Evidence, Ranked
from collector.analysis_layout import moment, wrapped
from collector.analysis_run import Analysis

MOST = 4
"""Causes told. [1]"""
LEAST = 0.02
"""Probability below which a cause is told with those that are not ruled out only. [1]"""
BREACH = "Make safe; confirm by inspection and analyser. No step at blower start never clears an exchanger."
STRONG, SOME = 3.0, 1.0
"""Weights from which an observation speaks strongly, or at all clearly. [bit]"""


def causes(analysis: Analysis) -> list[str]:
    """The lines of the section."""
    found, start = analysis.diagnosis, analysis.opened.start
    if not found.causes:
        return ["  none: nothing was recorded that speaks of a cause"]
    rows = wrapped(found.cannot_tell.capitalize() + ".", 4, first=2) if found.cannot_tell else []
    told = [one for one in found.causes[:MOST] if one.probability >= LEAST or one is found.causes[0]]
    for one in told:
        rows += _cause(one, start)
    for pair in found.pairs:
        first, second = (WORDS[cause] for cause in pair.causes)
        rows += wrapped(f"{percent(pair.probability):>6}  both at once: {first}; and {second}", 10, first=2)
    left = [one for one in found.not_ruled_out if one.cause not in {ranked.cause for ranked in told}]
    if found.not_ruled_out:
        rows.append("  Not ruled out:")
    for missing in (one for one in found.not_ruled_out if one not in left):
        rows += wrapped(f"{WORDS[missing.cause]}: {missing.missing}", 6, first=4)
    for other in left:
        rows += wrapped(f"{WORDS[other.cause]} ({percent(other.probability)}): {other.missing}", 6, first=4)
    return rows


def percent(probability: float) -> str:
    """A probability as people read it; never that something is certain."""
    if probability >= 0.995:
        return "> 99 %"
    if probability < 0.01:
        return "< 1 %"
    return f"{100 * probability:.0f} %"


def _cause(one: Ranked, start: float) -> Iterator[str]:
    yield from wrapped(f"{percent(one.probability):>6}  {WORDS[one.cause]}", 10, first=2)
    if one.cause == "heat_exchanger_breach":
        yield from wrapped(BREACH, 12, first=10)
    for each in one.evidence:
        yield from wrapped(f"{said(each)} {each.text}{_when(each, start)}", 14, first=10)


def said(one: Evidence) -> str:
    """What an observation does for a cause, in words."""
    size = abs(one.weight)
    how = "strongly " if size >= STRONG else "" if size >= SOME else "a little "
    return f"{how}{'for' if one.weight > 0 else 'against'}:"


def _when(one: Evidence, start: float) -> str:
    if not math.isfinite(one.start):
        return ""
    return f" ({moment(one.start - start)} to {moment(one.end - start)})"
