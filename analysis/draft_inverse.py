"""Which resistance of a draft circuit changed: the taps now against the taps when it was known good."""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.draft_network import Floats, State
from analysis.draft_population import POPULATION, Draws, Population, drawn
from analysis.draft_visit import Readings, Slope, Speed, Visit, misfit_of, suction_left, unusable, visit_of
from analysis.quantity import Quality, Quantity

SECTIONS: tuple[str, ...] = ("intake", "primary", "secondary", "vent")
"""In the order of the flow; the first three end at the taps `burner_box`, `transition` and `collector`."""
_KEPT = 4000
_UNLIKELY = (10.83, 13.82, 16.27, 18.47, 20.52, 22.46, 24.32, 26.12, 27.88)
"""0.1 % point of chi-square for 1, 2, 3 ... degrees of freedom."""
_CHANGED = math.log(1.3)
_SLOW = 0.95
_LEAKING = 0.05
_FINEST = 0.001
"""Least standard uncertainty of a speed ratio that the draws can follow."""
_UNEXPLAINED = "no set of resistances explains these taps: check each tap, hose and sign and the meter's zero"
_RARE = "too few circuits of the population come near these taps: check the readings against each other"
_BREACH = "possible breach: make safe, confirm by inspection and analyser"
_AIR = f"air enters at the collector box (dry trap, gasket, drain) or before it; {_BREACH}"
_SUCTION = (
    "All suction taps fell alike: restricted outlet, slow inducer, leak or thinner air cannot be told apart from them;"
    " read the vent side (C), the inducer's speed or amps."
)
_SUCTION_AT_SPEED = (
    "All suction taps fell alike and not by the speed read: restricted outlet, leak or thinner air cannot be told apart"
    " from them; read the vent side (C)."
)
_FALL = f"A fall is no finding by itself: first look for false air (pipe, cover, gasket, drain, trap; {_BREACH})"
_OPENINGS = {
    1: "The intake alone resists less than at the baseline: look for a pipe or cover left off or a burner-box leak.",
    2: f"Intake and primary fell alike, the rest did not: something enters between the two exchangers; {_BREACH}.",
    3: f"Intake, primary and secondary fell alike, the vent did not: {_AIR}.",
    4: "All four ratios changed alike: the inducer's speed or the density of the air differs, not the resistances; read"
    " its speed or amps.",
}


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
    """Each resistance over its baseline; the value is the median, `2 u` reaches to the far end of its 95 % interval.

    intake : () intake pipe and terminal. [1]
    primary : () burners and primary exchanger. [1]
    secondary : () secondary exchanger. [1]
    vent : () vent pipe and terminal. [1]
    speed : () speed of the inducer over that at the baseline. [1]
    flow : () combustion flow over that at the baseline, by mass. [1]
    leak : () flow that leaks into the collector box over the combustion flow. [1]
    logs : (4) means of the natural logarithms of the four ratios, in the order above. [1]
    log_u : (4) standard deviations of these logarithms. [1]
    determined : (4) whether the taps at hand say something about this ratio: 0 where `log_u` stays above half of what
        it was before any tap was read, else 1. [1]
    raised : (4) probability of a rise by more than 30 %. [1]
    lowered : (4) probability of a fall by a factor of more than 1.3. [1]
    largest : (4) probability that no other ratio changed by a larger factor. [1]
    leaking : () probability that `leak` is more than 0.05. [1]
    slow : () probability that the inducer turns below 0.95 of its speed at the baseline. [1]
    misfit : () chi-square: how far, squared and in standard uncertainties, the readings must move before any set of
        resistances gives them. [1]
    freedom : () degrees of freedom of `misfit`: the number of limits that the readings break, at least 1. [1]
    explained : () 0 where `misfit` would come by chance less than once in 1000 cases, else 1. [1]
    together : sections that can be told only as one. [-]
    finding : what all taps together suggest and no single ratio says (slow inducer, leak, opening, what cannot be told
        apart): one sentence, or empty. [-]
    reason : why there is no result or a doubtful one: one sentence, or empty. [-]
    """

    intake: Quantity
    primary: Quantity
    secondary: Quantity
    vent: Quantity
    speed: Quantity
    flow: Quantity
    leak: Quantity
    logs: tuple[float, ...]
    log_u: tuple[float, ...]
    determined: tuple[bool, ...]
    raised: tuple[float, ...]
    lowered: tuple[float, ...]
    largest: tuple[float, ...]
    leaking: float
    slow: float
    misfit: float
    freedom: int
    explained: bool
    together: tuple[Together, ...] = ()
    finding: str = ""
    reason: str = ""

    def strongest(self) -> str:
        """Name of the section that most probably changed most; empty where the taps cannot tell."""
        if math.isnan(self.largest[0]):
            return ""
        place = int(np.argmax(self.largest))
        certain = max(self.raised[place], self.lowered[place]) > 0.95
        return SECTIONS[place] if self.determined[place] or certain else ""

    def sentence(self) -> str:
        """What most probably changed and how sure that is, or why that cannot be said."""
        if self.reason or not self.finding:
            return self.reason or self._change()
        name = self.strongest()
        risen = bool(name) and self.raised[SECTIONS.index(name)] >= 0.5
        return f"{self.finding} {self._change()}" if risen else self.finding

    def _change(self) -> str:
        """Which resistance changed most."""
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
        if falls > rises:
            return f"{_FALL} or a lower speed. {first}: {_percent(falls)} sure of less than 1/1.3."
        sure = f"{_percent(rises)} sure that it rose by more than a factor of 1.3"
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
    u_speed_ratio : () its standard uncertainty, value >= 0; less than 0.001 is taken as 0.001. [1]
    population : Population, see there; default condensing furnaces. [-]
    returns : Ratios, see there; without values and with a reason where nothing explains the readings. [-]

    Valid: circuits without openings but into the collector box, whose air is taken to be no lighter or heavier than the
        flue gas. Four taps leave four resistances, speed and leak free: what of them is probable comes from the
        population, above all that most sections are as they were and that few fall; other openings read as ratios that
        *fell* (`finding`); a wrong meter, hose or sign often as an order of the taps that no circuit has (`misfit`). No
        result clears a heat exchanger. The errors of the two visits are taken as independent. A measured speed stands
        by itself, without the population's slow inducers. Another stage than at the baseline needs its speed ratio.
    Method: Bayes' rule. Circuits are drawn that meet the readings within their uncertainties and are otherwise as the
        population has them, each weighted by how well it fits the population: importance sampling with a fixed
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
    rate = Speed(
        1.0, population.speed_spread, measured=False, slow_share=population.slow_share, slowest=population.slowest
    )
    if not math.isnan(speed_ratio):
        rate = Speed(speed_ratio, max(u_speed_ratio, _FINEST), measured=True)
    slope = Slope(math.log(population.slope_share / (1 - population.slope_share)), population.slope_spread)
    misfit, freedom = misfit_of(now, before, rate, slope)
    doubt = "" if misfit <= _UNLIKELY[freedom - 1] else _UNEXPLAINED
    draws = drawn(now, before, rate, slope, population)
    if draws is None:
        return _no_result(doubt or _RARE, misfit, freedom)
    found = _result(draws, _gaps(now, before), population.spread(), (misfit, freedom, doubt))
    return replace(found, finding=_suction(now, before, rate) or found.finding or _faults(found, rate))


