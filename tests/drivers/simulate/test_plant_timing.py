"""When things happen: the sequence of healthy units within the trade's envelope, retries and lockouts as they are set.

Envelopes marked P are from a published manual or textbook extract, the others common practice, from memory.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.model import Timing
from analysis.units import INCH_OF_WATER
from drivers.simulate.causes import Cause
from drivers.simulate.control_settings import ControlSettings
from drivers.simulate.plant import Plant
from drivers.simulate.scenario import prepared
from drivers.simulate.unit import Unit, random_unit
from tests.drivers.simulate.plant_bench import Array, Kept, Run, phases, ran, typical

BATCHES = [range(first, first + 8) for first in range(0, 40, 8)]
MINUTES = 6.0
STEP = 0.1001
ENVELOPE = {
    "inducer_start": (2.0, 60.0),
    "prepurge": (0.0, 60.0),  # 34 s: P, textbook extract
    "igniter_warmup": (3.0, 45.0),
    "ignition_trial": (0.2, 15.0),
    "blower_on_delay": (0.0, 90.0),  # 30 to 90 s: P, textbook extract and manual
    "run_low": (1.0, 300.0),
    "run_high": (1.0, 300.0),
    "post_purge": (5.0, 30.0),
    "blower_off_delay": (60.0, 240.0),
}
"""Shortest and longest of each phase that ends well; those of the run are what the call leaves. [s]"""


@pytest.fixture(params=BATCHES, ids=lambda seeds: f"seeds {seeds[0]} to {seeds[-1]}")
def batch(request: pytest.FixtureRequest, kept: Kept) -> list[Run]:
    """Units of the population through one call each, with their wind and weather."""

    def run(seed: int) -> Run:
        return ran(prepared(random_unit(seed), (), seed=seed, minutes=MINUTES), MINUTES * 60.0)

    return [kept(("healthy", seed), partial(run, seed)) for seed in request.param]


def change(values: Array, way: int) -> int:
    """Row before the first rise (1) or fall (-1) of a contact. [1]"""
    rows = np.flatnonzero(way * np.diff(values) > 0.5)
    assert rows.size == 1, "once in a healthy run"
    return int(rows[0])


def first(found: NDArray[np.bool_]) -> float:
    """Time until something holds first. [s]"""
    assert found.any()
    return float(np.argmax(found)) * 0.1


def test_one_attempt_that_heats(batch: list[Run]) -> None:
    for healthy in batch:
        (attempt,) = healthy.attempts
        assert (attempt["outcome"], attempt["stage"], attempt["call"]) == ("heat", "high", 1)
        for span, following in zip(attempt["phases"], attempt["phases"][1:], strict=False):
            assert span["end"] == following["start"]
        assert attempt["phases"][0]["start"] == attempt["start"]
        assert attempt["phases"][-1]["end"] == attempt["end"]
        assert healthy["limit_closed"].all()
        assert healthy["rollout_closed"].all()


def test_phases_are_in_the_envelope_and_as_set(batch: list[Run]) -> None:
    for healthy in batch:
        found, timing = phases(healthy.attempts[0]), healthy.plant.unit.control.timing
        low_first = healthy.plant.unit.physical.design.stages == 2
        assert list(found) == [phase for phase in ENVELOPE if phase != "run_low" or low_first]
        for phase, seconds in found.items():
            shortest, longest = ENVELOPE[phase]
            assert shortest - STEP <= seconds <= longest + STEP, phase
        for phase in ("prepurge", "igniter_warmup", "blower_on_delay", "post_purge", "blower_off_delay"):
            assert found[phase] == pytest.approx(getattr(timing, phase), abs=STEP)
        assert found["ignition_trial"] < timing.ignition_trial - 0.5


def test_collector_reaches_its_plateau(batch: list[Run]) -> None:
    """3 to 8 s after the inducer's start; 95 % of what it has at the end of the prepurge, gusts about it."""
    for healthy in batch:
        attempt = healthy.attempts[0]
        spans = {span["phase"]: span for span in attempt["phases"]}
        begin, purge = healthy.at(attempt["start"]), spans["prepurge"]
        plateau = healthy.mean("draft_collector", purge["end"] - 2.0, purge["end"])
        assert 3.0 <= first(healthy["draft_collector"][begin:] < 0.95 * plateau) <= 8.0


