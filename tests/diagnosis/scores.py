"""How good a diagnosis is on calls whose truth is known: what is right, how sure it was, what was missed.

python -m tests.diagnosis.scores      prints the tables for the calls that are kept beside this module
"""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.cases import Cases
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.mixture import Mixture, fitted
from analysis.diagnosis.weighing import TEMPER, Weighed, weighed
from collector.diagnosing import cases, net
from tests.diagnosis.kept import Kept, load

Array = NDArray[np.float64]

NAMED = 0.5
"""Probability from which a cause is named. [1]"""
IDENTIFIABLE = 0.9
"""What an oracle has to give to the true cause for a call to count as identifiable. [1]"""
ROUND = 40
"""Cases in a row of the library with each cause once."""
TENTH = 10
NONE = CAUSES.index("none")


@dataclass(frozen=True, slots=True, eq=False)
class Results:
    """What was said of calls."""

    truth: NDArray[np.int64]
    """(n,) place in `CAUSES`."""
    probabilities: Array
    """(n, causes)"""

    def __getitem__(self, chosen: NDArray[np.bool_]) -> "Results":
        """Some of them."""
        return Results(self.truth[chosen], self.probabilities[chosen])

    @property
    def first(self) -> NDArray[np.int64]:
        """(n,) most probable cause."""
        return np.asarray(np.argmax(self.probabilities, axis=1))

    def top(self, count: int) -> float:
        """Share in which the truth is among the first so many."""
        order = np.argsort(-self.probabilities, axis=1, kind="stable")[:, :count]
        return float(np.mean(np.any(order == self.truth[:, None], axis=1)))

    @property
    def log_loss(self) -> float:
        """Mean of minus the natural logarithm of the probability of the truth."""
        found = self.probabilities[np.arange(self.truth.size), self.truth]
        return float(-np.mean(np.log(np.maximum(found, 1e-6))))

    def reliability(self) -> list[tuple[int, float, float]]:
        """For each tenth of confidence: calls, mean confidence in the first cause, share in which it was right."""
        sure, right = self.probabilities.max(axis=1), self.first == self.truth
        found = []
        for low in np.arange(0.0, 1.0, 0.1):
            inside = (sure > low) & (sure <= low + 0.1)
            if inside.any():
                found.append((int(inside.sum()), float(sure[inside].mean()), float(right[inside].mean())))
        return found

    @property
    def calibration_error(self) -> float:
        """Expected calibration error: mean distance of confidence and share right, over tenths of confidence."""
        return sum(n * abs(sure - right) for n, sure, right in self.reliability()) / max(self.truth.size, 1)

    def rates(self) -> dict[str, float]:
        """Rates as NREL/TP-5500-72801 names them: a fault is reported where `none` is less probable than `NAMED`."""
        faulty = self.truth != NONE
        reported = self.probabilities[:, NONE] < NAMED
        others = self.probabilities.copy()
        others[:, NONE] = 0.0
        named = others.max(axis=1) >= NAMED
        right = np.argmax(others, axis=1) == self.truth
        detected = faulty & reported

        def share(chosen: NDArray[np.bool_], among: NDArray[np.bool_]) -> float:
            return float(chosen.sum() / among.sum()) if among.any() else math.nan

        return {
            "true positive": share(detected, faulty),
            "false negative": share(faulty & ~reported, faulty),
            "false positive": share(~faulty & reported, ~faulty),
            "false alarm (a cause named)": share(~faulty & named, ~faulty),
            "correct diagnosis": share(detected & named & right, detected),
            "misdiagnosis": share(detected & named & ~right, detected),
            "no diagnosis": share(detected & ~named, detected),
        }


def drawn_shares() -> dict[str, float]:
    """Shares by which the calls were drawn: a third is sound, the other causes alike."""
    return {cause: 1 / 3 if cause == "none" else 2 / 3 / (len(CAUSES) - 1) for cause in CAUSES}


