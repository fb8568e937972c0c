"""Visits to simulated units: one unit faulty and mended, in one weather and in others, by the same meters or not."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.comparison import Compared, Comparison, Side, compare
from analysis.measures import measures
from analysis.model import NANOSECONDS, Series
from analysis.quantity import Quality
from analysis.uncertainty import coverage_factor
from drivers.simulate.causes import Cause
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import Meter, standard_meters
from drivers.simulate.plant import Block, Plant
from drivers.simulate.unit import Unit, random_unit
from tests.analysis.measures.calibration import true_value
from tests.analysis.measures.simulated import Truth, attempts_of, inside

SECONDS, STEP = 700.0, 0.2
CALLS = ((20.0, 140.0, 1), (140.0, 620.0, 2))
"""First stage, then both: hot at the end, settled as far as a unit settles so soon. [s]"""
CAUSES = (
    ("intake_blocked", 0.65, "draft_burner_box.hot.high", "better"),
    ("flame_sensor_weak", 0.6, "flame_current.settled.high", "better"),
    ("vent_blocked", 0.6, "draft_vent.hot.high", "better"),
    ("manifold_low", 0.3, "gas_manifold.flowing.high", "better"),
    ("inducer_weak", 0.3, "speed_inducer.hot.high", "changed"),
)
"""What is wrong, how bad, and where its repair has to be seen."""


@dataclass(frozen=True, slots=True, eq=False)
class Visit:
    """What was true on one visit, and what was found in its recording."""

    truth: Truth
    side: Side

    def true(self, name: str) -> float | None:
        """True mean of a measure over the same attempts and spans as its representative."""
        by_name = {(one.name, one.attempt): one for one in self.side.measures}
        found = [one for one in self.side.of(name) if np.isfinite(one.quantity.value)]
        kept = [one for one in found if one.quantity.quality is Quality.GOOD] or found
        values = [true_value(self.truth, one, by_name) for one in kept]
        return (
            None if not values or None in values else float(np.mean([value for value in values if value is not None]))
        )


@dataclass(frozen=True, slots=True)
class Row:
    """One difference against the truth."""

    name: str
    error: float
    u: float
    freedom: float
    verdict: str

    @property
    def covered(self) -> bool:
        """Whether twice the uncertainty, more for few degrees of freedom, holds the truth."""
        return abs(self.error) <= float(coverage_factor(self.freedom)) * self.u


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One unit: a faulty visit, and mended ones, the first in the faulty one's weather to the last gust."""

    seed: int
    faulty: Visit
    mended: tuple[Visit, ...]
    signature: str
    expected: str

    def healthy(self) -> Iterator[tuple[Comparison, list[Row]]]:
        """Pairs in which nothing changed but the weather."""
        for place, first in enumerate(self.mended):
            for second in self.mended[place + 1 :]:
                found = compare(first.side, second.side)
                yield found, [_row(one, 0.0) for one in found.measures if one.verdict != "cannot tell"]

    def repaired(self) -> Iterator[tuple[Comparison, list[Row]]]:
        """The repair, looked at in another weather; its truth is that of the first weather."""
        for after in self.mended[1:]:
            found = compare(self.faulty.side, after.side)
            rows = []
            for one in found.measures:
                was, now = self.faulty.true(one.name), self.mended[0].true(one.name)
                if one.verdict != "cannot tell" and was is not None and now is not None:
                    rows.append(_row(one, now - was))
            yield found, rows


def case(seed: int) -> Case:
    """The visits to one unit; meters of an even seed are the same on all of them."""
    name, severity, signature, expected = CAUSES[seed % len(CAUSES)]
    unit = random_unit(7000 + seed)
    weathers = [_weather(unit, 10 * seed + number) for number in range(3)]
    runs = [
        (weathers[0], 0, (Cause(name, severity, 0.0, "constant"),)),
        *((one, k, ()) for k, one in enumerate(weathers)),
    ]
    truths = [
        _run(one, causes, seed=100 * seed + number, start=place * SECONDS)
        for place, (one, number, causes) in enumerate(runs)
    ]
    meters = standard_meters(truths[0].block.values, "full")
    same = seed % 2 == 0
    sides = _same_meters(truths, meters, seed) if same else _other_meters(truths, meters, seed)
    visits = [Visit(truth, side) for truth, side in zip(truths, sides, strict=True)]
    return Case(seed, visits[0], tuple(visits[1:]), signature, expected)


def _weather(unit: Unit, seed: int) -> Unit:
    """Another day at the same house: temperature and wind."""
    chance = random.Random(f"day {seed}")
    return replace(
        unit, weather=replace(unit.weather, temp_mean=chance.uniform(-20.0, 10.0), wind=chance.uniform(1.0, 5.0))
    )


def _run(unit: Unit, causes: Sequence[Cause], *, seed: int, start: float) -> Truth:
    plant = Plant(unit, causes, seed=seed, calls=CALLS, step=STEP)
    block = plant.advance(SECONDS)
    plant.finish()
    return Truth(Block(block.time + start, block.values), attempts_of(plant.attempts, start), unit.papers)


def _same_meters(truths: Sequence[Truth], meters: Sequence[Meter], seed: int) -> list[Side]:
    """One set of meters looks at all visits, one after the other: their errors stay, their noise does not."""
    points = truths[0].block.values
    whole = Block(
        np.concatenate([truth.block.time for truth in truths]),
        {point: np.concatenate([truth.block.values[point] for truth in truths]) for point in points},
    )
    series = _shown(whole, meters, seed)
    return [_side(truth, [_between(one, truth) for one in series], "one set") for truth in truths]


def _other_meters(truths: Sequence[Truth], meters: Sequence[Meter], seed: int) -> list[Side]:
    found = []
    for number, truth in enumerate(truths):
        start = float(truth.block.time[0]) - STEP
        block = Block(truth.block.time - start, dict(truth.block.values))
        shown = [_later(one, start) for one in _shown(block, meters, 1000 * number + seed)]
        found.append(_side(truth, shown, f"set {number}"))
    return found


def _later(series: Series, later: float) -> Series:
    """The same readings so much later. [s]"""
    return Series(series.channel, series.time + later, series.value)


def _shown(block: Block, meters: Sequence[Meter], seed: int) -> list[Series]:
    readings = Observer(meters, seed).observe(block).readings
    return [inside(one.channel, one.time / NANOSECONDS, one.value) for one in readings]


def _between(series: Series, truth: Truth) -> Series:
    first, last = float(truth.block.time[0]), float(truth.block.time[-1])
    kept = (series.time >= first) & (series.time <= last)
    return Series(series.channel, series.time[kept], series.value[kept])


def _side(truth: Truth, series: Sequence[Series], kit: str) -> Side:
    papers = truth.papers
    found = measures(series, truth.attempts, papers.plate, papers.baseline, papers.timing)
    meters = {one.channel.key: f"{one.channel.unit} {one.channel.accuracy} {kit}" for one in series}
    return Side(found, truth.attempts, papers.plate, papers.baseline, papers.altitude, meters=meters)


def _row(one: Compared, truth: float) -> Row:
    difference = one.difference
    return Row(one.name, difference.value - truth, difference.u, difference.freedom, one.verdict)
