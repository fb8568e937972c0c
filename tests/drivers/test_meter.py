"""A meter over its sessions: what it says of itself is told once, and nothing that it showed is lost or changed."""

import math
from dataclasses import replace

import pytest

from analysis.model import Channel, Event, EventKind, Quality, Reading
from drivers.profile import Condition, Role, Value
from tests.drivers.meters import VALUES, Held

GOOD, SUSPECT, BAD = Quality.GOOD, Quality.SUSPECT, Quality.BAD
OVER = math.inf


def qualities(held: Held) -> list[Quality]:
    return [reading.quality for reading in held.readings]


def test_readings_are_doubtful_while_it_warms_up_and_the_time_left_is_told() -> None:
    held = Held(warm_up=30.0)
    held.say()
    assert held.meter.facts()["warm_up_left"] == pytest.approx(30.0)
    held.say(after=10.0)
    assert held.meter.facts()["warm_up_left"] == pytest.approx(20.0)
    held.say(after=20.0)
    held.say()
    assert qualities(held) == [SUSPECT, SUSPECT, GOOD, GOOD]
    assert held.texts() == ["meter: warming up: its readings are doubtful for 30 s", "meter: warmed up"]
    assert "warm_up_left" not in held.meter.facts()


def test_a_radio_that_was_lost_warms_nothing_up_again_and_an_instrument_switched_off_does() -> None:
    held = Held(warm_up=5.0)
    for number in range(100, 110):
        held.say(counter=number, clock=1000.0 + number)
    held.begin()
    held.say(after=20.0, counter=130, clock=1130.0)
    assert qualities(held)[-1] is GOOD
    held.begin()
    held.say(after=20.0, counter=2, clock=1150.0)
    assert qualities(held)[-1] is SUSPECT, "its counter began again"
    for number in range(3, 10):
        held.say(counter=number, clock=1148.0 + number)
    assert qualities(held)[-1] is GOOD
    held.begin()
    held.say(after=20.0, clock=6.0)
    assert qualities(held)[-1] is SUSPECT, "its clock began again"
    assert len(held.texts(EventKind.INSTRUMENT)) == 2


def test_beyond_its_range_there_is_no_value_and_it_is_told_once() -> None:
    held = Held()
    for value in (0.5, OVER, OVER, OVER, 0.6, 0.6, 0.6, 0.6, -OVER):
        held.say(value)
    assert qualities(held) == [GOOD, BAD, BAD, BAD, GOOD, GOOD, GOOD, GOOD, BAD]
    assert all(math.isnan(reading.value) for reading in held.readings if reading.quality is BAD)
    assert held.texts() == [
        "meter: at the pressure switch over range: it is more than the meter can show",
        "meter: at the pressure switch within range again",
        "meter: at the pressure switch under range: it is less than the meter can show",
    ]
    assert held.meter.statistics()["out_of_range"] == 4
    assert held.meter.facts()["conditions"] == [held.texts()[-1].removeprefix("meter: ")]


def test_what_flickers_with_each_message_is_not_told_with_each() -> None:
    held = Held()
    for number in range(40):
        held.say(0.5 if number % 4 else OVER, after=0.1)
    assert len(held.texts()) == 1


def test_a_condition_of_the_whole_is_told_once_and_when_it_is_over() -> None:
    held = Held()
    for present in (set(), {Condition.HOLD}, {Condition.HOLD}, set(), set(), set(), set()):
        held.say(conditions=frozenset(present))
    assert qualities(held) == [GOOD, SUSPECT, SUSPECT, GOOD, GOOD, GOOD, GOOD]
    assert held.texts() == [
        "meter: display held: what it shows is not the present",
        "meter: display no longer held",
    ]


def test_a_status_that_comes_in_a_message_of_its_own_holds_for_those_without() -> None:
    held = Held()
    held.say(None, said={"state": frozenset({Condition.LOW_BATTERY})}, conditions=frozenset({Condition.LOW_BATTERY}))
    held.say(said={"pressure": frozenset()})
    held.say(said={"pressure": frozenset()})
    assert qualities(held) == [SUSPECT, SUSPECT]
    held.say(None, said={"state": frozenset()})
    held.say(said={"pressure": frozenset()}, after=3.0)
    assert qualities(held)[-1] is GOOD
    assert held.texts() == ["meter: low battery: change or charge it", "meter: battery good again"]


def test_a_defective_instrument_gives_no_good_reading_and_keeps_what_it_showed() -> None:
    held = Held()
    held.say(None, said={"state": frozenset({Condition.FAULT})}, conditions=frozenset({Condition.FAULT}))
    held.say(0.7, said={"pressure": frozenset()})
    assert [(reading.value, reading.quality) for reading in held.readings] == [(0.7, BAD)]


def test_a_low_battery_is_told_once_and_doubts_no_reading() -> None:
    held = Held()
    for charge in (0.16, 0.14, 0.16, 0.14, 0.19, 0.2, 0.16, 0.16, 0.16, 0.14):
        held.say(battery=charge)
    assert held.texts() == [
        "meter: low battery: change or charge it",
        "meter: battery good again",
        "meter: low battery: change or charge it",
    ]
    assert set(qualities(held)) == {GOOD}
    assert held.meter.facts()["battery"] == 0.14
    assert held.meter.facts()["low_battery"] is True


