"""The diagnosis: how probable each cause is, two at once, what is not ruled out, and when nothing can be told."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.evidence import evidence_of
from analysis.diagnosis.features import FEATURES, GROUPS
from analysis.diagnosis.mixture import Mixture
from analysis.diagnosis.needs import missing_for
from analysis.diagnosis.pairs import pairs_of
from analysis.diagnosis.result import Diagnosis, NotRuledOut, Ranked
from analysis.diagnosis.seen import Seen
from analysis.diagnosis.weighing import Weighed, weighed

MISFIT = 12.0
"""Squared distance over dimensions beyond which no unit of the population, sound or not, shows such readings. [1]"""
TELLS = 0.3
"""Least probability of a cause that is named. [1]"""
NOT_OUT = 0.01
"""Probability above which a cause is listed as not ruled out. [1]"""
GROUP_WORDS = {
    "draft": "draft and pressure switch",
    "gas": "gas, flame and flue",
    "air": "air temperatures, statics and blower",
    "electric": "voltages and currents",
    "time": "times of the sequence",
    "house": "humidity and calls",
}


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A diagnosis, and what it was worked out from."""

    diagnosis: Diagnosis
    weighed: Weighed


def diagnosed(
    mixture: Mixture,
    seen: Seen,
    prior: Mapping[str, float],
    *,
    kind: int | None = None,
    doubts: Sequence[str] = (),
    told: bool = True,
    units: str = "trade",
) -> Judged:
    """Rank the causes of what was seen.

    mixture : fitted to the library. prior : probability of each cause before anything was measured.
    kind : place in `cases.KINDS`, None where it is not known.
    doubts : why readings or papers cannot be trusted, one sentence each; such readings are left out of `seen` already.
    told : whether evidence, pairs and what is not ruled out are worked out too.
    units : of the numbers in the evidence, `trade` or `metric`.
    """
    seen, strange = _believed(mixture, seen, prior, kind)
    found = weighed(mixture, seen, prior, kind)
    shares = found.causes
    order = np.argsort(-shares, kind="stable")
    evidence = evidence_of(found, order[:8], units) if told else {}
    ranked = tuple(Ranked(CAUSES[n], float(shares[n]), evidence.get(CAUSES[n], ())) for n in order)
    reason = _cannot_tell(found, ranked, [*strange, *doubts])
    result = Diagnosis(ranked, cannot_tell=reason)
    if told:
        points = frozenset(point for name in found.what for point in (name.partition(".")[0],))
        result = replace(
            result,
            pairs=() if reason else pairs_of(found),
            not_ruled_out=tuple(_not_ruled_out(ranked, points)),
        )
    return Judged(result, found)


def _believed(mixture: Mixture, seen: Seen, prior: Mapping[str, float], kind: int | None) -> tuple[Seen, list[str]]:
    """What was seen without the groups that fit no unit at all, and which those are in words."""
    first = weighed(mixture, seen, prior, kind)
    strange = [group for group, misfit in first.misfit.items() if misfit > MISFIT]
    if not strange:
        return seen, []
    values = seen.values.copy()
    for place, feature in enumerate(FEATURES):
        if feature.group in strange:
            values[place] = math.nan
    words = [
        f"what was read of {GROUP_WORDS[group]} fits no unit, sound or faulty: check units, hoses, zero and plate"
        for group in GROUPS
        if group in strange
    ]
    return replace(seen, values=values, flags={} if len(strange) > 1 else seen.flags), words


def _cannot_tell(found: Weighed, ranked: Sequence[Ranked], doubts: Sequence[str]) -> str:
    if not found.what:
        why = "; ".join(doubts)
        return f"cannot tell: {why}" if why else "cannot tell yet: nothing was recorded that speaks of a cause"
    if ranked[0].probability < TELLS:
        why = f" ({'; '.join(doubts)})" if doubts else ""
        return f"cannot tell yet: what was measured fits several causes about as well{why}"
    if doubts and len(found.what) < len(GROUPS):
        return f"cannot tell: {'; '.join(doubts)}"
    return ""


def _not_ruled_out(ranked: Sequence[Ranked], points: frozenset[str]) -> Iterator[NotRuledOut]:
    for one in ranked[1:]:
        if one.probability >= NOT_OUT and one.cause != "none":
            yield NotRuledOut(one.cause, one.probability, missing_for(one.cause, points))
