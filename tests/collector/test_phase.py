"""The phase that the contacts tell, against what was true in the bundled recordings of a simulated unit."""

import json
from collections import Counter
from importlib.resources import files
from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Quality, Reading, Timing
from collector.files import job_of
from collector.phase import FRESH, POINTS, Phase
from drivers.replay import CsvSource

T0 = 1_768_372_280 * NANOSECONDS
NEAR = 3.0
"""Contacts come on change, currents once a second; a meter lags. [s]"""
WAITING = {"stopped", "inducer_start", "prepurge", "standby"}
TOLD = {
    "inducer_start": {"inducer_start", "stopped"},
    "prepurge": {"prepurge"},
    "igniter_warmup": {"igniter_warmup"},
    "ignition_trial": {"ignition_trial"},
    "blower_on_delay": {"blower_on_delay", "run_low", "run_high"},  # the blower may run from before
    "run_low": {"run_low"},
    "run_high": {"run_high"},
    "post_purge": {"post_purge", "standby", *WAITING},
    "blower_off_delay": {"blower_off_delay"},
    "interpurge": WAITING,
    "lockout": WAITING,
    "limit_cooldown": {"limit_open"},
}
"""What may be told of each true phase; contacts alone cannot tell a pause between two tries from what is around it."""


def played(name: str) -> tuple[dict[int, str], set[str]]:
    """The phase told at each whole second of a bundled recording, and the points measured there."""
    path = Path(str(files("replay_data"))) / f"{name}.csv.gz"
    source = CsvSource(path)
    units = {channel.key: (channel.point, channel.unit) for channel in source.channels}
    scale = {"uA": 1e-6, "A": 1.0, "1": 1.0}
    phase, told, second = Phase(job_of(path).timing), {}, 0
    readings = [item for item in source.play() if isinstance(item, Reading)]
    for item in readings:
        while item.time >= readings[0].time + second * NANOSECONDS:
            now = phase.told()
            told[second] = now.phase if now else ""
            second += 1
        point, unit = units[item.channel]
        if point in POINTS:
            phase.step(point, item.time, item.value * scale[unit], item.quality)
    return told, {point for point, _ in units.values()}


@pytest.mark.parametrize(
    ("name", "seconds"),
    [("healthy_natural_gas", 1000), ("healthy_propane", 1000), ("drain_backs_up", 700), ("intake_covered", 500)],
)
def test_the_phase_told_is_the_true_one(name: str, seconds: int):
    """At every second that is no nearer than three to a change, in recordings with call, switch and valve measured."""
    truth = json.loads((files("replay_data") / f"{name}.truth.json").read_text())
    phases = [one for attempt in truth["attempts"] for one in attempt["phases"]]
    edges = {edge for one in phases for edge in (one["start"], one["end"])}
    told, measured = played(name)
    wrong: Counter[tuple[str, str]] = Counter()
    right = 0
    for one in phases:
        allowed = TOLD[one["phase"]] | ({"prepurge"} if "amps_igniter" not in measured else set())
        for second, said in told.items():
            if one["start"] < second < one["end"] and all(abs(second - edge) > NEAR for edge in edges):
                right += said in allowed
                wrong[one["phase"], said] += said not in allowed
    assert +wrong == Counter()
    assert right > seconds


class Unit:
    """Contacts that a test sets."""

    def __init__(self, timing: Timing | None = None) -> None:
        self.phase = Phase(timing)
        self.time = T0

    def after(self, seconds: float, **contacts: float) -> str:
        """What is told when so much time has passed and these have changed."""
        self.time += round(seconds * NANOSECONDS)
        for point, value in contacts.items():
            self.phase.step(point, self.time, value, Quality.GOOD)
        told = self.phase.told()
        return told.phase if told else ""


def test_tries_are_counted_within_a_call():
    unit = Unit(Timing(trials=3))
    unit.after(0, call_heat=0, gas_valve=0, flame_current=0, switch_closed=0)
    assert unit.after(1, call_heat=1) == "inducer_start"
    trials = []
    for _ in range(2):
        unit.after(5, switch_closed=1)
        assert unit.after(20, flame_current=0, gas_valve=1) == "ignition_trial"
        told = unit.phase.told()
        assert told is not None
        trials.append((told.trial, told.trials, told.expected))
        unit.after(5, gas_valve=0)
    assert trials == [(1, 3, 5.0), (2, 3, 5.0)]
    unit.after(20, gas_valve=1)
    assert unit.after(1, flame_current=3e-6, blower_on=0) == "blower_on_delay"
    assert unit.after(20, blower_on=1) == "run_low"
    unit.after(5, gas_valve=0, flame_current=0, switch_closed=0, call_heat=1)
    assert unit.after(1, switch_closed=0) == "stopped"
    unit.after(1, call_heat=0)
    unit.after(1, call_heat=1, switch_closed=1)
    unit.after(30, gas_valve=1)
    again = unit.phase.told()
    assert again is not None
    assert again.trial == 1, "a new call counts anew"