def test_a_message_that_came_twice_is_taken_once_and_a_late_one_is_kept_and_doubtful() -> None:
    held = Held()
    for number, value in ((1, 0.1), (2, 0.2), (2, 0.2), (4, 0.4), (3, 0.3), (7, 0.7)):
        held.say(value, counter=number, after=0.2)
    assert [reading.value for reading in held.readings] == [0.1, 0.2, 0.4, 0.3, 0.7]
    assert qualities(held) == [GOOD, GOOD, GOOD, SUSPECT, GOOD]
    times = [reading.time for reading in held.readings]
    assert times == sorted(times)
    statistics = held.meter.statistics()
    assert (statistics["duplicates"], statistics["late"], statistics["missing"]) == (1, 1, 2)
    assert held.meter.waiting
    assert held.tell(after=5.0) == []
    [gap] = held.tell(after=6.0)
    assert gap.kind is EventKind.GAP
    assert gap.text == "meter: 2 messages are missing by its own counter"
    assert gap.data["from"] == held.readings[2].time
    assert gap.data["to"] == held.readings[4].time
    assert not held.meter.waiting


def test_a_counter_goes_round_after_the_number_that_its_profile_says() -> None:
    counter = next(value for value in VALUES if value.role is Role.COUNTER)
    for last, expected in ((9999, []), (None, ["switched on"])):
        wide = replace(counter, counter_bits=16, counter_last=last)
        held = Held(values=tuple(wide if value is counter else value for value in VALUES))
        for number in (9997, 9998, 9999, 0, 1):
            held.say(counter=number)
        assert [one.data["what"] for one in held.emitted if isinstance(one, Event) and "what" in one.data] == expected
        assert held.meter.statistics()["missing"] == 0


def test_what_the_driver_lost_is_neither_missing_by_the_counter_nor_a_sign_that_it_was_switched_off() -> None:
    held = Held(warm_up=5.0)
    for number in (200, 201, 202, 60, 61, 190, 3):
        if number in (60, 190, 3):
            held.meter.missed()
        held.say(after=0.1, counter=number)
    assert held.meter.statistics()["missing"] == 0
    assert held.texts(EventKind.INSTRUMENT) == []
    assert len(held.texts()) == 1, "it warms up once"
    assert not held.tell(after=60.0)


def test_what_is_missing_is_told_at_the_end_of_a_session() -> None:
    held = Held()
    held.say(counter=1)
    held.say(counter=4)
    held.meter.tell(held.emitted.append, now=True)
    assert held.texts(EventKind.GAP) == ["meter: 2 messages are missing by its own counter"]


def test_its_clock_is_told_with_its_drift_and_a_jump_by_hand_is_an_event() -> None:
    held = Held()
    began = held.clock.time / 1e9
    for second in range(1, 400):
        held.say(clock=began + second * (1 - 50e-6) - 12.3)
    clock = held.meter.facts()["clock"]
    assert clock["offset"] == pytest.approx(12.3 + 400 * 50e-6, abs=0.01)
    assert clock["drift"] == pytest.approx(50.0, abs=1.0)
    assert clock["text"] == "12.3 s behind, losing 4.3 s a day"
    held.say(clock=began + 1000.0)
    assert held.texts(EventKind.CLOCK) == ["meter: its clock went 612 s ahead at once, as if it was set by hand"]


def test_another_unit_is_another_channel_and_an_event_and_the_number_stays_as_shown() -> None:
    held = Held()
    held.say(0.5, units={"pressure": "inH2O"})
    channel, event, reading = held.say(125.0, units={"pressure": "Pa"})
    assert isinstance(channel, Channel)
    assert channel.key == "draft_switch@meter (Pa)"
    assert (channel.low, channel.high) == pytest.approx((-5 * 249.08891, 5 * 249.08891))
    assert isinstance(event, Event)
    assert event.kind is EventKind.UNIT_CHANGED
    assert (event.data["from"], event.data["to"]) == ("draft_switch@meter", "draft_switch@meter (Pa)")
    assert event.text == "meter: at the pressure switch is shown in Pa from now on, before in inH2O"
    assert reading == Reading(channel.key, held.clock.time, 125.0)
    assert held.say(126.0, units={"pressure": "Pa"}) == [Reading(channel.key, held.clock.time, 126.0)]
    held.say(0.5, units={"pressure": "inH2O"})
    assert held.readings[-1].channel == "draft_switch@meter"
    held.begin()
    assert held.announced()[-2:] == ["draft_switch@meter", "temp_supply@meter"]


def test_a_dial_turned_to_something_else_stops_nothing_and_is_no_reading_of_the_point() -> None:
    held = Held()
    held.say(0.5, units={"pressure": "inH2O"})
    held.say(12.0, units={"pressure": "ohm"})
    held.say(13.0, units={"pressure": "ohm"})
    held.say(0.6, units={"pressure": "inH2O"})
    assert qualities(held) == [GOOD, BAD, BAD, GOOD]
    assert held.texts() == [
        "meter: at the pressure switch: it shows ohm now, which measures something else; set it back",
        "meter: shows inH2O again, no longer ohm",
    ]
    assert held.meter.statistics()["misfits"] == 2


