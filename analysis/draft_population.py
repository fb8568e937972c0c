"""Draft circuits as they are met: how they and their faults spread, and the ones that meet what was read."""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.draft_network import Floats
from analysis.draft_visit import Slope, Speed, Visit
from analysis.ranges import bounded
from analysis.units import INCH_OF_WATER

_BATCH = 4096
_BATCHES = 15
_ENOUGH = 800.0
"""Effective number of networks at which no further batch is drawn."""
_FEWEST = 60.0
"""Effective number below which there is no result."""
_SEED = 1729
_DRAWN = 0.4
"""Share of leaks among the draws; the weights give them back their share of the population."""
_BY_SPEED = 0.3
"""Share of draws whose flow follows from a speed of the population; in the others from the ratio of a run."""


class Kinds(NamedTuple):
    """Unchanged, risen and fallen sections: share, mean and standard deviation of the logarithm of the ratio."""

    shares: Floats
    centres: Floats
    spreads: Floats

    def drawn(self, shares: Floats, random: np.random.Generator, shape: tuple[int, ...]) -> NDArray[np.intp]:
        """Kinds with these shares."""
        return np.minimum(np.searchsorted(np.cumsum(shares), random.random(shape)), shares.size - 1)

    def density(self, logs: Floats) -> Floats:
        """Probability density of a logarithm."""
        scores = (logs[None] - self.centres[:, None]) / self.spreads[:, None]
        return (self.shares / self.spreads / math.sqrt(2 * math.pi)) @ np.exp(-0.5 * scores**2)


@dataclass(frozen=True, slots=True)
class Population:
    """What is held possible before a tap is read: how far circuits and their faults spread.

    unchanged_share : () share of the sections that are as at the baseline, 0 <= value <= 0.98. [1]
    unchanged_spread : () standard deviation of the logarithm of their resistance ratio, 0.02 <= value <= 1. [1]
    rise : () median ratio of the sections that rose, 1 <= value <= 20. [1]
    rise_spread : () standard deviation of its logarithm, 0.1 <= value <= 3. [1]
    fall_share : () share of the sections that fell because they were cleaned or altered, with `unchanged_share` at
        most 1, 0 <= value <= 0.5. [1]
    fall : () their median ratio, 0.05 <= value <= 1. [1]
    fall_spread : () standard deviation of its logarithm, 0.1 <= value <= 3. [1]
    speed_spread : () standard deviation of the logarithm of the speed ratio of a sound inducer where that is not
        measured, 0.001 <= value <= 0.5. [1]
    slow_share : () share of inducers that are slow, evenly spread in the logarithm of their speed ratio, where that is
        not measured, 0 <= value <= 0.9. [1]
    slowest : () their least speed ratio, 0.1 <= value <= 0.95. [1]
    leak_share : () share of circuits into whose collector box air leaks, evenly spread in its flow,
        0 <= value <= 0.9. [1]
    leak_most : () most of that flow over the combustion flow, 0.05 <= value <= 5. [1]
    slope_share : () share of the shut-off pressure that the fan has lost at the baseline's flow, median,
        0.05 <= value <= 0.9. [1]
    slope_spread : () standard deviation of the logarithm of its odds, 0 <= value <= 2. [1]
    intake_drop : () median of the baseline's drop across the intake, 1 <= value <= 5000. [Pa]
    primary_drop : () the same across burners and primary exchanger, 1 <= value <= 5000. [Pa]
    secondary_drop : () the same across the secondary exchanger, 1 <= value <= 5000. [Pa]
    vent_drop : () the same across the vent, 1 <= value <= 5000. [Pa]
    drop_spread : () standard deviation of the logarithm of each drop, 0.1 <= value <= 3. [1]
    density_spread : () standard uncertainty of the logarithm of a section's density ratio between the two states, as a
        part of that logarithm, 0 <= value <= 0.5. [1]
    """

    unchanged_share: float = 0.7
    unchanged_spread: float = 0.1
    rise: float = 2.5
    rise_spread: float = 0.8
    fall_share: float = 0.04
    fall: float = 0.7
    fall_spread: float = 0.3
    speed_spread: float = 0.03
    slow_share: float = 0.15
    slowest: float = 0.5
    leak_share: float = 0.1
    leak_most: float = 0.6
    slope_share: float = 0.33
    slope_spread: float = 0.6
    intake_drop: float = 0.15 * INCH_OF_WATER
    primary_drop: float = 0.35 * INCH_OF_WATER
    secondary_drop: float = 0.75 * INCH_OF_WATER
    vent_drop: float = 0.35 * INCH_OF_WATER
    drop_spread: float = 0.6
    density_spread: float = 0.1

    def drops(self) -> list[float]:
        """Median drops of the four sections in the order of the flow. [Pa]"""
        return [self.intake_drop, self.primary_drop, self.secondary_drop, self.vent_drop]

    def kinds(self) -> Kinds:
        """The three kinds of sections."""
        rest = 1 - self.unchanged_share - self.fall_share
        return Kinds(
            np.array([self.unchanged_share, rest, self.fall_share]),
            np.log([1.0, self.rise, self.fall]),
            np.array([self.unchanged_spread, self.rise_spread, self.fall_spread]),
        )

    def spread(self) -> float:
        """Standard deviation of the logarithm of a resistance ratio. [1]"""
        shares, centres, spreads = self.kinds()
        return math.sqrt(float(shares @ (centres**2 + spreads**2) - (shares @ centres) ** 2))

    def outside(self) -> bool:
        """Whether a value is out of its range."""
        return bool(
            np.isnan(bounded(self.unchanged_share, 0.0, 0.98))
            or np.isnan(bounded(self.fall_share, 0.0, min(0.5, 1.0 - self.unchanged_share)))
            or np.isnan(bounded(self.unchanged_spread, 0.02, 1.0))
            or np.isnan(bounded(self.rise, 1.0, 20.0))
            or np.isnan(bounded(self.fall, 0.05, 1.0))
            or np.isnan(bounded([self.rise_spread, self.fall_spread, self.drop_spread], 0.1, 3.0)).any()
            or np.isnan(bounded(self.speed_spread, 0.001, 0.5))
            or np.isnan(bounded(self.density_spread, 0.0, 0.5))
            or np.isnan(bounded([self.slow_share, self.leak_share], 0.0, 0.9)).any()
            or np.isnan(bounded(self.slowest, 0.1, 0.95))
            or np.isnan(bounded(self.leak_most, 0.05, 5.0))
            or np.isnan(bounded(self.slope_share, 0.05, 0.9))
            or np.isnan(bounded(self.slope_spread, 0.0, 2.0))
            or np.isnan(bounded(self.drops(), 1.0, 5000.0)).any()
        )


