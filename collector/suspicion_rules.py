"""Signs that are wrong, told of what is measured now; what is wrong when stands in `analysis.signs`."""

from collections.abc import Callable
from functools import cache, partial
from typing import NamedTuple

from analysis.model import NANOSECONDS, Plate
from analysis.points import measure_of
from analysis.signs import FLAME, INDUCER_RUNS, SIGNS, Part, Sign, limits_of

FRESH = {"pressure": 5.0, "flame_current": 5.0, "temperature": 60.0}
FRESH_OTHERS = 30.0
"""How old a value may be and still count. [s]"""


@cache
def _fresh(point: str) -> float:
    """How old a point's value may be. [ns]"""
    return FRESH.get(measure_of(point).name, FRESH_OTHERS) * NANOSECONDS


class Held(NamedTuple):
    """The last value of a point."""

    time: int
    """[ns]"""
    value: float
    """[inside unit]"""
    instrument: str


class Look:
    """What is measured now."""

    def __init__(self, plate: Plate) -> None:
        self.held: dict[str, Held] = {}
        """By point."""
        self.now = 0
        """[ns]"""
        self.use(plate)

    def use(self, plate: Plate) -> None:
        """Work with this plate from now on."""
        self._limits = {part: limits_of(part, plate) for sign in SIGNS.values() for part in sign.parts}

    def value(self, point: str) -> float | None:
        """A point's value, None where it is not known now. [inside unit]"""
        held = self.held.get(point)
        if held is None:
            return None
        return held.value if self.now - held.time <= _fresh(point) else None

    def is_on(self, point: str) -> bool:
        """Whether a contact is known to be closed."""
        return (self.value(point) or 0.0) >= 0.5

    def inducer_runs(self, contact: str = "") -> bool:
        """Whether something shows that the inducer runs; `contact` may too."""
        return any((self.value(point) or 0.0) > level for point, level in INDUCER_RUNS.items()) or (
            bool(contact) and self.is_on(contact)
        )

    def burns(self) -> bool:
        """Whether something shows that the flame burns, whichever way its current is read."""
        current = self.value("flame_current")
        return self.is_on("gas_valve") if current is None else abs(current) >= FLAME

    def goes_on(self, sign: Sign) -> bool:
        """Whether what a sign needs goes on now."""
        if sign.when == "inducer":
            return self.inducer_runs(sign.contact)
        if sign.when == "fire":
            blower = self.value("blower_on")
            return self.burns() and (blower is None or blower >= 0.5)
        return sign.when == "always" or self.is_on({"valve": "gas_valve", "blower": "blower_on"}[sign.when])

    def side(self, part: Part) -> bool | None:
        """True where a part is on its wrong side, False where on its right one, None where that cannot be told."""
        value, less = self.value(part.point), self.value(part.less) if part.less else 0.0
        if value is None or less is None:
            return None
        value, (wrong, right) = value - less, self._limits[part]
        if wrong < value < right or right < value < wrong:
            return None
        return value <= wrong if wrong < right else value >= wrong


class Rule(NamedTuple):
    """One thing that may be swapped."""

    points: tuple[str, ...]
    """What is doubtful then."""
    wrong: Callable[[Look], bool | None]
    """True where the signs are wrong, False where they are right, None where that cannot be told now."""
    hold: float
    """How long they must be wrong. [s]"""
    word: str
    """In three words or four."""
    text: str


def _wrong(sign: Sign, now: Look) -> bool | None:
    if not now.goes_on(sign):
        return None
    sides = {now.side(part) for part in sign.parts}
    return sides.pop() if len(sides) == 1 else None


RULES: dict[str, Rule] = {
    name: Rule(sign.points, partial(_wrong, sign), sign.hold, sign.word, sign.text) for name, sign in SIGNS.items()
}
"""What may be swapped, by name."""

OF = {
    point: tuple((name, rule) for name, rule in RULES.items() if point in rule.points)
    for point in {point for rule in RULES.values() for point in rule.points}
}
"""The rules that doubt a point, by it."""

WATCHED = frozenset({*OF, *INDUCER_RUNS, "switch_high_closed", "gas_valve", "blower_on"})
"""Points that are looked at."""
