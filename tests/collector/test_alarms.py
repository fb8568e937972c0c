"""Alarms: how readings and time move them, first-out, flood, chatter, and what people read."""

import math

import pytest

from analysis.model import NANOSECONDS, Quality
from collector.alarm_rule import AlarmRule
from collector.alarm_states import AlarmStatus
from collector.alarms import FLOOD, Alarms
from tests.collector.alarm_bench import GAS, HOT, LATCHED, START, A, B, Bench, D

GOOD, SUSPECT, BAD = Quality.GOOD, Quality.SUSPECT, Quality.BAD


def test_example_with_deadband_and_delays() -> None:
    # Limit 10, deadband 1, on-delay of 2 and off-delay of 3 samples: comes with the second 11, goes with the third 8.9.
    bench = Bench(AlarmRule("ten", "temp_supply", above=10, deadband=1, on_delay=1, off_delay=2, text="Over ten"))
    seen = [bench.read("temp_supply", value, at) for at, value in enumerate([9, 11, 11, 10.2, 9.5, 9.2, 8.9, 8.9, 8.9])]
    assert seen == [[], [], [B], [], [], [], [], [], [D]]


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
        ended=None,
        can_be_muted=True,
        takes_over=False,
    )
    assert bench.status("co").since is None


def test_names_must_be_unique() -> None:
    with pytest.raises(ValueError, match="'hot': the name is already taken"):
        Alarms([HOT, LATCHED])
    with pytest.raises(ValueError, match="already taken"):
        Alarms([AlarmRule(FLOOD, "temp_supply", above=1, text="Flood")])
