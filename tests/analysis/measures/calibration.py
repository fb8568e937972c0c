"""How well measures describe their own errors, over a population of units and of meters."""

import random
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.measures import measures, spans
from analysis.measures.draft import SWITCHES
from analysis.measures.measured import Measured
from analysis.model import Series
from analysis.quantity import Quality
from drivers.simulate.meters import METERS, Input, Meter, standard_meters
from drivers.simulate.plant import STEP, Plant
from drivers.simulate.unit import random_unit
from tests.analysis.measures.simulated import Truth, look, run

SECONDS = 1560.0
"""A call of low and then high, long enough for a rise at 15 min. [s]"""
CALLS = ((40.0, 220.0, 1), (220.0, 1440.0, 2))
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


def unit(seed: int, calls: Sequence[tuple[float, float, int]] = CALLS, seconds: float = SECONDS) -> Truth:
    """A random unit that was called like that."""
    return run(Plant(random_unit(seed), seed=seed, calls=calls), seconds)


def rows(truth: Truth, seed: int) -> list[Row]:
    """Measures of a unit by random specimens of every meter, none unzeroed and none moved, each with its truth."""
    meters = specimens(truth.block.values, random.Random(f"meters {seed}"))
    return compared(truth, look(truth, meters, seed))


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


def compared(truth: Truth, series: Sequence[Series]) -> list[Row]:
    """Each measure whose truth is known against it."""
    papers = truth.papers
    found = measures(series, truth.attempts, papers.plate, papers.baseline, papers.timing)
    by_name = {(one.name, one.attempt): one for one in found}
    kept = []
    for one in found:
        true = true_value(truth, one, by_name)
        if true is not None and one.quantity.u > 0:
            quantity = one.quantity
            good = quantity.quality is Quality.GOOD
            kept.append(Row(one.name, quantity.value, quantity.u, true, good, quantity.reason))
    return kept


MEANS = "cold hot settled flowing static mean warmup after_stop".split()
"""Statistics that are a mean over their span."""
DIFFERENCES = {
    ("temp_rise", "settled"): ("temp_supply", "temp_return"),
    ("static_external", "settled"): ("static_supply", "static_return"),
}
"""Measures that are one point less another."""


def true_value(truth: Truth, one: Measured, others: Mapping[tuple[str, int | None], Measured]) -> float | None:
    """What was true over the same span; None where this does not know it."""
    point, statistic, *_ = one.name.split(".")
    span = one.start, one.end
    if point in SWITCHES:
        return _true_margin(truth, one, point, statistic)
    pair = DIFFERENCES.get((point, statistic))
    if pair:
        return truth.mean(pair[0], *span) - truth.mean(pair[1], *span)
    if statistic == "drop":
        stage = one.name.rpartition(".")[2]
        still, flows = (others[name, one.attempt] for name in ("gas_inlet.static", f"gas_inlet.flowing.{stage}"))
        return truth.mean(point, still.start, still.end) - truth.mean(point, flows.start, flows.end)
    if statistic == "trend":
        values = truth.of(point, *span)
        return float(np.polyfit(np.arange(values.size) * STEP / 60, values, 1)[0])
    if statistic in ("lowest", "highest", "smallest") and one.name.count(".") == 1:
        return _true_extreme(truth, one, point, statistic)
    return truth.mean(point, *span) if point in truth.block.values and statistic in MEANS else None


def _true_extreme(truth: Truth, one: Measured, point: str, statistic: str) -> float | None:
    attempt = next((each for each in truth.attempts if each.number == one.attempt), None)
    if attempt is None or not attempt.spans(*spans.LIT):
        return None
    lit = attempt.spans(*spans.LIT)
    first, last = {
        "gas_inlet": (attempt.spans("ignition_trial")[0].start, lit[-1].end),
        "flame_current": (lit[0].start + 10.0, lit[-1].end - 0.5),
    }.get(point, (attempt.start, attempt.end))
    values = truth.of(point, first, last)
    return float(np.max(values) if statistic == "highest" else np.min(values))


def _true_margin(truth: Truth, one: Measured, name: str, statistic: str) -> float | None:
    opening = truth.papers.plate.switch_open
    point, line = SWITCHES[name], opening[0 if name == "draft_margin_high" else -1]
    if statistic in ("cold", "hot"):
        return truth.mean(point, one.start, one.end) - line
    attempt = next(each for each in truth.attempts if each.number == one.attempt)
    if not attempt.spans(*spans.LIT):
        return None
    if statistic == "smallest" and name == "draft_margin":
        span = attempt.spans("prepurge")[0].start + spans.SPIN_UP, attempt.spans(*spans.LIT)[-1].end
    elif statistic == "smallest":
        run_high = attempt.spans("run_high")
        span = run_high[0].start + 2 * spans.SPIN_UP, run_high[-1].end
    elif statistic == "at_light_off":
        opens = attempt.spans("ignition_trial")[0].start
        span = opens - 0.5, opens + 5.0
    else:
        return None
    return float(np.min(truth.of(point, *span))) - line


def table(found: Iterable[Row]) -> str:
    """Points in order: name, n, mean error, coverage of 2u, mean squared z, mean half width of 2u."""
    heads = ("n", "mean error", "mean |e|", "2u covers", "mean z2", "mean 2u")
    lines = [f"{'measure':32s}" + "".join(f"{head:>12s}" for head in heads)]
    for name, own in sorted(grouped(found).items()):
        errors = np.array([row.value - row.truth for row in own])
        z = np.array([row.z for row in own])
        lines.append(
            f"{name:32s}{len(own):12d}{np.mean(errors):12.4g}{np.mean(np.abs(errors)):12.4g}"
            f"{np.mean(np.abs(z) <= 2):12.3f}{np.mean(z**2):12.3f}{np.mean([2 * row.u for row in own]):12.4g}"
        )
    return "\n".join(lines)


def grouped(found: Iterable[Row]) -> Mapping[str, list[Row]]:
    """Rows by the name of their measure."""
    by_name: dict[str, list[Row]] = defaultdict(list)
    for row in found:
        by_name[row.name].append(row)
    return by_name
