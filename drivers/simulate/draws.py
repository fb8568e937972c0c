"""The population of furnaces: what a plausible one may be like, drawn for one unit or for many at once."""

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from drivers.simulate.design import BTU, INCH, Design
from drivers.simulate.maths import Number


@dataclass(frozen=True, slots=True)
class Kind:
    """What cannot differ within an array of units."""

    fuel: str = "natural gas"
    manifold_reference: str = "room"


KINDS = (
    (Kind("natural gas", "room"), 0.60),
    (Kind("natural gas", "burner_box"), 0.15),
    (Kind("propane", "room"), 0.20),
    (Kind("propane", "burner_box"), 0.05),
)
"""Kinds and how common each is; common practice, no published source."""


@dataclass(frozen=True, slots=True)
class Draw:
    """Where numbers come from: one at a time, or an array (n,)."""

    uniform: Callable[[float, float], Number]
    choice: Callable[[Sequence[float]], Number]

    @classmethod
    def one(cls, chance: random.Random) -> "Draw":
        """Floats."""
        return cls(chance.uniform, chance.choice)

    @classmethod
    def many(cls, generator: np.random.Generator, n: int) -> "Draw":
        """Arrays (n,)."""
        return cls(lambda low, high: generator.uniform(low, high, n), lambda values: generator.choice(values, n))


def drawn(draw: Draw, kind: Kind) -> Design:
    """A plausible furnace; every range is common practice without a published source unless `Design` names one."""
    uniform, choice = draw.uniform, draw.choice
    propane = kind.fuel == "propane"
    two_pipes = choice((1.0, 1.0, 1.0, 0.0))
    burner_box = -INCH * (two_pipes * uniform(0.05, 0.28) + (1.0 - two_pipes) * uniform(0.01, 0.04))
    transition = burner_box - INCH * uniform(0.15, 0.50)
    collector = transition - INCH * uniform(0.40, 1.10)
    low_share = uniform(0.63, 0.71)
    static, share = uniform(0.28, 0.48), uniform(0.40, 0.52)
    values: dict[str, Any] = {
        "stages": choice((2, 2, 1)),
        "two_pipes": two_pipes,
        "differential": choice((1.0, 1.0, 0.0)),
        "nitride": choice((1.0, 0.0)),
        "input": BTU * 1000.0 * choice((40.0, 60.0, 80.0, 100.0, 120.0)),
        "low_share": low_share,
        "altitude": 2438.4 * uniform(0.0, 1.0) * uniform(0.0, 1.0),
        "efficiency": uniform(0.915, 0.948),
        "excess_air": uniform(0.28, 0.50),
        "rise": uniform(42.0, 58.0) / 1.8,
        "burner_box": burner_box,
        "transition": transition,
        "collector": collector,
        "vent": INCH * uniform(0.10, 0.50),
        "fan_steepness": uniform(0.20, 0.45),
        "low_speed": low_share * uniform(1.04, 1.14),
        "height": uniform(0.3, 4.0),
        "manifold": INCH * (uniform(9.7, 11.2) if propane else uniform(3.3, 3.7)),
        "gas_supply": INCH * uniform(6.0, 9.0),
        "gas_drop": INCH * uniform(0.2, 0.9),
        "tank_fill": uniform(0.25, 0.75),
        "switch_share": uniform(0.70, 0.88),
        "switch_high_share": uniform(0.76, 0.90),
        "switch_hold": uniform(0.83, 0.93),
        "flame_current": 1e-6 * uniform(2.4, 5.0),
        "static_return": INCH * static * share,
        "static_supply": INCH * static * (1.0 - share),
        "constant_flow": choice((0.0, 1.0)),
        "limit_opening": uniform(80.0, 96.0),
    }
    return Design(fuel=kind.fuel, manifold_reference=kind.manifold_reference, **values)