def _gaps(now: Visit, before: Visit) -> list[slice]:
    """Runs of two or three sections between neighbouring taps that were read on both visits."""
    ends = [{run[-1] for run in visit.segments()} - {3} for visit in (now, before)]
    marks = [-1, *sorted(ends[0] & ends[1])]
    return [slice(first + 1, last + 1) for first, last in pairwise(marks) if last - first > 1]


def _result(draws: Draws, gaps: list[slice], prior: float, fit: tuple[float, int, str]) -> Ratios:
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
        leak=_quantity(draws.leak[kept], doubt),
        logs=tuple(logs.mean(axis=1).tolist()),
        log_u=tuple(known.tolist()),
        determined=tuple((known < 0.5 * prior).tolist()),
        raised=tuple((logs > _CHANGED).mean(axis=1).tolist()),
        lowered=tuple((logs < -_CHANGED).mean(axis=1).tolist()),
        largest=tuple((sizes >= sizes.max(axis=0)).mean(axis=1).tolist()),
        leaking=float((draws.leak[kept] > _LEAKING).mean()),
        slow=float((draws.speed[kept] < _SLOW).mean()),
        misfit=misfit,
        freedom=freedom,
        explained=not doubt,
        together=tuple(Together(SECTIONS[run], _quantity(one, doubt)) for run, one in zip(gaps, series, strict=True)),
        finding=_opening(logs),
        reason=doubt,
    )


def _no_result(reason: str, misfit: float = math.nan, freedom: int = 1) -> Ratios:
    nothing = Quantity(math.nan, "1", quality=Quality.BAD, reason=reason)
    unknown, never = (math.nan,) * 4, (False,) * 4
    known = (unknown, unknown, never, unknown, unknown, unknown)
    return Ratios(*(nothing,) * 7, *known, math.nan, math.nan, misfit, freedom, explained=False, reason=reason)


def _quantity(values: Floats, doubt: str) -> Quantity:
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975]).tolist()
    quality = Quality.SUSPECT if doubt else Quality.GOOD
    reach = max(high - middle, middle - low)
    return Quantity(middle, "1", u=reach / 2, interval=(low, high), quality=quality, reason=doubt)


def _opening(logs: Floats) -> str:
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


def _suction(now: Visit, before: Visit, rate: Speed) -> str:
    """What cannot be told apart where the vent side was not read and the suction taps fell alike."""
    left = suction_left(now, before)
    if not rate.measured:
        return _SUCTION if left < 1 else ""
    return _SUCTION_AT_SPEED if left < (rate.centre - 2 * rate.u) ** 2 - 0.02 else ""


def _faults(found: Ratios, rate: Speed) -> str:
    """A slow inducer or a leak where they are more probable than not, by themselves or together."""
    slow, leaking = 0.0 if rate.measured else found.slow, found.leaking
    if max(slow, leaking, slow + leaking - 0.3) < 0.5:
        return ""
    turning = f"a slow inducer ({_percent(slow)}): {_range(found.speed, 'speed')}; read its speed or amps"
    entering = f"a leak ({_percent(leaking)}): {_AIR}"
    if min(slow, leaking) < 0.15:
        return f"Most probably {turning if slow > leaking else entering}."
    first, second = (turning, entering) if slow > leaking else (entering, turning)
    return f"Most probably {first}; or {second}."


def _range(ratio: Quantity, what: str = "") -> str:
    low, high = ratio.interval or (math.nan, math.nan)
    return f"{what + ' ' if what else ''}{ratio.value:.2g} times its baseline ({low:.2g} to {high:.2g})"


def _percent(probability: float) -> str:
    return f"{min(99, math.floor(100 * probability))} %"
