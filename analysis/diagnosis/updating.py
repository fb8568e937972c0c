"""What a result of a test makes of the probabilities, and how much a test would tell."""

import math
from collections.abc import Mapping

from analysis.diagnosis.steps.catalogue import STEPS
from analysis.diagnosis.steps.step import Step


def updated(probabilities: Mapping[str, float], test: str, result: str) -> dict[str, float]:
    """Probabilities of the causes after a test came out so; KeyError for a test or result that there is none of. [1]"""
    step = STEPS[test]
    place, rows = step.result(result), step.rows()
    weight = {cause: share * rows[cause][place] for cause, share in probabilities.items()}
    total = sum(weight.values())
    return {cause: share / total for cause, share in weight.items()} if total > 0.0 else dict(probabilities)


def entropy(probabilities: Mapping[str, float]) -> float:
    """How much is not known. [bit]"""
    return -sum(share * math.log2(share) for share in probabilities.values() if share > 0.0)


def chances(probabilities: Mapping[str, float], step: Step) -> tuple[float, ...]:
    """How probable each result of a test is now. [1]"""
    rows = step.rows()
    return tuple(
        sum(share * rows[cause][place] for cause, share in probabilities.items()) for place in range(len(step.results))
    )


def expected_information(probabilities: Mapping[str, float], step: Step) -> float:
    """How much less is not known after a test with a table, on average over its results: never below zero. [bit]

    Method: over causes and results, share times likelihood times the logarithm of likelihood over the result's chance;
        that is the exact expected fall of the entropy.
    """
    rows, seen = step.rows(), chances(probabilities, step)
    total = sum(
        share * likelihood * math.log2(likelihood / chance)
        for cause, share in probabilities.items()
        if share > 0.0
        for likelihood, chance in zip(rows[cause], seen, strict=True)
    )
    return max(total, 0.0)


def information_on(cause: str, probabilities: Mapping[str, float], step: Step) -> float:
    """How much a test with a table tells of whether one cause is there, on average. [bit]"""
    rows, share = step.rows(), min(max(probabilities.get(cause, 0.0), 0.0), 1.0)
    total = 0.0
    for place, chance in enumerate(chances(probabilities, step)):
        if chance > 0.0:
            after = min(share * rows[cause][place] / chance, 1.0)
            total += chance * _binary(after)
    return max(_binary(share) - total, 0.0)


def _binary(share: float) -> float:
    return entropy({"there": share, "not": 1.0 - share})
