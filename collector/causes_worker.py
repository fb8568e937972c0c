"""`python -m collector.causes_worker`: what may be wrong in recordings, a path a line in, an answer a line out.

Like the worker that finds attempts it is the least urgent of all programs and ends with its input.
"""

import json
import math
import os
import sys
from pathlib import Path
from typing import Any

from analysis.diagnosis.causes import WORDS
from analysis.diagnosis.result import Evidence, Ranked
from collector.analysis_run import Analysis, analyzed
from collector.attempts_worker import asked_for, least_urgent
from collector.diagnosis_text import BREACH, percent, said
from collector.opened import open_data
from collector.proposals_text import tells
from drivers.base import LightoffError

CAUSES = 3
"""Causes told. [1]"""
EVIDENCE = 4
"""Observations told of each. [1]"""
TESTS = 3
"""Tests told. [1]"""


def causes_of(path: Path) -> dict[str, Any]:
    """The leading causes of a recording and the next tests for the page; or why there are none."""
    try:
        found = analyzed(open_data(path))
    except (LightoffError, ValueError) as error:
        return {"problem": str(error).replace(f"{path.parent}{os.sep}", "")}
    return told(found)


def told(found: Analysis) -> dict[str, Any]:
    """For the page; moments in ms."""
    diagnosis, tests = found.diagnosis, found.next_tests
    return {
        "cannot_tell": diagnosis.cannot_tell,
        "causes": [_cause(one) for one in diagnosis.causes[:CAUSES] if one.probability >= 0.01],
        "left": [{"text": WORDS[one.cause], "missing": one.missing} for one in diagnosis.not_ruled_out[:CAUSES]],
        "before": list(tests.before),
        "tests": [
            {"text": one.text, "minutes": one.minutes, "tells": tells(one.bits), "safely": one.safely}
            for one in tests.tests[:TESTS]
        ],
        "until": 1000.0 * found.opened.end,
    }


def _cause(one: Ranked) -> dict[str, Any]:
    return {
        "text": WORDS[one.cause],
        "likely": percent(one.probability),
        "caution": BREACH if one.cause == "heat_exchanger_breach" else "",
        "evidence": [_evidence(each) for each in one.evidence[:EVIDENCE]],
    }


def _evidence(one: Evidence) -> dict[str, Any]:
    at = 1000.0 * one.start if math.isfinite(one.start) else None
    return {"text": f"{said(one)} {one.text}", "at": at}


def main() -> None:
    """Answer until the input ends; what was begun then is dropped."""
    least_urgent()
    for path in asked_for():
        sys.stdout.write(json.dumps(causes_of(path), separators=(",", ":"), allow_nan=False) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
