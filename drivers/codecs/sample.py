"""What one message of an instrument says: from what stands in it to values, by the words of its profile."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from analysis.units import parse
from drivers.codecs.lines import Unreadable, is_ambiguous, number_in
from drivers.profile import Condition, Role, Value

Raw = Mapping[str, float | str]
"""What stands in a message, by the name of the value: a number, or text where it is text."""

_NO_VALUE = {Condition.OVER_RANGE: math.inf, Condition.UNDER_RANGE: -math.inf, Condition.FAULT: math.nan}
_ROUNDED = 1e-6
"""Relative difference below which fractions are one; float32 has 6e-8. Source: IEEE 754-2019, table 3.5. [1]"""


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
    own_time: float | None = None
    """The message's own time since 1970; no running clock, as that of each source may be another. [s]"""
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
    """From what stands at the places of values to a sample; UnitError where a clock has no unit of time.

    `decimal` is the decimal sign of numbers in texts, None where comma and point both are.
    """

    def __init__(self, values: Sequence[Value], decimal: str | None = None) -> None:
        self._decimal = decimal
        self._unnamed: set[str] = set()
        self._values = {value.name: value for value in values}
        self._clocks = {value.name: parse(f"1 {value.unit}", "s") for value in values if value.role is Role.CLOCK}

    def sample(self, raw: Raw, units: Mapping[str, str] | None = None) -> Decoded:
        """The sample; `units` are what the message calls them, by the name of the value."""
        values: dict[str, float] = {}
        conditions: set[Condition] = set()
        saying: dict[str, frozenset[Condition]] = {}
        told: list[tuple[Value, frozenset[Condition]]] = []
        battery = counter = clock = None
        reason = ""
        for name, found in raw.items():
            value = self._values[name]
            if value.role is Role.STATUS:
                saying[name] = frozenset(_status(value, found))
                conditions |= saying[name]
                told.append((value, saying[name]))
                continue
            if value.words:
                word = value.words.get(found.strip()) if isinstance(found, str) else None
                saying[name] = frozenset({word} if word else ())
            number, said = _number(value, found, self._decimal)
            conditions |= said
            if number is None:
                reason = reason or _why_not(name, found, self._decimal)
            elif value.role is Role.MEASURE:
                values[name] = number
            elif not math.isfinite(number):
                continue
            elif value.role is Role.BATTERY:
                battery = number / 100 if 0 <= number <= 100 else None
            elif value.role is Role.COUNTER:
                counter = int(number)
            else:
                clock = number * self._clocks[name]
        called, unknown = self._units(units or {})
        self._unnamed = (self._unnamed | {*unknown}) - called.keys()  # until it says one that is known
        for name in (*unknown, *sorted(self._unnamed & values.keys() - {*unknown})):
            values.pop(name, None)
            reason = reason or f"has a unit of '{name}' that the profile does not name"
        for status, its in told:
            about = [name for name in values if not status.about or name in status.about]
            values |= {name: _without_value(values[name], its) for name in about}
        empty = not values and battery is None and counter is None and clock is None and not conditions
        if empty and (reason or not raw):
            return Decoded(None, reason or Unreadable.NOT_A_NUMBER.value)
        return Decoded(
            Sample(values, called, battery, counter, clock, conditions=frozenset(conditions), said=saying), reason
        )

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


def _without_value(number: float, said: frozenset[Condition]) -> float:
    """What a number is under what a status says; one beyond the range stays so, and no sign holds against the other."""
    lost = {_NO_VALUE[condition] for condition in said & _NO_VALUE.keys()}
    if not lost or math.isinf(number):
        return number
    return lost.pop() if len(lost) == 1 else math.nan


def _is_one_of(found: float, value: Value, numbers: tuple[float, ...]) -> bool:
    """Whether one of these numbers stands there.

    A fraction comes rounded: 999.9 as a float32 is 999.90002. A whole number of another type is exact, and its
    neighbours, which may be as near to a large one, are numbers of their own.
    """
    if found.is_integer() and not (value.type or "").startswith("float"):
        return found in numbers
    return any(math.isclose(found, number, rel_tol=_ROUNDED) for number in numbers)


def _why_not(name: str, found: float | str, decimal: str | None) -> str:
    if isinstance(found, str) and decimal is None and is_ambiguous(found):
        return Unreadable.AMBIGUOUS.value
    return f"has no number where '{name}' belongs"


def _number(value: Value, found: float | str, decimal: str | None) -> tuple[float | None, set[Condition]]:
    """The number in the unit of the value, None where none stands there; and what a word in its place says."""
    if isinstance(found, str):
        if condition := value.words.get(found.strip()):
            return _NO_VALUE.get(condition, math.nan), {condition} - _NO_VALUE.keys()
        state = value.states.get(found.strip())
        number = number_in(found, decimal) if state is None else state
        if number is None:
            return None, set()
        found = number
    if math.isnan(found) or _is_one_of(found, value, value.missing):
        return math.nan, set()
    if math.isinf(found) or _is_one_of(found, value, value.over_range):
        return math.copysign(math.inf, found * value.scale), set()
    return found * value.scale + value.offset, set()
