"""The net beside the mixture, learned anew from a library and checked on cases that it did not learn from.

python -m drivers.simulate.learning LIBRARY FILE      some minutes of one core
"""

import sys
import time as clocks
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.cases import Cases
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.mixture import fitted
from analysis.diagnosis.net import Net, inputs, log_softmax
from analysis.diagnosis.seen import Seen
from analysis.diagnosis.weighing import weighed
from drivers.simulate.kits import as_read
from drivers.simulate.library import ROUND

Array = NDArray[np.floating[Any]]
Doubles = NDArray[np.float64]
Index = NDArray[np.int64]

FOLDS = 5
"""Nets; each learns from all rounds of the library but its own fifth, on which it is checked. [1]"""
HIDDEN = 128
"""Numbers between what a net is given and the causes. [1]"""
TURNS = 40
"""Times that all cases are gone through, each time seen by other kits. [1]"""
BATCH = 128
"""Cases of one step. [1]"""
FAST, SLOW = 2e-3, 5e-5
"""Size of the first and of the last step; it shrinks evenly. [1]"""
DECAY = 1e-3
"""By which weights shrink in a step of size 1. [1]"""
LEARNED = ("weight_in", "bias_in", "weight_out", "bias_out")
"""Of `Net`, in the order in which `learned` gives them."""
SINGLE = np.float32
"""Half the size of what is learned with; it is kept smaller still."""
DROPPED = 0.25
"""Share of the hidden numbers that each step goes without. [1]"""
SOUND = 1 / 3
"""Share of sound visits for which probabilities have to come true, the other causes alike; our choice. [1]"""
CALLED = 0.65
"""Least severity of a fault that somebody is called for; our choice. [1]"""
COUNTS = np.arange(0.05, 1.01, 0.05)
"""What the two logarithms may count. [1]"""


@dataclass(slots=True)
class Adam:
    """One matrix that is learned (Kingma and Ba 2015, arXiv:1412.6980, algorithm 1)."""

    value: Array
    first: Array
    second: Array
    count: int = 0

    @classmethod
    def of(cls, value: Array) -> "Adam":
        """From where it begins."""
        return cls(value, np.zeros_like(value), np.zeros_like(value))

    def step(self, gradient: Array, size: float) -> None:
        """Go a step against the gradient."""
        self.count += 1
        self.first += 0.1 * (gradient - self.first)
        self.second += 0.001 * (gradient**2 - self.second)
        ratio = (1.0 - 0.999**self.count) ** 0.5 / (1.0 - 0.9**self.count)
        self.value -= size * (ratio * self.first / (np.sqrt(self.second) + 1e-8) + DECAY * self.value)


