"""Minutes until a cause is 90 % sure: the test that tells most, against the trade's fixed checklist.

`python -m tests.benchmarks.diagnosis.next_tests` prints 300 calls. A technician meets a cause drawn from the shares, is
told the complaint, and makes one test after the other; each result is drawn from the table of the test under the true
cause. Both ways take the same tables, the same gates, the same beliefs at the start, and end as soon as one cause is
as sure as asked for. The tables are common practice without a published source: the figures say how much an order that
follows the results saves where the tables hold, and nothing about how good the tables are.
"""

import random
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import quantiles
from typing import Protocol

from analysis.diagnosis.causes import Priors
from analysis.diagnosis.next_tests import new_measures, next_tests
from analysis.diagnosis.result import Beliefs
from analysis.diagnosis.situation import Situation
from analysis.diagnosis.steps.catalogue import ORDERS, STEPS
from analysis.diagnosis.steps.complaints import complained, shares
from analysis.diagnosis.steps.fixed_order import next_in_order
from analysis.diagnosis.steps.step import METERS, PARTS, Step
from analysis.diagnosis.updating import updated

CALLS = 300
SURE = 0.9
"""A cause this probable ends the search. [1]"""
SEED = 20261201
FULL = Situation(
    licences=frozenset(["gas", "live"]),
    meters=frozenset(METERS),
    parts=frozenset(PARTS),
    fuel="natural gas",
    unmetered=False,
    room_co_measured=True,
)
"""A licensed technician with every instrument before a unit that has every port."""


class Searched(Beliefs, Protocol):
    """Beliefs that the result of a test changes."""

    def after(self, test: str, result: str) -> "Searched":
        """Beliefs after a test with a table."""
        ...


class Measuring(Protocol):
    """What makes a measurement in the simulated technician's hands."""

    def __call__(self, beliefs: Searched, measures: tuple[str, ...], cause: str, draw: random.Random) -> Searched:
        """Beliefs after these measures were read at a unit with this cause."""
        ...


@dataclass(frozen=True, slots=True)
class FromTables:
    """Beliefs that tables alone change; measurements tell them nothing, so that none is proposed."""

    probabilities: dict[str, float]
    measured: frozenset[str] = frozenset()

    def information(self, measures: tuple[str, ...]) -> float:
        return 0.0

    def after(self, test: str, result: str) -> "FromTables":
        return replace(self, probabilities=updated(self.probabilities, test, result))


@dataclass(frozen=True, slots=True)
class Course:
    """One search from its beginning to its end."""

    cause: str
    named: str
    """The most probable cause at its end."""
    sure: bool
    tests: int
    minutes: float
    """[min]"""


Choice = Callable[[Searched, Situation], Step | None]


def by_ranking(beliefs: Searched, situation: Situation) -> Step | None:
    """The test that tells most a minute."""
    found = next_tests(beliefs, situation).tests
    return STEPS[found[0].test] if found else None


def by_order(complaint: str) -> Choice:
    """The next of the complaint's list."""
    return lambda _, situation: next_in_order(complaint, situation)


def search(
    choice: Choice,
    cause: str,
    beliefs: Searched,
    situation: Situation,
    *,
    number: int,
    measuring: Measuring | None = None,
) -> Course:
    """Make tests until a cause is sure or none is left; in a call of one number a test has one result, whoever asks."""
    minutes, tests = 0.0, 0
    while max(beliefs.probabilities.values()) < SURE and (step := choice(beliefs, situation)):
        minutes, tests = minutes + step.minutes, tests + 1
        result = ""
        draw = random.Random(f"{number} {step.name}")
        if step.results:
            (result,) = draw.choices([one.name for one in step.results], weights=step.rows()[cause])
            beliefs = beliefs.after(step.name, result)
        elif measuring:
            beliefs = measuring(beliefs, new_measures(step, beliefs, situation), cause, draw)
        situation = replace(situation, done={**situation.done, step.name: result})
    named = max(beliefs.probabilities, key=lambda one: beliefs.probabilities[one])
    return Course(cause, named, beliefs.probabilities[named] >= SURE, tests, minutes)


def calls(count: int, seed: int, complaints: Sequence[str] = tuple(ORDERS)) -> list[tuple[str, str]]:
    """Causes by their shares, each with a complaint of these that it shows as."""
    draw, prior, told = random.Random(seed), Priors().probabilities(), shares()
    pairs = [(cause, complaint) for cause in prior for complaint in complaints]
    weights = [prior[cause] * told[cause][complaint] for cause, complaint in pairs]
    return draw.choices(pairs, weights, k=count)


def compared(
    given: Sequence[tuple[str, str]],
    start: Callable[[Mapping[str, float]], Searched] = lambda shares: FromTables(dict(shares)),
    situation: Situation = FULL,
    measuring: Measuring | None = None,
) -> tuple[list[Course], list[Course]]:
    """Courses of the same calls by ranking and by the fixed order."""
    ranked: list[Course] = []
    fixed: list[Course] = []
    for number, (cause, complaint) in enumerate(given):
        beliefs = start(complained(Priors().probabilities(), complaint))
        for choice, courses in ((by_ranking, ranked), (by_order(complaint), fixed)):
            courses.append(search(choice, cause, beliefs, situation, number=number, measuring=measuring))
    return ranked, fixed


def saved(ranked: Sequence[Course], fixed: Sequence[Course]) -> float:
    """Share of the fixed order's minutes that ranking saves, over all calls together. [1]"""
    return 1.0 - sum(one.minutes for one in ranked) / sum(one.minutes for one in fixed)


def report(ranked: Sequence[Course], fixed: Sequence[Course]) -> str:
    """Quartiles of minutes and tests, and how often the cause was found."""
    rows = [f"{'':14}{'minutes: mean':>14}{'quartiles':>20}{'tests: mean':>13}{'quartiles':>14}{'sure':>7}{'right':>7}"]
    for name, courses in (("fixed order", fixed), ("tells most", ranked)):
        minutes, tests = ([one.minutes for one in courses], [float(one.tests) for one in courses])
        sure = [one for one in courses if one.sure]
        right = sum(one.named == one.cause for one in sure) / max(len(sure), 1)
        rows.append(
            f"{name:14}{sum(minutes) / len(minutes):14.1f}{_quartiles(minutes):>20}"
            f"{sum(tests) / len(tests):13.1f}{_quartiles(tests):>14}{len(sure) / len(courses):7.0%}{right:7.0%}"
        )
    both = [(one, other) for one, other in zip(ranked, fixed, strict=True) if one.sure and other.sure]
    alike = saved(*zip(*both, strict=True)) if both else float("nan")
    rows.append(
        f"saved: {saved(ranked, fixed):.0%} of all minutes; {alike:.0%} where both were sure ({len(both)} calls)"
    )
    return "\n".join(rows)


def _quartiles(values: Sequence[float]) -> str:
    return " / ".join(f"{value:.0f}" for value in quantiles(values, n=4))


def main() -> None:
    """Print the comparison: all complaints, then the two of the pressure switch alone."""
    switch = [complaint for complaint in ORDERS if complaint.startswith("pressure switch")]
    for title, complaints in (("all complaints", list(ORDERS)), ("pressure switch", switch)):
        sys.stdout.write(f"{title}, {CALLS} calls, until one cause has {SURE:.0%}\n")
        sys.stdout.write(report(*compared(calls(CALLS, SEED, complaints))) + "\n\n")


if __name__ == "__main__":
    main()
