"""What a sensor is off by, drawn once within its statement of accuracy, so that a population of sensors fills it."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.points import Measure
from analysis.uncertainty import Accuracy, Term
from analysis.units import UnitError, conversion
from drivers.simulate.meters import Sensor

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SensorError:
    """One part of what a sensor is off by: a share of a limit."""

    share: float
    amounts: tuple[float, ...]
    """[native unit]"""
    shares: tuple[float, ...]
    """Of the reading; one for each amount, the greatest sum holds. [1]"""
    zero: float
    """Where a percentage of the reading counts from. [native unit]"""

    def at(self, native: Array) -> Array | float:
        """Error of a reading; a gain has the reading's sign. [native unit]"""
        if len(self.amounts) == 1:
            return self.share * (self.amounts[0] + self.shares[0] * (native - self.zero))
        counted = np.abs(native - self.zero)
        limits = [amount + share * counted for amount, share in zip(self.amounts, self.shares, strict=True)]
        greatest: Array = np.maximum.reduce(limits)
        return greatest * self.share


def drawn_errors(sensor: Sensor, measure: Measure, generator: np.random.Generator) -> tuple[SensorError, ...]:
    """Errors drawn from a sensor's statement; its resolution is in every reading by itself."""
    if sensor.accuracy is None:
        return ()
    terms = [term for term in Accuracy.parse(sensor.accuracy, measure.name).terms if not term.resolution]
    zero = _zero(terms, sensor.unit) if measure.name == "temperature" else 0.0
    errors = []
    for term in terms:
        drawn = generator.uniform(-1.0, 1.0) if term.factor is None else generator.standard_normal() / term.factor
        amounts = [0.0 if limit.of == "reading" else limit.width(0.0, 1.0, sensor.unit) for limit in term.limits]
        shares = [limit.size / 100 if limit.of == "reading" else 0.0 for limit in term.limits]
        errors.append(SensorError(drawn, tuple(amounts), tuple(shares), zero))
    return tuple(errors)


def _zero(terms: Iterable[Term], unit: str) -> float:
    """Zero of the scale of a statement's first temperature, degC where there is none. [unit]"""
    named = [limit.unit for term in terms for limit in term.limits if limit.of != "reading"]
    scale = next((name for name in named if name not in ("K", "kelvin")), "degC")
    try:
        return conversion(scale, unit).offset
    except UnitError:
        return 0.0
