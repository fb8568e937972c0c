"""The measures of two recordings side by side: differences with their uncertainty, and what they mean."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scipy.special import stdtr, stdtrit

from analysis.comparison.conditions import Conditions, conditions
from analysis.comparison.corrections import Correction, corrections
from analysis.comparison.meaning import NEARER, NONE, NOT_COMPARED, Meaning, every_name, meaning_of
from analysis.comparison.outcomes import Outcomes, outcomes
from analysis.comparison.representative import Representative, representative
from analysis.comparison.side import Side, parted, same_meter
from analysis.measures.draft import SWITCHES, UNSEEN
from analysis.measures.levels import summed
from analysis.model import Baseline, Plate
from analysis.quantity import Error, Quality, Quantity
from analysis.uncertainty import coverage_factor

BETTER, WORSE, CHANGED, SAME, CANNOT = "better", "worse", "changed", "no change", "cannot tell"
"""Verdicts; `no change` is none that these instruments can see."""
RISK = 0.0455
"""Probability that a comparison in which nothing changed shows any change at all: what 2 u leaves. [1]"""


@dataclass(frozen=True, slots=True)
class Compared:
    """One measure on both visits."""

    name: str
    before: Representative
    after: Representative
    corrections: tuple[Correction, ...]
    """What brought the second visit's value to the conditions of the first, and what could not."""
    difference: Quantity
    """After, put right, less before. [inside unit of the measure]"""
    sees: float
    """Smallest difference that would have been a change; NaN where that is not known. [inside unit]"""
    verdict: str
    """`better`, `worse`, `changed`, `no change` or `cannot tell`."""
    meaning: Meaning
    same_meter: bool
    why: str
    """What the verdict rests on: one sentence without a full stop."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that two recordings say about each other."""

    conditions: Conditions
    measures: tuple[Compared, ...]
    """In the order of the table of measures."""
    outcomes: Outcomes
    only_before: tuple[str, ...] = ()
    """Measures that the second recording lacks."""
    only_after: tuple[str, ...] = ()
    """Measures that the first recording lacks."""
    not_compared: tuple[tuple[str, str], ...] = ()
    """Measures that both have and that say nothing of the unit, with why."""

    @property
    def nothing(self) -> str:
        """Why nothing could be compared: one sentence, or empty."""
        if self.measures or self.outcomes.comparable:
            return ""
        if not (self.only_before or self.only_after):
            return "neither recording has a measure or an attempt: record an ignition attempt on each visit"
        return "the two recordings have no measure in common: read the same points in the same states on both visits"


def compare(before: Side, after: Side) -> Comparison:
    """Compare two recordings of the same unit, the second put into the conditions of the first.

    before, after : what was found in each. [-]
    returns : Comparison. [-]

    Valid: one unit in one place; the same measure, so the same point, state and stage on both sides.
    Method: one mean a measure and visit; corrections by `corrections`; errors of a meter that was used on both visits
        cancel as far as they stay (`side.STAYS`). A change is a difference that survives Holm's procedure over all
        measures compared, so that a comparison without any change shows one with a probability of 4.55 % at most.
    Source: JCGM 100:2008, 5.2.2 (correlated errors) and G.6.4; Holm, Scandinavian Journal of Statistics 6 (1979) 65.
    """
    around = conditions(before, after)
    plate = after.plate if after.plate != Plate() else before.plate
    baseline = after.baseline if after.baseline != Baseline() else before.baseline
    there = [{one.name for one in side.measures} for side in (before, after)]
    prepared: list[_Prepared] = []
    left_out: list[tuple[str, str]] = []
    only: tuple[list[str], list[str]] = ([], [])
    for name in every_name():
        if name not in there[0] | there[1]:
            continue
        meaning = meaning_of(name, plate, baseline)
        first, second = representative(before.of(name)), representative(after.of(name))
        if meaning.way == NOT_COMPARED:
            left_out += [(name, meaning.words)] if first and second else []
        elif first is None or second is None:
            only[0 if second is None else 1].append(name)
        else:
            prepared.append(_prepared(name, first, second, meaning, around, before, after, plate))
    return Comparison(
        around,
        tuple(_judged(prepared)),
        outcomes(before.attempts, after.attempts),
        tuple(only[0]),
        tuple(only[1]),
        tuple(left_out),
    )


