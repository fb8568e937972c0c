"""Two causes at once: considered where one alone leaves part of the evidence unexplained."""

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.mixture import Mixture
from analysis.diagnosis.result import Pair
from analysis.diagnosis.weighing import TEMPER, Weighed, weighed

Array = NDArray[np.float64]

TRIED = 6
"""Most probable causes of which pairs are tried. [1]"""
PARTS = 2
"""Most probable parts of each. [1]"""
LEAST = 0.05
"""Probability from which a pair is told. [1]"""
MOST = 3
"""Pairs told. [1]"""
ALONE = ("none", "other")
"""What cannot be one of two."""


def pairs_of(found: Weighed) -> tuple[Pair, ...]:
    """Pairs that explain what was seen, each against all single causes together.

    Both are in one unit as often as chance makes it of each alone.
    """
    shares = found.causes
    known = set(found.mixture.cause.tolist())
    causes = [n for n in np.argsort(-shares, kind="stable") if CAUSES[n] not in ALONE and n in known][:TRIED]
    mixture, sound = found.mixture, CAUSES.index("none")
    if len(causes) < 2:
        return ()
    parts = found.parts
    best = {n: np.flatnonzero(mixture.cause == n) for n in causes}
    best = {n: own[np.argsort(-parts[own], kind="stable")[:PARTS]] for n, own in best.items()}
    names, shift, covariance, log_share, flag = [], [], [], [], []
    for first, second in combinations(causes, 2):
        for one in best[first]:
            for other in best[second]:
                names.append((first, second))
                shift.append(mixture.shift[one] + mixture.shift[other])
                covariance.append(0.5 * (mixture.covariance[one] + mixture.covariance[other]))
                log_share.append(mixture.log_share[one] + mixture.log_share[other])
                flag.append([np.logaddexp(table[one], table[other]) - np.log(2.0) for table in mixture.flag])
    joint = Mixture(
        np.full(len(names), sound),
        np.array(log_share),
        mixture.healthy,
        mixture.log_kind,
        np.array(shift),
        np.array(covariance),
        tuple(np.array([row[number] for row in flag]) for number in range(len(mixture.flag))),
    )
    both = weighed(joint, found.seen, {"none": 1.0}, found.kind)
    single = TEMPER * found.steps.sum(axis=1) + mixture.log_share + np.log(found.prior[mixture.cause])
    top = single.max()
    everything = float(np.exp(single - top).sum())
    weight: dict[tuple[int, int], float] = {}
    for (first, second), score, share in zip(names, TEMPER * both.steps.sum(axis=1), joint.log_share, strict=True):
        likely = float(np.exp(score + share - top)) * found.prior[first] * found.prior[second]
        weight[first, second] = weight.get((first, second), 0.0) + likely
    told = [
        Pair((CAUSES[first], CAUSES[second]), float(likely / (everything + likely)))
        for (first, second), likely in weight.items()
        if likely / (everything + likely) >= LEAST
    ]
    return tuple(sorted(told, key=lambda pair: -pair.probability)[:MOST])
