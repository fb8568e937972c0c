"""What a diagnosis says: causes with their probability and evidence, two at once, and what is not ruled out."""

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation and what it says for a cause."""

    text: str
    """What was seen, with its numbers, in the trade's words; without the cause's name."""
    points: tuple[str, ...]
    """Names in `analysis.points.POINTS` that it was read at; empty where it comes from the sequence alone."""
    start: float
    """First instant that it rests on, UTC since 1970. [s]"""
    end: float
    """Last instant. [s]"""
    weight: float
    """For the cause (above zero) or against it: logarithm to base 2 of how much more probable the observation is under
    the cause than over all the causes together. [bit]"""


@dataclass(frozen=True, slots=True)
class Ranked:
    """A cause by itself."""

    cause: str
    """Name in `analysis.diagnosis.causes.CAUSES`."""
    probability: float
    """Over single causes these add to one. [1]"""
    evidence: tuple[Evidence, ...] = ()
    """What weighs most for and against it, the heaviest first."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two causes at once."""

    causes: tuple[str, str]
    probability: float
    """Of both at once, against the best single causes; pairs stand apart and add to nothing. [1]"""


@dataclass(frozen=True, slots=True)
class NotRuledOut:
    """A cause that may still be there, also after another was found."""

    cause: str
    probability: float
    missing: str
    """What would have to be measured or looked at to rule it out, in one sentence."""


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the evidence says, as far as it goes."""

    causes: tuple[Ranked, ...] = ()
    """All of them, the most probable first."""
    pairs: tuple[Pair, ...] = ()
    not_ruled_out: tuple[NotRuledOut, ...] = ()
    cannot_tell: str = ""
    """Why no cause is named, in one sentence; empty where one is."""


class Beliefs(Protocol):
    """What is believed of a unit, and what a further measurement would change: what tests are ranked by."""

    @property
    def probabilities(self) -> dict[str, float]:
        """Probability of each single cause; they add to one. [1]"""
        ...

    @property
    def measured(self) -> frozenset[str]:
        """Names of the measures that are known already, as in `analysis.measures.names`."""
        ...

    def information(self, measures: tuple[str, ...]) -> float:
        """Expected information about the cause from reading these measures too, with usual meters. [bit]"""
        ...
