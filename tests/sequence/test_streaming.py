"""The comparison of streaming and offline attempts sees every difference; what is still under way is none."""

from dataclasses import replace

import pytest

from analysis.sequence.attempts import Attempt
from tests.sequence.streaming import Streamed, agreement, revised, settled_agreement

END = 10_000.0


def attempt(number: int, start: float, outcome: str = "heat") -> Attempt:
    return Attempt(number, 1, start, start + 400.0, 0.5, 0.5, "low", outcome, 1.0, start + 300.0, 0.5, ())


OFFLINE = [attempt(number, 1000.0 * number) for number in range(1, 6)]


def test_the_same_attempts_agree() -> None:
    assert agreement(OFFLINE, OFFLINE, END).share == 1


@pytest.mark.parametrize(
    ("changed", "share"),
    [
        (OFFLINE[1:], 4 / 5),
        ([*OFFLINE, attempt(6, 6000.0)], 5 / 6),
        ([replace(OFFLINE[0], outcome="flame_lost"), *OFFLINE[1:]], 4 / 5),
        ([replace(OFFLINE[0], start=1002.9), *OFFLINE[1:]], 1),
        ([replace(OFFLINE[0], start=1003.1), *OFFLINE[1:]], 4 / 6),
        ([OFFLINE[0], OFFLINE[0], *OFFLINE[1:]], 5 / 6),
        ([], 0),
    ],
)
def test_every_difference_counts(changed: list[Attempt], share: float) -> None:
    assert agreement(changed, OFFLINE, END).share == pytest.approx(share)


def test_what_is_under_way_at_the_end_is_left_out() -> None:
    last = replace(attempt(6, 9700.0, "cut_off"), end=END)
    assert agreement(OFFLINE, [*OFFLINE, last], END).share == 1
    assert agreement([*OFFLINE, replace(last, outcome="heat")], OFFLINE, END).share == 1
    silent = replace(last, end=END - 60.0)
    assert agreement([*OFFLINE, silent], OFFLINE, END).share == 1
    assert agreement([*OFFLINE, replace(silent, outcome="heat")], OFFLINE, END).share == 5 / 6


def test_a_settled_outcome_that_is_changed_later_is_seen() -> None:
    assert revised(Streamed(tuple(OFFLINE), {1: "heat", 2: "draft_lost", 9: "heat"})) == 1


def test_of_what_is_settled_nothing_is_left_out_but_what_comes_later() -> None:
    settled = Streamed((), stands=tuple(OFFLINE[:3]))
    assert settled_agreement(settled, OFFLINE, END).share == 1
    assert settled_agreement(settled, OFFLINE, END).same == 3
    assert settled_agreement(Streamed((), stands=(OFFLINE[0], OFFLINE[2])), OFFLINE, END).share == 2 / 3
    other = replace(OFFLINE[1], outcome="flame_lost")
    assert settled_agreement(Streamed((), stands=(OFFLINE[0], other)), OFFLINE, END).share == 1 / 2
