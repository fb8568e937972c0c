"""The rules are seen to be broken, one by one."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from analysis.sequence.attempts import Attempt, PhaseSpan, Progress
from tests.sequence.lawful import breaches, lapses

SPANS = (PhaseSpan("inducer_start", 0.0, 5.0, 0.1, 0.1), PhaseSpan("prepurge", 5.0, 20.0, 0.1, 0.1))
GOOD = Attempt(1, 1, 0.0, 20.0, 0.1, 0.1, "low", "heat", 0.9, 15.0, 0.1, SPANS)
NEXT = replace(
    GOOD,
    number=2,
    start=20.0,
    end=40.0,
    deciding_time=30.0,
    phases=tuple(replace(span, start=span.start + 20.0, end=span.end + 20.0) for span in SPANS),
)


def test_good_attempts_break_nothing() -> None:
    assert breaches([GOOD, NEXT]) == []
    assert lapses(Progress(), 0.0) == []
    assert lapses(Progress("prepurge", 5.0, 15.0, 1, 1, 1), 6.0) == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda one: replace(one, outcome="heated"),
        lambda one: replace(one, stage="middle"),
        lambda one: replace(one, phases=()),
        lambda one: replace(one, phases=SPANS[:1]),
        lambda one: replace(one, phases=(SPANS[0], replace(SPANS[1], start=5.1))),
        lambda one: replace(one, phases=(SPANS[0], replace(SPANS[1], start=4.9))),
        lambda one: replace(one, phases=(SPANS[0], replace(SPANS[1], phase="purge"))),
        lambda one: replace(one, phases=(SPANS[0], replace(SPANS[1], start_u=float("nan")))),
        lambda one: replace(one, start=-1.0),
        lambda one: replace(one, end=float("nan")),
        lambda one: replace(one, start_u=-0.1),
        lambda one: replace(one, probability=1.1),
        lambda one: replace(one, deciding_time=21.0),
        lambda one: replace(one, number=0),
    ],
)
def test_each_rule_is_seen_to_be_broken(spoil: Callable[[Attempt], Attempt]) -> None:
    assert breaches([spoil(GOOD)])


@pytest.mark.parametrize(
    "after",
    [
        replace(NEXT, start=19.0, phases=(replace(NEXT.phases[0], start=19.0), NEXT.phases[1])),
        replace(NEXT, number=3),
    ],
)
def test_rules_between_attempts(after: Attempt) -> None:
    assert breaches([after]) == []
    assert breaches([GOOD, after])


def test_calls_do_not_count_back() -> None:
    assert breaches([replace(GOOD, call=2), NEXT])


@pytest.mark.parametrize(
    "progress",
    [
        Progress("purge"),
        Progress(outcome="heated"),
        Progress("prepurge", 9.0),
        Progress(attempt=-1),
        Progress(expected=-1.0),
    ],
)
def test_rules_of_the_present(progress: Progress) -> None:
    assert lapses(progress, 6.0)
