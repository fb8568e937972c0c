"""Each problem of the measurements is found where it is, and none where there is none."""

import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest

from analysis.data.problem import KINDS, DataProblem
from analysis.data.problems import problems
from analysis.model import Plate, Series
from analysis.units import INCH_OF_WATER
from tests.analysis.data.day import day
from tests.replay_data.recording import NAMES, job
from tests.replay_data.series import accuracies_of, attempts_of, series_of

INCH = INCH_OF_WATER
TRUE = {  # by the provenance of the recordings: what their meters really have
    "drain_backs_up": [("gaps", "humidity_room")],
    "drain_cleared": [("gaps", "humidity_room")],
    "vent_iced_over": [("not_zeroed", "draft_vent")],
    "igniter_aged": [("clocks_apart", "amps_igniter")],
    "filter_loaded": [("gaps", "temp_supply")],
    "night_dual_fuel": [("slow", "gas_manifold"), ("slow", "volts_control"), ("slow", "flame_current")],
}
SMALL = sorted(set(NAMES) - {"healthy_natural_gas", "drain_backs_up", "drain_cleared", "humidifier_runs_on"})
"""Recordings that are tried each time: the others take long to read, and have the meters of these."""

Change = Callable[[Series], Series]


def found(
    series: Sequence[Series], name: str, *, attempts: bool = True, plate: Plate | None = None
) -> list[DataProblem]:
    told = problems(
        series,
        attempts_of(name) if attempts else (),
        plate or job(name).plate,
        accuracies=accuracies_of(name),
    )
    return [one for one in told if one.kind != "missing"]


def kinds(told: Sequence[DataProblem]) -> list[str]:
    return [one.kind for one in told]


def altered(name: str, **changes: Change) -> list[Series]:
    """A recording in which points were altered."""
    return [changes.get(one.channel.point, lambda same: same)(one) for one in series_of(name)]


