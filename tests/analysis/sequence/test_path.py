"""Which states explain what channels say: calls that find something going on, waits, rests, a blower that still ran."""

import pytest

from analysis.sequence.attempts import Attempt
from analysis.sequence.evidence import Voice
from tests.analysis.sequence.spoken import voice, walked

CLOSED = voice("limit_closed", (0, 1))
BURNS = (voice("gas_valve", (46, 1), (300, 0)), voice("blower_on", (76, 1), (435, 0)))
RUNS = (voice("amps_inducer", (11, 1), (315, 0)), voice("switch_closed", (14, 1), (316, 0)))


def outcomes(found: list[Attempt]) -> list[tuple[str, int, float]]:
    """Outcome, number of the call and begin of each. [s]"""
    return [(one.outcome, one.call, one.start) for one in found]


def test_a_call_while_the_inducer_clears_begins_when_it_was_cleared() -> None:
    call = voice("call_heat", (10, 1), (300, 0), (306, 1))
    turns = voice("amps_inducer", (11, 1), (315, 0), (319, 1))
    proved = voice("switch_closed", (14, 1), (316, 0), (323, 1))
    states, found = walked([call, turns, proved, *BURNS, CLOSED])
    assert states[-4:] == [("called_purge", 306.0), ("waiting", 315.0), ("inducer_start", 319.0), ("prepurge", 323.0)]
    assert outcomes(found) == [("heat", 1, 11.0), ("cut_off", 2, 319.0)]
    assert found[0].deciding_time == 300.0
    assert found[0].phases[-1].phase == "post_purge"


def test_the_same_after_a_call_that_lit_nothing() -> None:
    call = voice("call_heat", (10, 1), (40, 0), (46, 1))
    turns = voice("amps_inducer", (11, 1), (55, 0), (58, 1))
    proved = voice("switch_closed", (14, 1), (56, 0), (62, 1))
    states, found = walked([call, turns, proved, voice("gas_valve", (93, 1)), CLOSED])
    assert ("called_purge", 46.0) in states
    assert outcomes(found) == [("call_ended", 1, 11.0), ("cut_off", 2, 58.0)]


def test_a_call_that_comes_and_goes_while_the_inducer_clears_is_no_attempt() -> None:
    call = voice("call_heat", (10, 1), (300, 0), (305, 1), (320, 0))
    turns, proved = voice("amps_inducer", (11, 1), (335, 0)), voice("switch_closed", (14, 1), (336, 0))
    states, found = walked([call, turns, proved, *BURNS, CLOSED])
    purges = [(name, at) for name, at in states if 300.0 <= at < 335.0]
    assert purges == [("post_purge", 300.0), ("called_purge", 305.0), ("post_purge", 320.0)]
    assert outcomes(found) == [("heat", 1, 11.0)]
    assert [span.phase for span in found[0].phases].count("post_purge") == 1


def roll_out(*steps: tuple[float, int]) -> list[Voice]:
    """Two calls; the roll-out switch opens in the first, and the inducer turns as long as each lasts."""
    return [
        voice("call_heat", (10, 1), (200, 0), (400, 1), (550, 0)),
        voice("amps_inducer", (11, 1), (200, 0), (401, 1), (551, 0)),
        voice("gas_valve", (46, 1), (120, 0)),
        voice("blower_on", (76, 1), (240, 0)),
        voice("rollout_closed", (0, 1), *steps),
        CLOSED,
    ]


def test_a_call_that_finds_the_roll_out_switch_open_is_an_attempt_of_its_own() -> None:
    states, found = walked(roll_out((120, 0)))
    assert [name for name, _ in states[-2:]] == ["rollout", "idle"]
    assert states[-2][1] == pytest.approx(401.0, abs=1.0)
    assert outcomes(found) == [("rollout_open", 1, 11.0), ("rollout_open", 2, 401.0)]


def test_a_call_after_the_roll_out_switch_was_reset_is_like_any_other() -> None:
    states, found = walked(roll_out((120, 0), (300, 1)))
    assert next(name for name, at in states if at > 400.0) in ("inducer_start", "not_proved")
    assert found[0].outcome == "rollout_open"
    assert "rollout_open" not in [one.outcome for one in found[1:]]


def test_an_inducer_that_turns_with_the_roll_out_switch_open_starts_nothing() -> None:
    turns, gas = voice("amps_inducer", (11, 1), (201, 0)), voice("gas_valve")
    states, found = walked([voice("call_heat", (10, 1), (200, 0)), turns, gas, CLOSED, voice("rollout_closed", (0, 0))])
    assert [name for name, _ in states[-2:]] == ["rollout", "idle"]
    assert [one.outcome for one in found] == ["rollout_open"]


