"""What causes do by severity: nothing at nought, more with more of it, something visible in full, all beside others."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import combinations, pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.diagnosis.causes import CAUSES
from analysis.points import measure_of
from analysis.units import conversion
from drivers.simulate.causes import COURSES, Cause
from drivers.simulate.design import INCH, Design, built
from drivers.simulate.faults import FAULTS, act
from drivers.simulate.heatpump import HeatPumpUnit
from drivers.simulate.humidifier import HumidifierUnit
from drivers.simulate.maths import ARRAYS, FLOATS
from drivers.simulate.meters import standard_meters
from drivers.simulate.parts import Parts
from drivers.simulate.plant import Plant
from drivers.simulate.population import POINTS, STATES, run
from drivers.simulate.scenario import BY_THERMOSTAT, fitted, prepared
from drivers.simulate.thermostat import ThermostatUnit
from drivers.simulate.weather import WeatherUnit
from tests.drivers.simulate.plant_bench import Kept, Run, ran, same, typical

Floats = NDArray[np.float64]
WRONG = CAUSES[1:]
STEPS = (0.1, 0.3, 0.6, 1.0)
WINDY = replace(typical(), weather=WeatherUnit())

# State of a run, point and direction with severity.
STEADY = {
    "intake_blocked": "purge draft_burner_box -1",
    "vent_blocked": "purge draft_vent 1",
    "secondary_restricted": "purge draft_collector -1",
    "primary_restricted": "purge draft_transition -1",
    "collector_leak": "high draft_vent 1",
    "heat_exchanger_breach": "purge draft_transition 1",
    "inducer_weak": "purge speed_inducer -1",
    "switch_hose_leak": "purge draft_switch -1",
    "switch_hose_water": "purge draft_switch -1",
    "gas_supply_low": "low gas_inlet -1",
    "manifold_low": "high gas_manifold -1",
    "manifold_high": "high gas_manifold 1",
    "gas_valve_faulty": "high gas_manifold -1",
    "flame_sensor_weak": "high flame_current -1",
    "ground_polarity": "rest volts_line_neutral_ground 1",
    "airflow_low_restricted": "high static_return -1",
    "airflow_low_blower": "high amps_blower -1",
    "air_baffle_missing": "high temp_supply_2 -1",
    "control_power_lost": "rest volts_control -1",
    "burner_fouled": "high flue_co 1",
    "vent_recirculation": "high flame_current -1",
}


NEVER = 1e4
SHORT = ((3.0, 60.0, 1), (60.0, 160.0, 2))
"""A bench call. [s]"""


def first(found: Run, point: str, value: int) -> float:
    """When a contact is first 1 or 0. [s]"""
    there = found[point] == value
    return float(found.time[np.argmax(there)]) if there.any() else NEVER


# What shows in time or in the house: how it is read off a run, its direction, and the length of the run.
IN_TIME: dict[str, tuple[Callable[[Run], float], int, float]] = {
    "drain_blocked": (lambda found: found.plant.parts.water.level, 1, 330.0),
    "switch_faulty": (lambda found: first(found, "switch_closed", 1), 1, 50.0),
    "switch_stuck_closed": (lambda found: float(np.sum(found["switch_closed"])), 1, 190.0),
    "igniter_faulty": (lambda found: float(np.max(found["amps_igniter"])), -1, 60.0),
    "limit_faulty": (lambda found: first(found, "limit_closed", 0), -1, 300.0),
    "rollout_open": (lambda found: first(found, "rollout_closed", 0), -1, 100.0),
    "humidifier_overrun": (lambda found: float(found["humidity_room"][-1]), 1, 720.0),
    "heat_pump_weak": (lambda found: float(np.max(found["temp_supply"])), -1, 150.0),
    "lockouts_misset": (
        lambda found: found.plant.thermostat.compressor_lockout - found.plant.thermostat.auxiliary_lockout,
        1,
        30.0,
    ),
    "no_call": (lambda found: float(np.mean(found["call_heat"])), -1, 300.0),
    "control_board_faulty": (lambda found: found.plant.parts.board, 1, 20.0),
    "other": (lambda found: float(np.median(np.abs(np.diff(found["draft_burner_box"])))), 1, 60.0),
}
SILENT = {"limit_faulty": 0.3, "rollout_open": 0.6, "switch_faulty": 0.1}
"""Severity up to which there is still a margin, and nothing to see."""


def resolutions() -> dict[str, float]:
    """Of the meters of a full kit. [inside unit of the point]"""
    found = {}
    for meter in standard_meters([*POINTS, *Plant(typical()).points]):
        for entry in meter.inputs:
            scale = conversion(entry.sensor.unit, measure_of(entry.point).inside, difference=True)[0]
            found[entry.point] = abs(entry.sensor.resolution * scale)
    return found


def trial(cause: str, severity: float, seconds: float) -> Run:
    """On the bench, in a unit that has what the cause is about, with twice the usual step."""
    unit = fitted(WINDY, {cause})
    if cause == "humidifier_overrun":
        unit = replace(unit, humidity=0.42)
    calls = (
        ((3.0, seconds - 20.0, 0),)
        if cause == "heat_pump_weak"
        else (*SHORT, (160.0, seconds - 60.0, 2))[: 2 + (seconds > 240.0)]
    )
    return ran(Plant(unit, [Cause(cause, severity)], seed=5, calls=calls, step=0.2), seconds)


def test_every_cause_has_words_and_a_severity() -> None:
    assert list(FAULTS) == list(CAUSES)
    assert set(STEADY) | set(IN_TIME) == set(WRONG)
    words = [fault.words for fault in FAULTS.values()]
    assert len(set(words)) == len(words)
    for fault in FAULTS.values():
        assert fault.words[0].islower()
        assert fault.severity


# Severity


@pytest.fixture(scope="module")
def graded() -> tuple[Floats, NDArray[np.bool_]]:
    """One unit with each steady cause at each severity, first sound: (causes, 1 + severities, states, points)."""
    severities = np.array([0.0, *STEPS])
    n = len(STEADY) * severities.size
    physical = built(ARRAYS, Design(input=np.full(n, Design().input), gas_supply=10 * INCH))
    causes = {
        cause: np.where(np.arange(n) // severities.size == place, np.tile(severities, len(STEADY)), 0.0)
        for place, cause in enumerate(STEADY)
    }
    values, reached = run(physical, causes, np.zeros(n))
    shape = (len(STEADY), severities.size)
    return values.reshape(*shape, *values.shape[1:]), reached.reshape(*shape, *reached.shape[1:])


@pytest.mark.parametrize("cause", STEADY)
def test_more_of_a_steady_cause_shows_more(graded: tuple[Floats, NDArray[np.bool_]], cause: str) -> None:
    """Strictly, until the unit does not come so far; never back."""
    state, point, way = STEADY[cause].split()
    place = list(STEADY).index(cause), slice(None), STATES.index(state)
    values, reached = graded[0][(*place, POINTS.index(point))], graded[1][place]
    steps = int(way) * np.diff(values) / (np.abs(values[0]) + 1e-9)
    alive = np.concatenate([[True], reached[1:-1]])
    assert np.all(steps[alive] > 1e-4)
    assert np.all(steps > -1e-3)
    assert reached[0]


@pytest.mark.parametrize("cause", IN_TIME)
def test_more_of_a_cause_in_time_shows_more(cause: str) -> None:
    read, way, seconds = IN_TIME[cause]
    found = [read(trial(cause, severity, seconds)) for severity in (0.0, *STEPS)]
    for (before, value), severity in zip(pairwise(found), STEPS, strict=True):
        if severity <= SILENT.get(cause, 0.0) or (value == NEVER and way > 0):
            assert way * value >= way * before, found
        else:
            assert way * value > way * before, found
    assert found[-1] != found[0]


def test_at_nought_nothing_changes_to_the_last_bit() -> None:
    """All causes at once, in all courses, in a unit that has everything."""
    thermostat = ThermostatUnit(dual_fuel=True)
    unit = replace(WINDY, heat_pump=HeatPumpUnit(), humidifier=HumidifierUnit(), thermostat=thermostat)
    calls = ((5.0, 60.0, 0), (70.0, 150.0, 1), (150.0, 260.0, 2))
    sound = Plant(unit, seed=4, calls=calls).advance(330.0).values
    for course in COURSES:
        causes = [Cause(cause, 0.0, course=course) for cause in CAUSES]
        assert same(sound, Plant(unit, causes, seed=4, calls=calls).advance(330.0).values), course
    assert sound["flame_current"].max() > 1e-6


@pytest.mark.parametrize("cause", WRONG)
def test_in_full_it_can_be_seen(kept: Kept, cause: str) -> None:
    """Some point differs from the same unit without it for five seconds by more than its meter's resolution."""
    if cause in BY_THERMOSTAT:
        sound, wrong = (ran(prepared(WINDY, [Cause(cause, s)], seed=5, step=0.2), 420.0) for s in (0.0, 1.0))
    else:
        seconds = 600.0 if cause == "drain_blocked" else 160.0
        alone = cause if cause == "humidifier_overrun" else "none"
        sound = kept(("sound", alone, seconds), partial(trial, alone, 0.0, seconds))
        wrong = trial(cause, 1.0, seconds)
    fine = kept("resolutions", resolutions)
    assert set(fine) == set(wrong.block.values)
    seen = []
    for point, step in fine.items():
        apart = wrong[point] - sound[point]
        means = np.diff(np.cumsum(apart)[::25]) / 25
        seen += [point] if np.max(np.abs(means)) > step else []
    assert seen


