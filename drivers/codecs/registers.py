"""Registers and coils as Modbus units give them: which are asked for together, and what their bytes say.

Source of tables, sizes and limits: MODBUS Application Protocol Specification V1.1b3, sections 4.3, 4.4 and 6.1 to 6.4.
"""

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from drivers.codecs.binary import TOO_SHORT, TYPES, number_at, units_said
from drivers.codecs.sample import Decoded, Interpreter
from drivers.profile import Profile, Role, Value

TABLES = ("holding", "input", "coil", "discrete")
"""Tables of a unit; the first two hold registers of 16 bits, the others bits."""
MOST_REGISTERS = 125
"""Most registers of one question. [1]"""
MOST_BITS = 2000
"""Most coils or discrete inputs of one question. [1]"""
LAST = 65535
"""Highest address in a table."""

UNKNOWN_SOURCE = "does not say its table and first register, such as 'holding 0'"
NOTHING_HERE = "has none of the profile's registers"


@dataclass(frozen=True, slots=True, order=True)
class Batch:
    """Neighbours in a table that one question asks for."""

    table: str
    first: int
    """Address, counted from 0."""
    count: int
    """[1]"""

    @property
    def source(self) -> str:
        """How a decoder, and an example of a profile, names it."""
        return f"{self.table} {self.first}"

    @property
    def size(self) -> int:
        """Bytes of its answer, the head not counted. [bytes]"""
        return self.count * 2 if is_registers(self.table) else (self.count + 7) // 8

    @property
    def shape(self) -> tuple[str, int]:
        """What tells its answer from others on the line, since an answer does not say its address."""
        return self.table, self.size

    @property
    def words(self) -> str:
        """For people."""
        kind = {"holding": "holding register", "input": "input register", "coil": "coil", "discrete": "discrete input"}
        if self.count == 1:
            return f"{kind[self.table]} {self.first}"
        return f"{kind[self.table]}s {self.first} to {self.first + self.count - 1}"


@dataclass(frozen=True, slots=True)
class Settling:
    """A question whose answer cannot be taken for any other of the unit."""

    batch: Batch
    certain: bool
    """The unit has these registers, so no answer means that it is silent; else it may leave such a question alone."""


def is_registers(table: str) -> bool:
    """Whether a table holds registers, not bits."""
    return table in ("holding", "input")


def width(value: Value) -> int:
    """Registers, or bits, that a value takes. [1]"""
    return (TYPES[value.type or "uint16"] + 1) // 2 if is_registers(value.table) else 1


def batches(values: Iterable[Value], gap: int) -> tuple[Batch, ...]:
    """Questions for all values, each as long as allowed; up to `gap` [1] unwanted neighbours are read along."""
    planned: list[Batch] = []
    for value in sorted(values, key=lambda one: (TABLES.index(one.table), one.first_register or 0)):
        first, end = value.first_register or 0, (value.first_register or 0) + width(value)
        last = planned[-1] if planned else None
        most = MOST_REGISTERS if is_registers(value.table) else MOST_BITS
        if last and last.table == value.table and first <= last.first + last.count + gap and end - last.first <= most:
            planned[-1] = Batch(last.table, last.first, max(last.count, end - last.first))
        else:
            planned.append(Batch(value.table, first, end - first))
    return tuple(planned)


def needed(values: Iterable[Value], recorded: Collection[str]) -> tuple[Value, ...]:
    """Values that an instrument has to be asked for: what is recorded, what says its units, and what is no measure."""
    kept = [value for value in values if value.name in recorded or _says_something_itself(value)]
    names = {value.name for value in kept} | {value.unit_from for value in kept}
    return tuple(value for value in values if value.name in names)


def settling(planned: Sequence[Batch]) -> Settling | None:
    """The question that ends a doubt about late answers; None where every shape and table is in use.

    A unit answers in the order in which it was asked. Once it has answered this one, whatever it still owed is over.
    """
    used = {batch.shape for batch in planned}
    for batch in planned:
        for count in range(1, batch.count):
            shorter = Batch(batch.table, batch.first, count)
            if shorter.shape not in used:
                return Settling(shorter, certain=True)
    for table in TABLES:
        if table not in {batch.table for batch in planned}:
            return Settling(Batch(table, planned[0].first, 1), certain=False)
    return None


