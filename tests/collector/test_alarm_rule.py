"""Alarm rules: what is refused, and when a condition holds."""

import math
from dataclasses import replace

import pytest

from analysis.model import NANOSECONDS, Quality
from collector.alarm_rule import AlarmRule, Condition, Conditions

GOOD, SUSPECT, BAD = Quality.GOOD, Quality.SUSPECT, Quality.BAD
HOT = AlarmRule("hot", "temp_supply", above=70.0, deadband=2.0, text="Supply air too hot")
SLOW = AlarmRule("hot", "temp_supply", above=70.0, on_delay=5, off_delay=5, text="Supply air too hot")
GATED = AlarmRule("low", "gas_inlet", below=1000.0, text="Gas inlet low", when=("gas_valve", 1), settle=5, on_delay=3)
GAS = AlarmRule("co", "room_co", above=36e-6, priority="safety", text="Carbon monoxide in the room")


class Course:
    """One condition and its readings, at times in seconds from a start of its own."""

    def __init__(self, alarm: AlarmRule) -> None:
        self.condition = Condition(alarm)

    def read(self, value: float, at: float, quality: Quality = GOOD) -> bool:
        self.condition.take(self._time(at), value, quality)
        return self.tick(at)

    def contact(self, value: float, at: float, quality: Quality = GOOD) -> bool:
        self.condition.take_contact(self._time(at), value, quality)
        return self.tick(at)

    def tick(self, at: float) -> bool:
        self.condition.decide(self._time(at))
        return self.condition.active

    @staticmethod
    def _time(at: float) -> int:
        return round((1000 + at) * NANOSECONDS)


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"above": None}, "exactly one of above and below"),
        ({"below": 1.0}, "exactly one of above and below"),
        ({"priority": "safety", "on_delay": 1.0}, "a safety alarm has no on-delay"),
        ({"priority": "urgent"}, "unknown priority 'urgent'; known are safety, high, medium, low"),
        ({"point": "temp_suply"}, "unknown point 'temp_suply'; nearest known: temp_supply"),
        ({"above": math.nan}, "must be finite"),
        ({"deadband": -1.0}, "not negative"),
        ({"off_delay": math.inf}, "must be finite"),
        ({"settle": 5.0}, "settle needs a condition"),
        ({"when": ("temp_room", 1.0)}, "needs a contact and 0 or 1"),
        ({"when": ("gas_valve", 0.5)}, "needs a contact and 0 or 1"),
    ],
)
def test_rule_that_makes_no_sense_is_refused(changes: dict[str, object], problem: str) -> None:
    with pytest.raises(ValueError, match=f"^alarm 'hot': .*{problem}"):
        replace(HOT, **changes)  # type: ignore[arg-type]


def test_rule_on_a_derived_quantity_shows_a_difference() -> None:
    alarm = AlarmRule("rise", "temp_rise", above=65 / 1.8, text="Rise high")
    assert alarm.shown(70 / 1.8) == "70 °F"
    assert alarm.shown(math.nan) == "no value"


def test_limit_below_mirrors_the_limit_above() -> None:
    values = [9, 11, 11, 10.2, 9.5, 9.2, 8.9, 8.9, 8.9]
    above = Course(AlarmRule("ten", "temp_supply", above=10, deadband=1, on_delay=1, off_delay=2, text="Over ten"))
    below = Course(AlarmRule("ten", "temp_supply", below=-10, deadband=1, on_delay=1, off_delay=2, text="Under ten"))
    expected = [False, False, True, True, True, True, True, True, False]
    assert [above.read(value, at) for at, value in enumerate(values)] == expected
    assert [below.read(-value, at) for at, value in enumerate(values)] == expected


def test_value_at_the_limit_is_not_beyond_it() -> None:
    course = Course(HOT)
    assert [course.read(value, at) for at, value in enumerate([70.0, 70.1, 68.1, 68.0])] == [False, True, True, False]


