"""What units show under each cause: a mixture of normal distributions over scaled features, fitted to the cases.

Each cause is cut into parts by how attempts ended and by severity, until a part is too small to be cut; within a part
features are nearly normal. A part scatters as sound units do, and more only where its cases surely show it: else every
feature would speak a little against every cause that few cases are known of. What the cases do not know enters as
further variance: the spread of each feature (error of the physics), the scatter of a part's mean, and at the time of
use the uncertainty of each measurement. A group of features counts as multivariate Student t, so that one that fits
nowhere cannot decide alone (Lange, Little and Taylor 1989, J. Am. Stat. Assoc. 84:881, on t as a robust normal; from
memory). Papers (plate, baseline, altitude) are features like the others: the rest is conditioned on them.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from analysis.diagnosis.cases import KINDS, Cases
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES, FROM_PAPERS, GROUPS
from analysis.diagnosis.flags import FLAGS, WORST
from analysis.diagnosis.net import Net

Array = NDArray[np.float64]
Index = NDArray[np.int64]

SPREAD = 2.0 * np.array([feature.spread for feature in FEATURES])
"""Error of the physics, twice what a modeller would say of his own. [1]"""
PAPERS = np.array([feature.name in FROM_PAPERS for feature in FEATURES])
GROUP = np.array([GROUPS.index(feature.group) for feature in FEATURES])
SMALLEST = 12
"""Cases below which a part is not cut off. [1]"""
LARGEST = 30
"""Cases from which on a part is cut by severity. [1]"""
ENOUGH = 20
"""Cases from which a covariance of sound units is taken. [1]"""
FEWEST = 5.0
"""Cases from which on a part may scatter more than sound units, and that these count as then. [1]"""
TURNS = 4
"""Times that the covariance of sound units is taken anew. [1]"""
HEAVY = 8.0
"""Degrees of freedom by which far cases count less. [1]"""
SURE = 0.99999
"""How sure it must be that a part scatters more. [1]"""
LIKE_CAUSE = 3.0
"""Cases that the mean of the whole cause counts as in that of each part. [1]"""
FREEDOM = 4.0
"""Degrees of freedom of a group; the fewer, the less a misfit counts. [1]"""
DOUBT = 0.04
"""Share of flags that say anything. [1]"""
CHANCE = 5.0
"""Squared standard errors that a mean has to be away from nothing before it counts. [1]"""
TIGHT = 0.002
"""Smallest eigenvalue of a correlation matrix. [1]"""


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Parts of the causes."""

    cause: Index
    """(parts,) place in `CAUSES`."""
    log_share: Array
    """(parts,) logarithm of the part's share of its cause. [1]"""
    healthy: Array
    """(kinds, features) what sound units of each kind show on average. [1]"""
    log_kind: Array
    """(kinds,) logarithm of how common each is. [1]"""
    shift: Array
    """(parts, features) what the part shows beyond that. [1]"""
    covariance: Array
    """(parts, features, features) zero between groups. [1]"""
    flag: tuple[Array, ...]
    """For each flag (parts, what it may say): logarithm of its probability. [1]"""
    net: Net | None = None
    """What judges everything together beside the parts; None: the parts alone."""


def fitted(cases: Cases) -> Mixture:
    """The mixture of a library.

    What units differ in by their papers is taken off first, so that a shift or a scatter of a part is seen against
    what is left, and not against the spread of the whole population.
    """
    healthy = _healthy(cases)
    rest = cases.values - healthy[cases.kind]
    sound = cases.cause == CAUSES.index("none")
    whole = _usual(rest[sound] - _mean(rest[sound], 1e-9, 0.0), rest)
    lean = _lean(whole)
    left = rest - np.nan_to_num(rest) @ lean.T
    parts = list(_parts(cases))
    of_cause = {cause: _mean(left[cases.cause == cause], 0.5, 0.0) for cause in set(cases.cause.tolist())}
    shift = np.array([_mean(left[part], LIKE_CAUSE, of_cause[cause]) for cause, part in parts])
    within = np.full(left.shape, np.nan)
    for (_, part), mean in zip(parts, shift, strict=True):
        within[part] = left[part] - mean
    usual = _usual(within[sound], within)
    trust = _trust(within, usual)
    shift = np.array([_sure(mean, left[part], usual) for (_, part), mean in zip(parts, shift, strict=True)])
    shift[:, PAPERS] = 0.0
    carried = np.eye(len(FEATURES)) + lean
    papers = np.where(np.outer(PAPERS, PAPERS), whole, 0.0) + np.diag(np.where(PAPERS, SPREAD**2, 0.0))
    covariance = [
        carried @ (papers + _covariance(within[part], trust[part], usual, mean)) @ carried.T
        for (_, part), mean in zip(parts, shift, strict=True)
    ]
    size = np.array([np.sum(part) for _, part in parts], np.float64)
    return Mixture(
        cause=np.array([cause for cause, _ in parts], np.int64),
        log_share=np.log([n / np.sum(cases.cause == cause) for n, (cause, _) in zip(size, parts, strict=True)]),
        healthy=healthy,
        log_kind=np.log([(np.sum(cases.kind == kind) + 1.0) / (cases.kind.size + 4.0) for kind in range(len(KINDS))]),
        shift=shift,
        covariance=np.array(covariance),
        flag=tuple(_flag(cases, parts, number) for number in range(len(FLAGS))),
    )