class RegistersDecoder:
    """Values at their registers; ValueError in one sentence where they cannot be there.

    The bytes of a register are in the order of the wire, the high one first; bits are packed as section 6.1 says.
    """

    def __init__(self, profile: Profile, recorded: Collection[str] | None = None) -> None:
        for value in profile.values:
            _check(value)
        self.values = profile.values if recorded is None else needed(profile.values, recorded)
        self.batches = batches(self.values, profile.modbus.gap)
        """What is asked in a round."""
        self._interpreter = Interpreter(self.values)

    def without_gaps(self, batch: Batch) -> bool:
        """From now on ask for the registers of a batch without neighbours that nobody wants; whether it had such."""
        inside = [value for value in self.values if _stands_in(value, batch)]
        apart = batches(inside, 0)
        self.batches = tuple(one for old in self.batches for one in (apart if old == batch else (old,)))
        return apart != (batch,)

    def decode(self, data: bytes, source: str = "") -> Decoded:
        """What the answer to one question says; `source` such as `holding 0`, else the first question of a round."""
        return self.decode_all([(source or (self.batches[0].source if self.batches else ""), data)])

    def decode_all(self, answers: Iterable[tuple[str, bytes]]) -> Decoded:
        """What several answers say together, so that a status or unit in one holds for the values of another."""
        raw: dict[str, float | str] = {}
        reason = ""
        for source, data in answers:
            table, _, first = source.partition(" ")
            if table not in TABLES or not (first.isascii() and first.isdecimal()):
                return Decoded(None, UNKNOWN_SOURCE)
            found, missing = self._extract(data, table, int(first))
            raw |= found
            reason = reason or missing
        if not raw:
            return Decoded(None, reason or NOTHING_HERE)
        sample, why = self._interpreter.sample(raw, units_said(self.values, raw))
        return Decoded(sample, reason or why)

    def _extract(self, data: bytes, table: str, first: int) -> tuple[dict[str, float], str]:
        """Raw numbers by name, and what is wrong with the data where something is."""
        held = len(data) // 2 if is_registers(table) else len(data) * 8
        asked = next((one.count for one in self.batches if (one.table, one.first) == (table, first)), held)
        found: dict[str, float] = {}
        short = False
        for value in self.values:
            at = (value.first_register or 0) - first
            if value.table != table or at < 0 or at >= max(asked, held):
                continue
            if at + width(value) > held:
                short = True
            elif is_registers(table):
                found[value.name] = _number(data[2 * at : 2 * (at + width(value))], value)
            else:
                found[value.name] = float(data[at // 8] >> at % 8 & 1)
        if not short:
            return found, ""
        batch = next((one for one in self.batches if (one.table, one.first) == (table, first)), None)
        if batch is None:
            return found, TOO_SHORT
        return found, f"{TOO_SHORT}: {batch.words} are read together, which makes {batch.size} bytes"


def registers_decoder(profile: Profile, recorded: Collection[str] | None = None) -> RegistersDecoder:
    """The decoder of a profile, for all its values or for what the `recorded` ones need."""
    return RegistersDecoder(profile, recorded)


def _stands_in(value: Value, batch: Batch) -> bool:
    return value.table == batch.table and 0 <= (value.first_register or 0) - batch.first < batch.count


def _says_something_itself(value: Value) -> bool:
    """Whether it is no measure, and no status either that only says the unit of another value."""
    return value.role is not Role.MEASURE and (value.role is not Role.STATUS or bool(value.bits or value.words))


def _number(piece: bytes, value: Value) -> float:
    """A number from its registers; one shorter than they are stands in their low bytes."""
    words = [piece[at : at + 2] for at in range(0, len(piece), 2)]
    if value.word_order == "little":
        words.reverse()
    if value.order == "little":
        words = [word[::-1] for word in words]
    kind = value.type or "uint16"
    number = number_at(b"".join(words)[-TYPES[kind] :], 0, kind, "big")
    return math.nan if number is None else number


def _check(value: Value) -> None:
    if value.table not in TABLES:
        raise ValueError(f"value '{value.name}' has an unknown table '{value.table}'; known are {', '.join(TABLES)}")
    if not is_registers(value.table) and value.type:
        raise ValueError(f"value '{value.name}' is one bit of table '{value.table}' and has no type; leave 'type' out")
    if value.first_register is None:
        raise ValueError(f"value '{value.name}' has no 'register'")
    if not 0 <= value.first_register <= LAST + 1 - width(value):
        raise ValueError(f"value '{value.name}' does not fit at register {value.first_register}; the last is {LAST}")
