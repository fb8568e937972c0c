"""Numbers in bytes, as instruments send them: integers of two's complement, and IEEE 754 binary32 and binary64."""

import struct
from collections.abc import Sequence

from drivers.codecs.sample import Decoded, Interpreter, Raw
from drivers.profile import Value

TYPES: dict[str, int] = {
    "uint8": 1, "int8": 1, "uint16": 2, "int16": 2, "uint24": 3, "int24": 3, "uint32": 4, "int32": 4,
    "uint64": 8, "int64": 8, "float32": 4, "float64": 8,
}  # fmt: skip
"""Names of number types and their sizes. [bytes]"""

TOO_SHORT = "is too short for its values"

_FLOATS = {"float32": "f", "float64": "d"}


def number_at(data: bytes, at: int, kind: str, order: str) -> float | None:
    """Number of a type of `TYPES` at an offset, in `little` or `big` order; None where the bytes end before."""
    piece = data[at : at + TYPES[kind]]
    if len(piece) < TYPES[kind]:
        return None
    if code := _FLOATS.get(kind):
        return float(struct.unpack(f"{'<' if order == 'little' else '>'}{code}", piece)[0])
    return float(int.from_bytes(piece, "little" if order == "little" else "big", signed=kind.startswith("int")))


def units_said(values: Sequence[Value], raw: Raw) -> dict[str, str]:
    """What a message calls the units of its values, by their names, where another value says that: by its number.

    Nothing where that value is not in the message: then nobody knows the unit, and the first one would be a guess.
    """
    said = {one.name: one.unit_from for one in values if one.unit_from and one.name in raw}
    return {name: f"{raw[source]:.15g}" if source in raw else "" for name, source in said.items()}


class BytesDecoder:
    """Values at fixed places of a message, each by `at`, `type` and `order`."""

    def __init__(self, values: Sequence[Value]) -> None:
        self._values = values
        self._interpreter = Interpreter(values)

    def decode(self, data: bytes, source: str = "") -> Decoded:  # noqa: ARG002 - a message has one source
        """What a message says; one that ends before a value is not read in full."""
        raw: dict[str, float | str] = {}
        short = False
        for value in self._values:
            number = number_at(data, value.at or 0, value.type or "uint8", value.order)
            if number is None:
                short = True
            else:
                raw[value.name] = number
        sample, reason = self._interpreter.sample(raw, units_said(self._values, raw)) if raw else Decoded(None)
        return Decoded(sample, TOO_SHORT if short else reason)
