"""Shares of the outcomes before any sign: whether the delay of the blower was over, and whether anything burned."""

import pytest

from analysis.sequence.evidence import Voice
from analysis.sequence.outcome import DELAYED, ENDINGS, before
from analysis.sequence.witness import Ending
from tests.analysis.sequence.spoken import ending, voice, witness

FLAME = voice("flame_current", (47, 1))
HEATS = ENDINGS["run"]["heat"]
NO_LIGHT = ENDINGS["ignition_trial"]["no_ignition"]


def ran(one: Ending, *voices: Voice) -> float:
    """Probability that the delay was over, as it shows in the share of heat."""
    return before(one, witness(FLAME, *voices))["heat"] / HEATS


def test_a_blower_that_was_off_and_came_says_that_the_delay_was_over() -> None:
    """It burned for 20 s, and the state that it ended in says the opposite."""
    short = ending(time=67.0, phase="blower_on_delay", since=47.0)
    assert ran(short, voice("blower_on", (66, 1))) > 0.95


def test_a_blower_that_was_off_and_stayed_off_says_that_it_was_not() -> None:
    assert ran(ending(time=140.0), voice("blower_on")) < 0.05


def test_a_blower_that_is_not_heard_at_the_end_leaves_it_to_the_state() -> None:
    fell_silent = voice("blower_on", (60, -1))
    assert ran(ending(time=67.0, phase="run_low"), fell_silent) > 0.95
    assert ran(ending(time=67.0, phase="blower_on_delay"), fell_silent) < 0.05


@pytest.mark.parametrize(("burned", "share"), [(24.0, 0.02), (30.0, 0.5), (36.0, 0.98)])
def test_with_a_blower_that_ran_before_the_delay_of_the_job_file_tells(burned: float, share: float) -> None:
    one = ending(time=47.0 + burned, delay=30.0)
    assert ran(one, voice("blower_on", (0, 1))) == pytest.approx(share, abs=0.01)
    assert ran(one) == pytest.approx(share, abs=0.01), "the same where no blower is measured"


def test_the_delay_of_the_job_file_is_kept_within_a_second_or_two() -> None:
    one = ending(time=47.0 + 30.0 + DELAYED, delay=30.0)
    assert ran(one) == pytest.approx(0.84, abs=0.03), "one standard deviation of a normal distribution is 84 %"


def test_a_blower_that_was_seen_off_says_more_than_the_job_file() -> None:
    assert ran(ending(time=67.0, delay=30.0), voice("blower_on", (66, 1))) > 0.95


def test_without_blower_and_job_file_only_how_long_it_burned_tells() -> None:
    shares = [ran(ending(time=47.0 + burned)) for burned in (5.0, 30.0, 60.0, 100.0)]
    assert shares == sorted(shares)
    assert shares[0] < 0.05
    assert 0.1 < shares[1] < 0.5 < shares[2] < 1.0
    assert shares[3] == pytest.approx(1.0)


@pytest.mark.parametrize(("phase", "over"), [("run_low", True), ("run_high", True), ("blower_on_delay", False)])
def test_a_recording_that_begins_in_the_run_leaves_it_to_the_state(phase: str, over: bool) -> None:
    """It was seen to burn for three seconds, and nobody knows for how long before."""
    one = ending(phase=phase, spun=0.0, lit=0.0, since=0.0, time=3.0, delay=30.0)
    burning = voice("flame_current", (0, 1))
    for blower in ((), (voice("blower_on"),), (voice("blower_on", (0, 1)),)):
        share = before(one, witness(burning, *blower))["heat"] / HEATS
        assert (share > 0.95) if over else (share < 0.05)


SHORT = ending(time=60.0, phase="blower_on_delay", since=47.0)
"""Thirteen seconds of what may have been a flame."""


@pytest.mark.parametrize("point", ["gas_valve", "gas_manifold", "flame_current"])
def test_what_burned_by_a_channel_burned(point: str) -> None:
    shares = before(SHORT, witness(voice(point, (47, 1))))
    assert "no_ignition" not in shares or shares["no_ignition"] == 0.0


@pytest.mark.parametrize("point", ["switch_closed", "amps_inducer", "amps_igniter"])
def test_what_burned_by_nothing_that_is_measured_may_not_have_burned(point: str) -> None:
    unlit = before(SHORT, witness(voice(point, (14, 1))))["no_ignition"] / NO_LIGHT
    assert 0.3 < unlit < 0.5
    longer = before(ending(time=100.0), witness(voice(point, (14, 1))))["no_ignition"] / NO_LIGHT
    assert 0.0 < longer < unlit, "the longer it went on the less"


@pytest.mark.parametrize("phase", ["blower_on_delay", "run_low"])
def test_shares_add_up_to_one(phase: str) -> None:
    for voices in ((FLAME,), (), (voice("blower_on"),)):
        for time in (55.0, 80.0, 200.0):
            assert sum(before(ending(phase=phase, time=time), witness(*voices)).values()) == pytest.approx(1.0)
