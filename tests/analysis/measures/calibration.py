"""How well measures describe their own errors, over a population of units and of meters."""

import random
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.measures import measures
from analysis.measures.measured import Measured
from analysis.quantity import Quality
from drivers.simulate.meters import METERS, Input, Meter, standard_meters
from drivers.simulate.plant import Plant
from drivers.simulate.unit import random_unit
from tests.analysis.measures.simulated import Visit, visit

SECONDS = 1800.0
"""A call of low and then high, long enough for a rise at 15 min. [s]"""
CALLS = ((40.0, 220.0, 1), (220.0, 1500.0, 2))
"""First stage, then both. [s]"""


@dataclass(frozen=True, slots=True)
class Row:
    """One measure of one visit against the truth."""

    name: str
    value: float
    u: float
    truth: float
    good: bool
    reason: str = ""

    @property
    def z(self) -> float:
        """Error in standard uncertainties. [1]"""
        return (self.value - self.truth) / self.u


def visited(seed: int, calls: Sequence[tuple[float, float, int]] = CALLS, seconds: float = SECONDS) -> Visit:
    """A random unit with random specimens of every meter; none is left unzeroed and none is moved."""
    plant = Plant(random_unit(seed), seed=seed, calls=calls)
    return visit(plant, specimens(plant.points, random.Random(f"meters {seed}")), seconds, seed)


def specimens(points: Iterable[str], rng: random.Random) -> tuple[Meter, ...]:
    """Every meter of a technician's kit as one of its random specimens: sensors, rates, clocks, drop-outs."""
    points = set(points)
    whole = {meter.name: meter for meter in standard_meters(points, "full")}
    for _ in range(3):  # a random kit lacks some
        for meter in standard_meters(points, rng):
            if meter.name in whole:
                kinds = {entry.point: entry.sensor for entry in meter.inputs}
                inputs = tuple(Input(one.point, kinds.get(one.point, one.sensor)) for one in METERS[meter.name].inputs)
                whole[meter.name] = replace(meter, inputs=tuple(one for one in inputs if one.point in points))
    return tuple(whole.values())


def compared(seen: Visit) -> list[Row]:
    """Each measure whose truth is known against it."""
    papers = seen.papers
    found = measures(seen.series, seen.attempts, papers.plate, papers.baseline, papers.timing)
    rows = []
    for one in found:
        truth = true_value(seen, one)
        if truth is not None and one.quantity.u > 0:
            quantity = one.quantity
            good = quantity.quality is Quality.GOOD
            rows.append(Row(one.name, quantity.value, quantity.u, truth, good, quantity.reason))
    return rows


def true_value(seen: Visit, one: Measured) -> float | None:
    """What was true over the same span; None where this does not know it."""
    point, statistic, *state = one.name.split(".")
    span = one.start, one.end
    plate = seen.papers.plate
    if statistic in ("smallest", "lowest", "highest", "trend", "against_baseline", "time_to_zero", "decay"):
        return None
    if point == "temp_rise":
        return seen.mean("temp_supply", *span) - seen.mean("temp_return", *span)
    if point == "static_external":
        return seen.mean("static_supply", *span) - seen.mean("static_return", *span)
    if point == "draft_margin" and statistic in ("cold", "hot"):
        return seen.mean("draft_switch", *span) - plate.switch_open[-1]
    if point == "draft_margin_high" and statistic in ("cold", "hot"):
        return seen.mean("draft_switch_high", *span) - plate.switch_open[0]
    if point in seen.truth and statistic in ("cold", "hot", "settled", "flowing", "static", "mean", "warmup", "after_stop"):
        return seen.mean(point, *span)
    return None


def table(rows: Iterable[Row]) -> str:
    """Points in order: name, n, mean error, coverage of 2u, mean squared z, mean half width of 2u."""
    lines = [f"{'measure':36s} {'n':>5s} {'mean error':>11s} {'mean |e|':>11s} {'2u covers':>9s} {'mean z2':>8s} {'mean 2u':>11s}"]
    for name, own in sorted(grouped(rows).items()):
        errors = np.array([row.value - row.truth for row in own])
        z = np.array([row.z for row in own])
        lines.append(
            f"{name:36s} {len(own):5d} {np.mean(errors):11.4g} {np.mean(np.abs(errors)):11.4g}"
            f" {np.mean(np.abs(z) <= 2):9.3f} {np.mean(z**2):8.3f} {np.mean([2 * row.u for row in own]):11.4g}"
        )
    return "\n".join(lines)


def grouped(rows: Iterable[Row]) -> Mapping[str, list[Row]]:
    """Rows by the name of their measure."""
    found: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        found[row.name].append(row)
    return found