POPULATION = Population()
"""Condensing furnaces visited again: common practice, no published source."""


class Draws(NamedTuple):
    """Circuits: logarithms of the ratios (4, n), drops of the baseline (4, n), speed, flow, leak share, log weight."""

    logs: Floats
    before: Floats
    speed: Floats
    flow: Floats
    leak: Floats
    weight: Floats


def drawn(now: Visit, before: Visit, rate: Speed, slope: Slope, population: Population) -> Draws | None:
    """Enough circuits, or None where so few fit that they say nothing."""
    random = np.random.default_rng(_SEED)
    batches: list[Draws] = []
    for _ in range(_BATCHES):
        with np.errstate(all="ignore"):  # a drop drawn below zero is thrown away at the end of the batch
            batches.append(_batch(now, before, (rate, slope, population), random))
        weights = np.concatenate([batch.weight for batch in batches])
        effective = 0.0
        if weights.size:
            shares = np.exp(weights - weights.max())
            effective = float(shares.sum() ** 2 / (shares**2).sum())
        if effective >= _ENOUGH:
            break
    if effective < _FEWEST:
        return None
    return Draws(*(np.concatenate(parts, axis=-1) for parts in zip(*batches, strict=True)))


def _batch(now: Visit, before: Visit, beliefs: tuple[Speed, Slope, Population], random: np.random.Generator) -> Draws:
    """Weighted circuits: each run of sections keeps its drawn proportions and takes its common drop from the readings.

    The mean of a run's logarithms, weighted with their precisions, is independent of their differences, so that its
    density is the run's weight; the rest is the derivative of means and speed by drops and flow.
    """
    rate, slope, population = beliefs
    scores = population.drop_spread * random.standard_normal((4, _BATCH))
    drop, weight = np.array(population.drops())[:, None] * np.exp(scores), np.zeros(_BATCH)
    for run, total in zip(map(list, before.segments()), before.drawn(random, _BATCH), strict=True):
        shift = np.log(total / drop[run].sum(axis=0))
        drop[run] *= np.exp(shift)
        mean = scores[run].mean(axis=0) + shift
        weight -= 0.5 * len(run) * (mean / population.drop_spread) ** 2 + np.log(total)

    share = slope.share(random.standard_normal(_BATCH))
    leaking = random.random(_BATCH) < _DRAWN
    weight += np.log(np.where(leaking, population.leak_share / _DRAWN, (1 - population.leak_share) / (1 - _DRAWN)))
    leak = population.leak_most * random.random(_BATCH) * leaking
    denser = np.log(now.density / before.density)[:, None]
    density = np.exp(denser * (1 + population.density_spread * random.standard_normal((4, _BATCH))))

    runs, totals = [list(run) for run in now.segments()], now.drawn(random, _BATCH)
    kinds = population.kinds()
    logs, means, sure = _sections(kinds, runs, weight, random)
    shutoff = (drop.sum(axis=0) - before.at_intake + before.at_vent) / (1 - share)
    resisting = drop * np.exp(logs) / density
    resisting[3] *= (1 + leak) ** 2
    free = [section for section in range(4) if not any(section in run for run in runs)]
    slowing = (1 + leak) ** 2 * shutoff * share / density[3] + resisting[free].sum(axis=0)
    ends, full, all_read = now.at_intake - now.at_vent, shutoff * density[3], totals.sum(axis=0)
    series = [resisting[run].sum(axis=0) for run in runs]
    levels = [mean + np.log(total / one) for mean, total, one in zip(means, totals, series, strict=True)]

    square = (full * rate.drawn(random, _BATCH) ** 2 + ends - all_read) / slowing
    if runs:
        place = random.integers(len(runs), size=_BATCH)
        step = np.choose(place, [_step(kinds, precise, random) for precise in sure])
        square = np.where(random.random(_BATCH) < _BY_SPEED, square, np.exp(np.choose(place, levels) - step))
    head = square * slowing + all_read - ends
    speed = np.sqrt(head / full)
    by_speed = rate.density(speed) * square * slowing / (2 * head)
    steps = [level - np.log(square) for level in levels]
    fits = [_fit(kinds, step, precise) for step, precise in zip(steps, sure, strict=True)]
    for run, step, mean, fit, total in zip(runs, steps, means, fits, totals, strict=True):
        logs[run] += step - mean
        weight += np.log(fit / total)
    proposed = _BY_SPEED * by_speed + (1 - _BY_SPEED) * np.mean(fits, axis=0) if runs else by_speed
    weight += np.log(rate.density(speed) * (head + ends) / (2 * head) / proposed)
    possible = np.isfinite(weight) & (shutoff > 0) & (head > 0) & (square > 0) & np.isfinite(logs).all(axis=0)
    found = (speed, np.sqrt(square), leak, weight)
    return Draws(logs[:, possible], drop[:, possible], *(values[possible] for values in found))


