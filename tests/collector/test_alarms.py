"""Alarms: every row of the state table, suppression, mutes, refusals, first-out, flood, and what people read.

The table is that of ANSI/ISA-18.2-2016 and IEC 62682, from memory; its optional re-alarm is not used.
"""

import math
from dataclasses import replace

import pytest

from analysis.model import NANOSECONDS, Quality
from collector.alarms import FLOOD, AlarmChange, AlarmError, AlarmRule, Alarms, AlarmState, AlarmStatus

GOOD, SUSPECT, BAD = Quality.GOOD, Quality.SUSPECT, Quality.BAD
A, B, C, D = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNED
E, F = AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED
G, H, I = AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE  # noqa: E741
START = 1_768_372_280.0

HOT = AlarmRule("hot", "temp_supply", above=70.0, deadband=2.0, text="Supply air too hot")
LATCHED = AlarmRule("hot", "temp_supply", above=70.0, deadband=2.0, text="Supply air too hot", latched=True)
FIRING = AlarmRule("inlet", "gas_inlet", below=1000.0, text="Gas inlet low", when=("gas_valve", 1.0), settle=5)
LATCHED_FIRING = AlarmRule(
    "inlet", "gas_inlet", below=1000.0, text="Gas inlet low", when=("gas_valve", 1), latched=True
)
GAS = AlarmRule("co", "room_co", above=36e-6, deadband=1e-6, priority="safety", text="Carbon monoxide in the room")


class Bench:
    """Alarms with times in seconds, and everything that they reported."""

    def __init__(self, *rules: AlarmRule) -> None:
        self.alarms = Alarms(rules)
        self.changes: list[AlarmChange] = []

    def _keep(self, changes: list[AlarmChange]) -> list[AlarmState]:
        self.changes += changes
        return [change.to_state for change in changes]

    def read(self, point: str, value: float, at: float, quality: Quality = GOOD) -> list[AlarmState]:
        return self._keep(self.alarms.step(point, _time(at), value, quality))

    def tick(self, at: float) -> list[AlarmState]:
        return self._keep(self.alarms.tick(_time(at)))

    def do(self, command: str, name: str, at: float, *seconds: float) -> list[AlarmState]:
        return self._keep(getattr(self.alarms, command)(name, _time(at), *seconds))

    def play(self, *steps: float | str) -> list[AlarmState]:
        """A step each second: a supply temperature, or a command to `hot`; what the last one brought about."""
        states: list[AlarmState] = []
        for at, step in enumerate(steps):
            if isinstance(step, str):
                states = self.do(step, "hot", at, *((600.0,) if step == "shelve" else ()))
            else:
                states = self.read("temp_supply", step, at)
        return states

    def status(self, name: str) -> AlarmStatus:
        [status] = [status for status in self.alarms.snapshot() if status.name == name]
        return status

    def state(self, name: str) -> AlarmState:
        return self.status(name).state


def _time(at: float) -> int:
    return round((START + at) * NANOSECONDS)


def test_example_with_deadband_and_delays() -> None:
    # Limit 10, deadband 1, on-delay of 2 and off-delay of 3 samples: comes with the second 11, goes with the third 8.9.
    bench = Bench(AlarmRule("ten", "temp_supply", above=10, deadband=1, on_delay=1, off_delay=2, text="Over ten"))
    seen = [bench.read("temp_supply", value, at) for at, value in enumerate([9, 11, 11, 10.2, 9.5, 9.2, 8.9, 8.9, 8.9])]
    assert seen == [[], [], [B], [], [], [], [], [], [D]]


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
    assert bench.read("call_heat", math.nan, 4, BAD) == [], "a contact that cannot be read changes nothing"
    assert bench.read("call_heat", 1.0, 5) == [H]
    assert bench.changes[-1].text == "Flame without a call: not watched while call for heat"


