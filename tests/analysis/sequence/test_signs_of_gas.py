"""Signs about gas, flame and inducer at the end of a try: what went first, how long it lasted, what turned on."""

import pytest

from analysis.sequence.evidence import Voice
from analysis.sequence.outcome import decided
from analysis.sequence.witness import Ending
from tests.analysis.sequence.spoken import ending, voice, witness
from tests.analysis.sequence.test_signs import seen, sign

CALLED = voice("call_heat", (9, 1))
FIRST, SHORT = "the flame went before the gas", "the gas went off before the trial was over"
OVER, STOPPED = "the gas stayed on for longer than a trial", "the inducer stopped at once"


def trial(lasted: float, stated: float = 5.0) -> Ending:
    """A trial that lasted so long, and what the job file says of its length. [s]"""
    return ending(phase="ignition_trial", since=46.0, time=46.0 + lasted, lit=float("nan"), trial=stated)


def gas(lasted: float) -> Voice:
    return voice("gas_valve", (46, 1), (46.0 + lasted, 0))


@pytest.mark.parametrize(("lasted", "short", "over"), [(2.0, True, False), (5.0, False, False), (7.0, False, True)])
def test_a_trial_is_held_against_its_length_in_the_job_file(lasted: float, short: bool, over: bool) -> None:
    found = seen(trial(lasted), gas(lasted))
    assert (found[SHORT], found[OVER]) == (short, over)


def test_without_a_length_or_a_channel_of_gas_nobody_knows() -> None:
    assert not {SHORT, OVER} & set(seen(trial(7.0, stated=0.0), gas(7.0)))
    assert not {SHORT, OVER} & set(seen(trial(7.0), voice("flame_current")))


def test_gas_that_stays_on_for_longer_than_a_trial_was_lit() -> None:
    flame = voice("flame_current")
    assert decided(trial(5.0), witness(gas(5.0), flame, CALLED))[0] == "no_ignition"
    assert decided(trial(7.0), witness(gas(7.0), flame, CALLED))[0] != "no_ignition"


CLOSED = voice("switch_closed", (14, 1)), voice("limit_closed", (0, 1))


def burned(flame: float) -> tuple[Voice, ...]:
    """Gas until 60 s, and a flame until then. [s]"""
    return voice("gas_valve", (46, 1), (60.0, 0)), voice("flame_current", (47, 1), (flame, 0))


DELAY = ending(phase="blower_on_delay", since=47.0, time=60.0, again=True, following="interpurge")


@pytest.mark.parametrize(("flame", "first"), [(58.5, True), (61.0, False)])
def test_what_went_first_is_seen(flame: float, first: bool) -> None:
    assert seen(DELAY, *burned(flame))[FIRST] is first


def test_a_lost_flame_may_be_shown_late() -> None:
    """Switch and limit stayed closed, the call went on, it was tried again: nothing else explains it."""
    outcome, probability, _ = decided(DELAY, witness(*burned(61.0), *CLOSED, CALLED))
    assert outcome == "flame_lost"
    assert probability < decided(DELAY, witness(*burned(58.5), *CLOSED, CALLED))[1]


def test_the_end_of_a_call_stands_though_the_flame_seems_to_have_gone_first() -> None:
    """A flame that is read before the valve on another clock."""
    run = ending(time=200.0)
    ends = voice("call_heat", (9, 1), (200, 0))
    voices = voice("gas_valve", (46, 1), (200.0, 0)), voice("flame_current", (47, 1), (199.2, 0)), *CLOSED, ends
    assert seen(run, *voices)[FIRST]
    outcome, probability, _ = decided(run, witness(*voices))
    assert outcome == "heat"
    assert probability > 0.98
    _, likely, others, _ = sign(FIRST, run, *voices)
    assert others < likely["call_ended"] < likely["heat"] < 0.2 * likely["flame_lost"]


def turned(until: float) -> Voice:
    return voice("amps_inducer", (11, 1), (until, 0))


def test_an_inducer_that_stops_with_the_gas_lost_its_supply() -> None:
    assert seen(ending(), turned(200.2))[STOPPED]
    assert seen(ending(following="interpurge"), turned(200.2))[STOPPED], "whatever state it is taken for"
    assert not seen(ending(), turned(215.0))[STOPPED]
    _, likely, others, _ = sign(STOPPED, ending(), turned(200.2))
    assert likely["gas_off_unexplained"] > 10 * max(likely["call_ended"], likely["draft_lost"], others)


@pytest.mark.parametrize(("opens", "stopped"), [(201.0, True), (203.0, True), (216.0, False)])
def test_it_did_not_stop_if_the_switch_stays_closed(opens: float, stopped: bool) -> None:
    """What the channel of the inducer says may be a pressure that falls; the switch is nearer to the wheel."""
    assert seen(ending(), turned(200.2), voice("switch_closed", (14, 1), (opens, 0)))[STOPPED] is stopped


def test_an_inducer_of_which_nothing_is_heard_any_more_was_not_seen_to_stop() -> None:
    silent = voice("amps_inducer", (11, 1), (199.5, -1))
    assert not seen(ending(), silent).get(STOPPED, False)
    assert STOPPED not in seen(ending(), voice("switch_closed", (14, 1)))
