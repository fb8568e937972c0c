"""Alarms of a recording are those that stepping every reading gives."""

import time
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.model import Channel, Plate, Quality, Series
from analysis.points import measure_of
from collector.alarm_rule import AlarmRule
from collector.alarm_states import ACTIVE
from collector.alarms import FLOOD, Alarms
from collector.derived import Derived
from collector.past_alarms import PastAlarm, past_alarms
from collector.rules import default_rules
from collector.session import rules
from collector.speakers import Speakers
from tests.replay_data.recording import job
from tests.replay_data.series import series_of
from tests.replay_data.test_alarms import EXPECTED

Doubtful = Mapping[str, NDArray[np.float64]]
Alarm = tuple[str, float, float | None]


def told(alarms: Iterable[PastAlarm]) -> list[Alarm]:
    return sorted((one.rule, round(one.start, 6), None if one.lasted else round(one.end, 6)) for one in alarms)


def stepped(series: Sequence[Series], plate: Plate, wanted: Sequence[AlarmRule], doubtful: Doubtful) -> list[Alarm]:
    """What the live parts say when every reading comes to them in the order of time."""
    readings = sorted(
        (round(float(at) * 1e6) * 1000, order, float(value), float(at) in set(doubtful.get(one.channel.key, ())))
        for order, one in enumerate(series)
        for at, value in zip(one.time, one.value, strict=True)
    )
    alarms, derived, speakers = Alarms(wanted), Derived(plate), Speakers()
    active: dict[str, float] = {}
    found: list[Alarm] = []
    for at, order, value, doubt in readings:
        channel = series[order].channel
        quality = Quality.BAD if np.isnan(value) else Quality.SUSPECT if doubt else Quality.GOOD
        changes = alarms.step(channel.point, at, value, quality, channel.key)
        if speakers.hear(channel.point, channel.key, at, quality):
            for name, worked_out, as_good in derived.step(channel.point, at, value, quality):
                changes += alarms.step(name, at, worked_out, as_good, name)
        for change in changes:
            if change.name == FLOOD:
                continue
            if change.to_state in ACTIVE:
                active[change.name] = round(at / 1e9, 6)
            elif change.from_state in ACTIVE:
                found.append((change.name, active.pop(change.name), round(at / 1e9, 6)))
    return sorted([*found, *((name, at, None) for name, at in active.items())])


def thinned(series: Sequence[Series], every: int) -> list[Series]:
    """Every so many readings of what is read several times a second."""
    return [
        one
        if measure_of(one.channel.point).name == "contact" or np.median(np.diff(one.time)) > 0.5
        else Series(one.channel, one.time[::every], one.value[::every])
        for one in series
    ]


TOLD = sorted({*EXPECTED, "healthy_propane"} - {"humidifier_runs_on"})
"""Recordings that are tried; one with the longest rule is left out for its size."""


@pytest.mark.parametrize("name", TOLD)
def test_alarms_of_a_recording_are_those_of_stepping_every_reading(name: str) -> None:
    series, papers = thinned(series_of(name), 4), job(name)
    wanted = rules(papers, frozenset(one.channel.point for one in series))
    found = past_alarms(series, papers.plate, wanted)
    assert told(found) == stepped(series, papers.plate, wanted, {})
    assert {one.rule for one in found} == EXPECTED.get(name, set())


STEPS = st.sampled_from([0.1, 0.1, 0.1, 0.5, 1.0, 3.0, 9.9, 10.1, 20.0, 29.0, 31.0])
LEVELS = st.sampled_from([5.0, 5.0, 9.5, 9.5, 11.0, 11.0, 11.0, np.nan])
CONTACT = st.sampled_from([1.0, 1.0, 1.0, 0.0, np.nan])
DELAYS = st.sampled_from([0.0, 0.0, 0.3, 1.0, 5.0, 12.0])


