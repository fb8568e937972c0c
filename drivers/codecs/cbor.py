"""CBOR (RFC 8949) to and from plain values; the one module that knows cbor2.

What is read may come from anybody. Before the library sees it, the shape is looked through: sizes, depth, numbers of
things and the few kinds that are used here. So nothing is made of a message that it did not pay for in bytes.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import cbor2

from drivers.base import InputError

LARGEST: Final = 1_000_000
"""Of a message, compressed or not. [bytes]"""
DEEPEST: Final = 12
"""Arrays, maps and tags within each other. [1]"""
MOST_PAIRS: Final = 4096
"""Pairs of one map. [1]"""
MOST_THINGS: Final = 400_000
"""Numbers, texts, arrays, maps and tags of a message. [1]"""

DECIMAL: Final = 4
"""Tag of a decimal fraction: an exponent of ten and a mantissa. Source: RFC 8949, 3.4.4."""

_ARRAY, _MAP, _TAG, _SIMPLE = 4, 5, 6, 7
_BYTES, _TEXT = 2, 3
_AFTER = {24: 1, 25: 2, 26: 4, 27: 8}
"""Bytes of the argument behind the first one."""
_CONSTANTS = (20, 21, 22)
"""False, true, null."""


class UnreadableError(InputError):
    """A message that is not what it should be."""


class Decimal(tuple[int, int]):
    """Exponent of ten and mantissa of a decimal fraction, as they stand."""

    __slots__ = ()


def packed(thing: object) -> bytes:
    """CBOR of a value: the shortest form of each number, keys in the order of the standard's core form."""
    return cbor2.dumps(thing, canonical=True)


def tagged(exponent: int, mantissa: int) -> object:
    """A decimal fraction, to be packed."""
    return cbor2.CBORTag(DECIMAL, (exponent, mantissa))


def unpacked(data: bytes, *, largest: int = LARGEST) -> Any:
    """The value of a message: numbers, text, bytes, booleans, None, lists, maps and `Decimal`; UnreadableError."""
    if len(data) > largest:
        raise UnreadableError(f"the message has {len(data)} bytes, more than {largest}", "nothing of it is taken")
    _look_through(data)
    try:
        return cbor2.loads(
            data,
            semantic_decoders={DECIMAL: _decimal},
            max_depth=2 * DEEPEST,
            allow_indefinite=False,
            allow_duplicate_keys=False,
        )
    except (cbor2.CBORError, ValueError, OverflowError, RecursionError, TypeError) as error:
        raise UnreadableError("the message is no CBOR", "nothing of it is taken") from error


def text_map(data: bytes, *, largest: int = LARGEST) -> Mapping[str, Any]:
    """A message that is a map with names for keys; UnreadableError where it is none."""
    found = unpacked(data, largest=largest)
    if not isinstance(found, dict) or not all(isinstance(key, str) for key in found):
        raise UnreadableError("the message is no map of names", "nothing of it is taken")
    return found


def plain(thing: object) -> Any:
    """What JSON could hold of a value: maps with text keys, lists, text, numbers; anything else as text."""
    if isinstance(thing, Mapping):
        return {str(key): plain(one) for key, one in thing.items()}
    if isinstance(thing, Decimal):
        return float(f"{thing[1]}e{thing[0]}") if abs(thing[0]) < 400 and abs(thing[1]) < 2**64 else str(thing)
    if isinstance(thing, str):
        return str(thing.encode("utf-8", "replace"), "utf-8")
    if isinstance(thing, Sequence) and not isinstance(thing, bytes | bytearray):
        return [plain(one) for one in thing]
    if thing is None or isinstance(thing, bool | int | float):
        return thing
    return str(thing)


def _decimal(pair: Any, *_: object) -> Decimal:
    if not isinstance(pair, list | tuple) or len(pair) != 2 or not all(type(one) is int for one in pair):
        raise UnreadableError("a decimal fraction of the message is no pair of whole numbers", "nothing of it is taken")
    return Decimal(pair)


def _look_through(data: bytes) -> None:
    """Raise UnreadableError unless the bytes are one whole thing of kinds that are used, within the bounds."""
    at, end, things = 0, len(data), 0
    open_ends = [1]
    """Things that are still to come at each depth."""
    while open_ends:
        if not open_ends[-1]:
            open_ends.pop()
            continue
        open_ends[-1] -= 1
        kind, argument, value, at = _head(data, at)
        things += 1
        if things > MOST_THINGS:
            raise _broken(f"it holds more than {MOST_THINGS} things")
        if kind < _BYTES:
            continue
        if kind in (_BYTES, _TEXT):
            at += value
            if at > end:
                raise _broken("it breaks off")
        elif kind == _SIMPLE:
            if argument < 25 and value not in _CONSTANTS:
                raise _broken(f"it holds a value of kind {value} that is not used here")
        else:
            open_ends.append(_inside(kind, value, end - at))
            if len(open_ends) > DEEPEST:
                raise _broken(f"it is nested deeper than {DEEPEST}")
    if at != end:
        raise _broken(f"{end - at} bytes follow its end")


def _head(data: bytes, at: int) -> tuple[int, int, int, int]:
    """Kind, short argument and whole argument of the thing that begins here, and where it goes on."""
    if at >= len(data):
        raise _broken("it breaks off")
    kind, argument = data[at] >> 5, data[at] & 31
    if argument <= 23:
        return kind, argument, argument, at + 1
    after = _AFTER.get(argument, 0)
    if not after or at + 1 + after > len(data):
        raise _broken("it breaks off" if after else "it has a thing without a size")
    return kind, argument, int.from_bytes(data[at + 1 : at + 1 + after], "big"), at + 1 + after


def _inside(kind: int, value: int, left: int) -> int:
    """How many things are in an array, a map or a tag."""
    if kind == _TAG:
        if value != DECIMAL:
            raise _broken(f"it holds a tag {value} that is not used here")
        return 1
    if value > left or (kind == _MAP and value > MOST_PAIRS):
        raise _broken(f"it holds {value} things in one, more than there can be")
    return value if kind == _ARRAY else 2 * value


def _broken(why: str) -> UnreadableError:
    return UnreadableError(f"the message cannot be read: {why}", "nothing of it is taken")
