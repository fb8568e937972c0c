"""Which resistance of a draft circuit changed: the taps now against the taps when it was known good."""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from analysis.draft_network import Floats, State
from analysis.draft_visit import Readings, Slope, Speed, Visit, misfit_of, unusable, visit_of
from analysis.quantity import Quality, Quantity
from analysis.ranges import bounded
from analysis.units import INCH_OF_WATER

SECTIONS: tuple[str, ...] = ("intake", "primary", "secondary", "vent")
"""In the order of the flow; the first three end at the taps `burner_box`, `transition` and `collector`."""
_BATCH = 4096
_BATCHES = 16
_ENOUGH = 800.0
"""Effective number of networks at which no further batch is drawn."""
_FEWEST = 60.0
"""Effective number below which there is no result."""
_KEPT = 4000
_SEED = 1729
_UNLIKELY = (10.83, 13.82, 16.27, 18.47, 20.52, 22.46, 24.32, 26.12, 27.88)
"""0.1 % point of chi-square for 1, 2, 3 ... degrees of freedom."""
_CHANGED = math.log(1.3)
_UNEXPLAINED = "no set of resistances explains these taps: check each tap, hose and sign and the meter's zero"
_RARE = "too few circuits of the population come near these taps: check the readings against each other"
_BREACH = "possible breach: make safe, confirm by inspection and analyser"
_OPENINGS = {
    1: "The intake alone resists less than at the baseline: look for a pipe or cover left off or a burner-box leak.",
    2: f"Intake and primary fell alike, the rest did not: something enters between the two exchangers; {_BREACH}.",
    3: "Intake, primary and secondary fell alike, the vent did not: air enters at the collector box (dry trap, gasket,"
    f" drain) or before it; {_BREACH}.",
    4: "All four ratios changed alike: the inducer's speed or the density of the air differs, not the resistances; read"
    " its speed or amps.",
}


