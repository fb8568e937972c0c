"""An instrument's clock against ours: its offset and drift are known as well as is said, and no better is said."""

import math
import random
from collections.abc import Callable

import pytest

from analysis.model import NANOSECONDS
from drivers.meter_clock import ClockWatch, Course, Estimate, in_words

START = 1_768_372_280.0
"""[s]"""
TRIALS = 100


def exponential(draws: random.Random) -> float:
    return draws.expovariate(1 / 0.05)


def even(draws: random.Random) -> float:
    return draws.uniform(0.0, 0.3)


def heavy(draws: random.Random) -> float:
    return min(5.0, draws.lognormvariate(-4.0, 1.5))


def crowded(draws: random.Random) -> float:
    """A line that is busy for a while, now and then."""
    return draws.expovariate(1 / 0.02) + (draws.uniform(0.2, 1.0) if draws.random() < 0.3 else 0.0)


def estimated(
    seed: int, delay: Callable[[random.Random], float], *, step: float = 0.0, seconds: int = 600
) -> tuple[Estimate, float, float]:
    """The estimate after so long, and the true offset [s] and drift [1e-6]."""
    draws, watch = random.Random(seed), ClockWatch()
    offset, drift = draws.uniform(-3600, 3600), draws.uniform(-200, 200)
    arrived = START
    for second in range(seconds):
        sent = START + second + draws.uniform(0, 0.2)
        clock = sent - offset - drift * 1e-6 * (sent - START)
        clock = math.floor(clock / step) * step if step else clock
        arrived = max(arrived + 1e-6, sent + delay(draws))
        assert watch.step(clock, round(arrived * NANOSECONDS)) is Course.ON
    estimate = watch.estimate(round(arrived * NANOSECONDS))
    assert estimate is not None
    return estimate, offset + drift * 1e-6 * (arrived - START), drift


@pytest.mark.parametrize(
    ("delay", "step"), [(exponential, 0.0), (even, 0.0), (heavy, 0.0), (crowded, 0.0), (exponential, 1.0)]
)
def test_the_truth_lies_within_what_is_stated_in_95_of_100_trials(
    delay: Callable[[random.Random], float], step: float
) -> None:
    found = [estimated(seed, delay, step=step) for seed in range(TRIALS)]
    offsets = sum(abs(estimate.offset - offset) <= estimate.offset_u for estimate, offset, _ in found)
    drifts = sum(abs(estimate.drift - drift) <= estimate.drift_u for estimate, _, drift in found)
    assert offsets >= 0.95 * TRIALS, f"{offsets} offsets"
    assert drifts >= 0.95 * TRIALS, f"{drifts} drifts"
    if not step:
        widest = sorted(estimate.offset_u for estimate, _, _ in found)[TRIALS // 2]
        assert widest < 0.1, f"and it says something: {widest} s"


def said(*messages: tuple[float, float]) -> tuple[list[Course], ClockWatch]:
    """Courses of messages that arrived so many seconds after the start with such a clock."""
    watch = ClockWatch()
    return [watch.step(clock, round((START + at) * NANOSECONDS)) for at, clock in messages], watch


def ticking(start: int, stop: int, ahead: float = 0.0) -> list[tuple[float, float]]:
    return [(float(at), at + ahead) for at in range(start, stop)]


def test_a_clock_that_is_set_ahead_is_seen_at_once() -> None:
    courses, watch = said(*ticking(100, 150), *ticking(150, 160, ahead=35.0))
    assert courses.index(Course.JUMPED) == 50
    assert courses.count(Course.JUMPED) == 1
    assert watch.jump == pytest.approx(35.0)


def test_a_clock_that_is_set_back_is_seen_at_once_or_when_no_slow_message_explains_it() -> None:
    courses, watch = said(*ticking(100, 150), *ticking(150, 160, ahead=-60.0))
    assert courses.index(Course.JUMPED) == 50
    assert watch.jump == pytest.approx(-60.0)
    courses, watch = said(*ticking(100, 150), *ticking(150, 200, ahead=-3.0))
    assert 80 <= courses.index(Course.JUMPED) <= 85
    assert watch.jump == pytest.approx(-3.0)


def test_a_slow_message_is_no_clock_that_was_set() -> None:
    slow = [(at + (20.0 if at == 120 else 0.0), clock) for at, clock in ticking(100, 121)]
    courses, _ = said(*slow, *[(at + 0.01, at) for at in range(141, 180)])
    assert set(courses) == {Course.ON}


def test_a_clock_that_counts_from_its_beginning_again_was_switched_off() -> None:
    courses, _ = said(*ticking(1000, 1050), (1065.0, 4.0), (1066.0, 5.0))
    assert courses[-2:] == [Course.RESTARTED, Course.ON]


def test_midnight_is_no_jump() -> None:
    day = 86_400
    courses, watch = said(*[(float(at), (day - 100 + at) % day) for at in range(300)])
    assert set(courses) == {Course.ON}
    assert watch.estimate(round((START + 300) * NANOSECONDS)) is not None


def test_after_hours_no_more_is_held_than_after_minutes() -> None:
    _, watch = said(*ticking(0, 20_000))
    assert len(watch._windows) <= 64


def test_words_claim_no_more_than_is_known() -> None:
    losing = Estimate(12.34, 0.05, 0.9 / 86_400 * 1e6, 0.5)
    assert in_words(losing) == "12.3 s behind, losing 0.90 s a day"
    assert in_words(losing._replace(offset=-12.34, drift=-20.0)) == "12.3 s ahead, gaining 1.7 s a day"
    assert in_words(Estimate(0.01, 0.05, 3.0, 12.0)) == "right within 0.05 s, no drift seen (within 1.0 s a day)"
    assert in_words(Estimate(START, 0.1, 3.0, 12.0)).startswith("counts by itself and shows no time of day")


def test_nothing_is_told_before_enough_is_known() -> None:
    _, watch = said(*ticking(0, 20))
    assert watch.estimate(round((START + 20) * NANOSECONDS)) is None