def test_what_is_not_measured_is_not_told():
    unit = Unit()
    assert unit.after(0, call_heat=1) == ""
    assert unit.after(0, flame_current=3e-6) == ""
    assert unit.after(0, switch_closed=0) == "inducer_start"
    assert unit.after(FRESH + 1, flame_current=0) == "", "what was read too long ago is not known now"
    unit.phase.step("gas_valve", unit.time, float("nan"), Quality.GOOD)
    unit.phase.step("gas_valve", unit.time, 1.0, Quality.BAD)
    assert unit.phase.told() is None


def test_a_replay_that_was_moved_back_begins_anew():
    unit = Unit()
    unit.after(100, call_heat=1, gas_valve=1, flame_current=3e-6, blower_on=1)
    assert unit.after(-90, call_heat=0) == ""
    assert unit.after(1, gas_valve=0) == "standby"


def test_since_and_what_comes_next():
    unit = Unit(Timing(prepurge=20.0))
    unit.after(0, call_heat=1, switch_closed=0, gas_valve=0, amps_igniter=0)
    unit.after(4, switch_closed=1)
    since = unit.time
    unit.after(7, amps_igniter=0.0)
    told = unit.phase.told()
    assert told is not None
    assert (told.phase, told.since, told.expected, told.next) == ("prepurge", since, 20.0, "igniter")
    assert unit.after(9, amps_igniter=3.0) == "igniter_warmup"
    told = unit.phase.told()
    assert told is not None
    assert (told.since, told.next) == (unit.time, "gas valve")
    assert unit.after(1, limit_closed=0) == "limit_open"


def test_a_fire_without_a_flame_current_is_told_as_what_it_is():
    unit = Unit()
    unit.after(0, call_heat=1, switch_closed=1, gas_valve=0)
    assert unit.after(15, gas_valve=1) == "run_low"
    told = unit.phase.told()
    assert told is not None
    assert told.text == "gas valve on, flame not measured"


@pytest.mark.parametrize(
    ("contacts", "phase", "text"),
    [
        (
            {"call_heat": 0, "gas_valve": 0, "flame_current": 3e-6},
            "flame_without_gas",
            "flame with the gas valve closed",
        ),
        ({"call_heat": 0, "gas_valve": 1, "flame_current": 3e-6}, "gas_without_call", "without a call for heat"),
    ],
)
def test_a_flame_or_gas_that_nothing_asks_for_stops_everything(contacts: dict[str, float], phase: str, text: str):
    """Not while a flame current decays after the valve closed."""
    unit = Unit()
    assert unit.after(0, **contacts) != phase
    assert unit.after(2, **contacts) != phase
    assert unit.after(1.5, **contacts) == phase
    told = unit.phase.told()
    assert told is not None
    assert told.text.startswith("STOP: ")
    assert text in told.text
    assert unit.after(1, call_heat=1, gas_valve=1) != phase


def test_silent_meters_say_nothing_of_the_present():
    unit = Unit()
    unit.after(0, call_heat=1, gas_valve=1, flame_current=3e-6, blower_on=1)
    assert unit.phase.told(unit.time + 20 * NANOSECONDS) is not None
    assert unit.phase.told(unit.time + 31 * NANOSECONDS) is None
    assert unit.after(0.1, gas_valve=1, flame_current=3e-6) == "run_low", (
        "a clock that ran ahead is no time that went back"
    )


def test_without_a_call_measured_nothing_is_said_of_a_call_or_of_tries():
    unit = Unit()
    assert unit.after(0, gas_valve=0, switch_closed=0) == "gas_off"
    for _ in range(6):
        unit.after(20, gas_valve=1, switch_closed=1)
        told = unit.phase.told()
        assert told is not None
        assert told.trial == 0, "a normal cycle is no failed try where the flame is not measured"
        assert unit.after(20, gas_valve=0, switch_closed=0) == "gas_off"
