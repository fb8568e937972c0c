"""How fast the simulator is: ratios measured side by side are checked, absolute figures printed with the machine."""

import time
from collections.abc import Callable

import numpy as np

from analysis.diagnosis.causes import CAUSES
from drivers.simulate.design import Design, built
from drivers.simulate.draws import KINDS
from drivers.simulate.furnace import Furnace
from drivers.simulate.maths import ARRAYS, FLOATS
from drivers.simulate.parts import Parts
from drivers.simulate.plant import Plant
from drivers.simulate.population import run
from drivers.simulate.scenario import prepared
from drivers.simulate.unit import random_unit
from tests.benchmarks.table import say

SPAN = 120.0
"""Of the plant. [s]"""
REAL_TIME = 2000
"""The wish: one unit at 10 Hz with all points, on one core. [1]"""
UNITS, WITHIN = 20_000, 60.0
"""The wish: features of so many units with all causes within so long. [1, s]"""


def took(work: Callable[[], object]) -> float:
    """Processor time of this process: what else the machine does interrupts, but is not counted. [s]"""
    began = time.process_time()
    work()
    return time.process_time() - began


def running() -> Plant:
    plant = prepared(random_unit(1), (), seed=1)
    plant.advance(100.0)
    return plant


def test_one_unit_against_real_time() -> None:
    """In one go, and in the pieces of a live run: those cost at most five times as much."""
    plants = running(), running()
    whole = min(took(lambda: plants[0].advance(SPAN)) for _ in range(4))
    pieces = min(took(lambda: [plants[1].advance(0.1) for _ in range(round(SPAN * 10))]) for _ in range(3))
    assert plants[0].control.valve
    speed = SPAN / whole
    say(f"one unit, 10 Hz, {len(plants[0].points)} points: {speed:,.0f} times real time; the wish is {REAL_TIME:,}")
    say(f"the same in pieces of 0.1 s: {SPAN / pieces:,.0f} times real time")
    assert pieces < 5 * whole


def test_twice_the_time_costs_twice() -> None:
    """Nothing grows with what has been: a plant that has run for long is as fast as at first."""
    plant = running()
    first = min(took(lambda: plant.advance(SPAN)) for _ in range(4))
    plant.advance(900.0)
    later = min(took(lambda: plant.advance(SPAN)) for _ in range(4))
    say(f"after a quarter of an hour a second of the plant takes {later / first:.2f} of what it did at first")
    assert later < 1.5 * first


def test_thousands_at_once_against_one_by_one() -> None:
    """A furnace among two thousand in arrays costs a small part of what it does alone in floats."""
    count = 2000

    def arrays(n: int) -> float:
        physical = built(ARRAYS, Design(input=np.full(n, Design().input)))
        severity = np.random.default_rng(1).uniform(0.1, 1.0, n)
        which = np.arange(n) % len(CAUSES)
        causes = {cause: np.where(which == place, severity, 0.0) for place, cause in enumerate(CAUSES)}
        return took(lambda: run(physical, causes, np.zeros(n)))

    furnace = Furnace(Parts(FLOATS, built(FLOATS, Design())))
    steps = 1000

    def floats() -> None:
        for _ in range(steps):
            furnace.fast(1.0, inducer=1.0, igniter=0.0, valve=1.0, high=1.0, blower=1.0)
            furnace.slow()

    few, many = arrays(100), arrays(count)
    each = (many - few) / (count - 100)
    alone = took(floats) * 984 / steps
    say(f"a unit through all states: {1e3 * alone:.0f} ms alone, {1e3 * many / count:.2f} ms among {count:,}")
    seconds = len(KINDS) * (few - 100 * each) + UNITS * each
    say(f"features of {UNITS:,} units, all causes: about {seconds:.0f} s; the wish is {WITHIN:.0f} s")
    assert many / count < 0.1 * alone