def valued(of: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> Change:
    """Other values, by the time from the first reading and the values."""
    return lambda one: Series(one.channel, one.time, of(one.time - one.time[0], one.value))


def placed(point: str) -> Change:
    return lambda one: Series(replace(one.channel, point=point), one.time, one.value)


def later(seconds: float, after: float = -np.inf) -> Change:
    return lambda one: Series(one.channel, one.time + np.where(one.time - one.time[0] > after, seconds, 0.0), one.value)


@pytest.mark.parametrize("attempts", [True, False], ids=["attempts known", "attempts not known"])
@pytest.mark.parametrize("name", SMALL)
def test_a_recording_has_the_problems_that_its_meters_really_had_and_no_others(name: str, attempts: bool) -> None:
    told = found(series_of(name), name, attempts=attempts)
    assert kinds(told) == [kind for kind, _ in TRUE.get(name, [])], [one.text for one in told]
    for one, (_, point) in zip(told, TRUE.get(name, []), strict=True):
        assert point in {key.partition("@")[0] for key in one.channels}
        assert one.text
        assert one.hint


def test_no_problem_is_told_of_nothing() -> None:
    assert problems([]) == ()


def test_any_single_channel_alone_is_no_problem_of_its_own() -> None:
    """A subset of the channels never makes an unbroken one look broken."""
    for name in ("flame_rod_dirty", "propane_tank_cold", "filter_and_flame_rod", "intake_covered"):
        for one in series_of(name):
            assert found([one], name, attempts=False) == [], one.channel.key


def test_the_offset_of_a_meter_that_is_not_zeroed_is_told_with_its_uncertainty() -> None:
    [one] = found(series_of("vent_iced_over"), "vent_iced_over")
    assert one.text == (
        "simulated: draft meter (vent side): not zeroed, it shows 0.057 in. w.c. ± 0.035 in. w.c. at rest"
    )
    [clock] = found(series_of("igniter_aged"), "igniter_aged")
    assert clock.text.startswith("simulated: current clamp: its times are 0.3")


OFF = 0.06 * INCH


def test_the_accuracy_that_a_channel_states_counts() -> None:
    """A coarse meter may show 0.12 in. w.c. at nothing."""
    series = altered("flame_rod_dirty", gas_manifold=valued(lambda _, value: value + 0.12 * INCH))
    for accuracy, kind in (("0.1 inH2O", []), ("0.02 inH2O", ["not_zeroed"]), ("nonsense", ["not_zeroed"])):
        told = problems(
            [Series(replace(one.channel, accuracy=accuracy), one.time, one.value) for one in series],
            attempts_of("flame_rod_dirty"),
        )
        assert [one.kind for one in told if one.kind not in ("missing", "slow")] == kind


UNZEROED = {
    "flame_rod_dirty": ("gas_manifold", 0.12 * INCH),
    "intake_covered": ("draft_collector", -OFF),
    "filter_loaded": ("static_supply", OFF),
}


@pytest.mark.parametrize("name", UNZEROED)
def test_a_meter_with_an_offset_is_told_as_not_zeroed_and_one_within_its_accuracy_is_not(name: str) -> None:
    point, offset = UNZEROED[name]
    expected = kinds(found(series_of(name), name))
    series = altered(name, **{point: valued(lambda _, value: value + offset)})
    assert sorted(kinds(found(series, name))) == sorted([*expected, "not_zeroed"])
    series = altered(name, **{point: valued(lambda _, value: value + 0.005 * INCH)})
    assert kinds(found(series, name)) == expected


def test_where_nothing_tells_what_rests_the_quietest_level_is_the_zero_of_a_draft() -> None:
    [one] = [one for one in series_of("hose_split") if one.channel.point == "draft_collector"]
    assert found([one], "hose_split", attempts=False) == []
    told = found([valued(lambda _, value: value - OFF)(one)], "hose_split", attempts=False)
    assert kinds(told) == ["not_zeroed"]
    assert "at its quietest" in told[0].text
    running = Series(one.channel, one.time[2000:3000], one.value[2000:3000])
    assert found([running], "hose_split", attempts=False) == [], "it ran all the time: nothing is known of its zero"


SIDES = {
    "draft_collector": ("intake_covered", "wrong_sign"),
    "draft_switch": ("intake_covered", "wrong_sign"),
    "draft_vent": ("vent_iced_over", "wrong_sign"),
    "gas_inlet": ("propane_tank_cold", "wrong_sign"),
    "gas_manifold": ("propane_tank_cold", "wrong_sign"),
    "flame_current": ("propane_tank_cold", "wrong_sign"),
}


@pytest.mark.parametrize("point", SIDES)
@pytest.mark.parametrize("attempts", [True, False])
def test_a_meter_with_the_other_sign_is_told(point: str, attempts: bool) -> None:
    name, kind = SIDES[point]
    told = found(altered(name, **{point: valued(lambda _, value: -value)}), name, attempts=attempts)
    wrong = [one for one in told if one.kind == kind]
    assert [one.channels[0].partition("@")[0] for one in wrong] == [point], [one.text for one in told]
    assert set(kinds(told)) <= {kind, "exchanged", *(true for true, _ in TRUE.get(name, []))}


EXCHANGED = {
    ("temp_supply", "temp_return"): "filter_loaded",
    ("static_supply", "static_return"): "filter_loaded",
    ("draft_burner_box", "draft_collector"): "intake_covered",
    ("gas_inlet", "gas_manifold"): "propane_tank_cold",
}


@pytest.mark.parametrize("points", EXCHANGED)
def test_two_meters_in_each_others_place_are_told_as_exchanged(points: tuple[str, str]) -> None:
    name, (first, second) = EXCHANGED[points], points
    told = found(altered(name, **{first: placed(second), second: placed(first)}), name)
    [one] = [one for one in told if one.kind == "exchanged"]
    assert {key.partition("@")[0] for key in one.channels} == set(points)


def held(begin: float, end: float) -> Change:
    """The value of a moment [s] held up to another."""

    def of(time: np.ndarray, value: np.ndarray) -> np.ndarray:
        at = int(np.searchsorted(time, begin))
        return np.where((time >= begin) & (time < end), value[at], value)

    return valued(of)


@pytest.mark.parametrize(
    ("point", "name"), [("draft_collector", "intake_covered"), ("gas_manifold", "flame_rod_dirty")]
)
def test_a_meter_that_stands_still_while_it_must_move_is_told(point: str, name: str) -> None:
    last = attempts_of(name)[-1]
    begin = last.start - float(series_of(name)[0].time[0]) - 30
    told = found(altered(name, **{point: held(begin, begin + 300)}), name)
    assert "stuck" in kinds(told), [one.text for one in told]
    assert kinds(found(altered(name, **{point: held(2.0, 6.0)}), name)) == []


def test_a_coarse_meter_that_has_little_to_show_is_not_stuck() -> None:
    """Whose values stay the same for long anyway may well miss that the valve opened."""

    def coarse(time: np.ndarray, value: np.ndarray) -> np.ndarray:
        return np.where(time % 60 < 8, 25.0, 0.0) * (time > 60)

    assert found(altered("flame_rod_dirty", gas_manifold=valued(coarse)), "flame_rod_dirty") == []


def test_a_contact_may_stay_as_it_is() -> None:
    series = altered("flame_rod_dirty", limit_closed=valued(lambda _, value: np.ones_like(value)))
    assert found(series, "flame_rod_dirty") == []


def test_a_draft_that_does_not_come_back_is_a_plugged_port_or_a_stuck_meter_and_both_are_said() -> None:
    name = "switch_now_and_then"

    def plugged(time: np.ndarray, value: np.ndarray) -> np.ndarray:
        noise = np.random.default_rng(1).normal(0.0, 0.5, value.size)
        return np.maximum.accumulate(np.minimum(value, 150.0)) + noise

    told = found(altered(name, draft_switch=valued(plugged)), name)
    assert "not_returning" in kinds(told)
    [text] = [one.text for one in told if one.kind == "not_returning"]
    assert "plugged" in text
    assert "the meter is stuck" in text


def test_a_gap_is_told_with_its_length_and_number() -> None:
    name = "flame_rod_dirty"

    def without(one: Series) -> Series:
        time = one.time - one.time[0]
        kept = ~((time > 100) & (time < 112)) & ~((time > 300) & (time < 305))
        return Series(one.channel, one.time[kept], one.value[kept])

    [one] = found(altered(name, flame_current=without), name)
    assert one.text == (
        "simulated: flame meter (flame current): 2 gaps, 17 s in all, the longest 12 s, 1 min 40 s after the start"
    )


@pytest.mark.parametrize("shift", [0.5, -0.5])
def test_clocks_that_are_apart_are_told_with_the_offset(shift: float) -> None:
    name = "switch_now_and_then"
    assert found(series_of(name), name) == []
    told = found(altered(name, volts_switch=later(shift), volts_control=later(shift)), name)
    assert kinds(told) == ["clocks_apart"]
    ahead = "volt meter: its times are" if shift > 0 else "contact logger: its times are"
    assert ahead in told[0].text
    assert kinds(found(altered(name, volts_switch=later(0.15), volts_control=later(0.15)), name)) == []


def test_a_clock_that_was_set_during_the_call_is_told() -> None:
    name = "switch_now_and_then"
    told = found(altered(name, volts_switch=later(2.0, 700.0), volts_control=later(2.0, 700.0)), name)
    assert kinds(told) == ["clock_step"]
    assert "by 2.0" in told[0].text or "by 1.9" in told[0].text
    assert told[0].start < series_of(name)[0].time[0] + 701 < told[0].end + 1


def test_time_that_goes_back_is_told() -> None:
    name = "flame_rod_dirty"
    [one] = [one for one in series_of(name) if one.channel.point == "gas_manifold"]
    came = np.concatenate([one.time[:500], one.time[500:] - 7.0])
    told = [told for told in problems([one], came={one.channel.key: came}) if told.kind != "missing"]
    assert kinds(told) == ["time_back"]
    assert "once, by up to 6.8 s" in told[0].text


def test_spikes_are_counted_and_a_step_is_none() -> None:
    name = "flame_rod_dirty"

    def spiked(time: np.ndarray, value: np.ndarray) -> np.ndarray:
        value = value.copy()
        value[[400, 900, 1500]] += 12.0
        return value

    [one] = found(altered(name, volts_control=valued(spiked)), name)
    assert one.kind == "spikes"
    assert "3 single readings are far" in one.text
    assert found(altered(name, volts_control=valued(lambda t, v: v + 12.0 * (t > 300))), name) == []


def test_the_end_of_a_range_is_told_where_readings_stand_at_it() -> None:
    name = "propane_tank_cold"
    series = altered(name, gas_inlet=valued(lambda _, value: np.minimum(value, 10.0 * INCH)))
    assert kinds(found(series, name)) == ["saturated"]
    [inlet] = [one for one in series_of(name) if one.channel.point == "gas_inlet"]
    top = float(inlet.value.max())
    told = problems([inlet], ranges={inlet.channel.key: (-top, top)})
    assert [one.kind for one in told if one.kind != "missing"] in ([], ["saturated"])
    told = problems([inlet], ranges={inlet.channel.key: (-3000.0, 0.98 * top)})
    assert [one.kind for one in told if one.kind != "missing"] == ["saturated"]


UNITS = {
    "gas_manifold": ("propane_tank_cold", lambda _, value: value / INCH, "inches of water given as pascals"),
    "gas_inlet": ("propane_tank_cold", lambda _, value: value * INCH, "pascals given as inches of water"),
    "temp_return": ("filter_loaded", lambda _, value: (value - 32) / 1.8, "degrees Celsius given as Fahrenheit"),
    "flame_current": ("propane_tank_cold", lambda _, value: value * 1000, "microamperes given as milliamperes"),
}


@pytest.mark.parametrize("point", UNITS)
def test_a_unit_that_was_taken_for_another_is_told(point: str) -> None:
    name, change, words = UNITS[point]
    told = [one for one in found(altered(name, **{point: valued(change)}), name) if one.kind == "unit"]
    assert [words in one.text for one in told] == [True]


def test_doubtful_readings_are_counted_and_a_slow_switch_meter_is_told() -> None:
    name = "switch_now_and_then"
    [one] = [one for one in series_of(name) if one.channel.point == "draft_switch"]
    told = problems([one], doubtful={one.channel.key: one.time[:30]})
    assert [(told.kind, told.text.partition(": ")[2]) for told in told if told.kind == "doubtful"] == [
        ("doubtful", "switch manometer (at the pressure switch): 30 readings are doubtful (0.2%); they count as such")
    ]
    seldom = Series(one.channel, one.time[::8], one.value[::8])
    assert "slow" in kinds(problems([seldom]))
    assert "slow" not in kinds(problems([one]))


def test_carbon_monoxide_that_is_not_measured_is_told_first_among_what_is_missing() -> None:
    told = [one for one in problems(series_of("flame_rod_dirty")) if one.kind == "missing"]
    assert told[0].channels == ("room_co",)
    assert "never the same as fine" in told[0].text
    assert {one.kind for one in told} <= set(KINDS)


def test_six_hours_are_looked_at_in_a_moment() -> None:
    series = day(hours=6.0)
    begin = time.process_time()
    problems(series)
    assert time.process_time() - begin < 1.5