@st.composite
def courses(draw: st.DrawFn, channel: Channel, values: st.SearchStrategy[float]) -> tuple[Series, NDArray[np.float64]]:
    """A series with gaps and missing values, and the times of those that are suspect."""
    steps = draw(st.lists(st.tuples(STEPS, values, st.booleans(), st.integers(1, 12)), min_size=1, max_size=40))
    at = np.cumsum([step for step, _, _, times in steps for _ in range(times)])
    level = np.array([value for _, value, _, times in steps for _ in range(times)])
    doubt = np.array([doubt for _, _, doubt, times in steps for _ in range(times)])
    time = np.round(1_768_372_280.0 + at, 3)
    return Series(channel, time, level), time[doubt]


@st.composite
def limits(draw: st.DrawFn) -> AlarmRule:
    """A rule on the supply air, above 10 and clear at 9.2, or mirrored."""
    safety, contact = draw(st.booleans()), draw(st.sampled_from([None, ("gas_valve", 1.0), ("gas_valve", 0.0)]))
    above = draw(st.booleans())
    return AlarmRule(
        "rule",
        "temp_supply",
        text="wrong",
        deadband=0.8,
        on_delay=0.0 if safety else draw(DELAYS),
        off_delay=draw(DELAYS),
        priority="safety" if safety else "high",
        when=contact,
        settle=draw(DELAYS) if contact else 0.0,
        latched=draw(st.booleans()),
        above=10.0 if above else None,
        below=None if above else 9.0,
    )


SUPPLY, OTHER = Channel("temp_supply", "one", "degC"), Channel("temp_supply", "other", "degC")
VALVE, VALVE_2 = Channel("gas_valve", "logger", "1"), Channel("gas_valve", "second logger", "1")


@settings(max_examples=60, deadline=None)
@given(
    courses(SUPPLY, LEVELS),
    st.one_of(st.none(), courses(OTHER, LEVELS)),
    courses(VALVE, CONTACT),
    st.one_of(st.none(), courses(VALVE_2, CONTACT)),
    limits(),
)
def test_any_readings_raise_what_stepping_them_raises(one, other, valve, second, rule) -> None:
    given_ = [course for course in (one, other, valve, second) if course is not None]
    series = [course[0] for course in given_]
    doubtful = {course[0].channel.key: course[1] for course in given_}
    assert told(past_alarms(series, Plate(), [rule], doubtful)) == stepped(series, Plate(), [rule], doubtful)


PLATE = Plate(rise=(20.0, 36.0), static_max=125.0, switch_close=(237.0, 125.0), switch_open=(212.0, 105.0))
FEW = Plate(switch_close=(237.0, 125.0))
INPUTS: dict[str, list[float]] = {
    "temp_return": [20.0, 21.0],
    "temp_supply": [25.0, 50.0, 60.0],
    "static_return": [-20.0, -60.0],
    "static_supply": [30.0, 90.0],
    "draft_switch": [0.0, 100.0, 110.0, 200.0],
    "switch_closed": [0.0, 1.0, 0.4],
    "draft_switch_high": [0.0, 210.0, 220.0],
    "switch_high_closed": [0.0, 1.0],
    "temp_surface": [2.0, 10.0],
    "temp_room": [20.0],
    "humidity_room": [0.3, 0.5, 1.03, 1.2],
    "humidity_return": [0.3, 0.55],
    "gas_valve": [0.0, 1.0, 1.0],
    "blower_on": [0.0, 1.0],
}


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_any_readings_derive_what_stepping_them_derives(data: st.DataObject) -> None:
    plate = data.draw(st.sampled_from([PLATE, FEW]))
    points = data.draw(st.lists(st.sampled_from(sorted(INPUTS)), min_size=2, max_size=7, unique=True))
    drawn = [
        data.draw(courses(Channel(point, name, "1"), st.sampled_from([*INPUTS[point] * 3, np.nan])))
        for point in points
        for name in data.draw(st.sampled_from([["one"], ["one"], ["one", "other"], ["by hand: dial", "one"]]))
    ]
    series, doubtful = [course for course, _ in drawn], {course.channel.key: doubt for course, doubt in drawn}
    wanted = [
        AlarmRule(
            f"{name} {delay}",
            name,
            text="wrong",
            on_delay=delay,
            off_delay=1.0,
            when=when,
            above=None if when else limit,
            below=limit if when else None,
        )
        for name, limit in (
            ("temp_rise", 30.0),
            ("static_external", 100.0),
            ("draft_margin", 0.0),
            ("draft_margin_high", 0.0),
            ("dew_point_margin", 0.0),
        )
        for delay, when in ((0.0, None), (1.0, ("gas_valve", 1.0)))
    ]
    assert told(past_alarms(series, plate, wanted, doubtful)) == stepped(series, plate, wanted, doubtful)


