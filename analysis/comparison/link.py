"""One link of a chain of evidence, and the words for what stands behind it."""

from dataclasses import dataclass

from analysis.quantity import Quantity
from analysis.uncertainty import coverage_factor

SHOWN, EXCLUDED, CANNOT_TELL, NOT_MEASURED = "shown", "excluded", "cannot tell", "not measured"
"""What stands behind a link."""
SURELY = 0.95
"""How sure. [1]"""
BREACH = "possible breach: make safe, confirm by inspection and analyser"


@dataclass(frozen=True, slots=True)
class Figure:
    """A number that a link rests on."""

    name: str
    """A measure, or `ratio.` or `slope.` and the measure, `resistance.` and the section, `flow`."""
    quantity: Quantity
    channels: tuple[str, ...] = ()
    """Keys of the channels that it was read from: their instruments."""


@dataclass(frozen=True, slots=True)
class Item:
    """One link of the chain."""

    item: str
    """Its name for programs."""
    state: str
    """`shown`, `excluded`, `cannot tell` or `not measured`."""
    text: str
    """What was seen, by what it is excluded, or what it would need: without a full stop."""
    figures: tuple[Figure, ...] = ()


def sure(quantity: Quantity) -> float:
    """Twice the standard uncertainty, more where few attempts made it. [unit]"""
    return float(coverage_factor(quantity.freedom)) * quantity.u
