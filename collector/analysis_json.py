"""An analysis as one JSON object; `docs/analyze.schema.json` and `docs/analyze.md` describe it."""

import json
import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from analysis.checks import Check
from analysis.data import DataProblem
from analysis.measures.measured import Measured
from analysis.model import Series, origin_of
from analysis.sequence.attempts import Attempt, PhaseSpan
from collector.analysis_run import WALL, Analysis
from collector.analysis_units import in_units, judged, limit, rounded, seconds
from collector.diagnosis_json import diagnosis_in_json, proposals_in_json
from collector.opened import Opened


def text_of(analysis: Analysis) -> str:
    """The object as text; a value that is none is null."""
    return json.dumps(in_json(analysis), ensure_ascii=False, allow_nan=False)


def in_json(analysis: Analysis) -> dict[str, Any]:
    """The object; times count from the first row of the file [s]."""
    opened, start = analysis.opened, analysis.opened.start
    return {
        "recording": recording(analysis),
        "units": analysis.units,
        "attempts": [attempt_in_json(attempt, start) for attempt in analysis.recognition.attempts],
        "measures": [_measure(one, start, analysis.units) for one in analysis.measures],
        "checks": [_check(one, analysis.units) for one in analysis.checks],
        **diagnosis_in_json(analysis.diagnosis, start),
        **proposals_in_json(analysis.next_tests),
        "alarms": [
            {"rule": one.rule, **_span(one.start, one.end, start), "priority": one.priority, "text": one.text}
            for one in analysis.alarms
        ],
        "data_problems": [*(_doubt(one, start) for one in analysis.data_problems), *_unread(opened)],
    }


def recording(analysis: Analysis) -> dict[str, Any]:
    """What was analysed."""
    opened, recognition = analysis.opened, analysis.recognition
    return {
        "name": opened.name,
        "kind": opened.kind,
        "origins": origins(opened.series),
        "job": opened.job.name if opened.job_from else None,
        "job_from": opened.job_from or None,
        "start": began(opened),
        "seconds": seconds(opened.end - opened.start),
        "readings": opened.readings,
        "rows_not_read": opened.problem_count,
        "conflicts": opened.conflicts,
        "twice": opened.twice,
        "disordered": opened.disordered,
        "channels": {
            "used": list(recognition.used),
            "left_out": [{"channel": key, "why": why} for key, why in recognition.left_out.items()],
        },
    }


def began(opened: Opened) -> str | None:
    """When the first row was, ISO 8601 in UTC; None where the file counts from its start."""
    if opened.start < WALL:
        return None
    return f"{datetime.fromtimestamp(opened.start, UTC).isoformat(timespec='milliseconds').removesuffix('+00:00')}Z"


def origins(series: Sequence[Series]) -> list[str]:
    """Where readings come from that no instrument here took: `simulated`, `replay`, `by hand`, `shared`."""
    return sorted({origin for one in series if (origin := origin_of(one.channel.instrument))})


def attempt_in_json(attempt: Attempt, start: float) -> dict[str, Any]:
    """One attempt; times from `start` [s]."""
    return {
        "number": attempt.number,
        "call": attempt.call,
        **_bounds(attempt, start),
        "stage": attempt.stage,
        "outcome": attempt.outcome,
        "probability": _share(attempt.probability),
        "deciding_time": seconds(attempt.deciding_time - start),
        "deciding_u": seconds(attempt.deciding_u),
        "why": attempt.why,
        "phases": [{"phase": span.phase, **_bounds(span, start)} for span in attempt.phases],
    }


def _bounds(span: Attempt | PhaseSpan, start: float) -> dict[str, float | None]:
    return {
        "start": seconds(span.start - start),
        "end": seconds(span.end - start),
        "start_u": seconds(span.start_u),
        "end_u": seconds(span.end_u),
    }


def _share(probability: float) -> float | None:
    return round(probability, 6) if math.isfinite(probability) else None


def _span(begin: float, end: float, start: float) -> dict[str, float | None]:
    return {"from": seconds(begin - start), "to": seconds(end - start)}


def _measure(one: Measured, start: float, units: str) -> dict[str, Any]:
    quantity = in_units(one.name, one.quantity, units)
    value, u = rounded(quantity)
    return {
        "name": one.name,
        "value": value,
        "unit": quantity.unit,
        "u": u,
        **_span(one.start, one.end, start),
        "attempt": one.attempt,
    }


def _check(one: Check, units: str) -> dict[str, Any]:
    quantity, low, high = judged(one, units)
    value, u = rounded(quantity)
    return {
        "check": one.check,
        "value": value,
        "unit": quantity.unit or None,
        "u": u,
        "low": limit(low),
        "high": limit(high),
        "verdict": one.verdict,
        "why": one.why,
    }


def _doubt(one: DataProblem, start: float) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "channels": list(one.channels),
        "text": one.text,
        "hint": one.hint,
        **_span(one.start, one.end, start),
    }


def _unread(opened: Opened) -> list[dict[str, Any]]:
    """Rows of the file that could not be read, the first of them each, the rest by their number."""
    hint = "correct the row in a copy of the file, if it matters; the other rows were read"
    told = [str(problem) for problem in opened.problems]
    if more := opened.problem_count - len(told):
        told.append(f"{more} further rows or cells could not be read and are not listed")
    return [
        {"kind": "row_not_read", "channels": [], "text": text, "hint": hint, "from": None, "to": None} for text in told
    ]
