"""What holds of anything the recognizer says, whatever it was fed."""

import math
from collections.abc import Sequence
from itertools import pairwise

from analysis.sequence.attempts import OUTCOMES, PHASES, Attempt, Progress

SLACK = 1e-6
"""[s]"""


def breaches(attempts: Sequence[Attempt]) -> list[str]:
    """Every rule that attempts break: times that rise, phases that tile, names that are known, figures that are."""
    found = [f"attempt {one.number}: {text}" for one in attempts for text in _breaches(one)]
    for before, after in pairwise(attempts):
        if after.start < before.end - SLACK:
            found.append(f"attempts {before.number} and {after.number} overlap")
        if after.number != before.number + 1:
            found.append(f"attempt {after.number} follows {before.number}")
        if after.call < before.call:
            found.append(f"call {after.call} follows {before.call}")
    return found


def _breaches(one: Attempt) -> list[str]:
    rules = {
        "ends before it starts": one.end < one.start,
        "has no phase": not one.phases,
        "unknown outcome": one.outcome not in OUTCOMES,
        "unknown stage": one.stage not in ("", "low", "high"),
        "number or call below one": one.number < 1 or one.call < 1,
        "probability": not 0.0 <= one.probability <= 1.0,
        "decided outside of it": not one.start - SLACK <= one.deciding_time <= one.end + SLACK,
        "not a finite time": not all(map(math.isfinite, (one.start, one.end, one.deciding_time))),
        "uncertainty": not all(0.0 <= u < math.inf for u in (one.start_u, one.end_u, one.deciding_u)),
    }
    if one.phases:
        rules["first phase begins elsewhere"] = abs(one.phases[0].start - one.start) > SLACK
        rules["last phase ends elsewhere"] = abs(one.phases[-1].end - one.end) > SLACK
    rules["a gap or an overlap of phases"] = any(
        abs(after.start - before.end) > SLACK for before, after in pairwise(one.phases)
    )
    for span in one.phases:
        rules[f"unknown phase {span.phase}"] = span.phase not in PHASES
        rules[f"{span.phase} ends before it starts"] = span.end < span.start
        rules[f"uncertainty of {span.phase}"] = not (0.0 <= span.start_u < math.inf and 0.0 <= span.end_u < math.inf)
    return [text for text, broken in rules.items() if broken]


def lapses(progress: Progress, now: float) -> list[str]:
    """Every rule that a word on the present breaks."""
    rules = {
        f"unknown phase {progress.phase}": progress.phase not in ("", *PHASES),
        f"unknown outcome {progress.outcome}": progress.outcome not in ("", *OUTCOMES),
        "a phase that begins later": bool(progress.phase) and progress.since > now + SLACK,
        "an expected length": progress.expected is not None and not 0.0 <= progress.expected < math.inf,
        "a count below nothing": min(progress.attempt, progress.call, progress.trial) < 0,
    }
    return [text for text, broken in rules.items() if broken]