def test_manifold_is_there_within_two_seconds(batch: list[Run]) -> None:
    """And the inlet dips by no more than 2 in. w.c."""
    for healthy in batch:
        opened, shut = change(healthy["gas_valve"], 1), change(healthy["gas_valve"], -1)
        manifold, inlet = healthy["gas_manifold"][opened:], healthy["gas_inlet"]
        assert first(manifold > 0.95 * manifold[50]) <= 2.0
        assert 0.0 < inlet[opened - 5] - np.min(inlet[opened:shut]) < 2.0 * INCH_OF_WATER


def test_flame_is_proven_within_the_trial_and_good_in_the_run(batch: list[Run]) -> None:
    """1 to 6 uA are normal."""
    for healthy in batch:
        opened, shut = change(healthy["gas_valve"], 1), change(healthy["gas_valve"], -1)
        current, settings = healthy["flame_current"], healthy.plant.unit.control
        assert first(current[opened:] >= settings.flame_threshold) < settings.timing.ignition_trial
        assert np.max(current[:opened]) == 0.0
        running = current[opened + 60 : shut]
        assert np.min(running) > 1e-6
        assert np.max(running) < 6e-6


def test_shutting_the_valve_ends_gas_and_flame(batch: list[Run]) -> None:
    """Manifold and flame current are gone within 2 s; 0.8 s is usual for the control to see it."""
    for healthy in batch:
        shut = change(healthy["gas_valve"], -1)
        above = healthy["gas_manifold"][shut:] - healthy["draft_burner_box"][shut:]
        assert 0.0 < first(above < 0.02 * above[0]) <= 2.0
        assert 0.0 < first(healthy["flame_current"][shut:] < healthy.plant.unit.control.flame_threshold) <= 0.8
        assert first(healthy["flame_current"][shut:] < 0.05e-6) <= 2.0


def test_supply_warms_and_no_switch_lets_go(batch: list[Run]) -> None:
    for healthy in batch:
        attempt = healthy.attempts[0]
        start = attempt["phases"][1]["start"]
        end = next(span["start"] for span in attempt["phases"] if span["phase"] == "post_purge")
        assert healthy["switch_closed"][healthy.at(start) : healthy.at(end)].all()
        assert not healthy["switch_closed"][healthy.at(attempt["end"]) - 5]
        low, high = healthy.plant.unit.papers.plate.rise or (0.0, 0.0)
        rise = healthy.settled("temp_supply", end) - healthy.settled("temp_return", end)
        assert 0.8 * low < rise < high


# Faults


def quick(unit: Unit, **settings: object) -> Unit:
    """With short times, so that a lockout comes soon."""
    timing = Timing(prepurge=3.0, igniter_warmup=12.0, ignition_trial=4.0, blower_on_delay=10.0, post_purge=3.0)
    control = ControlSettings(timing=timing, soft_lockout_minutes=2.0, interpurge=8.0)
    return replace(unit, control=replace(control, **settings))  # type: ignore[arg-type]


def until(plant: Plant, condition: Callable[[], object], most: float = 400.0) -> None:
    """Run until it holds."""
    end = plant.now + most
    while not condition():
        assert plant.now < end, f"not within {most:g} s: {plant.events[-5:]}"
        plant.advance(0.1)


def calling(unit: Unit, *causes: Cause) -> Plant:
    return Plant(unit, causes, seed=1, calls=((2.0, 1e6, 1),))


def said(plant: Plant, text: str) -> list[float]:
    return [time for time, words in plant.events if words == text]


@pytest.mark.parametrize("trials", [3, 4])
@pytest.mark.parametrize("cause", ["igniter_faulty", "flame_sensor_weak", "gas_valve_faulty", "ground_polarity"])
def test_without_proven_flame_all_trials_and_a_lockout(cause: str, trials: int) -> None:
    unit = quick(typical())
    timing = replace(unit.control.timing, trials=trials)
    unit = replace(unit, control=replace(unit.control, timing=timing))
    plant = calling(unit, Cause(cause, 1.0))
    until(plant, lambda: plant.control.phase == "lockout")
    assert [attempt["outcome"] for attempt in plant.attempts] == ["no_ignition"] * (trials - 1)
    assert plant.control.attempts == trials
    for attempt in plant.attempts:
        found = phases(attempt)
        assert found["ignition_trial"] == pytest.approx(timing.ignition_trial, abs=STEP)
        assert found["interpurge"] >= unit.control.interpurge
    until(plant, lambda: plant.control.phase != "lockout")
    (began,), (ended,) = said(plant, "soft lockout"), said(plant, "soft lockout ended")
    assert ended - began == pytest.approx(60.0 * unit.control.soft_lockout_minutes, abs=STEP)
    plant.repair(cause)
    until(plant, lambda: plant.control.phase == "run_low", 120.0)


