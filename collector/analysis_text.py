"""An analysis for people: what stops everything first, then attempts, numbers, verdicts, alarms and bad data."""

import math
from collections.abc import Iterator

from analysis.checks import Check
from analysis.data import DataProblem
from analysis.sequence.attempts import Attempt
from collector.analysis_json import began, origins
from collector.analysis_layout import KEEP, lasted, moment, tally, timed, wrapped
from collector.analysis_measures import measured
from collector.analysis_run import Analysis
from collector.analysis_safety import safety
from collector.analysis_units import judged
from collector.diagnosis_text import causes
from collector.opened import Opened
from collector.proposals_text import next_tests
from collector.sequence_words import OUTCOME_WORDS, PHASE_WORDS, in_words

MOST_ROWS = 5
"""Rows that could not be read, told each. [1]"""
KEEP_CHECKING = "Keep checking: one fault found is not the only one."
VERDICTS = {"pass": "pass", "fail": "FAIL", "cannot_tell": "cannot tell", "not_measured": "not measured"}
"""Words for verdicts, those that need somebody first."""
_KINDS = {"csv": "CSV file"}
_ORDER = ("fail", "cannot_tell", "pass", "not_measured")
_ORIGINS = {
    "simulated": "Simulated: the unit, the house and every reading of it are invented.",
    "replay": "Replayed: the readings were played from another recording.",
    "by hand": "Readings typed in by hand are among it.",
    "shared": "Readings shared from another machine are among it.",
}


def lines(analysis: Analysis, *, every: bool = False) -> list[str]:
    """The analysis, no line above `WIDTH`; with `every`, each measure of each attempt."""
    return [
        *_head(analysis),
        *_section("SAFETY", safety(analysis)),
        *_section("ATTEMPTS", attempts(analysis)),
        *_section("MEASURES", measured(analysis, every=every)),
        *_section("CHECKS against the job file", _checks(analysis)),
        *_section("CAUSES", causes(analysis)),
        *_section("NEXT TESTS", next_tests(analysis.next_tests)),
        *_section("ALARMS", _alarms(analysis)),
        *_section("DATA PROBLEMS", _data(analysis)),
        "",
        *_left_out(analysis),
        KEEP_CHECKING,
    ]


def _section(title: str, body: list[str]) -> list[str]:
    return ["", title, *body] if body else []


def _head(analysis: Analysis) -> Iterator[str]:
    opened = analysis.opened
    begin = (began(opened) or "times counted from the start").replace("T", " ").replace("Z", " UTC")
    length = moment(opened.end - opened.start)
    kind = _KINDS.get(opened.kind, opened.kind)
    yield from wrapped(f"{opened.name}: {kind}, {begin}, {length} long, {opened.readings} readings", 2, first=0)
    for origin in origins(opened.series):
        yield _ORIGINS.get(origin, origin)
    site = opened.job.site.name
    job = f"{opened.job_from}{f' ({site})' if site else ''}" if opened.job_from else ""
    yield from wrapped(
        f"Job: {job or 'none; plate and limits are not known, so nothing is judged by them'}", 2, first=0
    )
    yield "Times count from the first row (minutes:seconds); ± is twice the standard uncertainty."


def attempts(analysis: Analysis) -> list[str]:
    """A row an attempt, below it its phases and what its outcome rests on."""
    found, start = analysis.recognition.attempts, analysis.opened.start
    if not found:
        return wrapped("No ignition attempt was found in what was recorded.", 4, first=2)
    calls = len({attempt.call for attempt in found})
    rows = [f"  {tally(found)}; {calls} call{'s' if calls > 1 else ''} for heat"]
    rows.append(f"  {'no.':>3} {'call':>4} {'from':>9} {'to':>9}  {'outcome':<44} {'decided':>15} {'sure':>5}")
    for attempt in found:
        words = OUTCOME_WORDS[attempt.outcome]
        decided = timed(attempt.deciding_time - start, attempt.deciding_u) if words.decided else "-"
        sure = f"{100 * attempt.probability:.0f} %" if math.isfinite(attempt.probability) else "-"
        span = f"{moment(attempt.start - start):>9} {moment(attempt.end - start):>9}"
        rows.append(f"  {attempt.number:>3} {attempt.call:>4} {span}  {words.text:<44} {decided:>15} {sure:>5}")
        rows += wrapped(_phases(attempt), 11) + (wrapped(in_words(attempt.why), 11) if attempt.why else [])
    return rows


