"""The control's safety through the whole plant: whatever is set wrong and mended at random, gas only where it may flow.

One onlooker sits at the control's terminals (`control_watch`), another sees only what meters can see.
"""

from functools import partial
from math import inf
from random import Random

import numpy as np
import pytest

from analysis.diagnosis.causes import CAUSES
from drivers.simulate.causes import COURSES
from drivers.simulate.control import Control
from drivers.simulate.control_settings import ControlSettings, Inputs
from drivers.simulate.plant import Block, Plant
from drivers.simulate.unit import random_unit
from tests.drivers.simulate.control_schedule import hurried
from tests.drivers.simulate.control_watch import LONGEST_AFTER_FLAME, RULES, Watch
from tests.drivers.simulate.plant_bench import Kept

SCHEDULES = range(30)
SECONDS = 300.0
CALLS = ((5.0, 120.0, 1), (120.0, 210.0, 2), (230.0, 1e6, 2))
STEP = 0.1


class Watched(Control):
    """A control with somebody beside it."""

    __slots__ = ("watch",)

    def __init__(self, settings: ControlSettings, inputs: Inputs) -> None:
        super().__init__(settings)
        self.watch = Watch(self, inputs, settings)

    def step(self, dt: float, inputs: Inputs) -> None:
        super().step(dt, inputs)
        self.watch.look(dt)

    def reset(self) -> None:
        super().reset()
        self.watch.restarted()


class Schedule:
    """Things go wrong and are mended at random moments; the same for the same seed."""

    def __init__(self, seed: int) -> None:
        chance = Random(f"schedule {seed}")
        unit = random_unit(seed)
        settings = hurried(chance) if seed % 2 else unit.control
        self.plant = Plant(unit, seed=seed, calls=CALLS)
        self.control = Watched(settings, self.plant.inputs)
        self.plant.control = self.control
        blocks, wrong = list[Block](), list[str]()
        self.injected = 0
        while self.plant.now < SECONDS:
            blocks.append(self.plant.advance(round(min(chance.expovariate(1 / 18.0), 60.0), 1) + 0.1))
            if wrong and chance.random() < 0.5:
                self.plant.repair(wrong.pop(chance.randrange(len(wrong))))
                continue
            cause = chance.choice(CAUSES)
            self.plant.inject(cause, chance.random(), chance.choice(COURSES))
            self.injected += 1
            if cause not in wrong:
                wrong.append(cause)
        self.values = {point: np.concatenate([block.values[point] for block in blocks]) for point in blocks[0].values}
        self.threshold = settings.flame_threshold
        self.trial = settings.timing.ignition_trial


@pytest.fixture(params=SCHEDULES)
def schedule(request: pytest.FixtureRequest, kept: Kept) -> Schedule:
    found: Schedule = kept(("schedule", request.param), partial(Schedule, request.param))
    assert found.injected >= 3
    return found


def test_nobody_at_the_terminals_sees_a_rule_broken(schedule: Schedule) -> None:
    assert schedule.control.watch.broken == [], RULES


def test_gas_only_with_draft_that_was_seen_to_begin(schedule: Schedule) -> None:
    """The switch is closed in the step before any with gas, and was open since the gas before was shut."""
    gas, closed = schedule.values["gas_valve"] > 0.5, schedule.values["switch_closed"] > 0.5
    seen_open = False
    for row in range(1, gas.size):
        seen_open = seen_open or not closed[row - 1]
        if gas[row]:
            assert closed[row - 1]
            if not gas[row - 1]:
                assert seen_open
                seen_open = False


def test_gas_never_two_seconds_beyond_the_flame(schedule: Schedule) -> None:
    """Once there was flame; without any it ends with the trial."""
    gas = schedule.values["gas_valve"] > 0.5
    flame = schedule.values["flame_current"] >= schedule.threshold
    opened, seen = -inf, -inf
    for row in range(1, gas.size):
        if gas[row] and not gas[row - 1]:
            opened, seen = row, -inf
        if flame[row]:
            seen = row
        if gas[row]:
            dark = (row - seen) * STEP
            assert dark < LONGEST_AFTER_FLAME or (seen == -inf and (row - opened) * STEP <= schedule.trial + STEP)


def test_no_gas_without_power_limit_or_roll_out(schedule: Schedule) -> None:
    values = schedule.values
    gas = values["gas_valve"][1:] > 0.5
    assert not np.any(gas & (values["limit_closed"][:-1] < 0.5))
    assert not np.any(gas & (values["rollout_closed"][:-1] < 0.5))
    assert not np.any(gas & (values["volts_control"][1:] < 12.0))


def test_the_schedules_do_try_the_control(kept: Kept) -> None:
    """Taken together they light gas, lose flame and draft, trip limits and lock out."""
    found = [kept(("schedule", seed), partial(Schedule, seed)) for seed in SCHEDULES]
    outcomes = {attempt["outcome"] for schedule in found for attempt in schedule.plant.attempts}
    assert outcomes >= {"no_ignition", "flame_lost", "draft_not_proved", "draft_lost", "limit_open", "call_ended"}
    assert sum(schedule.control.watch.openings for schedule in found) > 60
    assert sum(schedule.control.watch.locks for schedule in found) > 10