def _lean(covariance: Array) -> Array:
    """(features, features) how far each feature goes with each paper of its group; zero for papers themselves."""
    found = np.zeros_like(covariance)
    for number in range(len(GROUPS)):
        own = np.flatnonzero(number == GROUP)
        told, rest = own[PAPERS[own]], own[~PAPERS[own]]
        if told.size:
            within = covariance[np.ix_(told, told)]
            found[np.ix_(rest, told)] = np.linalg.solve(within, covariance[np.ix_(told, rest)]).T
    return found


def _healthy(cases: Cases) -> Array:
    """Mean of sound units; where too few show a feature, the middle of all of the kind, then of all."""
    everywhere = _middle(cases.values)
    sound = cases.cause == CAUSES.index("none")
    found = []
    for kind in range(len(KINDS)):
        same = cases.kind == kind
        middle = _middle(cases.values[same]) if same.any() else everywhere
        few = np.sum(np.isfinite(cases.values[same & sound]), axis=0) < 5
        mean = _mean(cases.values[same & sound], 1e-9, 0.0)
        found.append(np.where(few, np.where(np.isfinite(middle), middle, everywhere), mean))
    return np.asarray(np.nan_to_num(np.array(found)), dtype=np.float64)


def _middle(values: Array) -> Array:
    there = np.isfinite(values).any(axis=0)
    found = np.full(values.shape[1], np.nan)
    found[there] = np.nanmedian(values[:, there], axis=0)
    return found


def _mean(values: Array, weight: float, towards: Array | float) -> Array:
    """Mean of what is there, drawn towards another as if that had been seen so often."""
    count = np.sum(np.isfinite(values), axis=0)
    return np.asarray((np.nansum(values, axis=0) + weight * towards) / (count + weight), dtype=np.float64)


def _sure(mean: Array, values: Array, usual: Array) -> Array:
    """A mean without what chance alone would give it (the positive-part rule of James and Stein, 1961)."""
    error = np.diag(usual) / (np.sum(np.isfinite(values), axis=0) + 1.0)
    return np.asarray(mean * np.maximum(0.0, 1.0 - CHANCE * error / np.maximum(mean**2, 1e-12)))


def _parts(cases: Cases) -> Iterator[tuple[int, NDArray[np.bool_]]]:
    """Cause and cases of each part: by how attempts ended, then by severity."""
    worst = cases.flags[:, list(FLAGS).index("worst")]
    for cause in sorted(set(cases.cause.tolist())):
        own = cases.cause == cause
        left = own.copy()
        for ending in (-1, *range(len(WORST))):
            part = own & (worst == ending)
            if part.sum() >= SMALLEST:
                left &= ~part
                yield from ((cause, piece) for piece in _by_severity(part, cases.severity))
        if left.any():
            yield cause, left