# Two at once


class Knobs:
    """Everything that a fault can turn on one furnace."""

    def __init__(self) -> None:
        self._parts = parts = Parts(FLOATS, typical().physical)
        owners = (
            *(parts, parts.draft, parts.water, parts.switch, parts.switch_high, parts.gas, parts.fire, parts.heat),
            *(parts.air, parts.limit, parts.electric),
        )
        names = [(owner, name) for owner in owners for name in dir(owner) if not name.startswith("_")]
        self._places = [(owner, name) for owner, name in names if isinstance(getattr(owner, name), float | int)]
        self.names = [f"{type(owner).__name__}.{name}" for owner, name in self._places]

    def __call__(self, causes: dict[str, float]) -> Floats:
        act(self._parts, causes)
        values = np.array([float(getattr(owner, name)) for owner, name in self._places])
        return np.where(np.isnan(values), 0.0, values)


def test_each_cause_turns_a_knob_and_nought_turns_none() -> None:
    knobs = Knobs()
    neutral = knobs({})
    assert np.array_equal(neutral, Knobs()({}))
    for cause in WRONG:
        assert not np.array_equal(knobs({cause: 0.4}), neutral), cause
    assert np.array_equal(knobs(dict.fromkeys(CAUSES, 0.0)), neutral)
    assert np.array_equal(knobs({"none": 1.0}), neutral)