def learned(cases: Cases, mean: Doubles, scale: Doubles, random: np.random.Generator) -> tuple[Doubles, ...]:
    """Weights and biases of one net, `LEARNED`."""
    width = inputs(cases.values[:1], cases.flags[:1], cases.kind[:1], mean, scale).shape[1]
    sizes = (width, HIDDEN), (HIDDEN, len(CAUSES))
    matrices = [random.standard_normal(size) * np.sqrt(2.0 / size[0]) for size in sizes]
    both = [(Adam.of(one.astype(SINGLE)), Adam.of(np.zeros(one.shape[1], SINGLE))) for one in matrices]
    steps, done = TURNS * -(-cases.cause.size // BATCH), 0
    for _ in range(TURNS):
        read, _ = as_read(cases, random)
        order = random.permutation(read.cause.size)
        given = inputs(read.values, read.flags, read.kind, mean, scale).astype(SINGLE)
        for first in range(0, order.size, BATCH):
            rows = order[first : first + BATCH]
            kept = (random.random((rows.size, HIDDEN), SINGLE) > DROPPED) / SINGLE(1.0 - DROPPED)
            gradients = _gradients(
                [(weight.value, bias.value) for weight, bias in both], given[rows], kept, read.cause[rows]
            )
            for pair, pull in zip(both, gradients, strict=True):
                for one, gradient in zip(pair, pull, strict=True):
                    one.step(gradient, FAST + (SLOW - FAST) * done / steps)
            done += 1
    return tuple(np.asarray(one.value, np.float64) for pair in both for one in pair)


def _gradients(
    layers: Sequence[tuple[Array, Array]], given: Array, kept: Array, cause: Index
) -> list[tuple[Array, Array]]:
    """Of minus the mean logarithm of the true cause's probability, by weights and biases of both layers."""
    (weight_in, bias_in), (weight_out, bias_out) = layers
    before = given @ weight_in + bias_in
    hidden = np.maximum(before, 0.0) * kept
    off = np.exp(log_softmax(hidden @ weight_out + bias_out))
    off[np.arange(cause.size), cause] -= 1.0
    off /= cause.size
    back = (off @ weight_out.T) * kept * (before > 0.0)
    return [(given.T @ back, back.sum(axis=0)), (hidden.T @ off, off.sum(axis=0))]


def made(cases: Cases, tell: Callable[[str], None], seed: int = 1) -> Net:
    """The net of a library; what both count is chosen where neither net nor mixture knew the cases."""
    values = np.where(np.isfinite(cases.values).any(axis=0), cases.values, 0.0)
    mean = np.nan_to_num(np.nanmean(values, axis=0))
    scale = np.nan_to_num(np.nanstd(values, axis=0)) + 0.05
    share = np.bincount(cases.cause, minlength=len(CAUSES)) / cases.cause.size
    log_share = np.log(np.maximum(share, 1.0 / cases.cause.size))
    fold = (np.arange(cases.cause.size) // ROUND) % FOLDS
    nets, checked = list[Net](), list[tuple[Doubles, Doubles, Cases]]()
    for number in range(FOLDS):
        random = np.random.default_rng((seed, number))
        rest, own = cases[fold != number], cases[fold == number]
        parts = {name: one[None] for name, one in zip(LEARNED, learned(rest, mean, scale, random), strict=True)}
        nets.append(Net(mean, scale, log_share=log_share, mixture_counts=1.0, net_counts=1.0, **parts))
        read, u = as_read(own, random)
        called = (read.severity >= CALLED) | (read.cause == CAUSES.index("none"))
        read, u = read[called], u[called]
        beside = nets[-1].log_likelihood(read.values, read.flags, read.kind)
        checked.append((mixture_of(rest, read, u), beside, read))
        tell(f"net {number + 1} of {FOLDS}")
    mixture, net, cause = (
        np.concatenate([one[0] for one in checked]),
        np.concatenate([one[1] for one in checked]),
        np.concatenate([one[2].cause for one in checked]),
    )
    counts = chosen(mixture, net, cause, tell)
    stacked = {name: np.concatenate([getattr(one, name) for one in nets]) for name in LEARNED}
    return Net(mean, scale, log_share=log_share, mixture_counts=counts[0], net_counts=counts[1], **stacked)


def mixture_of(rest: Cases, read: Cases, u: Doubles) -> Doubles:
    """(n, causes) logarithm of the likelihood by the mixture of other cases."""
    mixture, alike = fitted(rest), dict.fromkeys(CAUSES, 1.0)
    found = [
        weighed(
            mixture,
            Seen(row, np.where(np.isfinite(row), unsure, np.nan), {}, flags_of(said), {}),
            alike,
            None if kind < 0 else int(kind),
        ).log_likelihood
        for row, unsure, said, kind in zip(read.values, u, read.flags, read.kind, strict=True)
    ]
    return np.array(found)


def flags_of(places: Index) -> dict[str, str]:
    """Flags in words again."""
    return {flag: words[int(place)] for (flag, words), place in zip(FLAGS.items(), places, strict=True) if place >= 0}


def chosen(mixture: Doubles, net: Doubles, cause: Index, tell: Callable[[str], None]) -> tuple[float, float]:
    """What each counts: the pair that gives true causes the highest mean logarithm of probability."""
    prior = np.array([SOUND if one == "none" else (1.0 - SOUND) / (len(CAUSES) - 1) for one in CAUSES])
    weight = prior[cause] / np.bincount(cause, minlength=len(CAUSES))[cause]
    best, counts = np.inf, (1.0, 0.0)
    alone = np.inf
    for first in COUNTS:
        for second in (0.0, *COUNTS):
            score = log_softmax(first * mixture + second * net + np.log(prior))
            loss = -float(np.sum(weight * score[np.arange(cause.size), cause]) / weight.sum())
            if second == 0.0:
                alone = min(alone, loss)
            if loss < best:
                best, counts = loss, (float(first), float(second))
    tell(f"mixture counts {counts[0]:.2f}, net {counts[1]:.2f}: loss {best:.3f}, of the mixture alone {alone:.3f}")
    return counts


def main(arguments: list[str]) -> int:
    """Learn it."""
    if len(arguments) != 2:
        sys.stderr.write(f"{__doc__}\n")
        return 2
    with np.load(arguments[0]) as arrays:
        cases = Cases.read(dict(arrays))
    path, began = Path(arguments[1]), clocks.monotonic()

    def tell(text: str) -> None:
        sys.stderr.write(f"{clocks.monotonic() - began:5.0f} s  {text}\n")

    found = made(cases, tell)
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.savez_compressed(file, **found.arrays())  # type: ignore[arg-type]
    part.replace(path)
    sys.stderr.write(f"{path}: {path.stat().st_size / 1e6:.2f} MB\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
