"""The states of an alarm: every row of the table, suppression, mutes, and refusals.

The table is that of ANSI/ISA-18.2-2016 and IEC 62682, from memory; its optional re-alarm is not used.
"""

import math
from dataclasses import replace

import pytest

from analysis.model import Quality
from collector.alarm_rule import AlarmRule
from collector.alarm_states import AlarmState
from collector.alarms import AlarmError
from tests.collector.alarm_bench import FIRING, GAS, HOT, LATCHED, A, B, Bench, C, D, E, F, G, H, I, time_of

LATCHED_FIRING = AlarmRule(
    "inlet", "gas_inlet", below=1000.0, text="Gas inlet low", when=("gas_valve", 1), latched=True
)
SEEN: tuple[float | str, ...] = (80.0, "acknowledge")
OVER: tuple[float | str, ...] = (80.0, 60.0)
OVER_SEEN: tuple[float | str, ...] = (80.0, 60.0, "acknowledge")


@pytest.mark.parametrize(
    ("alarm", "before", "state", "event", "after"),
    [
        (HOT, (60.0,), A, 80.0, B),
        (HOT, (80.0,), B, "acknowledge", C),
        (HOT, (80.0,), B, 60.0, D),
        (HOT, SEEN, C, 60.0, A),
        (HOT, OVER, D, "acknowledge", A),
        (HOT, OVER, D, 80.0, B),
        (LATCHED, (80.0,), B, 60.0, E),
        (LATCHED, SEEN, C, 60.0, F),
        (LATCHED, OVER, E, "acknowledge", F),
        (LATCHED, OVER, E, 80.0, B),
        (LATCHED, OVER_SEEN, F, 80.0, B),
        (LATCHED, OVER_SEEN, F, "reset", A),
        *(
            (HOT, before, state, event, after)
            for before, state in (((60.0,), A), ((80.0,), B), (SEEN, C), (OVER, D))
            for event, after in (("shelve", G), ("out_of_service", I))
        ),
        (HOT, ("shelve", 60.0), G, "unshelve", A),
        (HOT, ("shelve", 80.0), G, "unshelve", B),
        (HOT, ("out_of_service", 60.0), I, "return_to_service", A),
        (HOT, ("out_of_service", 80.0), I, "return_to_service", B),
    ],
)
def test_row_of_the_table(
    alarm: AlarmRule, before: tuple[float | str, ...], state: AlarmState, event: float | str, after: AlarmState
) -> None:
    bench = Bench(alarm)
    bench.play(*before)
    assert bench.state("hot") is state
    bench = Bench(alarm)
    assert bench.play(*before, event) == [after]
    assert bench.state("hot") is after
    last = bench.changes[-1]
    assert (last.from_state, last.to_state, last.name) == (state, after, "hot")
    assert last.text.startswith("Supply air too hot: ")


@pytest.mark.parametrize("unseen", [True, False])
@pytest.mark.parametrize("over", [True, False])
def test_rows_of_suppression_by_design(unseen: bool, over: bool) -> None:
    bench = Bench(FIRING)
    bench.read("gas_valve", 1.0, 0)
    bench.read("gas_inlet", 500.0, 5)
    if not unseen:
        bench.do("acknowledge", "inlet", 6)
    if over:
        bench.read("gas_inlet", 1500.0, 7)
    before = {(True, True): D, (True, False): B, (False, True): A, (False, False): C}[unseen, over]
    assert bench.state("inlet") is before
    assert bench.read("gas_valve", 0.0, 8) == [H]
    assert bench.changes[-1].text == "Gas inlet low: not watched unless gas valve energised"
    bench.read("gas_inlet", 500.0 if not over else 1500.0, 20)
    assert bench.read("gas_valve", 1.0, 21) == []
    assert bench.tick(25.9) == []
    assert bench.tick(26) == ([A] if over else [B])


@pytest.mark.parametrize(("value", "after"), [(60.0, A), (80.0, B)])
def test_mute_ends_by_itself(value: float, after: AlarmState) -> None:
    bench = Bench(HOT)
    bench.do("shelve", "hot", 0, 600)
    assert bench.read("temp_supply", value, 595) == []
    assert bench.tick(599.9) == []
    assert bench.tick(600) == [after]
    assert bench.changes[-1].from_state is G