def test_two_causes_at_once_act_both() -> None:
    """What either turns is turned at least nearly as far by both, unless they turn it in opposite directions."""
    knobs = Knobs()
    neutral = knobs({})
    turned = {cause: knobs({cause: 0.4}) - neutral for cause in WRONG}
    shared = 0
    for one, other in combinations(WRONG, 2):
        both = knobs({one: 0.4, other: 0.4})
        np.testing.assert_allclose(both, knobs({other: 0.4, one: 0.4}), rtol=1e-12, err_msg="in whatever order")
        first, second, moved = turned[one], turned[other], both - neutral
        assert np.array_equal(moved != 0, (first != 0) | (second != 0))
        furthest = np.where(np.abs(first) > np.abs(second), first, second)
        alike = first * second >= 0
        assert np.all((moved * furthest >= 0.64 * furthest**2)[alike]), (one, other)
        shared += int(np.sum(first * second > 0))
    assert shared, "some turn the same one"


def test_two_causes_at_once_show_both() -> None:
    causes = {"intake_blocked": 0.25, "flame_sensor_weak": 0.4}
    single = [trial(cause, severity, 160.0) for cause, severity in causes.items()]
    both = ran(Plant(WINDY, [Cause(*one) for one in causes.items()], seed=5, calls=SHORT, step=0.2), 160.0)
    sound = trial("none", 0.0, 160.0)
    for point, alone in zip(("draft_burner_box", "flame_current"), single, strict=True):
        ours, theirs, before = (found.settled(point, 155.0) for found in (both, alone, sound))
        assert ours / theirs == pytest.approx(1.0, rel=0.02)
        assert abs(ours / before - 1) > 0.2
