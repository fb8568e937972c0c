"""Taps read on one visit: what they leave possible, and how far they are from anything that a circuit can give."""

import math
from dataclasses import dataclass
from itertools import pairwise, product
from typing import NamedTuple

import numpy as np

from analysis.draft_network import Floats, State, surroundings_of
from analysis.ranges import bounded
from analysis.units import INCH_OF_WATER

_TAPS = ("burner_box", "transition", "collector", "vent")


@dataclass(frozen=True, slots=True)
class Readings:
    """What was read at the taps on one occasion, gauge to the room; what was not read is left out.

    burner_box : () tap A, -5000 <= value <= 5000; default not read. [Pa]
    transition : () tap X, -5000 <= value <= 5000; default not read. [Pa]
    collector : () tap B, -5000 <= value <= 5000; default not read. [Pa]
    vent : () tap C, -5000 <= value <= 5000; default not read. [Pa]
    u_burner_box : () standard uncertainty of this reading alone, value >= 0; default None, an ordinary digital
        manometer: 0.5 % of the reading and 0.01 in. w.c. as limits. [Pa]
    u_transition : () the same at tap X, value >= 0; default None. [Pa]
    u_collector : () the same at tap B, value >= 0; default None. [Pa]
    u_vent : () the same at tap C, value >= 0; default None. [Pa]
    shared_offset : () standard uncertainty of the zero that all taps share because one meter read them, value >= 0;
        default 0; what stands here is left out of the others. [Pa]
    shared_gain : () standard uncertainty of the gain that they share, as a part of the reading, 0 <= value <= 0.5;
        default 0. [1]
    """

    burner_box: float = math.nan
    transition: float = math.nan
    collector: float = math.nan
    vent: float = math.nan
    u_burner_box: float | None = None
    u_transition: float | None = None
    u_collector: float | None = None
    u_vent: float | None = None
    shared_offset: float = 0.0
    shared_gain: float = 0.0


class Slope(NamedTuple):
    """Population of the fan's slope share: logarithm of the odds at the median, and its standard deviation."""

    odds: float
    spread: float

    def share(self, scores: Floats) -> Floats:
        """Slope shares from standard normal scores."""
        return 1 / (1 + np.exp(-self.odds - self.spread * scores))


class Speed(NamedTuple):
    """Speed ratio: measured (normal), or of the population: log-normal around 1, a share of slow ones below it."""

    centre: float
    u: float
    measured: bool
    slow_share: float = 0.0
    slowest: float = 0.5

    def drawn(self, random: np.random.Generator, count: int) -> Floats:
        """Speed ratios that are left possible."""
        errors = self.u * random.standard_normal(count)
        if self.measured:
            return np.maximum(self.centre + errors, 1e-3)
        slow = random.random(count) < self.slow_share
        return np.where(slow, self.slowest ** random.random(count), np.exp(errors))

    def density(self, ratios: Floats) -> Floats:
        """Probability density of the logarithm of a speed ratio."""
        logs = np.log(ratios)
        scores = ((ratios - self.centre) if self.measured else logs) / self.u
        normal = np.exp(-0.5 * scores**2) / (self.u * math.sqrt(2 * math.pi))
        if self.measured:
            return normal * ratios
        lowest = math.log(self.slowest)
        return (1 - self.slow_share) * normal + self.slow_share / -lowest * ((logs <= 0) & (logs >= lowest))


class Visit(NamedTuple):
    """Readings and their own uncertainties in the order A, X, B, C, the circuit's ends [Pa], densities by section."""

    read: Floats
    u: Floats
    offset: float
    gain: float
    at_intake: float
    at_vent: float
    density: Floats

    def segments(self) -> list[tuple[int, ...]]:
        """Runs of sections whose common drop was read."""
        ends = [-1, *(place for place in range(3) if not math.isnan(self.read[place]))]
        runs = [tuple(range(first + 1, last + 1)) for first, last in pairwise(ends)]
        return runs if math.isnan(self.read[3]) else [*runs, (3,)]

    def drops(self, pressures: Floats) -> Floats:
        """Drop across each segment from the pressures (4, ...) at the taps."""
        before: Floats = np.full(pressures.shape[1:], self.at_intake)
        found = []
        for run in self.segments():
            here = pressures[run[-1]]
            found.append(here - self.at_vent if run == (3,) else before - here)
            before = here
        return np.array(found).reshape(len(found), *pressures.shape[1:])

    def drawn(self, random: np.random.Generator, count: int) -> Floats:
        """Drops (segments, count) that the readings leave possible."""
        own = self.u[:, None] * random.standard_normal((4, count))
        zero, gain = self.offset * random.standard_normal(count), self.gain * random.standard_normal(count)
        return self.drops(self.read[:, None] - own - zero - np.outer(self.read, gain))


