"""What one message of an instrument says: from what stands in it to values, by the words of its profile."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from analysis.units import parse
from drivers.codecs.lines import Unreadable, number_in
from drivers.profile import Condition, Role, Value

Raw = Mapping[str, float | str]
"""What stands in a message, by the name of the value: a number, or text where it is text."""

_NO_VALUE = {Condition.OVER_RANGE: math.inf, Condition.UNDER_RANGE: -math.inf, Condition.FAULT: math.nan}


@dataclass(frozen=True, slots=True)
class Sample:
    """One message in the words of the profile."""

    values: Mapping[str, float]
    """By name; NaN where the instrument has no value, infinite beyond its range. [unit of the value]"""
    units: Mapping[str, str] = field(default_factory=dict)
    """By name, where the message says them."""
    battery: float | None = None
    """Charge, 0 to 1. [1]"""
    counter: int | None = None
    """The instrument's number of this message."""
    clock: float | None = None
    """The instrument's own clock. [s]"""
    conditions: frozenset[Condition] = frozenset()
    said: Mapping[str, frozenset[Condition]] = field(default_factory=dict, compare=False)
    """By the name of the value, what those say that may say conditions: of one that is not here nothing is said.

    Empty where the message as a whole says `conditions`.
    """


class Decoded(NamedTuple):
    """A message as far as it could be read."""

    sample: Sample | None
    """None where nothing could be read."""
    reason: str = ""
    """Why it was not read, or not in full; such as `does not fit the pattern`."""


class Decoder(Protocol):
    """A codec: one message at a time, without I/O and without an error that escapes."""

    def decode(self, data: bytes, source: str = "") -> Decoded:
        """What a message says; `source` is the characteristic, topic, question or first register that it belongs to."""
        ...


class Interpreter:
    """From what stands at the places of values to a sample; UnitError where a clock has no unit of time."""

    def __init__(self, values: Sequence[Value]) -> None:
        self._values = {value.name: value for value in values}
        self._clocks = {value.name: parse(f"1 {value.unit}", "s") for value in values if value.role is Role.CLOCK}

    def sample(self, raw: Raw, units: Mapping[str, str] | None = None) -> Decoded:
        """The sample; `units` are what the message calls them, by the name of the value."""
        values: dict[str, float] = {}
        conditions: set[Condition] = set()
        saying: dict[str, frozenset[Condition]] = {}
        battery = counter = clock = None
        reason = ""
        for name, found in raw.items():
            value = self._values[name]
            if value.role is Role.STATUS:
                saying[name] = frozenset(_status(value, found))
                conditions |= saying[name]
                continue
            if value.words:
                word = value.words.get(found.strip()) if isinstance(found, str) else None
                saying[name] = frozenset({word} if word else ())
            number, said = _number(value, found)
            conditions |= said
            if number is None:
                reason = reason or f"has no number where '{name}' belongs"
            elif value.role is Role.MEASURE:
                values[name] = number
            elif not math.isfinite(number):
                continue
            elif value.role is Role.BATTERY:
                battery = number / 100
            elif value.role is Role.COUNTER:
                counter = int(number)
            else:
                clock = number * self._clocks[name]
        called, unknown = self._units(units or {})
        for name in unknown:
            values.pop(name, None)
            reason = reason or f"has a unit of '{name}' that the profile does not name"
        for condition in conditions & _NO_VALUE.keys():
            values = {name: number if math.isinf(number) else _NO_VALUE[condition] for name, number in values.items()}
        empty = not values and battery is None and counter is None and clock is None and not conditions
        if empty and (reason or not raw):
            return Decoded(None, reason or Unreadable.NOT_A_NUMBER.value)
        return Decoded(Sample(values, called, battery, counter, clock, frozenset(conditions), saying), reason)

    def _units(self, said: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
        known = {name: self._values[name].units.get(text.strip()) for name, text in said.items()}
        return {name: unit for name, unit in known.items() if unit}, [name for name, unit in known.items() if not unit]


def _status(value: Value, found: float | str) -> set[Condition]:
    if isinstance(found, str):
        said = value.words.get(found.strip())
        return {said} if said else set()
    if not math.isfinite(found):
        return set()
    return {condition for bit, condition in value.bits.items() if int(found) >> bit & 1}


def _number(value: Value, found: float | str) -> tuple[float | None, set[Condition]]:
    """The number in the unit of the value, None where none stands there; and what a word in its place says."""
    if isinstance(found, str):
        if condition := value.words.get(found.strip()):
            return _NO_VALUE.get(condition, math.nan), {condition} - _NO_VALUE.keys()
        state = value.states.get(found.strip())
        number = number_in(found) if state is None else state
        if number is None:
            return None, set()
        found = number
    if found in value.missing or math.isnan(found):
        return math.nan, set()
    if found in value.over_range or math.isinf(found):
        return math.copysign(math.inf, found * value.scale), set()
    return found * value.scale + value.offset, set()
