"""A sensor's statement worked out once for one unit, so that thousands of levels cost little.

The numbers are those of `Accuracy.quantity`; a test holds the two together.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.points import Measure
from analysis.quantity import Error
from analysis.uncertainty import Accuracy, Term
from analysis.units import UnitError, conversion

Budget = list[tuple[Error, float]]


@dataclass(frozen=True, slots=True)
class Part:
    """One term of a statement: limits straight in the reading, of which the greatest holds."""

    error: Error
    gain: bool
    """Whether it has the reading's sign."""
    limits: tuple[tuple[float, float], ...]
    """Amount [unit] and share of the reading [1] of each limit, as standard uncertainties."""
    zero: float
    """Where a percentage of the reading counts from. [unit]"""

    def at(self, value: float) -> float:
        """Standard uncertainty at a reading, signed where it is a gain. [unit]"""
        counted = abs(value - self.zero)
        size = max(amount + share * counted for amount, share in self.limits)
        return math.copysign(size, value - self.zero) if self.gain else size


def parts(accuracy: Accuracy, measure: Measure, *, sensor: str, reading: str) -> tuple[Part, ...]:
    """Terms of a statement, but for the steps of the display, for readings in the inside unit of a measure."""
    terms = [term for term in accuracy.terms if not term.resolution]
    zero = _zero(terms, measure) if measure.name == "temperature" else 0.0
    found: list[Part] = []
    for term in terms:
        limits = tuple(
            (0.0, limit.size / 100 / term.divisor)
            if limit.of == "reading"
            else (limit.width(0.0, 1.0, measure.inside) / term.divisor, 0.0)
            for limit in term.limits
        )
        common = term.part in ("gain", "offset", "tolerance")
        name = f"{sensor}: {term.part}" if common else f"{sensor}: {term.part}, {reading}"
        shape = "rectangular" if term.factor is None else "normal"
        number = 1 + sum(part.error.name.partition(" #")[0] == name and part.error.shape == shape for part in found)
        error = Error(name if number == 1 else f"{name} #{number}", shape)
        found.append(Part(error, term.part == "gain", limits, zero))
    return tuple(found)


def budget(found: Sequence[Part], value: float) -> Budget:
    """What a reading is off by, part by part. [unit]"""
    return [(part.error, part.at(value)) for part in found]


def _zero(terms: Sequence[Term], measure: Measure) -> float:
    """Zero of the scale of a statement's first temperature, degC where there is none. [inside unit]"""
    named = [limit.unit for term in terms for limit in term.limits if limit.of != "reading"]
    scale = next((name for name in named if name not in ("K", "kelvin")), "degC")
    try:
        return conversion(scale, measure.inside).offset
    except UnitError:
        return 0.0