def _sections(
    kinds: Kinds, runs: list[list[int]], weight: Floats, random: np.random.Generator
) -> tuple[Floats, list[Floats], list[Floats]]:
    """Logarithms of the ratios before the readings shift them; of each run their mean and its precision.

    A section that is a run by itself stands at 0 with precision 0: its kinds are summed up in its density.
    """
    favoured = (kinds.shares + 1 / 3) / 2
    kind = kinds.drawn(kinds.shares, random, (4, _BATCH))
    for run in runs:
        if len(run) > 1:
            kind[run] = kinds.drawn(favoured, random, (len(run), _BATCH))
            weight += np.log(kinds.shares / favoured)[kind[run]].sum(axis=0)
    precision = kinds.spreads[kind] ** -2
    apart = kinds.spreads[kind] * random.standard_normal((4, _BATCH))
    logs = kinds.centres[kind] + apart
    means, sure = [], []
    for run in runs:
        if len(run) == 1:
            logs[run] = 0.0
            means.append(np.zeros(_BATCH))
            sure.append(np.zeros(_BATCH))
        else:
            sure.append(precision[run].sum(axis=0))
            means.append((precision[run] * apart[run]).sum(axis=0) / sure[-1])
    return logs, means, sure


def _step(kinds: Kinds, precise: Floats, random: np.random.Generator) -> Floats:
    """Mean of a run as the population has it."""
    scores = random.standard_normal(_BATCH)
    if precise[0] > 0:
        return scores / np.sqrt(precise)
    kind = kinds.drawn(kinds.shares, random, (_BATCH,))
    return kinds.centres[kind] + kinds.spreads[kind] * scores


def _fit(kinds: Kinds, step: Floats, precise: Floats) -> Floats:
    """Density of this mean."""
    if precise[0] > 0:
        return np.sqrt(precise / (2 * math.pi)) * np.exp(-0.5 * precise * step**2)
    return kinds.density(step)
