"""Simulated units with their meters: what was true, and what the meters showed of it, as measures take it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

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

SLICE = 60.0
"""[s]"""
BOUNDARY_U = 0.05
"""How sure boundaries are that come from a log. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Visit:
    """One unit in front of its meters."""

    time: Array
    truth: Mapping[str, Array]
    series: tuple[Series, ...]
    attempts: tuple[Attempt, ...]
    papers: Papers
    meters: tuple[Meter, ...]

    def mean(self, point: str, start: float, end: float) -> float:
        """True mean of a point over a span. [inside unit]"""
        inside = slice(*self.time.searchsorted([start, end]).tolist())
        return float(np.mean(self.truth[point][inside.start : max(inside.stop, inside.start + 1)]))


def visit(plant: Plant, meters: Sequence[Meter], seconds: float, seed: int) -> Visit:
    """Run a unit for so long and look at it."""
    observer = Observer(meters, seed)
    truth: dict[str, list[Array]] = defaultdict(list)
    seen: dict[Channel, list[tuple[Array, Array]]] = defaultdict(list)
    times = []
    for _ in range(round(seconds / SLICE)):
        block: Block = plant.advance(SLICE)
        times.append(block.time)
        for point, values in block.values.items():
            truth[point].append(values)
        for readings in observer.observe(block).readings:
            seen[readings.channel].append((readings.time / NANOSECONDS, readings.value))
    plant.finish()
    series = tuple(inside(channel, *map(np.concatenate, zip(*parts, strict=True))) for channel, parts in seen.items())
    whole = {point: np.concatenate(parts) for point, parts in truth.items()}
    attempts = attempts_of(plant.attempts)
    return Visit(np.concatenate(times), whole, series, attempts, plant.unit.papers, tuple(meters))


def inside(channel: Channel, time: Array, native: Array) -> Series:
    """Readings in the inside unit of the point."""
    measure = measure_of(channel.point)
    scale, offset = conversion(channel.unit, measure.inside, difference=measure.difference)
    return Series(channel, time, native * scale + offset)


def attempts_of(log: Iterable[Mapping[str, object]]) -> tuple[Attempt, ...]:
    """What the recognizer would say if it knew all that a simulator's log knows."""
    found = []
    for number, one in enumerate(log, 1):
        told: dict[str, object] = dict(one)
        phases = tuple(
            PhaseSpan(span["phase"], span["start"], span["end"], BOUNDARY_U, BOUNDARY_U)
            for span in told.pop("phases")  # type: ignore[attr-defined]
        )
        sure = {"start_u": BOUNDARY_U, "end_u": BOUNDARY_U, "deciding_u": BOUNDARY_U, "probability": 1.0}
        found.append(Attempt(number=number, phases=phases, **told, **sure))  # type: ignore[arg-type]
    return tuple(found)