FLAME = Value(name="flame", units={"uA": "uA", "nA": "nA", "V": "V"}, unit_from="unit")


def flame_meter() -> Held:
    return Held(values=(FLAME,), channels={"flame": "flame_current"})


def test_a_number_whose_unit_was_never_said_is_no_reading_and_told_once() -> None:
    held = flame_meter()
    for _ in range(3):
        held.say(values={"flame": 0.5})
    assert qualities(held) == [BAD] * 3
    assert len(held.texts()) == 1
    assert "did not say its unit" in held.texts()[0]
    assert held.meter.statistics()["without_unit"] == 3
    held.say(values={"flame": 0.5}, units={"flame": "nA"})
    held.say(values={"flame": 0.6})
    assert [(one.channel, one.value, one.quality) for one in held.readings[3:]] == [
        ("flame_current@meter (nA)", 0.5, GOOD),
        ("flame_current@meter (nA)", 0.6, GOOD),
    ]


def test_a_message_without_its_unit_does_not_set_the_dial_back() -> None:
    held = flame_meter()
    held.say(values={"flame": 0.5}, units={"flame": "uA"})
    for _ in range(3):
        held.say(values={"flame": 47.0}, units={"flame": "V"})
        held.say(values={"flame": 47.0})
    assert qualities(held) == [GOOD] + [BAD] * 6
    assert len(held.texts()) == 1


def test_a_unit_that_comes_in_a_message_of_its_own_holds_for_those_without() -> None:
    held = flame_meter()
    held.say(values={}, units={"flame": "nA"})
    held.say(values={"flame": 800.0})
    assert [(one.channel, one.quality) for one in held.readings] == [("flame_current@meter (nA)", GOOD)]


def test_an_autorange_that_changes_with_each_message_is_told_at_first_and_summed_up() -> None:
    held = flame_meter()
    units = ["nA", "uA"] * 20 + ["nA"]
    for unit in units:
        held.say(values={"flame": 1.0}, units={"flame": unit}, after=0.1)
    assert [one.channel for one in held.readings] == [
        "flame_current@meter" + (" (nA)" if unit == "nA" else "") for unit in units
    ]
    assert len(held.texts(EventKind.UNIT_CHANGED)) == 1
    assert len(held.announced()) == 2
    assert held.meter.waiting
    held.say(values={"flame": 1.0}, units={"flame": "uA"}, after=0.1)
    assert held.tell(after=5.0) == []
    [summary] = held.tell(after=5.0)
    assert summary.kind is EventKind.UNIT_CHANGED
    assert (summary.data["from"], summary.data["to"]) == ("flame_current@meter (nA)", "flame_current@meter")
    assert summary.text.endswith("changed its unit 41 times more, and is shown in uA now")
    assert not held.meter.waiting
    assert held.tell(after=20.0) == []


def test_a_message_that_says_the_same_and_is_held_now_is_another_one() -> None:
    held = Held()
    held.say(counter=5, after=0.1)
    for _ in range(2):
        held.say(
            counter=5,
            after=0.1,
            conditions=frozenset({Condition.HOLD}),
            said={"state": frozenset({Condition.HOLD})},
        )
    assert qualities(held) == [GOOD, SUSPECT]
    assert held.meter.statistics()["duplicates"] == 1
    assert held.meter.facts()["conditions"] == ["display held: what it shows is not the present"]


def test_a_status_of_one_value_doubts_no_other_and_is_told_of_it() -> None:
    probe = Value(name="probe", role=Role.STATUS, bits={0: Condition.HOLD}, about=("temperature",))
    held = Held(values=(*VALUES, probe))
    held.say(None, said={"probe": frozenset({Condition.HOLD})}, conditions=frozenset({Condition.HOLD}))
    held.say(values={"pressure": 0.5, "temperature": 70.0}, said={"pressure": frozenset()})
    assert qualities(held) == [GOOD, SUSPECT]
    assert held.texts() == ["meter: supply air display held: what it shows is not the present"]
    held.say(None, said={"probe": frozenset({Condition.FAULT})}, conditions=frozenset({Condition.FAULT}))
    held.say(values={"pressure": 0.5, "temperature": 70.0}, said={"pressure": frozenset()})
    assert qualities(held)[2:] == [GOOD, BAD]


def test_a_status_that_is_old_is_told_by_its_name_until_a_young_one_comes() -> None:
    held = Held()
    old = frozenset({Condition.OLD})
    held.say(None, said={"state": old}, conditions=old)
    held.say(said={"pressure": frozenset()})
    assert qualities(held) == [GOOD]
    assert held.texts() == ["meter: state is old by its own time"]
    held.say(None, said={"state": frozenset()})
    held.say(said={"pressure": frozenset()}, after=3.0)
    assert held.texts()[1:] == ["meter: state is of the present again"]
    assert "conditions" not in held.meter.facts()