@pytest.mark.parametrize(("value", "quality"), [(99.0, BAD), (math.nan, GOOD), (math.nan, BAD), (10.0, BAD)])
def test_unusable_reading_neither_raises_nor_clears(value: float, quality: Quality) -> None:
    bench = Bench(HOT)
    assert bench.read("temp_supply", value, 0, quality) == []
    assert bench.status("hot").value is None
    bench.read("temp_supply", 80.0, 1)
    assert bench.read("temp_supply", value, 2, quality) == []
    assert bench.tick(3) == []
    assert (bench.state("hot"), bench.status("hot").value) == (B, 80.0)


def test_suspect_reading_raises_and_says_so() -> None:
    bench = Bench(HOT)
    assert bench.read("temp_supply", 80.0, 0, SUSPECT) == [B]
    assert bench.changes[-1].quality is SUSPECT
    assert bench.changes[-1].text == "Supply air too hot: 176 °F, limit 158 °F; the reading is suspect"
    assert bench.read("temp_supply", 60.0, 1, SUSPECT) == [D]


def test_reading_beyond_the_instrument_raises() -> None:
    bench = Bench(GAS)
    assert bench.read("room_co", math.inf, 0) == [B]
    assert bench.status("co").value is None
    assert "inf ppm" in bench.changes[-1].text


SLOW = AlarmRule("hot", "temp_supply", above=70, on_delay=5, off_delay=5, text="Supply air too hot")


def test_delays_go_on_after_a_replay_went_back() -> None:
    bench = Bench(SLOW)
    bench.read("temp_supply", 60.0, 3600)
    bench.tick(3600)
    for at in range(5):
        assert bench.read("temp_supply", 80.0, at) == []
        assert bench.tick(3600) == [], "the newest time so far"
    assert bench.read("temp_supply", 80.0, 5) == [B]


def test_point_with_a_late_clock_does_not_hurry_time() -> None:
    bench = Bench(SLOW)
    bench.alarms.step("temp_supply", round((START - 30) * NANOSECONDS), 60.0, GOOD)
    bench.tick(0)
    for tenth in range(1, 50):
        assert bench.read("temp_supply", 80.0, tenth / 10 - 30) == []
        assert bench.tick(tenth / 10) == []
    assert bench.tick(5.2) == [B]


def test_mute_says_until_when_and_can_be_given_anew() -> None:
    bench = Bench(HOT)
    assert bench.do("shelve", "hot", 10, 8 * 3600) == [G]
    assert bench.status("hot").shelved_until == _time(10 + 8 * 3600)
    assert bench.do("shelve", "hot", 20, 60) == []
    assert bench.tick(79.9) == []
    assert bench.tick(80) == [A]
    assert bench.status("hot").shelved_until is None


