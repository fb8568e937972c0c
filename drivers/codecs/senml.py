"""Readings of several channels as one SenML pack (RFC 8428, units of RFC 8798 by RFC 9100) in CBOR, and back.

Any reader of SenML can follow it: base name, base time and unit stand in the first record of each channel, `v` and `t`
in every record. Times and values are exact: numbers of instruments have few digits, so they travel as whole numbers or
decimal fractions (tag 4), which RFC 8428, section 6, allows; whoever adds `bt` and `t` up as decimals has the
nanosecond, whoever takes floats is off by less than a microsecond. Two fields are our own, and their labels are texts
that other readers pass over: `lo` in the first record, the version of what is written here, and `q` where a reading is
not to be trusted as it stands (1 suspect, 2 bad). "No usable value" is the float NaN.

A pack may be compressed (zlib, RFC 1950); the first byte tells: a pack begins with an array (0x80 to 0x9f), never 0x78.
"""

import math
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal as Digits
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from drivers.codecs.cbor import LARGEST, Decimal, UnreadableError, packed, tagged, unpacked

CONTENT_TYPE: Final = "application/senml+cbor"
VERSION: Final = 1
BVER, BN, BT, BU, BV, N, U, V, T = -1, -2, -3, -4, -5, 0, 1, 2, 6
"""Labels. Source: RFC 8428, table 4."""
OWN_VERSION, QUALITY = "lo", "q"
PRIMARY_ONLY, SECONDARY = 10, 26
"""`bver` without and with secondary units: 10, and feature 4 on top. Source: RFC 9100, section 3."""
UNITS: Final[Mapping[str, str]] = {
    "degC": "Cel", "K": "K", "Pa": "Pa", "W": "W", "A": "A", "V": "V", "m": "m", "1": "/", "%": "/100",
    "hPa": "hPa", "mA": "mA", "mV": "mV", "kW": "kW", "ppm": "ppm",
}  # fmt: skip
"""Units of ours with one in the registry of SenML that means the same; others are said with the channel alone."""
SECONDARY_UNITS: Final = frozenset({"/100", "hPa", "mA", "mV", "kW", "ppm"})
"""Those that RFC 8798 adds."""
LAST_RELATIVE: Final = 2**28
"""Times below are relative to now for other readers (RFC 8428, 4.5.3); here a time is always absolute. [s]"""
MOST_READINGS: Final = 100_000
"""Of one pack. [1]"""
_LOW, _HIGH = -(2**63), 2**63 - 1
_ORDINARY = frozenset({N, U, V, T, QUALITY})
_WORST = 2
_ZLIB = 0x78


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Readings of one channel."""

    name: str
    """As it stands in the pack: letters, digits and `-:./_`."""
    unit: str
    """Native unit; where SenML has no word for it, the empty text comes back."""
    time: NDArray[np.int64]
    """(n,) UTC since 1970. [ns]"""
    value: NDArray[np.float64]
    """(n,) [unit]"""
    quality: NDArray[np.int8]
    """(n,) 0 good, 1 suspect, 2 bad."""


@dataclass(frozen=True, slots=True)
class Pack:
    """What was read."""

    blocks: tuple[Block, ...]
    """One a channel, readings in the order of the message."""
    skipped: int = 0
    """Records with another kind of value than a number. [1]"""


def encode(blocks: Iterable[Block], *, compress: bool = True) -> bytes:
    """Blocks as a pack, each channel's records together; compressed where that makes it smaller."""
    full = [block for block in blocks if block.time.size]
    if not full:
        return packed([])
    base = min(int(block.time.min()) for block in full)
    step = _step(full, base)
    units = [UNITS.get(block.unit, "") for block in full]
    records: list[dict[object, object]] = []
    for block, unit, before in zip(full, units, ["", *units], strict=False):
        own = _records(block, base, step)
        if unit != before:  # it holds until another is said
            own[0][BU] = unit
        records += own
    first: dict[object, object] = {BT: _decimal(base, -9), OWN_VERSION: VERSION}
    if not SECONDARY_UNITS.isdisjoint(units):
        first[BVER] = SECONDARY
    records[0] = first | records[0]
    data = packed(records)
    smaller = zlib.compress(data, 6) if compress else data
    return smaller if len(smaller) < len(data) else data


def decode(data: bytes) -> Pack:
    """A pack, compressed or not; UnreadableError where it is none, too large, or from a later version."""
    found = unpacked(unzipped(data))
    if not isinstance(found, list) or len(found) > MOST_READINGS or not all(isinstance(one, dict) for one in found):
        raise UnreadableError("the message is no pack of records", "nothing of it is taken")
    return _Reader().read(found)


def unzipped(data: bytes, *, largest: int = LARGEST) -> bytes:
    """What was compressed, or the bytes as they are; UnreadableError where it is too large or broken."""
    if len(data) > largest:
        raise UnreadableError(f"the message has {len(data)} bytes, more than {largest}", "nothing of it is taken")
    if data[:1] != bytes((_ZLIB,)):
        return data
    expander = zlib.decompressobj()
    try:
        plain = expander.decompress(data, largest)
    except zlib.error as error:
        raise UnreadableError("the message cannot be decompressed", "nothing of it is taken") from error
    if not expander.eof or expander.unused_data:
        raise UnreadableError(
            f"the message is not whole, or has more than {largest} bytes when it is decompressed",
            "nothing of it is taken",
        )
    return plain


def _step(blocks: Sequence[Block], base: int) -> int:
    """Largest of a millisecond, a microsecond and a nanosecond that all times are whole numbers of; as an exponent."""
    for exponent, size in ((-3, 1_000_000), (-6, 1_000)):
        if all(not ((block.time - base) % size).any() for block in blocks):
            return exponent
    return -9


