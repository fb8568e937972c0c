"""How probable what was seen is under each part of the mixture: feature by feature, each given those before it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.cases import UNTOLD, places
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES, GROUPS
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.mixture import GROUP, PAPERS, Mixture, log_t
from analysis.diagnosis.seen import Seen

Array = NDArray[np.float64]
Index = NDArray[np.int64]

TEMPER = 0.55
"""What a logarithm of a likelihood counts: features are less independent than the mixture has them, and the physics is
a model. Chosen so that probabilities come true on simulated calls that the library does not know. [1]"""
ODD = 0.003
"""Share of readings that say nothing of the unit: a slip of meter, hand or recognizer; our choice. [1]"""


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """One recording weighed."""

    mixture: Mixture
    seen: Seen
    prior: Array
    """(causes,) before anything was measured. [1]"""
    what: tuple[str, ...]
    """(n,) features and flags in the order in which they are taken."""
    steps: Array
    """(parts, n) logarithm of the likelihood of each, given the ones before. [1]"""
    kinds: Array
    """(parts, kinds) how probable each kind is at the end. [1]"""
    kind: int | None
    """Kind that the papers say; None where they do not. [1]"""
    misfit: Mapping[str, float]
    """For each group, how far the best part is from what was seen: squared distance over its dimensions. [1]"""
    net: Array | None = None
    """(causes,) logarithm of the likelihood that the net beside the mixture gives, as far as it counts. [1]"""
    counts: float = 1.0
    """Share of its logarithm that the mixture's likelihood counts beside the net. [1]"""

    @property
    def log_likelihood(self) -> Array:
        """(causes,) logarithm of the likelihood by the mixture alone; minus infinity without a part. [1]"""
        return self._by_cause(TEMPER * self.steps.sum(axis=1) + self.mixture.log_share)

    @property
    def parts(self) -> Array:
        """(parts,) probability of each. [1]"""
        score = TEMPER * self.steps.sum(axis=1) + self.mixture.log_share + np.log(self.prior[self.mixture.cause])
        if self.net is not None:
            with np.errstate(invalid="ignore"):
                beside = self.net - (1.0 - self.counts) * self.log_likelihood
            score = score + beside[self.mixture.cause]
        return _shares(score)

    @property
    def causes(self) -> Array:
        """(causes,) probability of each. [1]"""
        return np.asarray(np.bincount(self.mixture.cause, self.parts, minlength=len(CAUSES)), np.float64)

    def weights(self) -> Array:
        """(causes, n + 1) of each step for and against each cause, and of the net; from prior to result they add up.

        [bit]
        """
        running = np.cumsum(TEMPER * self.steps, axis=1)
        start = np.zeros((running.shape[0], 1))
        running = np.concatenate((start, running), axis=1) + self.mixture.log_share[:, None]
        cause = self.counts * self._by_cause(running)
        together = cause[:, -1:] if self.net is None else cause[:, -1:] + self.net[:, None]
        cause = np.concatenate((cause, together), axis=1)
        overall = _log_sum(cause + np.log(self.prior)[:, None], 0)
        with np.errstate(invalid="ignore"):
            gained = np.diff(cause - overall[None], axis=1) / math.log(2)
        return np.nan_to_num(gained)

    def _by_cause(self, score: Array) -> Array:
        """(causes, ...) parts (parts, ...) of each cause together; minus infinity without a part."""
        found = np.full((len(CAUSES), *score.shape[1:]), -np.inf)
        for number in set(self.mixture.cause.tolist()):
            found[number] = _log_sum(score[self.mixture.cause == number], 0)
        return found


