"""One of the two recordings, as they are compared; and what of a meter's error is the same in both."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from analysis.measures.measured import Measured
from analysis.model import Baseline, Plate
from analysis.quantity import Error
from analysis.sequence.attempts import Attempt

STAYS = 0.8
"""Correlation of what one meter errs by on two visits: most of it stays, some drifts; our choice. [1]"""
OF_THE_METER = re.compile(r": (gain|offset|tolerance|linearity|stated uncertainty|response time)\b")
"""Errors that a meter carries from visit to visit, by their names in `analysis.measures.errors`."""
PRESSURES = ("Pa", "Pa/min")
"""Units of what is zeroed anew on each visit, so that its offset is another one."""


@dataclass(frozen=True, slots=True)
class Tried:
    """Something that was opened for a test, as it was entered."""

    item: str
    """`drain`, `intake_pipe`, `vent_joint`, `hose`, `tee` ..."""
    text: str
    """In words."""
    start: float
    """When it was opened, UTC since 1970. [s]"""
    end: float | None
    """When it was put back; None where it was not. [s]"""


@dataclass(frozen=True, slots=True)
class Side:
    """One recording: what was found in it, and what is known of unit and place."""

    measures: Sequence[Measured]
    attempts: Sequence[Attempt]
    plate: Plate = field(default_factory=Plate)
    baseline: Baseline = field(default_factory=Baseline)
    altitude: float | None = None
    """Of the site; None where the job file does not say. [m]"""
    vent_length: float | None = None
    """Length of the vent pipe, the most that it can rise. [m]"""
    meters: Mapping[str, str] = field(default_factory=dict)
    """What tells the meter of a channel from others (unit, accuracy, address), by the key of the channel."""

    tests: Sequence[Tried] = ()

    def of(self, name: str) -> list[Measured]:
        """Values of a measure."""
        return [one for one in self.measures if one.name == name]


def same_meter(before: Side, after: Side, channels: Sequence[str]) -> bool:
    """Whether these channels were read with the same instruments on both visits, as far as names and papers tell."""
    pairs = [(before.meters.get(key), after.meters.get(key)) for key in channels]
    return bool(pairs) and all(first is not None and first == second for first, second in pairs)


def parted(budget: Sequence[tuple[Error, float]], unit: str, which: str, *, shared: bool) -> list[tuple[Error, float]]:
    """A budget with the errors that the other visit has too under their own names, and all others named by the visit.

    which : `before` or `after`. [-]
    shared : whether both visits used the same meter. [-]
    returns : list of errors and their shares; the root of the sum of squares is that of the budget. [unit]
    """
    found: list[tuple[Error, float]] = []
    for error, share in budget:
        own = Error(f"{error.name} ({which})", error.shape, error.freedom, error.statistical)
        match = None if error.statistical else OF_THE_METER.search(error.name)
        if not shared or match is None or (match[1] == "offset" and unit in PRESSURES):
            found.append((own, share))
            continue
        found += [(error, math.sqrt(STAYS) * share), (own, math.sqrt(1 - STAYS) * share)]
    return found