def _phases(attempt: Attempt) -> str:
    """Each phase with how long it lasted."""
    return " · ".join(
        f"{PHASE_WORDS[span.phase].short.replace(' ', KEEP)}{KEEP}{lasted(span.end - span.start)}"
        for span in attempt.phases
    )


def _checks(analysis: Analysis) -> list[str]:
    rows: list[str] = []
    if not analysis.opened.job_from:
        return ["  none: there is no job file to judge by"] if analysis.checks else []
    neither = [one.check for one in analysis.checks if one.verdict == "not_measured" and one.why.startswith("no `")]
    for one in sorted(analysis.checks, key=lambda check: _ORDER.index(check.verdict)):
        if one.check in neither:
            continue
        figures = "" if one.why and analysis.units == "trade" else _figures(one, analysis.units)  # `why` has them
        why = f": {one.why}" if one.why else ""
        rows += wrapped(f"{VERDICTS[one.verdict]:<12}  {one.check}{figures}{why}", 18, first=2)
    return rows + (
        wrapped(f"Neither measured nor in the job file: {', '.join(neither)}", 4, first=2) if neither else []
    )


def _figures(one: Check, units: str) -> str:
    quantity, low, high = judged(one, units)
    limits = " to ".join(
        f"{words}{limit:.6g}"
        for limit, words in (
            (low, "" if high is not None else "at least "),
            (high, "" if low is not None else "at most "),
        )
        if limit is not None
    )
    value = "" if math.isnan(quantity.value) else f": {quantity}"
    return f"{value}{f' (wanted {limits} {quantity.unit})' if limits else ''}".replace(" 1)", ")")


def _alarms(analysis: Analysis) -> list[str]:
    """A line for each rule: how often, when first, for how long, and what it said then."""
    rows: list[str] = []
    start = analysis.opened.start
    for rule in dict.fromkeys(alarm.rule for alarm in analysis.alarms):
        same = [alarm for alarm in analysis.alarms if alarm.rule == rule]
        first, lasted_ = same[0], sum(alarm.end - alarm.start for alarm in same)
        times = f"{len(same)} times, first " if len(same) > 1 else ""
        when = f"{times}at {moment(first.start - start)}, {lasted(lasted_)} {'altogether' if times else 'long'}"
        rows += wrapped(f"{first.priority:<7} {first.text} ({when})", 10, first=2)
    return rows or ["  none"]


def _data(analysis: Analysis) -> list[str]:
    rows = [row for one in analysis.data_problems for row in _doubt(one, analysis.opened.start)]
    return rows + _put_right(analysis.opened) + _unread(analysis.opened)


def _doubt(one: DataProblem, start: float) -> list[str]:
    whole = one.kind == "missing" or not math.isfinite(one.start)
    when = "" if whole else f" ({moment(one.start - start)} to {moment(one.end - start)})"
    return wrapped(f"{one.text}{when}", 4, first=2) + (wrapped(f"To do: {one.hint}", 6, first=4) if one.hint else [])


def _put_right(opened: Opened) -> list[str]:
    """What was not as it should be in the file and could be read all the same."""
    told = {
        "second values for one channel and instant: the first of them counts": opened.conflicts,
        "readings that stand in the file twice: each counts once": opened.twice,
        "rows that came late: they were put in their place": opened.disordered,
    }
    return [f"  {count} {text}" for text, count in told.items() if count]


def _unread(opened: Opened) -> list[str]:
    if not opened.problem_count:
        return []
    count = "1 row or cell" if opened.problem_count == 1 else f"{opened.problem_count} rows or cells"
    rows = [f"  {count} of the file could not be read; the others were:"]
    rows += [row for problem in opened.problems[:MOST_ROWS] for row in wrapped(str(problem), 6, first=4)]
    more = opened.problem_count - min(len(opened.problems), MOST_ROWS)
    return [*rows, f"    and {more} more"] if more else rows


def _left_out(analysis: Analysis) -> list[str]:
    """Channels that could have told something and did not."""
    return [
        row
        for key, why in analysis.recognition.left_out.items()
        for row in wrapped(f"Not used for the attempts: {key}: {why}", 2, first=0)
    ]
