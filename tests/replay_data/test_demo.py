"""The demo: a drain that backs up, in pressures, contacts and alarms, with something to see from the first minute."""

import numpy as np
import pytest

from tests.replay_data.recording import INCH, TAPS, Recording, job, outcomes, pull, recording, to_baseline, truth
from tests.replay_data.test_alarms import raised

NAME, AFTER = "drain_backs_up", "drain_cleared"
FLOW_TAPS = ("draft_transition", "draft_vent")


def early_and_late(found: Recording) -> tuple[tuple[float, float], tuple[float, float]]:
    """Spans [s] in the first high stage: soon after it began, just before it fell."""
    began, fell = found.changes("switch_high_closed", 1)[0], found.changes("switch_high_closed", 0)[0]
    return (began + 10, began + 35), (fell - 20, fell - 2)


def test_the_first_minute_has_a_call_and_a_light_off() -> None:
    found, plate = recording(NAME), job(NAME).plate
    times, pressure = found.readings("draft_collector")
    assert times[pressure < -0.1][0] < 20
    assert found.changes("switch_closed", 1)[0] < 25
    assert found.changes("gas_valve", 1)[0] < 60
    times, flame = found.readings("flame_current")
    assert plate.flame_current_min is not None
    assert times[flame * 1e-6 > plate.flame_current_min][0] < 60


def test_it_trips_retries_locks_out_rests_and_trips_again() -> None:
    found = recording(NAME)
    events = [event["text"] for event in truth(NAME)["events"]]
    turned_down, turned_up = found.changes("call_heat", 0)[0], found.changes("call_heat", 1)[1]
    first = [attempt for attempt in truth(NAME)["attempts"] if attempt["call"] == 1]
    assert first[0]["stage"] == "high"
    assert len(first) == 5
    assert {attempt["outcome"] for attempt in first} <= {"draft_lost", "draft_not_proved"}
    assert first[-1]["phases"][-1]["phase"] == "lockout"
    assert first[-1]["phases"][-1]["start"] < turned_down - 30
    assert "high pressure switch opened" in events
    assert 4 * 60 <= found.changes("switch_closed", 0)[0] <= 12 * 60
    assert abs(found.mean("draft_collector", turned_up - 60, turned_up)) < 0.03
    (again, *_) = [attempt for attempt in truth(NAME)["attempts"] if attempt["call"] == 2]
    assert again["start"] == pytest.approx(turned_up, abs=5)
    assert again["stage"] == "high"
    assert again["outcome"] == "draft_lost"
    assert again["deciding_time"] > turned_up + 120
    assert found.readings("limit_closed")[1].min() == 1
    assert found.readings("room_co")[1].max() <= 2


def test_collector_grows_while_flow_falls_as_with_a_doubled_secondary() -> None:
    """Signs of a doubled secondary resistance, from the balance of a fan with four resistances in series.

    Normal hot run of a network worked by hand (fan 2.40 - 0.80 q^2, losses 0.15, 0.35, 0.75, 0.35 times q^2, in. w.c.):
    q^2 = 2.40 / (0.80 + 1.60) = 1: burner box -0.150, transition -0.500, collector -1.250, vent 0.350.
    Secondary 1.50: q^2 = 2.40 / (0.80 + 2.35) = 0.762: -0.114 (-24 %), -0.381 (-24 %), -1.524 (+22 %), 0.267 (-24 %).
    """
    found = recording(NAME)
    early, late = early_and_late(found)
    change = {tap: found.mean(tap, *late) / found.mean(tap, *early) - 1 for tap in TAPS}
    assert all(-0.60 < change[tap] < -0.08 for tap in FLOW_TAPS), change
    assert 0.05 < change["draft_collector"] < 0.45
    assert pull(found, *late) > 1.05 * pull(found, *early)  # the taps never explain an open switch
    assert found.mean("draft_switch", *early) == pytest.approx(pull(found, *early), abs=0.03)
    assert found.mean("draft_switch", *late) < pull(found, *late) - 0.1  # water over the port does


def test_water_slugs_and_stays_in_the_hose() -> None:
    found = recording(NAME)
    _, late = early_and_late(found)
    times, collector = found.readings("draft_collector")
    dry, wet = (
        np.std(np.diff(collector[(times >= start) & (times < end)], n=2)) for start, end in ((90.0, 120.0), late)
    )
    assert wet > 2 * dry
    down = next(
        phase["start"]
        for attempt in truth(NAME)["attempts"]
        for phase in attempt["phases"]
        if phase["phase"] == "lockout"
    )
    up = found.changes("call_heat", 1)[1]
    assert found.mean("draft_switch", down + 10, down + 20) < -0.1, "water stands in the hose"
    assert abs(found.mean("draft_switch", up - 20, up)) < 0.02, "and is gone after the rest"


def test_an_alarm_comes_with_the_first_trip_and_again_with_the_later_one() -> None:
    found = recording(NAME)
    times = [time for time, name in raised(NAME) if name.startswith("draft_margin")]
    trip, turned_up = found.changes("switch_closed", 0)[0], found.changes("call_heat", 1)[1]
    assert trip - 90 < times[0] < trip, "it warns before the switch opens"
    assert any(time > turned_up for time in times)


def test_after_the_repair_the_unit_is_as_its_baseline_says() -> None:
    found, plate = recording(AFTER), job(AFTER).plate
    assert set(outcomes(AFTER)) <= {"heat", "cut_off"}
    assert found.changes("switch_high_closed", 0)[0] > found.changes("call_heat", 0)[0] - 1
    off = found.changes("call_heat", 0)[0]
    ratio = to_baseline(AFTER, off - 200, off - 5)
    assert all(abs(ratio[tap] - 1) < 0.08 for tap in TAPS[1:]), ratio
    early, late = ((off - 300, off - 250), (off - 55, off - 5))
    assert found.mean("draft_collector", *late) == pytest.approx(found.mean("draft_collector", *early), rel=0.03)
    assert plate.rise is not None
    risen = found.mean("temp_supply", off - 60, off - 5) - found.mean("temp_return", off - 60, off - 5)
    assert plate.rise[0] < risen / 1.8 < plate.rise[1]
    assert plate.static_max is not None
    static = found.mean("static_supply", off - 60, off - 5) - found.mean("static_return", off - 60, off - 5)
    assert 0.2 < static < plate.static_max / INCH


def test_one_meter_drops_out_now_and_then() -> None:
    times, _ = recording(NAME).readings("humidity_room")
    gaps = np.diff(times)
    assert np.median(gaps) == pytest.approx(2.0, abs=0.02)
    assert 1 <= (gaps > 3).sum() <= 8
    assert gaps.max() < 60
