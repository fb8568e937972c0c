"""Attempts before and after: exact intervals, and how little a few clean ones prove."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.comparison.outcomes import clean_attempts, outcomes
from analysis.sequence.attempts import Attempt


def attempts(*outcome: str) -> list[Attempt]:
    return [
        Attempt(
            number=number,
            call=1,
            start=100.0 * number,
            end=100.0 * number + 50.0,
            start_u=0.1,
            end_u=0.1,
            stage="low",
            outcome=each,
            probability=0.99,
            deciding_time=100.0 * number,
            deciding_u=0.1,
            phases=(),
        )
        for number, each in enumerate(outcome, 1)
    ]


FAILED, HEAT = "draft_lost", "heat"


def test_intervals_are_those_of_clopper_and_pearson():
    """0 of 3: upper end 1 - 0.025^(1/3) = 0.7076; 3 of 3: lower end 0.025^(1/3) = 0.2924 (closed forms)."""
    found = outcomes(attempts(*[FAILED] * 3), attempts(*[HEAT] * 3))
    assert (found.after.low, found.after.high) == pytest.approx((0.0, 1 - 0.025 ** (1 / 3)))
    assert (found.before.low, found.before.high) == pytest.approx((0.025 ** (1 / 3), 1.0))


def test_fishers_tea():
    """Fisher, The Design of Experiments, 1935, chapter 2: all of 4 and none of 4: 2 of 70 arrangements, 0.0286."""
    found = outcomes(attempts(*[FAILED] * 4), attempts(*[HEAT] * 4))
    assert found.probability == pytest.approx(2 / 70)
    assert found.verdict == "better"


def test_none_failed_in_three_proves_little():
    """2 of 7 failed: (5/7)^9 = 0.0484 and (5/7)^8 = 0.0678, so 9 clean ones."""
    found = outcomes(attempts(*[FAILED] * 2, *[HEAT] * 5), attempts(*[HEAT] * 3))
    assert found.verdict == "cannot tell"
    assert found.needed == 9
    assert found.needed_surely is not None
    assert found.needed_surely > 50
    assert "none failed in 3 proves little" in found.why


@given(st.integers(1, 99))
def test_clean_attempts_are_the_fewest_that_are_rare(percent):
    probability = percent / 100
    count = clean_attempts(probability)
    assert count is not None
    assert (1 - probability) ** count <= 0.05 * (1 + 1e-9)
    assert (1 - probability) ** (count - 1) > 0.05 * (1 - 1e-9)


def test_what_would_tell_does():
    before = attempts(*[FAILED] * 5, HEAT)
    found = outcomes(before, attempts(HEAT))
    assert found.to_tell is not None
    assert outcomes(before, attempts(*[HEAT] * found.to_tell)).verdict == "better"
    assert outcomes(before, attempts(*[HEAT] * (found.to_tell - 1))).verdict == "cannot tell"


@pytest.mark.parametrize("ending", ["cut_off", "call_ended", "unknown", "no_start"])
def test_what_says_nothing_does_not_count(ending):
    found = outcomes(attempts(FAILED, ending, ending), attempts(ending))
    assert (found.before.failed, found.before.count) == (1, 1)
    assert found.verdict == "cannot tell"
    assert math.isnan(found.probability)
    assert not found.comparable
    assert found.before.how == ((ending, 2), (FAILED, 1))


def test_it_may_be_worse():
    found = outcomes(attempts(*[HEAT] * 6), attempts(*[FAILED] * 6))
    assert found.verdict == "worse"
    assert found.needed is None


@settings(deadline=None)
@given(*(st.integers(0, 8) for _ in range(4)))
def test_the_other_way_round_better_is_worse(failed, good, failed_after, good_after):
    before = attempts(*[FAILED] * failed, *[HEAT] * good)
    after = attempts(*[FAILED] * failed_after, *[HEAT] * good_after)
    there, back = outcomes(before, after), outcomes(after, before)
    turned = {"better": "worse", "worse": "better"}
    assert turned.get(there.verdict, "") == (back.verdict if back.verdict in turned else "")
    if there.comparable:
        assert there.probability == pytest.approx(back.probability)