def test_losses_of_a_stable_flame_give_recycles_and_then_a_lockout() -> None:
    unit = quick(typical(), recycles=3)
    plant = calling(unit)
    for loss in range(unit.control.recycles + 1):
        until(plant, lambda: plant.control.phase == "run_low", 120.0)
        lost_at = plant.now
        plant.inject("flame_sensor_weak", 1.0)
        until(plant, lambda: not plant.control.valve, 5.0)
        assert plant.now - lost_at < 2.0
        assert plant.control.recycles == loss + 1
        plant.inject("flame_sensor_weak", 0.0)
    until(plant, lambda: plant.control.phase == "lockout", 20.0)
    assert [a["outcome"] for a in plant.attempts] == ["flame_lost"] * unit.control.recycles


def test_limit_trips_cool_down_and_then_lock_out() -> None:
    """Sawtooth: the valve shuts, blower and inducer run on, a new ignition; after three of them it rests."""
    plant = calling(quick(typical()), Cause("limit_faulty", 0.7))
    until(plant, lambda: plant.control.phase == "lockout", 1500.0)
    outcomes = [attempt["outcome"] for attempt in plant.attempts]
    assert outcomes == ["limit_open"] * (plant.unit.control.limit_trips - 1)
    assert len(said(plant, "limit opened")) == plant.unit.control.limit_trips
    for attempt in plant.attempts:
        assert 5.0 < phases(attempt)["limit_cooldown"] < 360.0


@pytest.mark.parametrize("cause", ["inducer_weak", "vent_blocked", "switch_hose_leak", "switch_faulty"])
def test_draft_that_is_not_proved_is_tried_again(cause: str) -> None:
    unit = quick(typical(), proving_limit=20.0, draft_retries=2)
    plant = calling(unit, Cause(cause, 1.0))
    until(plant, lambda: plant.control.phase == "lockout")
    assert [attempt["outcome"] for attempt in plant.attempts] == ["draft_not_proved"] * unit.control.draft_retries
    for attempt in plant.attempts:
        assert phases(attempt)["inducer_start"] == pytest.approx(20.0, abs=STEP)
    assert plant.control.attempts == unit.control.draft_retries + 1


def test_a_closed_switch_keeps_the_inducer_at_rest() -> None:
    plant = calling(typical(), Cause("switch_stuck_closed", 1.0))
    block = plant.advance(120.0)
    plant.finish()
    assert [attempt["outcome"] for attempt in plant.attempts] == ["switch_found_closed"]
    assert np.max(block.values["speed_inducer"]) == 0.0


def test_roll_out_stays_locked_until_it_is_reset_by_hand() -> None:
    plant = calling(quick(typical()), Cause("rollout_open", 1.0, onset=100.0))
    block = plant.advance(600.0)
    after = block.time > 101.0
    assert block.values["gas_valve"][~after].any()
    assert not block.values["gas_valve"][after].any()
    assert block.values["blower_on"][after].all()
    plant.repair("rollout_open")
    until(plant, lambda: plant.control.phase == "run_low", 120.0)


def test_a_weak_inducer_loses_its_draft_in_the_run() -> None:
    plant = calling(quick(typical()))
    until(plant, lambda: plant.control.phase == "run_low", 120.0)
    plant.inject("inducer_weak", 1.0)
    until(plant, lambda: not plant.control.valve, 10.0)
    plant.inject("inducer_weak", 0.0)
    until(plant, lambda: plant.control.phase == "run_low", 120.0)
    assert [attempt["outcome"] for attempt in plant.attempts] == ["draft_lost"]


def test_lost_power_stops_everything_at_once() -> None:
    plant = calling(quick(typical()))
    until(plant, lambda: plant.control.phase == "run_low", 120.0)
    plant.inject("control_power_lost", 1.0)
    block = plant.advance(5.0)
    assert not block.values["gas_valve"][10:].any()
    assert np.max(block.values["volts_control"][-10:]) < 16.0
    assert block.values["flame_current"][-1] < 0.05e-6