def weighed_calls(mixture: Mixture, calls: Sequence[Kept], prior: dict[str, float]) -> list[Weighed]:
    """Every call weighed."""
    return [weighed(mixture, one.seen, prior, one.kind) for one in calls]


def results(found: Iterable[Weighed], calls: Sequence[Kept]) -> Results:
    """What was said of them."""
    truth = np.array([CAUSES.index(one.cause) for one in calls], np.int64)
    return Results(truth, np.array([one.causes for one in found]).reshape(truth.size, len(CAUSES)))


def tenth(library: Cases) -> Cases:
    """Each tenth round of the library: what is diagnosed with where all of it is the oracle."""
    return library[(np.arange(library.cause.size) // ROUND) % TENTH == 0]


def line(name: str, found: Results) -> str:
    """One row of the table."""
    return (
        f"{name:<44} {found.truth.size:>5}  {found.top(1):.3f}  {found.top(3):.3f}  {found.log_loss:>6.3f}"
        f"  {found.calibration_error:.3f}"
    )


HEAD = f"{'':<44} {'calls':>5}  top-1  top-3    loss   ECE"


def confusion(found: Results) -> list[str]:
    """For each cause how often it was first, and what was first instead."""
    rows = []
    for number, cause in enumerate(CAUSES):
        own = found.truth == number
        if own.any():
            first = Counter(CAUSES[one] for one in found.first[own])
            others = ", ".join(f"{other} {n}" for other, n in first.most_common(4) if other != cause)
            rows.append(f"  {cause:<24} {first[cause]:>3} of {int(own.sum()):>3}   {others}")
    return rows


def printed(tell: Callable[[str], None], calls: Sequence[Kept] | None = None) -> dict[str, Results]:
    """Every table."""
    library, everything = cases(), load() if calls is None else list(calls)
    prior = drawn_shares()
    plain = [one for one in everything if one.which in ("faulty", "healthy")]
    shifted = [one for one in everything if one.which == "shifted"]
    mixture, part = fitted(library), fitted(tenth(library))
    whole = replace(mixture, net=net())
    shipped = results(weighed_calls(whole, plain, prior), plain)
    oracle = results(weighed_calls(mixture, plain, prior), plain)
    small = results(weighed_calls(part, plain, prior), plain)
    sure = oracle.probabilities[np.arange(oracle.truth.size), oracle.truth] >= IDENTIFIABLE
    tell(f"library {library.cause.size} cases, a tenth of it {tenth(library).cause.size}; temper {TEMPER}")
    tell(HEAD)
    tell(line("all", shipped))
    tell(line("all, mixture alone", oracle))
    tell(line("all, mixture of a tenth of the library", small))
    tell(line("identifiable, mixture of a tenth of the library", small[sure]))
    tell(line("identifiable", shipped[sure]))
    faulty = oracle.truth != NONE
    tell(line("faulty", shipped[faulty]))
    tell(line("sound", shipped[~faulty]))
    found = {"whole": shipped, "mixture": oracle, "tenth": small, "identifiable": small[sure]}
    if shifted:
        found["shifted"] = results(weighed_calls(whole, shifted, {**prior, "none": 1e-3}), shifted)
        tell(line("shifted population (faulty)", found["shifted"]))
        alone = results(weighed_calls(mixture, shifted, {**prior, "none": 1e-3}), shifted)
        tell(line("shifted population (faulty), mixture alone", alone))
    tell(f"identifiable: {int(sure.sum())} of {sure.size} ({100 * float(sure.mean()):.0f} %)")
    tell("rates: " + ", ".join(f"{name} {value:.3f}" for name, value in shipped.rates().items()))
    tell("rates, mixture alone: " + ", ".join(f"{name} {value:.3f}" for name, value in oracle.rates().items()))
    tell("reliability: " + ", ".join(f"{s:.2f}->{r:.2f} ({n})" for n, s, r in shipped.reliability()))
    for row in confusion(shipped):
        tell(row)
    return found


if __name__ == "__main__":
    printed(print)