@pytest.mark.parametrize(
    ("alarm", "before", "command", "problem"),
    [
        (GAS, (), "shelve", "'hot' is a safety alarm and cannot be muted; remove its cause"),
        (GAS, (), "out_of_service", "'hot' is a safety alarm and cannot be taken out of service; remove its cause"),
        (LATCHED, OVER, "shelve", "'hot' is latched and cannot be muted; acknowledge and reset it first"),
        (LATCHED, OVER_SEEN, "shelve", "'hot' is latched and cannot be muted; reset it first"),
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


def test_point_without_a_rule_changes_nothing() -> None:
    bench = Bench(HOT)
    assert bench.read("flame_current", 1.0, 1e6) == []
    bench.read("temp_supply", 60.0, 0)
    assert bench.status("hot").since is None


def test_first_out_is_the_earliest_of_its_event() -> None:
    rules = [
        AlarmRule(contact, contact, below=0.5, text=contact) for contact in ("switch_closed", "gas_valve", "blower_on")
    ]
    bench = Bench(*rules)

    def first() -> list[str]:
        return [status.name for status in bench.alarms.snapshot() if status.first_out]

    bench.read("gas_valve", 0.0, 1)
    assert bench.changes[-1].first_out
    bench.read("switch_closed", 0.0, 2)
    assert not bench.changes[-1].first_out
    bench.do("acknowledge", "gas_valve", 3)
    bench.read("gas_valve", 1.0, 4)
    bench.read("blower_on", 0.0, 5)
    assert first() == ["gas_valve"], "over and seen, yet the event goes on"
    bench.read("switch_closed", 1.0, 6)
    bench.read("blower_on", 1.0, 7)
    assert first() == ["gas_valve"], "who looks later still sees what came first"
    bench.read("switch_closed", 0.0, 8)
    assert first() == ["switch_closed"]


def test_two_limits_passed_at_once_are_reported_most_urgent_first() -> None:
    advise = AlarmRule("advise", "room_co", above=9e-6, text="Carbon monoxide", priority="high")
    bench = Bench(advise, GAS)
    bench.read("room_co", 50e-6, 0)
    assert [(change.name, change.first_out) for change in bench.changes] == [("co", True), ("advise", False)]


def _toggle(bench: Bench, times: list[float]) -> list[tuple[float, str]]:
    """One alarm raised at each time and cleared just after; when flood notices came."""
    notices = []
    for at in times:
        for moment, value in ((at, 80.0), (at + 0.1, 60.0)):
            bench.read("temp_supply", value, moment)
            notices += [(moment, change.text) for change in bench.changes if change.name == FLOOD]
            bench.changes.clear()
    return notices


def test_flood_begins_above_ten_in_ten_minutes_and_ends_below_five() -> None:
    bench = Bench(HOT)
    assert _toggle(bench, [60.0 * number for number in range(10)]) == []
    assert not bench.alarms.flood
    [(at, text)] = _toggle(bench, [599.9])
    assert (at, bench.alarms.flood) == (599.9, True)
    assert text.startswith("Alarm flood: more than 10 new alarms in 10 minutes")
    assert _toggle(bench, [599.95]) == [], "one notice only"
    # Raised at 0, 60, ... 540, 599.9 and 599.95: five are left from 960 s on, four from 1020 s on.
    assert bench.tick(1019.9) == []
    assert bench.alarms.flood
    assert bench.tick(1020) == [A]
    [notice] = bench.changes
    assert (notice.name, notice.value, bench.alarms.flood) == (FLOOD, 4.0, False)
    assert bench.tick(1021) == []


def test_eleven_alarms_in_more_than_ten_minutes_are_no_flood() -> None:
    bench = Bench(HOT)
    assert _toggle(bench, [60.0 * number for number in range(40)]) == []


def test_chattering_counts_the_third_within_a_minute() -> None:
    bench = Bench(HOT)
    _toggle(bench, [0.0, 30.0, 60.0, 61.0, 300.0])
    status = bench.status("hot")
    assert (status.count, status.chattering) == (5, 2)


def test_snapshot_shows_the_most_urgent_first() -> None:
    low = AlarmRule("low", "temp_return", below=10, text="Return air cold", priority="low", action="Wait.")
    early = AlarmRule("early", "temp_room", below=10, text="Room cold")
    bench = Bench(low, early, HOT, GAS)
    bench.read("temp_return", 5.0, 1)
    bench.read("temp_supply", 80.0, 2)
    bench.read("temp_room", 5.0, 3)
    assert [status.name for status in bench.alarms.snapshot()] == ["co", "hot", "early", "low"]
    assert bench.status("low") == AlarmStatus(
        name="low",
        point="temp_return",
        text="Return air cold",
        priority="low",
        state=B,
        since=round((START + 1) * NANOSECONDS),
        value=5.0,
        limit=10.0,
        first_out=True,
        shelved_until=None,
        count=1,
        chattering=0,
        action="Wait.",
    )
    assert bench.status("co").since is None


def test_names_must_be_unique() -> None:
    with pytest.raises(ValueError, match="'hot': the name is already taken"):
        Alarms([HOT, LATCHED])
    with pytest.raises(ValueError, match="already taken"):
        Alarms([AlarmRule(FLOOD, "temp_supply", above=1, text="Flood")])