@dataclass(frozen=True, slots=True)
class _Prepared:
    name: str
    before: Representative
    after: Representative
    corrections: tuple[Correction, ...]
    difference: Quantity
    meaning: Meaning
    same_meter: bool

    @property
    def doubt(self) -> str:
        """Why nothing can be told, or empty."""
        for which, one in (("before", self.before), ("after", self.after)):
            if one.quantity.quality is not Quality.GOOD and not self.dips:
                return f"doubtful {which}: {one.quantity.reason}"
        if not math.isfinite(self.difference.u):
            return "the accuracy of a meter is not known: state it in the job file"
        return ""

    @property
    def dips(self) -> bool:
        """Whether both visits only leave open what is shorter than their meters see: what lasts is compared."""
        reasons = [one.quantity.reason for one in (self.before, self.after) if one.quantity.quality is not Quality.GOOD]
        return bool(reasons) and all(reason.endswith(UNSEEN) and ";" not in reason for reason in reasons)

    @property
    def probability(self) -> float:
        """Of a difference at least as large where nothing changed. [1]"""
        value, u = abs(self.difference.value), self.difference.u
        if value == 0:
            return 1.0
        return 2 * float(stdtr(min(self.difference.freedom, 1e9), -value / u)) if u > 0 else 0.0


def _prepared(  # noqa: PLR0917
    name: str,
    first: Representative,
    second: Representative,
    meaning: Meaning,
    around: Conditions,
    before: Side,
    after: Side,
    plate: Plate,
) -> _Prepared:
    unit = second.quantity.unit
    line = _set_point(name, plate)
    pair = (first.quantity.value + line, second.quantity.value + line)
    put_right = corrections(name, *pair, around, minutes=min(first.minutes, second.minutes))
    same = same_meter(before, after, first.channels) and set(first.channels) == set(second.channels)
    budget: dict[Error, float] = {}
    for which, one, sign in (("before", first, -1.0), ("after", second, 1.0)):
        for error, share in parted(one.quantity.budget, unit, which, shared=same):
            budget[error] = budget.get(error, 0.0) + sign * share
    for each in put_right:
        if each.u > 0:
            budget[Error(f"{each.what}: {each.text}")] = each.u
    value = second.quantity.value + sum(one.amount for one in put_right) - first.quantity.value
    apart = summed(value, unit, list(budget.items()), [], None)
    if not (math.isfinite(first.quantity.u) and math.isfinite(second.quantity.u)):
        apart = Quantity(value, unit)
    return _Prepared(name, first, second, tuple(put_right), apart, meaning, same)


def _set_point(name: str, plate: Plate) -> float:
    """What was taken off the pressure at the switch to make a margin of it. [Pa]"""
    if name.partition(".")[0] not in SWITCHES:
        return 0.0
    place = 0 if name.startswith("draft_margin_high") else -1
    closing = "to_close" in name or "largest_at_start" in name
    points = plate.switch_close if closing or not plate.switch_open else plate.switch_open
    return points[place] if points else 0.0


def _judged(prepared: Sequence[_Prepared]) -> Iterator[Compared]:
    """Holm: the surest difference is judged as one of all, the next as one of the others, until one is not sure."""
    sure = sorted((one for one in prepared if not one.doubt), key=lambda one: one.probability)
    changed: set[str] = set()
    for place, one in enumerate(sure):
        if one.probability > RISK / (len(sure) - place):
            break
        changed.add(one.name)
    for one in prepared:
        verdict, why = (CANNOT, one.doubt) if one.doubt else _verdict(one, changed=one.name in changed)
        why += f"; {UNSEEN}" if one.dips else ""
        share = RISK / max(len(sure) - len(changed), 1) / 2
        factor = -float(stdtrit(min(one.difference.freedom, 1e9), share))
        sees = math.nan if one.doubt else factor * one.difference.u
        yield Compared(
            one.name,
            one.before,
            one.after,
            one.corrections,
            one.difference,
            sees,
            verdict,
            one.meaning,
            one.same_meter,
            why,
        )


def _verdict(one: _Prepared, *, changed: bool) -> tuple[str, str]:
    if not changed:
        return SAME, "no change that these instruments can see"
    value, meaning = one.difference.value, one.meaning
    if meaning.way == NONE:
        return CHANGED, meaning.words or "no way is known to be better by itself"
    if meaning.way != NEARER:
        good = (value > 0) == (meaning.way == "larger")
        return (BETTER if good else WORSE), f"better is {meaning.words}"
    was = one.before.quantity.value
    now = was + value
    nearer = meaning.off(was) - meaning.off(now)
    if meaning.off(was) == meaning.off(now) == 0:
        return CHANGED, f"within {meaning.words} before and after"
    crossed = (was - (meaning.low or 0.0)) * (now - (meaning.low or 0.0)) < 0
    u = math.hypot(one.before.quantity.u, one.after.quantity.u) if crossed else one.difference.u
    if abs(nearer) <= float(coverage_factor(one.difference.freedom)) * u:
        return CHANGED, f"about as far as before from {meaning.words}"
    return (BETTER, f"nearer to {meaning.words}") if nearer > 0 else (WORSE, f"farther from {meaning.words}")
