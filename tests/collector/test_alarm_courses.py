"""Alarms in any course of events."""

import math

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from analysis.model import NANOSECONDS, Quality
from collector.alarm_rule import AlarmRule
from collector.alarm_states import ACTIVE, AlarmChange
from collector.alarms import FLOOD, AlarmError, Alarms
from collector.rules import default_rules
from tests.collector.alarm_bench import A, B, C, D, E, F, G, H, I
from tests.collector.plate import PLATE

MOVES = {
    *((A, B), (B, C), (B, D), (C, A), (D, A), (D, B)),
    *((B, E), (C, F), (E, F), (E, B), (F, B), (F, A)),
    *((one, aside) for one in (A, B, C, D) for aside in (G, H, I)),
    *((aside, back) for aside in (G, H, I) for back in (A, B)),
}
"""Of ANSI/ISA-18.2-2016 and IEC 62682, from memory; the optional re-alarm of C is not used."""
LATCHED = AlarmRule("flue", "temp_flue", above=60, deadband=5, off_delay=3, text="Flue hot", latched=True)
ALL = (*default_rules(PLATE), LATCHED)
SAFETY = {one.name: one.limit for one in ALL if one.priority == "safety"}
READ = {"room_co": (0.0, 1e-4), "temp_supply": (60.0, 90.0), "gas_inlet": (500.0, 3000.0), "temp_flue": (40.0, 80.0)}
CONTACTS = ("gas_valve", "blower_on", "switch_closed")
COMMANDS = ("acknowledge", "acknowledge", "reset", "shelve", "unshelve", "out_of_service", "return_to_service")
QUALITIES, WAITS = st.sampled_from(Quality), st.floats(0, 3)


class AnyCourse(RuleBasedStateMachine):
    """Whatever readings, people and time do, alarms keep to the table and safety is never hidden."""

    def __init__(self) -> None:
        super().__init__()
        self.alarms = Alarms(ALL)
        self.states = {one.name: A if one.when is None else H for one in ALL}
        self.carbon_monoxide = 0.0
        self.at = 1e6

    def follow(self, changes: list[AlarmChange]) -> None:
        for change in changes:
            if change.name != FLOOD:
                assert change.from_state is self.states[change.name]
                assert (change.from_state, change.to_state) in MOVES
                self.states[change.name] = change.to_state

    def now(self, wait: float = 0.0) -> int:
        self.at += wait
        return round(self.at * NANOSECONDS)

    @rule(point=st.sampled_from(sorted(READ)), part=st.floats(0, 1), quality=QUALITIES, lost=st.booleans(), wait=WAITS)
    def reading(self, point: str, part: float, quality: Quality, lost: bool, wait: float) -> None:
        low, high = READ[point]
        value = math.nan if lost else low + part * (high - low)
        self.follow(self.alarms.step(point, self.now(wait), value, quality))
        if point == "room_co" and quality is Quality.GOOD and not lost:
            self.carbon_monoxide = value

    @rule(point=st.sampled_from(CONTACTS), closed=st.booleans(), quality=QUALITIES, wait=WAITS)
    def contact(self, point: str, closed: bool, quality: Quality, wait: float) -> None:
        self.follow(self.alarms.step(point, self.now(wait), float(closed), quality))

    @rule(wait=st.floats(0, 40))
    def waiting(self, wait: float) -> None:
        self.follow(self.alarms.tick(self.now(wait)))

    @rule(back=st.floats(0, 4000))
    @precondition(lambda self: self.at > 1e6 + 100)
    def replay_moved(self, back: float) -> None:
        self.at -= back

    @rule(name=st.sampled_from(sorted(one.name for one in ALL)), command=st.sampled_from(COMMANDS))
    def people(self, name: str, command: str) -> None:
        try:
            more = (30.0,) if command == "shelve" else ()
            self.follow(getattr(self.alarms, command)(name, self.now(), *more))
        except AlarmError:
            assert {status.name: status.state for status in self.alarms.snapshot()} == self.states

    @invariant()
    def safety_is_active_and_never_set_aside(self) -> None:
        for name, limit in SAFETY.items():
            assert self.states[name] in (A, B, C, D)
            assert self.carbon_monoxide <= limit or self.states[name] in ACTIVE

    @invariant()
    def what_is_shown_is_what_was_reported(self) -> None:
        assert {status.name: status.state for status in self.alarms.snapshot()} == self.states


AnyCourse.TestCase.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
TestAnyCourse = AnyCourse.TestCase