FAN = (
    voice("call_heat", (10, 1), (150, 0)),
    voice("amps_inducer", (11, 1), (165, 0), (200, 1), (300, 0)),
    voice("switch_closed", (14, 1), (166, 0)),
    voice("gas_valve", (46, 1), (150, 0)),
    voice("blower_on", (76, 1), (500, 0)),
)
"""A call that heats; then the inducer turns once more while the blower still runs."""


def test_inducer_and_blower_cool_a_limit_only_where_a_flame_was() -> None:
    states, found = walked(FAN)
    assert "limit_cooldown" not in [name for name, _ in states]
    assert [(one.start, one.call) for one in found] == [(11.0, 1), (200.0, 1)]


def test_the_contact_of_the_limit_shows_it_open_without_a_flame() -> None:
    states, found = walked([*FAN, voice("limit_closed", (0, 1), (200, 0), (300, 1))])
    assert ("limit_cooldown", 200.0) in states
    assert [one.start for one in found] == [11.0], "nobody called for it"


@pytest.mark.parametrize(("rest", "tried_again"), [(3.0, True), (12.0, False)])
def test_a_flame_that_went_is_cooled_with_no_contact_of_the_limit(
    rest: float,
    tried_again: bool,
) -> None:
    voices = [
        voice("call_heat", (10, 1)),
        voice("amps_inducer", (11, 1), (260, 0), (260 + rest, 1)),
        voice("switch_closed", (14, 1), (261, 0), (264 + rest, 1)),
        voice("gas_valve", (46, 1), (150, 0), (295 + rest, 1)),
        voice("blower_on", (76, 1)),
    ]
    states, found = walked(voices)
    assert ("limit_cooldown", 150.0) in states
    assert (("cooldown_rest", 260.0) in states) is tried_again
    assert [(one.outcome, one.start) for one in found] == [("limit_open", 11.0), ("cut_off", 260.0 + rest)]


def test_a_blower_that_still_ran_stops_and_comes_again_after_its_delay() -> None:
    blower = voice("blower_on", (0, 1), (58, 0), (92, 1), (435, 0))
    flame = voice("flame_current", (47, 1), (300.5, 0))
    states, found = walked([voice("call_heat", (10, 1), (300, 0)), *RUNS, BURNS[0], flame, blower])
    lit = [(name, at) for name, at in states if 47.0 <= at < 300.0]
    assert lit == [("delay_blowing", 47.0), ("blower_on_delay", 58.0), ("run_low", 92.0)]
    spans = {span.phase: (span.start, span.end) for span in found[0].phases}
    assert spans["blower_on_delay"] == (47.0, 92.0), "one delay, with and without the blower"


def test_a_switch_that_closes_late_still_begins_the_prepurge() -> None:
    proved = voice("switch_closed", (66, 1), (316, 0))
    gas, blower = voice("gas_valve", (98, 1), (300, 0)), voice("blower_on", (128, 1), (435, 0))
    states, found = walked([voice("call_heat", (10, 1), (300, 0)), RUNS[0], proved, gas, blower, CLOSED])
    assert states[2:4] == [("not_proved", 11.0), ("prepurge", 66.0)]
    assert outcomes(found) == [("heat", 1, 11.0)]


@pytest.mark.parametrize(("rest", "tried_again"), [(3.0, True), (7.0, True), (12.0, False)])
def test_only_a_short_rest_lies_between_two_tries(rest: float, tried_again: bool) -> None:
    _, found = walked([voice("amps_inducer", (11, 1), (72, 0), (72 + rest, 1), (300, 0))])
    assert [one.start for one in found] == [11.0, 72 + rest]
    assert ("interpurge" in {span.phase for span in found[0].phases}) is tried_again
    assert found[1].call == (1 if tried_again else 2)


def test_a_wait_for_the_switch_is_over_in_seventy_seconds() -> None:
    """What turns on beyond that clears the unit."""
    states, _ = walked([voice("amps_inducer", (11, 1), (111, 0)), voice("switch_closed"), voice("call_heat", (10, 1))])
    (waits,) = [place for place, (name, _) in enumerate(states) if name == "not_proved"]
    assert states[waits + 1][0] in ("failed_purge", "interpurge")
    assert states[waits + 1][1] - states[waits][1] < 75.0