def weighed(mixture: Mixture, seen: Seen, prior: Mapping[str, float], kind: int | None = None) -> Weighed:
    """What was seen, weighed under every part.

    prior : probability of each cause. kind : place in `cases.KINDS`, None where it is not known.
    """
    kinds = np.arange(mixture.healthy.shape[0]) if kind is None else np.array([kind])
    there = np.isfinite(seen.values)
    belief = np.broadcast_to(mixture.log_kind[kinds], (mixture.cause.size, kinds.size)).copy()
    what: list[str] = []
    steps: list[Array] = []
    misfit: dict[str, float] = {}
    for number, group in enumerate(GROUPS):
        own = np.flatnonzero(there & (number == GROUP))
        order = np.concatenate((own[PAPERS[own]], own[~PAPERS[own]]))
        if not order.size:
            continue
        told, distance = _group(mixture, seen, order, kinds)
        papers = int(PAPERS[own].sum())
        belief += told[:, :, :papers].sum(axis=2)
        what += [FEATURES[place].name for place in order[papers:]]
        steps += list(np.moveaxis(told[:, :, papers:], 2, 0))
        if order.size > papers:
            misfit[group] = float(distance.min()) / order.size
    for flag, said, table in zip(FLAGS, places(seen.flags), mixture.flag, strict=True):
        if said != UNTOLD:
            what.append(flag)
            steps.append(np.repeat(table[:, said, None], kinds.size, axis=1))
    joined, belief = _over_kinds(steps, belief)
    if joined.size:
        joined = np.logaddexp(joined + math.log1p(-ODD), joined.max(axis=0) + math.log(ODD))
    shares = np.array([prior.get(cause, 0.0) for cause in CAUSES])
    shares = np.maximum(shares, 1e-12)
    net = mixture.net
    if net is None or not what:
        return Weighed(mixture, seen, shares, tuple(what), joined, belief, kind, misfit)
    said_kind = np.array([UNTOLD if kind is None else kind])
    likely = net.log_likelihood(seen.values[None], np.array([places(seen.flags)]), said_kind)[0]
    return Weighed(
        mixture, seen, shares, tuple(what), joined, belief, kind, misfit, net.net_counts * likely, net.mixture_counts
    )


def _group(mixture: Mixture, seen: Seen, order: Index, kinds: Index) -> tuple[Array, Array]:
    """(parts, kinds, features) logarithm of each density given those before; (parts, kinds) squared distance of all."""
    scale = mixture.covariance[:, order[:, None], order[None, :]] + np.diag(seen.u[order] ** 2)
    root = np.linalg.cholesky(scale)
    apart = (seen.values[order] - mixture.healthy[np.ix_(kinds, order)])[None] - mixture.shift[:, None, order]
    white = np.linalg.solve(root, np.swapaxes(apart, 1, 2))  # (parts, features, kinds)
    distance = np.swapaxes(np.cumsum(white**2, axis=1), 1, 2)
    determinant = 2.0 * np.cumsum(np.log(np.diagonal(root, axis1=1, axis2=2)), axis=1)[:, None, :]
    running = np.zeros((*distance.shape[:2], order.size + 1))
    for count in range(1, order.size + 1):
        running[:, :, count] = log_t(distance[:, :, count - 1], determinant[:, :, count - 1], count)
    return np.diff(running, axis=2), distance[:, :, -1]


def _over_kinds(steps: list[Array], belief: Array) -> tuple[Array, Array]:
    """(parts, n) steps over all kinds, each as probable as the papers and the steps before make it."""
    belief = belief - _log_sum(belief, 1)[:, None]
    found = np.zeros((belief.shape[0], len(steps)))
    for number, step in enumerate(steps):
        belief = belief + step
        found[:, number] = _log_sum(belief, 1)
        belief = belief - found[:, number, None]
    return found, np.exp(belief)


def _log_sum(values: Array, axis: int) -> Array:
    top = np.max(values, axis=axis, keepdims=True)
    return np.asarray(np.squeeze(top, axis) + np.log(np.sum(np.exp(values - top), axis=axis)))


def _shares(score: Array) -> Array:
    found = np.exp(score - score.max())
    return np.asarray(found / found.sum())