def _by_severity(part: NDArray[np.bool_], severity: Array) -> Iterator[NDArray[np.bool_]]:
    """Pieces of alike severity with about as many cases each."""
    pieces = max(1, min(4, int(part.sum()) // LARGEST))
    if float(np.ptp(severity[part])) == 0.0:
        pieces = 1
    edges = np.quantile(severity[part], np.linspace(0.0, 1.0, pieces + 1))
    for number, (low, high) in enumerate(pairwise(edges)):
        last = number == pieces - 1
        yield part & (severity >= low) & ((severity <= high) if last else (severity < high))


def _usual(sound: Array, within: Array) -> Array:
    """Covariance of sound units about their means; of all where too few sound ones show a feature.

    It is that of a Student t: cases that lie far from the others, as after a run that was too short, count less.
    """
    trust = np.ones((sound.shape[0], len(GROUPS)))
    for turn in range(TURNS):
        found, together = _scatter(sound, trust)
        whole, often = _scatter(within, np.ones((within.shape[0], len(GROUPS))))
        found = np.where(together >= ENOUGH, found, np.where(often >= ENOUGH, whole, 0.0))
        alone = (np.diag(together) < ENOUGH) & (np.diag(often) < ENOUGH)
        found[alone, alone] = 1.0
        found = _in_groups(found)
        if turn < TURNS - 1:
            trust = _trust(sound, found)
    return found


def _trust(within: Array, covariance: Array) -> Array:
    """(cases, groups) what each case counts: the weights of a Student t of `HEAVY` degrees of freedom."""
    found = np.ones((within.shape[0], len(GROUPS)))
    for number in range(len(GROUPS)):
        own = np.flatnonzero(number == GROUP)
        there = np.isfinite(within[:, own])
        patterns, which = np.unique(there, axis=0, return_inverse=True)
        for place, pattern in enumerate(patterns):
            kept = own[pattern]
            rows = np.flatnonzero(which == place)
            if kept.size:
                root = np.linalg.cholesky(covariance[np.ix_(kept, kept)])
                white = np.linalg.solve(root, within[np.ix_(rows, kept)].T)
                found[rows, number] = (HEAVY + kept.size) / (HEAVY + np.sum(white**2, axis=0))
    return found


def _scatter(within: Array, trust: Array) -> tuple[Array, Array]:
    """Covariance of what was seen together, and how often it was; between groups nothing."""
    count, size = within.shape[1], np.zeros((within.shape[1], within.shape[1]))
    found = np.zeros((count, count))
    for number in range(len(GROUPS)):
        own = np.flatnonzero(number == GROUP)
        part, weight = within[:, own], trust[:, number, None]
        there = np.isfinite(part).astype(np.float64)
        zeroed = np.nan_to_num(part)
        block = np.ix_(own, own)
        size[block] = there.T @ there
        found[block] = (weight * zeroed).T @ zeroed / np.maximum((weight * there).T @ there, 1e-9)
    return found, size


def _covariance(within: Array, trust: Array, usual: Array, shift: Array) -> Array:
    """Of one part: that of sound units, more where the part surely scatters more, widened by what is not known."""
    found, together = _scatter(within, trust)
    count = np.diag(together)
    limit = chdtri(np.maximum(count - 1.0, 1.0), 1.0 - SURE) / np.maximum(count - 1.0, 1.0)
    wider = (count >= FEWEST) & (np.diag(found) > limit * np.diag(usual))
    both = np.outer(wider, wider)
    more = np.where(both, (found - usual) * together / (together + FEWEST), 0.0)
    doubt = np.where(shift != 0.0, (np.diag(usual) + np.diag(more)) / (count + LIKE_CAUSE), 0.0)
    whole = _in_groups(usual + more + np.diag(doubt + SPREAD**2))
    return np.where(np.outer(PAPERS, PAPERS) | np.outer(PAPERS, ~PAPERS) | np.outer(~PAPERS, PAPERS), 0.0, whole)


def _in_groups(matrix: Array) -> Array:
    """A covariance of it within each group, and nothing between them."""
    found = np.zeros_like(matrix)
    for number in range(len(GROUPS)):
        own = np.flatnonzero(number == GROUP)
        block = np.ix_(own, own)
        found[block] = positive(matrix[block])
    return found


def positive(matrix: Array) -> Array:
    """Nearest covariance with the same variances and no correlation that is all but one."""
    deviation = np.sqrt(np.maximum(np.diag(matrix), 1e-8))
    correlation = matrix / np.outer(deviation, deviation)
    values, vectors = np.linalg.eigh(0.5 * (correlation + correlation.T))
    correlation = (vectors * np.maximum(values, TIGHT)) @ vectors.T
    scale = deviation / np.sqrt(np.diag(correlation))
    return np.asarray(correlation * np.outer(scale, scale))


def _flag(cases: Cases, parts: list[tuple[int, NDArray[np.bool_]]], number: int) -> Array:
    """Logarithm of the probability of what a flag says, drawn to its cause's and that to all causes'."""
    count = len(list(FLAGS.values())[number])
    column = cases.flags[:, number]

    def counted(chosen: NDArray[np.bool_]) -> Array:
        return np.bincount(column[chosen & (column >= 0)], minlength=count).astype(np.float64)

    overall = counted(np.ones(column.size, np.bool_)) + 1.0
    overall /= overall.sum()
    found = []
    for cause, part in parts:
        own, whole = counted(part), counted(cases.cause == cause)
        whole = (whole + 6.0 * overall) / (whole.sum() + 6.0)
        found.append((own + 4.0 * whole) / (own.sum() + 4.0))
    return np.asarray(np.log((1.0 - DOUBT) * np.array(found) + DOUBT * overall))


def log_t(deviation: Array, log_determinant: Array, dimensions: int) -> Array:
    """Logarithm of a multivariate Student density of covariance-like scale.

    deviation : squared Mahalanobis distance. log_determinant : of the scale matrix.
    """
    constant = (
        math.lgamma((FREEDOM + dimensions) / 2)
        - math.lgamma(FREEDOM / 2)
        - dimensions / 2 * math.log(FREEDOM * math.pi)
    )
    return constant - 0.5 * log_determinant - 0.5 * (FREEDOM + dimensions) * np.log1p(deviation / FREEDOM)
