"""Found attempts beside true ones: which belongs to which, which outcome is right, how far boundaries are apart."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from analysis.sequence.attempts import Attempt, PhaseSpan
from tests.sequence.evidence import Evidence
from tests.sequence.recordings import Recorded
from tests.sequence.tellable import end_told, has_to_be_found, right_outcomes, told_starts

START_WITHIN = 10.0
"""A found start belongs to a true one within this. [s]"""
SHARE = 0.5
"""Where no channel shows the start: of the shorter one, so much has to overlap. [1]"""
SHORT = 3.0
"""A phase as short as this may be missed. [s]"""


@dataclass(frozen=True, slots=True)
class Boundary:
    """One boundary of a matched attempt."""

    phase: str
    """The phase that begins there; `end` for the end of the attempt."""
    error: float
    """Found less true. [s]"""
    u: float
    """Standard uncertainty as it was said. [s]"""
    told: bool
    """Whether channels or the job's timings tell it."""


@dataclass(slots=True)
class Score:
    """One recording, scored."""

    recorded: Recorded
    group: str
    needed: int = 0
    """True attempts that have to be found."""
    missed: list[Attempt] = field(default_factory=list)
    found: int = 0
    """Found attempts that are judged: those that belong to ones that may be missed are not."""
    wrong: list[Attempt] = field(default_factory=list)
    """Found where there is none."""
    outcomes: list[tuple[Attempt, Attempt, bool]] = field(default_factory=list)
    """True and found attempt, and whether the found outcome is right."""
    boundaries: list[Boundary] = field(default_factory=list)
    missing: list[tuple[Attempt, str]] = field(default_factory=list)
    """True phases that are told and not found, each with its attempt."""
    extra: list[tuple[Attempt, str]] = field(default_factory=list)
    """Found phases that are not true."""
    phases: int = 0
    """True phases that are told."""
    seconds: float = 0.0
    """How long the recognizer took. [s]"""


def score(recorded: Recorded, found: Sequence[Attempt]) -> Score:
    """Found attempts of a recording against its truth."""
    evidence = Evidence(recorded)
    result = Score(recorded, evidence.group)
    needed = [has_to_be_found(one, evidence) for one in recorded.truth]
    result.needed = sum(needed)
    pairs = matched(recorded.truth, found, [evidence.shows_start(one) for one in recorded.truth], recorded.start)
    taken = {theirs for _, theirs in pairs}
    idle = [one for one, must in zip(recorded.truth, needed, strict=True) if not must]
    result.wrong = [one for place, one in enumerate(found) if place not in taken and not _lies_over(one, idle)]
    owners = dict(pairs)
    result.missed = [one for place, one in enumerate(recorded.truth) if needed[place] and place not in owners]
    for place, theirs in pairs:
        if not needed[place]:
            continue
        true, seen = recorded.truth[place], found[theirs]
        result.outcomes.append((true, seen, seen.outcome in right_outcomes(true, evidence)))
        following = recorded.truth[place + 1] if place + 1 < len(recorded.truth) else None
        _compare(result, true, seen, told_starts(true, evidence), end_told(true, following, evidence))
    result.found = len(result.outcomes) + len(result.wrong)
    return result


def matched(
    true: Sequence[Attempt], found: Sequence[Attempt], shown: Sequence[bool], begin: float
) -> list[tuple[int, int]]:
    """Places of true and found attempts that belong together, the nearest starts first.

    shown : whether the true start shows in a channel; where it does not, or the recording begins in the attempt,
        overlap is enough.
    """
    possible = []
    for place, one in enumerate(true):
        for other, seen in enumerate(found):
            overlap = min(one.end, seen.end) - max(one.start, seen.start)
            apart = abs(one.start - seen.start)
            shorter = max(min(one.end - one.start, seen.end - seen.start), 1e-9)
            near = apart <= START_WITHIN
            free = (not shown[place] or one.start <= begin) and overlap > SHARE * shorter
            if overlap > 0 and (near or free):
                possible.append((apart, place, other))
    pairs = dict[int, int]()
    for _, place, other in sorted(possible):
        if place not in pairs and other not in pairs.values():
            pairs[place] = other
    return sorted(pairs.items())


def _lies_over(found: Attempt, true: Sequence[Attempt]) -> bool:
    """Whether half of a found attempt lies over true ones: short starts one after the other may be found as one."""
    covered = sum(max(min(found.end, one.end) - max(found.start, one.start), 0.0) for one in true)
    return covered > SHARE * (found.end - found.start)


def _compare(result: Score, true: Attempt, seen: Attempt, told: Sequence[bool], end: bool) -> None:
    pairs = _paired(true.phases, seen.phases)
    for place, span in enumerate(true.phases):
        result.phases += told[place]
        if place not in pairs:
            if told[place] and span.end - span.start > SHORT:
                result.missing.append((true, span.phase))
            continue
        other = seen.phases[pairs[place]]
        if span.start > result.recorded.start:
            result.boundaries.append(Boundary(span.phase, other.start - span.start, other.start_u, told[place]))
    taken = set(pairs.values())
    result.extra += [(true, span.phase) for place, span in enumerate(seen.phases) if place not in taken]
    if true.end < result.recorded.end:
        result.boundaries.append(Boundary("end", seen.end - true.end, seen.end_u, end))


def _paired(true: Sequence[PhaseSpan], found: Sequence[PhaseSpan]) -> dict[int, int]:
    """Places of true phases and of the found ones that are the same, those that overlap most first.

    A short one that was found beside its true place still is the same one, when it is near.
    """
    possible = []
    for place, one in enumerate(true):
        for other, seen in enumerate(found):
            if one.phase == seen.phase:
                overlap = min(one.end, seen.end) - max(one.start, seen.start)
                if overlap > -START_WITHIN:
                    possible.append((-overlap, abs(one.start - seen.start), place, other))
    pairs = dict[int, int]()
    for *_, place, other in sorted(possible):
        if place not in pairs and other not in pairs.values():
            pairs[place] = other
    return pairs
