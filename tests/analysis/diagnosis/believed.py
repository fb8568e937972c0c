"""Beliefs that a test sets."""

from dataclasses import dataclass, field

from analysis.diagnosis.causes import CAUSES, Priors


@dataclass(frozen=True)
class Believed:
    """Probabilities as given; each new measure tells the same."""

    probabilities: dict[str, float] = field(default_factory=lambda: Priors().probabilities())
    measured: frozenset[str] = frozenset()
    each: float = 0.0
    """What a measure tells. [bit]"""

    def information(self, measures: tuple[str, ...]) -> float:
        return self.each * len(set(measures) - self.measured)


def only(**shares: float) -> Believed:
    """Beliefs in these causes; the rest is spread evenly over the others."""
    others = [cause for cause in CAUSES if cause not in shares]
    rest = (1.0 - sum(shares.values())) / len(others)
    return Believed({**dict.fromkeys(others, rest), **shares})
