"""A diagnosis as part of the JSON of an analysis; `docs/analyze.schema.json` and `docs/analyze.md` describe it."""

from typing import Any

from analysis.diagnosis.causes import WORDS
from analysis.diagnosis.next_tests import NextTest, Proposals
from analysis.diagnosis.result import Diagnosis, Evidence, Ranked
from collector.analysis_units import seconds


def diagnosis_in_json(found: Diagnosis, start: float) -> dict[str, Any]:
    """Keys `causes`, `pairs`, `not_ruled_out` and `cannot_tell`; times count from `start` [s]."""
    return {
        "causes": [_cause(one, start) for one in found.causes],
        "pairs": [{"causes": list(one.causes), "probability": round(one.probability, 6)} for one in found.pairs],
        "not_ruled_out": [
            {"cause": one.cause, "probability": round(one.probability, 6), "missing": one.missing}
            for one in found.not_ruled_out
        ],
        "cannot_tell": found.cannot_tell or None,
    }


def _cause(one: Ranked, start: float) -> dict[str, Any]:
    return {
        "cause": one.cause,
        "text": WORDS[one.cause],
        "probability": round(one.probability, 6),
        "evidence": [_evidence(each, start) for each in one.evidence],
    }


def _evidence(one: Evidence, start: float) -> dict[str, Any]:
    return {
        "text": one.text,
        "points": list(one.points),
        "from": seconds(one.start - start),
        "to": seconds(one.end - start),
        "weight": round(one.weight, 2),
    }


def proposals_in_json(found: Proposals) -> dict[str, Any]:
    """Keys `before_tests`, `next_tests` and `withheld_tests`."""
    return {
        "before_tests": list(found.before),
        "next_tests": [_test(one) for one in found.tests],
        "withheld_tests": [
            {"test": one.test, "bits": round(one.bits, 3), "text": one.text, "why": list(one.why)}
            for one in found.withheld
        ],
    }


def _test(one: NextTest) -> dict[str, Any]:
    return {
        "test": one.test,
        "bits": round(one.bits, 3),
        "minutes": one.minutes,
        "marks": list(one.marks),
        "text": one.text,
        "safely": one.safely,
        "results": [
            {"text": each.text, "meaning": each.meaning, "probability": round(each.probability, 3)}
            for each in one.results
        ],
        "reason": one.reason,
    }