@dataclass(frozen=True, slots=True)
class Population:
    """What is held possible before a tap is read: how far circuits and their faults spread.

    ratio_spread : () standard deviation of the logarithm of each resistance ratio, 0.1 <= value <= 3. [1]
    speed_spread : () standard deviation of the logarithm of the speed ratio where that is not measured,
        0 <= value <= 0.5. [1]
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

    ratio_spread: float = 1.0
    speed_spread: float = 0.03
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

    def outside(self) -> bool:
        """Whether a value is out of its range."""
        return bool(
            np.isnan(bounded([self.ratio_spread, self.drop_spread], 0.1, 3.0)).any()
            or np.isnan(bounded([self.speed_spread, self.density_spread], 0.0, 0.5)).any()
            or np.isnan(bounded(self.slope_share, 0.05, 0.9))
            or np.isnan(bounded(self.slope_spread, 0.0, 2.0))
            or np.isnan(bounded(self.drops(), 1.0, 5000.0)).any()
        )


POPULATION = Population()
"""Condensing furnaces: common practice, no published source."""


@dataclass(frozen=True, slots=True)
class Together:
    """Neighbouring sections without a tap between them, known better as one than each by itself.

    sections : () their names in the order of the flow. [-]
    ratio : () resistance of all of them in series over that of the baseline, at the baseline's temperatures. [1]
    """

    sections: tuple[str, ...]
    ratio: Quantity


@dataclass(frozen=True, slots=True)
class Ratios:
    """Each resistance over its baseline; a quantity's value is the median, `u` a quarter of its 95 % interval.

    intake : () intake pipe and terminal. [1]
    primary : () burners and primary exchanger. [1]
    secondary : () secondary exchanger. [1]
    vent : () vent pipe and terminal. [1]
    speed : () speed of the inducer over that at the baseline. [1]
    flow : () mass flow over that at the baseline. [1]
    logs : (4) means of the natural logarithms of the four ratios, in the order above. [1]
    log_u : (4) standard deviations of these logarithms. [1]
    determined : (4) whether the taps at hand say something about this ratio: 0 where `log_u` stays above half of what
        it was before any tap was read, else 1. [1]
    raised : (4) probability of a rise by more than 30 %. [1]
    lowered : (4) probability of a fall by a factor of more than 1.3. [1]
    largest : (4) probability that no other ratio changed by a larger factor. [1]
    misfit : () chi-square: how far, squared and in standard uncertainties, the readings must move before any set of
        resistances gives them. [1]
    freedom : () degrees of freedom of `misfit`: the number of limits that the readings break, at least 1. [1]
    explained : () 0 where `misfit` would come by chance less than once in 1000 cases, else 1. [1]
    together : sections that can be told only as one. [-]
    finding : what the pattern of all four suggests and no single ratio says: one sentence, or empty. [-]
    reason : why there is no result or a doubtful one: one sentence, or empty. [-]
    """

    intake: Quantity
    primary: Quantity
    secondary: Quantity
    vent: Quantity
    speed: Quantity
    flow: Quantity
    logs: tuple[float, ...]
    log_u: tuple[float, ...]
    determined: tuple[bool, ...]
    raised: tuple[float, ...]
    lowered: tuple[float, ...]
    largest: tuple[float, ...]
    misfit: float
    freedom: int
    explained: bool
    together: tuple[Together, ...] = ()
    finding: str = ""
    reason: str = ""

    def strongest(self) -> str:
        """Name of the section that most probably changed most; empty where the taps cannot tell."""
        if not any(self.determined):
            return ""
        place = int(np.argmax(self.largest))
        return SECTIONS[place] if self.determined[place] else ""

    def sentence(self) -> str:
        """Which resistance changed most and how sure that is, or why that cannot be said."""
        if self.reason or self.finding:
            return self.reason or self.finding
        name = self.strongest()
        if not name:
            known = [(" and ".join(one.sections) + " together", one.ratio) for one in self.together]
            known += [(one, getattr(self, one)) for one, sure in zip(SECTIONS, self.determined, strict=True) if sure]
            told = "".join(f"; {label} {_range(ratio)}" for label, ratio in known)
            return f"The taps read cannot tell which resistance changed most{told}."
        place = SECTIONS.index(name)
        rises, falls, leads = self.raised[place], self.lowered[place], self.largest[place]
        first = f"{name.capitalize()} {_range(getattr(self, name))}"
        if max(rises, falls) < 0.5:
            return f"No clear change of a resistance, which clears no exchanger; most moved {first.lower()}."
        word = "rose" if rises >= falls else "fell"
        sure = f"{_percent(max(rises, falls))} sure that it {word} by more than a factor of 1.3"
        return f"{first}: {sure}, {_percent(leads)} that it changed most."


def resistances(
    taps: Readings,
    baseline: Readings,
    *,
    state: State | None = None,
    baseline_state: State | None = None,
    speed_ratio: float = math.nan,
    u_speed_ratio: float = 0.01,
    population: Population = POPULATION,
) -> Ratios:
    """Each resistance of the draft circuit over that of the same unit when known good, from whichever taps were read.

    taps : Readings now, see there. [-]
    baseline : Readings of this unit when known good, see there. [-]
    state : State now, see there; default None: both visits at the same temperatures and barometric pressure. [-]
    baseline_state : State at the baseline, see there; given with `state` or not at all. [-]
    speed_ratio : () measured speed of the inducer, now over baseline, 0 < value <= 10; default not
        measured. [1]
    u_speed_ratio : () its standard uncertainty, value >= 0. [1]
    population : Population, see there; default condensing furnaces. [-]
    returns : Ratios, see there; without values and with a reason where nothing explains the readings. [-]

    Valid: circuits without openings. Four taps leave four resistances free, so that no reading is left over to check
        the others: a leak reads as ratios that *fell* alike (`finding`); a wrong meter, hose or sign often as an order
        of the taps that no circuit has (`misfit`). No result clears a heat exchanger. The errors of the two visits are
        taken as independent. A measured speed stands by itself, without the population's spread. Another stage than at
        the baseline needs its speed ratio.
    Method: Bayes' rule. Circuits are drawn that meet the readings within their uncertainties and are otherwise as the
        population has them, each weighted by how well its ratios fit the population: importance sampling with a fixed
        seed, the same numbers for the same input. The flow follows from what the fan delivers and from its curve.
    Source: JCGM 101:2008 (propagation of distributions) and JCGM 106:2012 (prior knowledge) for the principle; square
        law and fan laws as in `taps`; the population is common practice, no published source.
    """
    if (state is None) != (baseline_state is None):
        raise ValueError("only one state was given; give the state of both visits or of neither")
    now, before = visit_of(taps, state), visit_of(baseline, baseline_state)
    reason = unusable(now, "now") or unusable(before, "of the baseline")
    if not math.isnan(speed_ratio) and not (0 < speed_ratio <= 10 and 0 <= u_speed_ratio < math.inf):
        reason = "the speed ratio is not above zero and up to 10, or its uncertainty is negative: check both"
    if reason or population.outside():
        return _no_result(reason or "the population has a value out of its range: check it")
    rate = Speed(1.0, population.speed_spread, measured=False)
    if not math.isnan(speed_ratio):
        rate = Speed(speed_ratio, u_speed_ratio, measured=True)
    slope = Slope(math.log(population.slope_share / (1 - population.slope_share)), population.slope_spread)
    misfit, freedom = misfit_of(now, before, rate, slope)
    doubt = "" if misfit <= _UNLIKELY[freedom - 1] else _UNEXPLAINED
    draws = _drawn(now, before, rate, slope, population)
    if draws is None:
        return _no_result(doubt or _RARE, misfit, freedom)
    return _result(draws, _gaps(now, before), population.ratio_spread, (misfit, freedom, doubt))


class _Draws(NamedTuple):
    """Circuits: logarithms of the ratios (4, n), drops of the baseline (4, n), speed and flow ratio, log weight."""

    logs: Floats
    before: Floats
    speed: Floats
    flow: Floats
    weight: Floats


def _drawn(now: Visit, before: Visit, rate: Speed, slope: Slope, population: Population) -> _Draws | None:
    """Enough circuits, or None where so few fit that they say nothing."""
    random = np.random.default_rng(_SEED)
    batches: list[_Draws] = []
    for _ in range(_BATCHES):
        with np.errstate(all="ignore"):  # a drop drawn below zero is thrown away at the end of the batch
            batches.append(_batch(now, before, (rate, slope, population), random))
        draws = _Draws(*(np.concatenate(parts, axis=-1) for parts in zip(*batches, strict=True)))
        effective = 0.0
        if draws.weight.size:
            shares = np.exp(draws.weight - draws.weight.max())
            effective = float(shares.sum() ** 2 / (shares**2).sum())
        if effective >= _ENOUGH:
            break
    return draws if effective >= _FEWEST else None


def _batch(now: Visit, before: Visit, beliefs: tuple[Speed, Slope, Population], random: np.random.Generator) -> _Draws:
    """Weighted circuits: each run of sections keeps its drawn proportions and takes its common drop from the readings.

    The mean of a run's logarithms is independent of their differences, so that its density is the run's weight; the
    rest is the derivative of these means by the drops.
    """
    rate, slope, population = beliefs
    scores = population.drop_spread * random.standard_normal((4, _BATCH))
    drop, weight = np.array(population.drops())[:, None] * np.exp(scores), np.zeros(_BATCH)
    for run, total in zip(map(list, before.segments()), before.drawn(random, _BATCH), strict=True):
        shift = np.log(total / drop[run].sum(axis=0))
        drop[run] *= np.exp(shift)
        mean = scores[run].mean(axis=0) + shift
        weight -= 0.5 * len(run) * (mean / population.drop_spread) ** 2 + np.log(total)

    logs = population.ratio_spread * random.standard_normal((4, _BATCH))
    speed, share = rate.drawn(random, _BATCH), slope.share(random.standard_normal(_BATCH))
    denser = np.log(now.density / before.density)[:, None]
    density = np.exp(denser * (1 + population.density_spread * random.standard_normal((4, _BATCH))))

    shutoff = (drop.sum(axis=0) - before.at_intake + before.at_vent) / (1 - share)
    driving = shutoff * density[3] * speed**2 + now.at_intake - now.at_vent
    resisting = drop * np.exp(logs) / density
    runs, totals = now.segments(), now.drawn(random, _BATCH)
    free = [section for section in range(4) if not any(section in run for run in runs)]
    left = driving - totals.sum(axis=0)
    square = left / (shutoff * share / density[3] + resisting[free].sum(axis=0))
    weight += np.log(driving / left)
    for run, total in zip(map(list, runs), totals, strict=True):
        shift = np.log(total / (square * resisting[run].sum(axis=0)))
        mean = logs[run].mean(axis=0) + shift
        logs[run] += shift
        weight -= 0.5 * len(run) * (mean / population.ratio_spread) ** 2 + np.log(total)
    possible = np.isfinite(weight) & (shutoff > 0) & (left > 0) & np.isfinite(logs).all(axis=0)
    return _Draws(logs[:, possible], drop[:, possible], speed[possible], np.sqrt(square[possible]), weight[possible])


def _gaps(now: Visit, before: Visit) -> list[slice]:
    """Runs of two or three sections between neighbouring taps that were read on both visits."""
    ends = [{run[-1] for run in visit.segments()} - {3} for visit in (now, before)]
    marks = [-1, *sorted(ends[0] & ends[1])]
    return [slice(first + 1, last + 1) for first, last in pairwise(marks) if last - first > 1]


def _result(draws: _Draws, gaps: list[slice], prior: float, fit: tuple[float, int, str]) -> Ratios:
    misfit, freedom, doubt = fit
    steps = np.cumsum(np.exp(draws.weight - draws.weight.max()))
    places = (np.arange(_KEPT) + 0.5) / _KEPT * steps[-1]
    kept = np.minimum(np.searchsorted(steps, places), steps.size - 1)
    logs, drops = draws.logs[:, kept], draws.before[:, kept]
    known, sizes = logs.std(axis=1), np.abs(logs)
    series = [(drops[run] * np.exp(logs[run])).sum(axis=0) / drops[run].sum(axis=0) for run in gaps]
    intake, primary, secondary, vent = (_quantity(values, doubt) for values in np.exp(logs))
    return Ratios(
        intake=intake,
        primary=primary,
        secondary=secondary,
        vent=vent,
        speed=_quantity(draws.speed[kept], doubt),
        flow=_quantity(draws.flow[kept], doubt),
        logs=tuple(logs.mean(axis=1).tolist()),
        log_u=tuple(known.tolist()),
        determined=tuple((known < 0.5 * prior).tolist()),
        raised=tuple((logs > _CHANGED).mean(axis=1).tolist()),
        lowered=tuple((logs < -_CHANGED).mean(axis=1).tolist()),
        largest=tuple((sizes >= sizes.max(axis=0)).mean(axis=1).tolist()),
        misfit=misfit,
        freedom=freedom,
        explained=not doubt,
        together=tuple(Together(SECTIONS[run], _quantity(one, doubt)) for run, one in zip(gaps, series, strict=True)),
        finding=_finding(logs),
        reason=doubt,
    )


def _no_result(reason: str, misfit: float = math.nan, freedom: int = 1) -> Ratios:
    nothing = Quantity(math.nan, "1", quality=Quality.BAD, reason=reason)
    unknown, never = (math.nan,) * 4, (False,) * 4
    known = (unknown, unknown, never, unknown, unknown, unknown)
    return Ratios(*(nothing,) * 6, *known, misfit, freedom, explained=False, reason=reason)


def _quantity(values: Floats, doubt: str) -> Quantity:
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975]).tolist()
    quality = Quality.SUSPECT if doubt else Quality.GOOD
    return Quantity(middle, "1", u=(high - low) / 4, interval=(low, high), quality=quality, reason=doubt)


def _finding(logs: Floats) -> str:
    """What a run of ratios from the intake on speaks of that changed alike, and unlike the next one."""
    apart = logs - logs[0]
    known = apart.std(axis=1) < 0.25
    alike = known & (np.abs(apart.mean(axis=1)) <= 2 * apart.std(axis=1) + 0.03)
    count = 4 if alike.all() else int(np.argmin(alike))
    size, sure = float(logs[0].mean()), max((logs[0] < 0).mean(), (logs[0] > 0).mean())
    rest_above = known.all() and bool((apart[count:].mean(axis=1) > 0.1).all())
    if abs(size) < 0.1 or sure < 0.975 or (count < 4 and not (size < 0 and rest_above)):
        return ""
    return _OPENINGS[count]


def _range(ratio: Quantity) -> str:
    low, high = ratio.interval or (math.nan, math.nan)
    return f"{ratio.value:.2g} times its baseline ({low:.2g} to {high:.2g})"


def _percent(probability: float) -> str:
    return f"{min(99, math.floor(100 * probability))} %"
