"""The bundled recording keeps the order of a safe control and the times of its job."""

from typing import Any

import numpy as np
import pytest

from tests.replay_data.recording import CONTACTS, Recording, figure

Row = dict[str, float]


def safety_faults(rows: list[Row]) -> list[int]:
    """Rows with gas but without a call, a closed limit, and a switch first seen open and closed ever since."""
    faults, was_open, gas = [], False, False
    for number, row in enumerate(rows):
        was_open = row["switch_closed"] == 0 or (was_open and not (gas and row["gas_valve"] == 0))
        ready = was_open and row["switch_closed"] == row["limit_closed"] == row["call_heat"] == 1
        gas = row["gas_valve"] == 1
        if gas and not ready:
            faults.append(number)
    return faults


@pytest.fixture
def contact_rows(recording: Recording) -> list[Row]:
    columns = [recording.readings(contact)[1].tolist() for contact in CONTACTS]
    return [dict(zip(CONTACTS, values, strict=True)) for values in zip(*columns, strict=True)]


def test_gas_only_with_a_switch_seen_open_first_and_closed_since(contact_rows: list[Row]) -> None:
    assert sum(row["gas_valve"] for row in contact_rows) > 100
    assert safety_faults(contact_rows) == []


@pytest.mark.parametrize("contact", ["switch_closed", "limit_closed", "call_heat"])
def test_safety_check_sees_a_contact_open_under_gas(contact: str, contact_rows: list[Row]) -> None:
    firing = [number for number, row in enumerate(contact_rows) if row["gas_valve"] == 1]
    contact_rows[firing[50]][contact] = 0.0
    assert firing[50] in safety_faults(contact_rows)


def test_safety_check_sees_a_switch_not_open_between_trials(contact_rows: list[Row]) -> None:
    gas = [row["gas_valve"] for row in contact_rows]
    second = gas.index(1, gas.index(0, gas.index(1)))
    for row in contact_rows[second - 20 : second]:
        row["switch_closed"] = 1.0
    assert second in safety_faults(contact_rows)


def test_gas_and_flame_only_while_the_valve_is_on(recording: Recording) -> None:
    # Gone within 2 s after the valve: upper end of common practice, no published source.
    for point, limit in (("flame_current", 0.5), ("gas_manifold", 0.2)):
        times, values = recording.readings(point)
        present = times[values > limit]
        assert len(present) > 1000
        assert np.all(recording.held("gas_valve", present) | recording.held("gas_valve", present - 2.0))


def test_sequence_keeps_the_times_of_the_job(recording: Recording, job: dict[str, Any]) -> None:
    furnace, timing = job["furnace"], job["furnace"]["timing"]
    times, flame = recording.readings("flame_current")
    burning = times[flame > figure(furnace["flame_current_min"])]
    for valve in recording.changes("gas_valve", 1):
        proved = max(time for time in recording.changes("switch_closed", 1) if time < valve)
        assert valve - proved == pytest.approx(timing["prepurge"] + timing["igniter_warmup"], abs=0.3)
        assert 0.5 < burning[burning > valve][0] - valve < timing["ignition_trial"]
    assert recording.changes("blower_on", 1)[0] - burning[0] == pytest.approx(timing["blower_on_delay"], abs=1.0)
    stopped = recording.changes("blower_on", 0)[0]
    lost = max(time for time in recording.changes("gas_valve", 0) if time < stopped)
    assert stopped - lost == pytest.approx(timing["post_purge"] + timing["blower_off_delay"], abs=0.5)


def test_first_minutes_are_quick_and_the_room_stays_safe(recording: Recording) -> None:
    times, pressure = recording.readings("draft_collector")
    assert times[pressure < -0.1][0] < 20
    times, flame = recording.readings("flame_current")
    assert times[flame > 1.0][0] < 70
    assert 6 * 60 <= recording.changes("switch_closed", 0)[0] <= 8 * 60
    assert recording.readings("room_co")[1].max() <= 2
    assert recording.readings("limit_closed")[1].min() == 1


def test_three_trials_then_rest_then_it_runs_again(recording: Recording, job: dict[str, Any]) -> None:
    turned_down, turned_up = recording.changes("call_heat", 0)[0], recording.changes("call_heat", 1)[1]
    starts, stops = recording.changes("gas_valve", 1), recording.changes("gas_valve", 0)
    assert stops == recording.changes("switch_closed", 0)  # every stop is a switch that opened
    assert sum(start < turned_down for start in starts) == job["furnace"]["timing"]["trials"] == len(starts) - 1
    lost = stops[-2]
    assert turned_up - lost >= 240
    assert abs(recording.mean("draft_collector", lost + 40, turned_up)) < 0.01
    assert recording.mean("draft_switch", lost + 30, lost + 40) < -0.2  # water stands in the hose
    assert abs(recording.mean("draft_switch", turned_up - 20, turned_up)) < 0.01  # and is gone after the rest
    assert turned_up < starts[-1] < stops[-1] - 180
    high = figure(job["furnace"]["manifold"][0])
    assert recording.mean("gas_manifold", starts[-1] + 120, stops[-1] - 60) == pytest.approx(high, abs=0.05)
