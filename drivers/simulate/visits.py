"""Visits to invented units, drawn: what is wrong, how bad, which calls, which weather; a library is made of them."""

import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from analysis.diagnosis.causes import CAUSES
from analysis.points import POINTS, measure_of
from drivers.simulate.causes import COURSES, Cause
from drivers.simulate.meters import Input, Meter, Sensor
from drivers.simulate.plant import Plant
from drivers.simulate.scenario import BY_THERMOSTAT, fitted, prepared
from drivers.simulate.unit import Unit, random_unit

STEP = 0.2
"""Of the plant: half as fine as when it is watched live. [s]"""
BY_HOUSE = 0.2
"""Share of visits in which the thermostat calls and not the technician; our choice. [1]"""
SLOW = frozenset("temperature humidity".split())
"""Measures that are read each second; the others each step."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """One visit."""

    plant: Plant
    seconds: float
    """How long it is. [s]"""
    causes: tuple[Cause, ...]


def visit(
    seed: int,
    causes: tuple[str, ...] | None = None,
    *,
    least: float = 0.1,
    step: float = STEP,
    by_house: float = BY_HOUSE,
    made: Callable[[int], Unit] = random_unit,
) -> Drawn:
    """The visit of a seed, always the same; without causes one is drawn.

    least : severities are drawn from it up to 1. [1]
    by_house : share of visits in which the thermostat calls; the furnace may not run in them. [1]
    made : the unit of a seed.
    """
    chance = random.Random(f"case {seed}")
    unit = made(seed)
    names = causes if causes is not None else (chance.choice(CAUSES),)
    wrong = tuple(_cause(name, chance, least) for name in names if name != "none")
    asked = {one.cause for one in wrong}
    left_alone = bool(asked & BY_THERMOSTAT) or chance.random() < by_house
    minutes = chance.uniform(20.0, 40.0) if left_alone else chance.uniform(10.0, 22.0)
    plant = _plant(unit, wrong, 60.0 * round(minutes), chance, by_house=left_alone, step=step)
    return Drawn(plant, 60.0 * round(minutes), wrong)


def _cause(name: str, chance: random.Random, least: float) -> Cause:
    """How bad and in which course; most have been there since before the visit."""
    severity = round(chance.uniform(least, 1.0), 3)
    onset = chance.choice((0.0, 0.0, 0.0, chance.uniform(60.0, 500.0)))
    return Cause(name, severity, round(onset, 1), chance.choices(COURSES, (0.7, 0.15, 0.15))[0])


def _plant(
    unit: Unit, causes: tuple[Cause, ...], seconds: float, chance: random.Random, *, by_house: bool, step: float
) -> Plant:
    seed = chance.randrange(1_000_000_000)
    names = {cause.cause for cause in causes}
    if by_house or chance.random() < 0.6:
        return prepared(unit, causes, seed=seed, minutes=seconds / 60.0, bench=not by_house, step=step)
    outdoor = unit.weather.temp_mean + chance.uniform(0.0, 12.0)
    unit = replace(fitted(unit, names), weather=replace(unit.weather, temp_mean=outdoor))
    return Plant(unit, causes, seed=seed, calls=calls(seconds, chance), step=step)


def calls(seconds: float, chance: random.Random) -> tuple[tuple[float, float, int], ...]:
    """One call to three, short and long, in one stage or both; the last may outlast the visit. [s]"""
    found, now = list[tuple[float, float, int]](), chance.uniform(5.0, 40.0)
    while now < seconds - 60.0:
        length = chance.choice((chance.uniform(60.0, 300.0), chance.uniform(300.0, 1500.0)))
        staged = chance.choice((0.0, chance.uniform(0.1, 0.6) * length, length))
        found += [(now, now + staged, 1)] if staged else []
        found += [(now + staged, now + length, 2)] if staged < length else []
        now += length + chance.uniform(40.0, 300.0)
    return tuple(found)


def true_meters(points: tuple[str, ...]) -> tuple[Meter, ...]:
    """A meter for each point that shows what is there: no error, no lag, a clock that is right."""
    return tuple(_true_meter(point) for point in points)


def _true_meter(point: str) -> Meter:
    measure = measure_of(point)
    if POINTS[point].measure == "contact":
        return Meter(f"true {point}", (Input(point, Sensor("1", 0.0, 1.0, 1.0)),), None)
    sensor = Sensor(measure.inside, -1e7, 1e7, 1e-9, accuracy="0.01 %")
    return Meter(f"true {point}", (Input(point, sensor),), 1.0 if POINTS[point].measure in SLOW else 5.0)