def test_suspect_reading_does_not_clear_a_safety_alarm_that_a_good_one_holds() -> None:
    course = Course(GAS)
    assert course.read(40e-6, 0)
    assert course.read(5e-6, 1, SUSPECT)
    assert not course.read(5e-6, 2)
    assert course.read(40e-6, 3, SUSPECT)
    assert not course.read(5e-6, 4, SUSPECT), "raised by a suspect reading, cleared by one"


def test_delay_completes_by_time_on_a_fresh_value() -> None:
    course = Course(SLOW)
    course.read(80.0, 0)
    assert [course.tick(at) for at in (4.999, 5)] == [False, True]
    course.read(60.0, 6)
    assert [course.tick(at) for at in (10.999, 11)] == [True, False]


def test_delay_does_not_complete_on_an_old_value() -> None:
    course = Course(replace(SLOW, on_delay=15))
    for at in range(3):
        course.read(80.0, at)
    assert not any(course.tick(at) for at in (12.1, 15, 100))
    assert not any(course.read(80.0, at) for at in range(101, 116)), "the time between is unknown: it begins anew"
    assert course.read(80.0, 116)


def test_delay_does_not_complete_after_an_unusable_reading() -> None:
    course = Course(SLOW)
    course.read(80.0, 0)
    course.read(math.nan, 4, BAD)
    assert not course.tick(6)
    assert course.read(80.0, 7)


def test_value_back_inside_restarts_the_delay() -> None:
    course = Course(SLOW)
    course.read(80.0, 0)
    course.read(69.0, 4)
    course.read(80.0, 5)
    assert [course.tick(at) for at in (9.9, 10)] == [False, True]


def test_slow_instrument_can_complete_a_delay() -> None:
    course = Course(replace(SLOW, on_delay=90))
    assert [course.read(value, 60 * at) for at, value in enumerate([50, 50, 80, 80, 80])] == [*[False] * 4, True]


def test_contact_must_settle_and_starts_the_delay() -> None:
    course = Course(GATED)
    assert not course.read(500.0, 0)
    course.contact(1.0, 1)
    assert [at for at in range(2, 12) if course.read(500.0, at)] == [9, 10, 11], "settled at 6, delayed by 3"
    assert not course.contact(0.0, 12)


def test_contact_that_cannot_be_read_changes_nothing() -> None:
    course = Course(replace(GATED, settle=0.0, on_delay=0.0))
    course.contact(1.0, 0)
    assert course.read(500.0, 1)
    assert course.contact(0.0, 2, BAD)
    assert course.contact(math.nan, 3)


@pytest.mark.parametrize(("priority", "raises"), [("high", False), ("safety", True)])
def test_lost_contact_lets_only_safety_raise(priority: str, raises: bool) -> None:
    course = Course(replace(GATED, settle=0.0, on_delay=0.0, priority=priority))
    course.contact(1.0, 0)
    assert course.read(500.0, 30.1) is raises


def test_contact_that_was_not_seen_for_long_settles_anew() -> None:
    """After a gap, or a replay that was moved on, nobody knows that it held all the while."""
    course = Course(GATED)
    course.contact(1, 0)
    course.contact(1, 40)
    for at in (40.5, 42, 44):
        assert not course.read(900, at), "not watched yet"
    assert not course.read(900, 45.5)
    assert course.read(900, 49), "five seconds to settle, three of delay"


def test_each_instrument_has_its_own_condition() -> None:
    conditions = Conditions(SLOW)
    start = 1000 * NANOSECONDS
    for second in range(8):
        conditions.take(start + second * NANOSECONDS, 90.0, GOOD, "hot meter")
        conditions.take(start + second * NANOSECONDS, 20.0, GOOD, "cold meter")
        conditions.decide(start + second * NANOSECONDS)
    assert conditions.active
    assert conditions.value == 90.0
    assert math.isnan(Conditions(SLOW).value)
