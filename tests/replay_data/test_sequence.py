"""Every recording keeps the order of a safe control, the times of its job, and no gas without what proves it."""

from dataclasses import asdict
from functools import cache

import numpy as np
import pytest

from tests.replay_data.recording import INCH, NAMES, job, recording, scenario, truth

Row = dict[str, float]
CONTACTS = "call_heat switch_closed limit_closed gas_valve blower_on".split()
TEMPERED = "night_dual_fuel"
"""Its furnace is called by defrosts too."""


@cache
def rows_of(name: str) -> list[Row]:
    """Contacts at every instant at which one was read; each holds until its next reading."""
    found = recording(name)
    times = np.unique(np.concatenate([found.readings(contact)[0] for contact in CONTACTS]))
    held = {contact: found.held(contact, times).astype(float).tolist() for contact in CONTACTS}
    return [dict(zip(CONTACTS, values, strict=True)) for values in zip(*held.values(), strict=True)]


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


def longest(rows: list[int]) -> int:
    """Most rows one after the other."""
    edges = np.flatnonzero(np.diff([-2, *rows, 10**9]) > 1)
    return int(np.diff(edges).max()) if rows else 0


@pytest.mark.parametrize("name", NAMES)
def test_gas_only_with_a_switch_seen_open_first_and_closed_since(name: str) -> None:
    """The control follows its inputs a step later: one row of change is not gas without proof."""
    rows = rows_of(name)
    if "heat" in {attempt["outcome"] for attempt in truth(name)["attempts"]}:
        assert sum(row["gas_valve"] for row in rows) > 20
    assert longest(safety_faults(rows)) <= 1


@pytest.mark.parametrize("contact", ["switch_closed", "limit_closed", "call_heat"])
def test_safety_check_sees_a_contact_open_under_gas(contact: str) -> None:
    rows = [dict(row) for row in rows_of("healthy_propane")]
    firing = [number for number, row in enumerate(rows) if row["gas_valve"] == 1][50:53]
    for number in firing:
        rows[number][contact] = 0.0
    assert set(firing) <= set(safety_faults(rows))
    assert longest(safety_faults(rows)) >= 3


def test_safety_check_sees_a_switch_not_open_between_trials() -> None:
    rows = [dict(row) for row in rows_of("igniter_aged")]
    gas = [row["gas_valve"] for row in rows]
    second = gas.index(1, gas.index(0, gas.index(1)))
    for row in rows[gas.index(0, gas.index(1)) : second]:
        row["switch_closed"] = 1.0
    assert second in safety_faults(rows)


@pytest.mark.parametrize("name", [name for name in NAMES if scenario(name).minutes <= 60])
@pytest.mark.parametrize(("point", "limit"), [("flame_current", 0.3), ("gas_manifold", 0.4)])
def test_gas_and_flame_only_while_the_valve_is_on(name: str, point: str, limit: float) -> None:
    """Gone within 2 s after the valve: upper end of common practice, no published source."""
    found = recording(name)
    if point not in found.columns:
        assert all(entry.point != point for meter in scenario(name).meters for entry in meter.inputs)
        return
    times, values = found.readings(point)
    present = times[values > limit]
    assert len(present) > 100
    assert np.all(found.held("gas_valve", present) | found.held("gas_valve", present - 2.0))


@pytest.mark.parametrize("name", [name for name in NAMES if name != TEMPERED])
def test_sequence_keeps_the_times_of_the_job(name: str) -> None:
    found, timing = recording(name), job(name).timing
    for valve in found.changes("gas_valve", 1):
        proved = max(time for time in found.changes("switch_closed", 1) if time < valve)
        assert valve - proved > timing.prepurge + timing.igniter_warmup - 0.3, (
            "later where it waits for the high switch"
        )
        assert valve - proved < timing.prepurge + timing.igniter_warmup + 5.0
    for attempt in truth(name)["attempts"]:
        phases = {phase["phase"]: phase["end"] - phase["start"] for phase in attempt["phases"]}
        if attempt["outcome"] == "heat":
            assert phases["ignition_trial"] < timing.ignition_trial
            for phase in ("prepurge", "igniter_warmup", "blower_on_delay", "post_purge"):
                assert phases[phase] == pytest.approx(asdict(timing)[phase], abs=0.3), phase
    trials = [attempt for attempt in truth(name)["attempts"] if attempt["outcome"] == "no_ignition"]
    assert all(
        trial["deciding_time"] - trial["start"] > timing.prepurge + timing.igniter_warmup + timing.ignition_trial
        for trial in trials
    )


@pytest.mark.parametrize("name", NAMES)
def test_attempts_begin_and_end_where_the_contacts_say(name: str) -> None:
    """What the truth tells of gas is what the logger saw; at ten seconds a reading there are contacts all the same."""
    found = recording(name)
    opened = found.changes("gas_valve", 1)
    trials = [
        phase["start"]
        for attempt in truth(name)["attempts"]
        for phase in attempt["phases"]
        if phase["phase"] == "ignition_trial"
    ]
    assert opened == pytest.approx(trials, abs=0.6)


@pytest.mark.parametrize("name", [name for name in NAMES if "draft_switch" in recording(name).columns])
def test_low_switch_closes_and_opens_where_the_job_says(name: str) -> None:
    """Within the lag of hose and diaphragm, unless the switch, not its pressure, is at fault."""
    found, plate = recording(name), job(name).plate
    times, pressure = found.readings("draft_switch")
    closed = found.held("switch_closed", times - 1.5) & found.held("switch_closed", times)
    steady = closed & (np.abs(found.at("draft_switch", times - 1.5) - pressure) < 0.02)
    accuracy = 0.03 + 0.02 * plate.switch_open[-1] / INCH
    assert np.all(pressure[steady] > plate.switch_open[-1] / INCH - accuracy)
    firing = steady & found.held("gas_valve", times)
    assert firing.any() or ("gas_valve" in found.columns and not found.held("gas_valve", times).any())
