"""Signs of how an attempt ended: when each is seen, when nobody can know it, and what follows for the outcome."""

import pytest

from analysis.sequence.evidence import Voice
from analysis.sequence.outcome import decided
from analysis.sequence.signs import LONG, SHORTLY, SOON, TOLD_LATE, Sign, signs
from analysis.sequence.witness import Ending
from tests.analysis.sequence.spoken import ending, voice, witness

AGAIN, SHORTLY_AFTER = "it was tried again", "it started again shortly after"
CALLED, ENDS = voice("call_heat", (9, 1)), voice("call_heat", (9, 1), (200, 0), (230, 1))


def seen(one: Ending, *voices: Voice) -> dict[str, bool]:
    """Words of every sign that somebody can know, and whether it was seen."""
    return {text: sign for sign, _, _, text in signs(one, witness(*voices))}


def sign(words: str, one: Ending, *voices: Voice) -> Sign:
    (found,) = [found for found in signs(one, witness(*voices)) if found[3] == words]
    return found


def test_a_start_after_the_call_ended_is_another_call() -> None:
    assert seen(ending(again=True), CALLED)[AGAIN]
    assert AGAIN not in seen(ending(again=True), ENDS)
    assert decided(ending(again=True), witness(ENDS, voice("gas_valve", (46, 1), (200, 0))))[0] == "heat"


@pytest.mark.parametrize(("late", "known"), [(0.0, True), (TOLD_LATE - 1.0, True), (TOLD_LATE + 2.0, False)])
def test_a_call_may_have_ended_a_while_before_the_gas_went_off(late: float, known: bool) -> None:
    call = voice("call_heat", (9, 1), (200.0 - late, 0), (230, 1))
    assert seen(ending(again=True), call)["the call ended"] is known
    assert (AGAIN not in seen(ending(again=True), call)) is known


def test_a_call_that_ends_later_is_no_end_of_this_try() -> None:
    assert AGAIN in seen(ending(again=True), voice("call_heat", (9, 1), (204, 0)))


def test_a_lockout_is_the_end_of_tries_where_the_call_is_seen_to_go_on() -> None:
    locked = ending(following="failed_purge", then="lockout")
    assert seen(locked, CALLED)[AGAIN]
    assert not seen(locked)[AGAIN]


def test_a_start_shortly_after_is_a_sign_only_where_no_call_is_measured() -> None:
    soon, later = ending(rest=SHORTLY - 5.0), ending(rest=SHORTLY + 5.0)
    assert seen(soon)[SHORTLY_AFTER]
    assert not seen(later)[SHORTLY_AFTER]
    assert SHORTLY_AFTER not in seen(soon, CALLED)
    assert SHORTLY_AFTER not in seen(ending(rest=20.0, again=True)), "that it was tried again says it already"


def test_a_start_shortly_after_speaks_against_the_end_of_a_call() -> None:
    gas = witness(voice("gas_valve", (46, 1), (200, 0)))
    soon, later = (decided(ending(rest=rest), gas) for rest in (20.0, 300.0))
    assert later[0] == "heat"
    assert soon[0] == "unknown"


def test_the_first_try_after_a_rest_is_tried_again_more_often_than_a_later_one() -> None:
    """Tries are counted, and the last is not tried again."""
    fresh, later = (sign(AGAIN, ending(again=True, fresh=fresh))[2] for fresh in (True, False))
    assert 0.5 < later < fresh < 1.0
    for outcome in ("heat", "call_ended"):
        assert sign(AGAIN, ending(again=True))[1][outcome] < 0.5 * later


def test_a_call_that_is_not_measured_may_have_come_back_at_once() -> None:
    told, untold = (sign(AGAIN, ending(again=True), *voices)[1]["call_ended"] for voices in ((CALLED,), ()))
    assert told < 0.5 * untold


WAIT = {"phase": "inducer_start", "since": 10.0, "following": "interpurge", "lit": float("nan")}
TOO_LONG, EARLY = "it waited longer than controls wait", "it was given up early"


def test_a_wait_longer_than_controls_wait_did_not_end_by_the_switch() -> None:
    switch = voice("switch_closed")
    assert seen(ending(**WAIT, time=10.0 + LONG + 3.0), switch)[TOO_LONG]
    assert not seen(ending(**WAIT, time=10.0 + LONG - 3.0), switch)[TOO_LONG]
    _, likely, others, _ = sign(TOO_LONG, ending(**WAIT, time=90.0), switch)
    assert likely["draft_not_proved"] > 5 * others, "some controls wait longer, and a state that is not seen lasts long"


@pytest.mark.parametrize("point", ["switch_closed", "gas_valve", "flame_current"])
def test_how_long_it_waited_shows_where_something_after_it_is_measured(point: str) -> None:
    assert TOO_LONG in seen(ending(**WAIT, time=90.0), voice(point))
    assert TOO_LONG not in seen(ending(**WAIT, time=90.0), voice("amps_inducer", (11, 1)))
    assert TOO_LONG in seen(ending(**WAIT, time=90.0, low=True)), "pressure below the closing point shows it too"


def test_a_wait_of_seconds_was_given_up() -> None:
    assert seen(ending(**WAIT, time=10.0 + SOON - 1.0))[EARLY]
    assert not seen(ending(**WAIT, time=10.0 + SOON + 1.0))[EARLY]


@pytest.mark.parametrize(
    ("spun", "runs", "turned"),
    [
        (10.0, ((11, 1),), True),
        (10.0, ((0, 0),), False),
        (10.0, ((11, 1), (68.5, 0)), False),
        (69.0, ((69.3, 1), (69.7, 0)), True),
    ],
)
def test_the_inducer_ran_if_it_turned_a_second_before_or_half_way(
    spun: float, runs: tuple[tuple[float, int], ...], turned: bool
) -> None:
    one = ending(**{**WAIT, "since": spun}, spun=spun, time=70.0)
    assert seen(one, voice("amps_inducer", *runs))["the inducer did not run"] is not turned