def test_a_surface_is_judged_by_the_rooms_air_and_only_without_it_by_the_returns() -> None:
    at = np.arange(0.0, 600.0, 2.0)
    courses = {
        "temp_surface": 8.0 + 0 * at,
        "temp_room": np.where((at > 200) & (at < 400), np.nan, 20.0),
        "humidity_room": 0.4 + 0 * at,
        "temp_return": 20.0 + 0 * at,
        "humidity_return": 0.6 + 0 * at,
    }
    series = [Series(Channel(point, "one", "1"), at + 1e9, value) for point, value in courses.items()]
    rule = AlarmRule("wet", "dew_point_margin", below=0.0, on_delay=30.0, text="The surface is wet")
    found = told(past_alarms(series, Plate(), [rule]))
    assert found == stepped(series, Plate(), [rule], {})
    assert len(found) == 1, "the return's air is damper, and counts while the room's is not there"


def test_a_typed_value_completes_its_delay_once_by_the_clock() -> None:
    """A dial that was read twice: the first value stands for its delay, silence afterwards ends nothing."""
    dial = Series(Channel("temp_supply", "by hand: dial", "degC"), np.array([100.0, 400.0]), np.array([80.0, 60.0]))
    rule = AlarmRule("hot", "temp_supply", above=70.0, on_delay=30.0, off_delay=5.0, text="Supply air too hot")
    [alarm] = past_alarms([dial], Plate(), [rule])
    assert (alarm.start, alarm.end, alarm.lasted) == (130.0, 405.0, False)
    assert alarm.text == "Supply air too hot: 176 °F, limit 158 °F"


def test_a_day_of_readings_without_an_alarm_takes_no_second() -> None:
    """16 channels at 10 Hz; the bound is three times what this takes on two slow cores."""
    count = 864_000
    at = 1_768_372_280.0 + np.arange(count) / 10
    firing = (np.arange(count) % 18_000 < 9_000).astype(float)
    wave = {
        "temp_return": 20 + 0 * firing,
        "temp_supply": 20 + 30 * firing,
        "gas_valve": firing,
        "switch_closed": firing,
        "draft_switch": 300 * firing,
        "static_supply": 30 * firing,
        "static_return": -30 * firing,
        "blower_on": firing,
        "gas_inlet": 1700 - 100 * firing,
        "flame_current": 3e-6 * firing,
    }
    series = [
        Series(Channel(point, "meter", "1"), at + 0.001 * n, value) for n, (point, value) in enumerate(wave.items())
    ]
    plate = Plate(
        rise=(20.0, 36.0),
        static_max=125.0,
        gas_inlet=(1100.0, 2600.0),
        flame_current_min=1e-6,
        supply_max=77.0,
        switch_close=(237.0,),
        switch_open=(212.0,),
    )
    wanted = default_rules(plate, frozenset(wave))
    past_alarms(series[:1], plate, wanted)
    begin = time.process_time()
    assert past_alarms(series, plate, wanted) == ()
    assert time.process_time() - begin < 2.0
