"""What a further measurement would tell: the expected information about the cause, from the mixture itself."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES, GROUPS, NUMBER
from analysis.diagnosis.mixture import GROUP
from analysis.diagnosis.weighing import TEMPER, Weighed
from analysis.measures.defaults import default_accuracy
from analysis.points import POINTS, measure_of
from analysis.uncertainty import Accuracy

Array = NDArray[np.float64]

DRAWS = 300
"""Results of a measurement that are tried. [1]"""
SEED = 8
LIKELY = 1e-4
"""Probability of a part below which it is left out. [1]"""

_BY_MEASURE: dict[str, int] = {}
for _number, _feature in enumerate(FEATURES):
    for _measure in (*_feature.measures, _feature.name):
        _BY_MEASURE.setdefault(_measure, _number)


@dataclass(frozen=True)
class Believed:
    """What is believed of a unit after what was seen: `result.Beliefs`."""

    weighed: Weighed

    @cached_property
    def probabilities(self) -> dict[str, float]:
        """Probability of each single cause. [1]"""
        return dict(zip(CAUSES, self.weighed.causes.tolist(), strict=True))

    @cached_property
    def measured(self) -> frozenset[str]:
        """Measures that are known already."""
        seen = self.weighed.seen
        known = {name for name in NUMBER if math.isfinite(seen.values[NUMBER[name]])}
        return frozenset(name for name, place in _BY_MEASURE.items() if FEATURES[place].name in known)

    def information(self, measures: tuple[str, ...]) -> float:
        """Expected information about the cause from these measures too: mutual information by drawn results. [bit]"""
        places = sorted({_BY_MEASURE[name] for name in measures if name in _BY_MEASURE and name not in self.measured})
        if not places:
            return 0.0
        found = self.weighed
        kept = np.flatnonzero(found.parts > LIKELY)
        share = found.parts[kept] / found.parts[kept].sum()
        random = np.random.default_rng(SEED)
        drawn = random.choice(kept.size, DRAWS, p=share)
        score = np.zeros((DRAWS, kept.size))
        for number in range(len(GROUPS)):
            own = np.array([place for place in places if GROUP[place] == number], np.int64)
            if own.size:
                mean, covariance = self._given(kept, own)
                score += TEMPER * _scores(mean, covariance, drawn, random)
        score += np.log(share)
        score -= score.max(axis=1, keepdims=True)
        after = np.exp(score)
        after /= after.sum(axis=1, keepdims=True)
        cause = found.mixture.cause[kept]
        member = (cause[:, None] == np.arange(len(CAUSES))[None]).astype(np.float64)
        gained = _entropy(share @ member) - float(np.mean([_entropy(row) for row in after @ member]))
        return max(gained, 0.0)

    def _given(self, parts: NDArray[np.int64], wanted: NDArray[np.int64]) -> tuple[Array, Array]:
        """Means (parts, wanted) and covariances of features given what was seen of their group, with a usual meter."""
        found = self.weighed
        mixture, seen = found.mixture, found.seen
        same = np.flatnonzero(np.isfinite(seen.values) & (GROUP[wanted[0]] == GROUP))
        kind = np.argmax(found.kinds[parts], axis=1) if found.kind is None else np.full(parts.size, found.kind)
        mean = mixture.healthy[kind] + mixture.shift[parts]
        covariance = mixture.covariance[parts]
        middle, spread = mean[:, wanted], covariance[:, wanted[:, None], wanted[None, :]]
        if same.size:
            within = covariance[:, same[:, None], same[None, :]] + np.diag(seen.u[same] ** 2)
            across = covariance[:, same[:, None], wanted[None, :]]
            gain = np.swapaxes(np.linalg.solve(within, across), 1, 2)
            middle = middle + np.einsum("pws,ps->pw", gain, seen.values[same][None] - mean[:, same])
            spread = spread - gain @ across
        meter = np.array([_usual(place, float(np.median(middle[:, n]))) for n, place in enumerate(wanted)])
        return middle, spread + np.diag(meter**2 + 1e-6)[None]


def _scores(mean: Array, covariance: Array, drawn: NDArray[np.int64], random: np.random.Generator) -> Array:
    """(draws, parts) logarithm of the density of results drawn from one part each."""
    root = np.linalg.cholesky(covariance)
    noise = random.standard_normal((drawn.size, mean.shape[1]))
    result = mean[drawn] + np.einsum("dij,dj->di", root[drawn], noise)
    apart = result[:, None, :] - mean[None]
    white = np.einsum("pij,dpj->dpi", np.linalg.inv(root), apart)
    determinant = 2.0 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    return np.asarray(-0.5 * (white**2).sum(axis=2) - 0.5 * determinant[None])


def _usual(place: int, scaled: float) -> float:
    """Standard uncertainty of a feature read with a usual meter. [scaled]"""
    feature = FEATURES[place]
    head = feature.name.partition(".")[0]
    point = {"temp_rise": "temp_supply", "draft_margin": "draft_switch", "draft_margin_high": "draft_switch_high"}
    name = point.get(head, head)
    statement = default_accuracy(name) if name in POINTS else ""
    if not statement:
        return 0.1
    measure = measure_of(name)
    value = feature.unscaled(scaled)
    return feature.scaled_u(value, Accuracy.parse(statement, measure.name).u(value, measure.inside))


def _entropy(shares: Array) -> float:
    kept = shares[shares > 1e-12]
    return float(-np.sum(kept * np.log2(kept)))
