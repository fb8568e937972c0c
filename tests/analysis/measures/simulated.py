"""Simulated units with their meters: what was true, and what the meters showed of it, as measures take it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Channel, Series
from analysis.points import measure_of
from analysis.sequence.attempts import Attempt, PhaseSpan
from analysis.units import conversion
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import Meter
from drivers.simulate.observed import Block
from drivers.simulate.papers import Papers
from drivers.simulate.plant import Plant

Array = NDArray[np.float64]

BOUNDARY_U = 0.05
"""How sure boundaries are that come from a log. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What was true of one unit."""

    block: Block
    attempts: tuple[Attempt, ...]
    papers: Papers

    def of(self, point: str, start: float, end: float) -> Array:
        """True values of a point over a span, at least one. [inside unit]"""
        first, after = self.block.time.searchsorted([start, end]).tolist()
        return self.block.values[point][first : max(after, first + 1)]

    def mean(self, point: str, start: float, end: float) -> float:
        """True mean of a point over a span. [inside unit]"""
        return float(np.mean(self.of(point, start, end)))


def run(plant: Plant, seconds: float) -> Truth:
    """Let a unit run for so long."""
    block = plant.advance(seconds)
    plant.finish()
    return Truth(block, attempts_of(plant.attempts), plant.unit.papers)


def look(truth: Truth, meters: Sequence[Meter], seed: int) -> tuple[Series, ...]:
    """What meters show of it, in inside units."""
    readings = Observer(meters, seed).observe(truth.block).readings
    return tuple(inside(one.channel, one.time / NANOSECONDS, one.value) for one in readings)


def inside(channel: Channel, time: Array, native: Array) -> Series:
    """Readings in the inside unit of the point."""
    measure = measure_of(channel.point)
    scale, offset = conversion(channel.unit, measure.inside, difference=measure.difference)
    return Series(channel, time, native * scale + offset)


def attempts_of(log: Iterable[Mapping[str, Any]], start: float = 0.0) -> tuple[Attempt, ...]:
    """What the recognizer would say if it knew all that a simulator's log knows; the log counts from `start` [s]."""
    found = []
    for number, one in enumerate(log, 1):
        phases = tuple(
            PhaseSpan(span["phase"], start + span["start"], start + span["end"], BOUNDARY_U, BOUNDARY_U)
            for span in one["phases"]
        )
        found.append(
            Attempt(
                number=number,
                call=one["call"],
                start=start + one["start"],
                end=start + one["end"],
                start_u=BOUNDARY_U,
                end_u=BOUNDARY_U,
                stage=one["stage"],
                outcome=one["outcome"],
                probability=1.0,
                deciding_time=start + one["deciding_time"],
                deciding_u=BOUNDARY_U,
                phases=phases,
            )
        )
    return tuple(found)