def _records(block: Block, base: int, step: int) -> list[dict[object, object]]:
    size = 10 ** (step + 9)
    found: list[dict[object, object]] = [
        {V: number(value), T: tagged(step, (time - base) // size)}
        for time, value in zip(block.time.tolist(), block.value.tolist(), strict=True)
    ]
    for place in np.flatnonzero(block.quality).tolist():
        found[place][QUALITY] = int(block.quality[place])
    found[0][BN] = block.name
    return found


def _decimal(mantissa: int, exponent: int) -> object:
    while exponent < 0 and mantissa % 10 == 0:
        mantissa, exponent = mantissa // 10, exponent + 1
    return tagged(exponent, mantissa) if exponent else mantissa


@lru_cache(maxsize=65_536)
def _shortest(value: float) -> object:
    """A finite number in the fewest bytes that give the same float again."""
    sign, digits, exponent = Digits(repr(value)).as_tuple()
    assert isinstance(exponent, int)
    mantissa = int("".join(map(str, digits)))
    while mantissa and mantissa % 10 == 0:
        mantissa, exponent = mantissa // 10, exponent + 1
    if exponent >= 0 and mantissa * 10**exponent < 2**53:
        return int(value)
    if mantissa >= 2**32 or not -24 <= exponent < 24:  # as long as a float then
        return value
    return tagged(exponent, -mantissa if sign else mantissa)


def number(value: float) -> object:
    """A value as it is packed: a whole number, a decimal fraction or a float, whichever is exact and short."""
    if not math.isfinite(value) or (value == 0 and math.copysign(1, value) < 0):
        return value
    return _shortest(value)


class _Reader:
    """Resolves records one after the other: what a base field says holds until the next one."""

    def __init__(self) -> None:
        self._name, self._unit, self._value = "", "", 0.0
        self._time = 0
        self._units: dict[str, str] = {}
        self._found: dict[str, tuple[list[int], list[float], list[int]]] = {}

    def read(self, records: Sequence[Mapping[Any, Any]]) -> Pack:
        skipped = 0
        for record in records:
            if not record.keys() <= _ORDINARY:
                self._base(record)
            name = self._name + _text(record[N], "name") if N in record else self._name
            if V not in record and BV not in record:
                skipped += len(record.keys() & {3, 4, 5, 8}) > 0
                continue
            if not name:
                raise UnreadableError("a record of the pack has no name", "nothing of it is taken")
            value = _value(record.get(V, 0)) if V in record else 0.0
            time = self._time + (_nanoseconds(record[T]) if T in record else 0)
            if not _LOW <= time <= _HIGH:
                raise UnreadableError("a time of the pack is beyond all clocks", "nothing of it is taken")
            quality = record.get(QUALITY, 0)
            if type(quality) is not int or not 0 <= quality <= _WORST:
                raise UnreadableError("a quality of the pack is none of 0, 1 and 2", "nothing of it is taken")
            if (lists := self._found.get(name)) is None:
                lists = self._found[name] = ([], [], [])
                self._units[name] = _text(record.get(U, self._unit), "unit")
            lists[0].append(time)
            lists[1].append(value + self._value if self._value else value)
            lists[2].append(quality)
        blocks = (
            Block(
                name, _OURS.get(self._units[name], ""),
                np.array(times, np.int64), np.array(values, np.float64), np.array(qualities, np.int8),
            )
            for name, (times, values, qualities) in self._found.items()
        )  # fmt: skip
        return Pack(tuple(blocks), skipped)

    def _base(self, record: Mapping[Any, Any]) -> None:
        for label, said in record.items():
            if label == BN:
                self._name = _text(said, "base name")
            elif label == BU:
                self._unit = _text(said, "base unit")
            elif label == BT:
                self._time = _nanoseconds(said)
            elif label == BV:
                self._value = _value(said)
            elif label == BVER:
                if type(said) is not int or said not in (PRIMARY_ONLY, SECONDARY):
                    raise UnreadableError("the pack is of a later version of SenML", "get a newer lightoff")
            elif label == OWN_VERSION:
                if said != VERSION or type(said) is not int:
                    raise UnreadableError("the pack is of a later version than this program", "get a newer lightoff")
            elif isinstance(label, str) and label.endswith("_"):  # RFC 8428, 4.4: must be understood
                raise UnreadableError("the pack has a field that has to be understood", "get a newer lightoff")


_OURS = {theirs: ours for ours, theirs in UNITS.items()}


def _text(said: object, what: str) -> str:
    if not isinstance(said, str) or len(said) > 256:
        raise UnreadableError(f"a {what} of the pack is no text", "nothing of it is taken")
    return said


def _value(said: object) -> float:
    kind = type(said)
    if kind is float:
        return said  # type: ignore[return-value]
    if kind is int and abs(said) < 2**63:  # type: ignore[arg-type]
        return float(said)  # type: ignore[arg-type]
    if isinstance(said, Decimal) and abs(said[0]) < 400 and abs(said[1]) < 2**64:
        return _float(said)
    raise UnreadableError("a value of the pack is no number", "nothing of it is taken")


@lru_cache(maxsize=65_536)
def _float(said: Decimal) -> float:
    return float(f"{said[1]}e{said[0]}")


def _nanoseconds(said: object) -> int:
    """A time in seconds as whole nanoseconds, exactly where it has no more digits."""
    if isinstance(said, Decimal) and -9 <= said[0] <= 9 and abs(said[1]) < 2**64:
        return said[1] * 10 ** (said[0] + 9)  # type: ignore[no-any-return]
    if type(said) is int and abs(said) < 2**63:
        return said * 1_000_000_000
    if type(said) is float and abs(said) < 1e10:
        return round(said * 1e9)
    raise UnreadableError("a time of the pack is no number of seconds", "nothing of it is taken")