def test_unmuted_while_not_watched_becomes_suppressed() -> None:
    bench = Bench(FIRING)
    bench.read("gas_valve", 1.0, 0)
    bench.tick(5)
    bench.do("shelve", "inlet", 6, 60)
    assert bench.read("gas_valve", 0.0, 7) == []
    assert bench.do("unshelve", "inlet", 8) == [A, H]


def test_latched_alarm_outlives_its_logic_condition() -> None:
    bench = Bench(LATCHED_FIRING)
    bench.read("gas_valve", 1.0, 0)
    assert bench.read("gas_inlet", 500.0, 1) == [B]
    assert bench.read("gas_valve", 0.0, 2) == [E]
    assert bench.do("acknowledge", "inlet", 3) == [F]
    assert bench.do("reset", "inlet", 4) == [A]
    assert bench.tick(5) == [H]


def test_logic_condition_that_is_off_when_the_contact_is_on() -> None:
    flame = AlarmRule(
        "flame", "flame_current", above=5e-7, priority="safety", text="Flame without a call", when=("call_heat", 0)
    )
    bench = Bench(flame)
    assert bench.read("flame_current", 3e-6, 0) == []
    bench.read("call_heat", 1.0, 1)
    assert bench.read("flame_current", 3e-6, 2) == []
    assert bench.read("call_heat", 0.0, 3) == [B]
    assert bench.read("call_heat", math.nan, 4, Quality.BAD) == [], "a contact that cannot be read changes nothing"
    assert bench.read("call_heat", 1.0, 5) == [H]
    assert bench.changes[-1].text == "Flame without a call: not watched while call for heat"


def test_mute_says_until_when_and_can_be_given_anew() -> None:
    bench = Bench(HOT)
    assert bench.do("shelve", "hot", 10, 8 * 3600) == [G]
    assert bench.status("hot").shelved_until == time_of(10 + 8 * 3600)
    assert bench.do("shelve", "hot", 20, 60) == []
    assert bench.tick(79.9) == []
    assert bench.tick(80) == [A]
    assert bench.status("hot").shelved_until is None


@pytest.mark.parametrize(
    ("alarm", "before", "command", "problem"),
    [
        (GAS, (), "shelve", "'hot' is a safety alarm and cannot be muted; remove its cause"),
        (GAS, (), "out_of_service", "'hot' is a safety alarm and cannot be taken out of service; remove its cause"),
        (LATCHED, OVER, "shelve", "'hot' is held and cannot be muted; acknowledge it first"),
        (LATCHED, OVER_SEEN, "shelve", "'hot' is held and cannot be muted; acknowledge it first"),
        (LATCHED, OVER, "reset", "'hot' is not acknowledged yet; acknowledge it, then reset it"),
        (HOT, ("shelve",), "out_of_service", "'hot' is muted and cannot be taken out of service; end the muting first"),
        (HOT, ("out_of_service",), "shelve", "'hot' is out of service and cannot be muted; return it to service first"),
        (FIRING, (), "shelve", "'hot' is not watched at present and cannot be muted; try again once it is watched"),
    ],
)
def test_refused_command_says_why_and_changes_nothing(
    alarm: AlarmRule, before: tuple[float | str, ...], command: str, problem: str
) -> None:
    bench = Bench(replace(alarm, name="hot"))
    bench.play(*before)
    state = bench.state("hot")
    with pytest.raises(AlarmError, match=problem):
        bench.do(command, "hot", 10, *((60,) if command == "shelve" else ()))
    assert bench.state("hot") is state


@pytest.mark.parametrize("seconds", [0, -1, 8 * 3600 + 1, math.nan, math.inf])
def test_mute_longer_than_a_shift_is_refused(seconds: float) -> None:
    bench = Bench(HOT)
    with pytest.raises(AlarmError, match="at most 8 hours"):
        bench.do("shelve", "hot", 0, seconds)
    assert bench.state("hot") is A


@pytest.mark.parametrize("command", ["acknowledge", "reset", "unshelve", "return_to_service"])
def test_command_without_an_object(command: str) -> None:
    bench = Bench(HOT)
    assert bench.do(command, "hot", 0) == []
    with pytest.raises(AlarmError, match="there is no alarm 'hott'; nearest known: hot"):
        bench.do(command, "hott", 0)