def visit_of(readings: Readings, state: State | None) -> Visit:
    """The readings with default uncertainties filled in and the state worked out."""
    read = np.array([getattr(readings, name) for name in _TAPS], np.float64)
    ordinary = np.hypot(0.005 * read, 0.01 * INCH_OF_WATER) / math.sqrt(3)
    given = [getattr(readings, f"u_{name}") for name in _TAPS]
    u = np.array([usual if one is None else one for one, usual in zip(given, ordinary, strict=True)], np.float64)
    u = np.where(np.isnan(read), 0.0, u)
    ends, density = (0.0, 0.0), np.ones(4)
    if state is not None:
        here = surroundings_of(state)
        if any(np.ndim(value) for value in here):
            raise ValueError("this state is of several occasions; give the state of one occasion at a time")
        ends = (float(here.at_intake), float(here.at_vent))
        density = np.array([here.intake, here.primary, here.secondary, here.inducer])
    return Visit(read, u, readings.shared_offset, readings.shared_gain, *ends, density)


def unusable(visit: Visit, when: str) -> str:
    """Why a visit cannot be worked with: one sentence, or empty."""
    if np.any(np.abs(visit.read) > 5000):
        return f"a reading {when} is beyond 5000 Pa: check its unit"
    if np.isnan(bounded([*visit.u, visit.offset], 0.0)).any() or np.isnan(bounded(visit.gain, 0.0, 0.5)):
        return f"an uncertainty {when} is negative or not a number: give it in the unit of the reading"
    if not np.isfinite([*visit.density, visit.at_intake, visit.at_vent]).all():
        return f"the state {when} has a value that is missing or out of range: check temperatures and pressures"
    return ""


def misfit_of(now: Visit, before: Visit, speed: Speed, slope: Slope) -> tuple[float, int]:
    """Squared distance of the readings from what a circuit can give at all, and how many limits they break (from 1)."""
    found = [_disorder(now), _disorder(before), _overload(now, before, speed, slope)]
    return sum(distance for distance, _ in found), max(1, sum(limits for _, limits in found))


def suction_left(now: Visit, before: Visit) -> float:
    """What is left of the suction where C was not read on both visits and all suction taps that were fell alike.

    Of tap B and of what the density of the gas in the inducer leaves; NaN where B was not read, or one tap fell unlike
    the others, or not clearly (5 % and two standard uncertainties).
    """
    places = [place for place in range(3) if not math.isnan(now.read[place] + before.read[place])]
    if not math.isnan(now.read[3] + before.read[3]) or 2 not in places or not (before.read[places] < 0).all():
        return math.nan
    factors = now.read[places] / before.read[places]
    error = [np.hypot(np.hypot(one.u[places], one.offset) / -before.read[places], one.gain) for one in (now, before)]
    u = np.hypot(*error)
    left = float(factors[-1] * before.density[3] / now.density[3])
    alike = (np.abs(factors - factors[-1]) <= 2 * np.hypot(u, u[-1]) + 0.02).all()
    return left if alike and left < 1 - max(0.05, 2 * float(u[-1])) else math.nan


def _disorder(visit: Visit) -> tuple[float, int]:
    """Distance to the nearest pressures that fall all the way along the flow: every drop zero or above."""
    places = [run[-1] for run in visit.segments()]
    exact = visit.drops(visit.read)
    if not (exact < 0).any():
        return 0.0, 0
    effect = np.array([[_effect(section, tap) for section in places] for tap in places])
    read = visit.read[places]
    covariance = np.diag(visit.u[places] ** 2 + 1e-9) + visit.offset**2 + visit.gain**2 * np.outer(read, read)
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))
    matrix = whiten @ effect
    target = matrix @ exact
    best = (math.inf, 1)
    for kept in product([False, True], repeat=len(places)):
        drops = np.linalg.lstsq(matrix[:, kept], target, rcond=None)[0]
        if (drops >= 0).all():
            distance = float(np.sum((target - matrix[:, kept] @ drops) ** 2))
            best = min(best, (distance, kept.count(False)))
    return best


def _effect(section: int, tap: int) -> float:
    """What one pascal more across the segment that ends with this section does to a tap's pressure."""
    if section == 3 or tap == 3:
        return float(section == tap)
    return -float(section <= tap)


def _overload(now: Visit, before: Visit, speed: Speed, slope: Slope) -> tuple[float, int]:
    """Distance to a fan that delivers what was read between collector and vent; 0 unless both visits read both."""
    if np.isnan([now.read[2:], before.read[2:]]).any():
        return 0.0, 0
    lift, lift_before = now.read[3] - now.read[2], before.read[3] - before.read[2]
    factor = now.density[3] / before.density[3] * speed.centre**2 / (1 - slope.share(np.linspace(0.0, 8.0, 401)))
    variance = np.sum(now.u[2:] ** 2) + (now.gain * lift) ** 2
    variance = variance + factor**2 * (np.sum(before.u[2:] ** 2) + (before.gain * lift_before) ** 2)
    variance = variance + (2 * factor * lift_before * speed.u / speed.centre) ** 2
    beyond = np.maximum(lift - factor * lift_before, 0.0)
    distances = np.linspace(0.0, 8.0, 401) ** 2 + beyond**2 / np.maximum(variance, 1e-9)
    return (float(distances.min()), 1) if beyond[0] > 0 else (0.0, 0)
