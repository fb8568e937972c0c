"""Alarms on what is typed in: nobody types the same value again, so its delay goes on by the clock."""

from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Channel, Plate, Quality, Reading
from collector.alarm_rule import AlarmRule
from collector.alarm_states import AlarmChange, AlarmState
from collector.alarms import Alarms
from collector.clock import Clock
from collector.collector import Collector
from collector.store import Store
from tests.collector.alarm_bench import A, B, D, time_of

ADVISE = AlarmRule("co", "room_co", above=9e-6, deadband=1e-6, off_delay=30, priority="high", text="Carbon monoxide")
STATIC = AlarmRule("static", "static_external", above=125.0, on_delay=15, text="External static too high")
HANDS, LIVE = "room_co@by hand: badge", "room_co@room CO meter"


class Course:
    """Alarms that a clock ticks twice a second, as in a call."""

    def __init__(self, *rules: AlarmRule) -> None:
        self.alarms = Alarms(rules)
        self.at = 0.0
        self.changes: list[AlarmChange] = []

    def enter(self, value: float, *, ago: float = 0.0, point: str = "room_co", quality: Quality = Quality.GOOD) -> None:
        """Typed in now, and read off `ago`. [s]"""
        time = time_of(self.at - ago)
        self.changes += self.alarms.step(point, time, value, quality, HANDS, typed=True)

    def hear(self, value: float) -> None:
        """A live meter says it now."""
        self.changes += self.alarms.step("room_co", time_of(self.at), value, Quality.GOOD, LIVE)

    def wait(self, seconds: float) -> None:
        """Let only the clock run."""
        for _ in range(round(seconds * 2)):
            self.at += 0.5
            self.changes += self.alarms.tick(time_of(self.at))

    def state(self, name: str = "co") -> AlarmState:
        return self.alarms.state(name)


def test_a_good_value_typed_once_ends_an_alarm_after_its_delay() -> None:
    course = Course(ADVISE)
    course.wait(5)
    course.enter(12e-6)
    assert course.state() is B
    course.wait(60)
    course.enter(3e-6)
    course.wait(29.5)
    assert course.state() is B, "the delay runs"
    course.wait(1)
    assert course.state() is D


def test_a_live_meter_that_falls_silent_never_ends_an_alarm() -> None:
    course = Course(ADVISE)
    course.wait(5)
    course.hear(12e-6)
    course.wait(60)
    course.hear(3e-6)
    course.wait(3600)
    assert course.state() is B


def test_a_good_value_typed_in_does_not_end_what_a_silent_live_meter_holds() -> None:
    course = Course(ADVISE)
    course.wait(5)
    course.hear(12e-6)
    course.enter(12e-6)
    course.wait(5)
    course.enter(3e-6)
    course.wait(3600)
    assert course.state() is B


def test_a_good_value_that_is_dated_back_says_nothing_of_now() -> None:
    course = Course(ADVISE)
    course.wait(300)
    course.enter(12e-6, ago=120)
    course.enter(3e-6, ago=60)
    course.wait(3600)
    assert course.state() is B
    course.enter(3e-6)
    course.wait(31)
    assert course.state() is D


def test_a_bad_value_typed_in_ends_nothing() -> None:
    course = Course(ADVISE)
    course.wait(5)
    course.enter(12e-6)
    course.enter(3e-6, quality=Quality.BAD)
    course.wait(3600)
    assert course.state() is B


def test_a_typed_value_is_as_old_as_any_other_once_its_delay_is_over() -> None:
    """A machine that slept: how the meter stood in between nobody knows."""
    course = Course(ADVISE)
    course.wait(5)
    course.enter(12e-6)
    course.enter(3e-6)
    course.wait(5)
    course.at += 3600
    course.wait(60)
    assert course.state() is B


def test_a_value_typed_once_beyond_its_limit_alarms_after_the_delay() -> None:
    course = Course(STATIC)
    course.wait(5)
    course.enter(200.0, point="static_external")
    course.wait(14.5)
    assert course.state("static") is A
    course.wait(1)
    assert course.state("static") is B


def test_what_is_dated_back_does_not_hurry_the_clock() -> None:
    """Else a value of now after one of half an hour ago would end every mute."""
    course = Course(ADVISE, STATIC)
    course.wait(5)
    course.enter(200.0, point="static_external")
    course.wait(16)
    course.alarms.shelve("static", time_of(course.at), 600.0)
    course.enter(3e-6, ago=1800)
    course.enter(3e-6)
    course.wait(590)
    assert course.state("static") is AlarmState.SHELVED
    course.wait(15)
    assert course.state("static") is not AlarmState.SHELVED


@pytest.mark.parametrize(("instrument", "then"), [("by hand: badge", D), ("room CO meter", B)])
def test_a_call_knows_what_was_typed_in(tmp_path: Path, instrument: str, then: AlarmState) -> None:
    now = time_of(0)
    with Store(tmp_path / "a.lightoff") as store:
        clock = Clock(wall=lambda: now, monotonic=lambda: now, since_boot=lambda: now)
        collector = Collector(store, plate=Plate(), rules=[ADVISE], clock=clock)
        channel = Channel("room_co", instrument, "ppm")
        collector.ingest(channel)
        for value in (12.0, 3.0):
            now += NANOSECONDS
            collector.ingest(Reading(channel.key, now, value))
        for _ in range(40):
            now += NANOSECONDS
            collector.apply(collector.alarms.tick(collector.now()))
        assert collector.alarms.state("co") is then
