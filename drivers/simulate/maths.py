"""One physics for one unit in floats and for thousands in arrays: the few functions that differ between the two."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

Number: TypeAlias = Any
"""A float, or an array (n,) with one element a unit."""


@dataclass(frozen=True, slots=True)
class Maths:
    """Functions of numbers; none of them tests a value, so that a formula written with them serves both kinds."""

    sqrt: Callable[[Number], Number]
    exp: Callable[[Number], Number]
    log: Callable[[Number], Number]
    minimum: Callable[[Number, Number], Number]
    maximum: Callable[[Number, Number], Number]
    where: Callable[[Number, Number, Number], Number]
    """`where(condition, value if true, value if not)`; both values are computed."""
    everywhere: Callable[[Number], bool]
    """Whether a condition holds for all."""
    somewhere: Callable[[Number], bool]
    """Whether a condition holds for at least one."""


def _where(condition: Number, yes: Number, no: Number) -> Number:
    return yes if condition else no


FLOATS = Maths(math.sqrt, math.exp, math.log, min, max, _where, bool, bool)
"""For one unit."""
ARRAYS = Maths(
    np.sqrt,
    np.exp,
    np.log,
    np.minimum,
    np.maximum,
    np.where,
    lambda condition: bool(np.all(condition)),
    lambda condition: bool(np.any(condition)),
)
"""For many units at once."""


def toward(m: Maths, value: Number, target: Number, dt: float, lag: Number) -> Number:
    """Value after `dt` [s] on its way to a target that stands still: first order with time constant `lag` > 0 [s]."""
    return target + (value - target) * m.exp(-dt / lag)
