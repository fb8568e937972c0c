"""What is remembered of spans of time of fixed width: how many readings, their extremes, and where a line breaks.

A slot of level 0 is 2^34 ns wide (17.2 s), one of each further level eight times that. All slots begin at multiples of
their width since 1970, so that those of a level are made of eight of the one below, whatever was recorded when.
"""

import struct
import zlib
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Quality
from collector.blocks import DamagedError
from collector.rows import Rows

SHIFT, STEP, LEVELS = 34, 3, 6
"""Width of a slot of level 0 as a power of two [ns]; of the steps between levels; levels. [1]"""
CHUNK = 8
"""Slots of a row of the table `overview`, as a power of two. [1]"""
FINE = 16
"""Times within a slot are kept to this power of two of its width. [1]"""

_TYPES = {"slot": "<u2", "count": "<u4", "broken": "u1", "first": "<u2", "last": "<u2", "apart": "<f4"}
_TYPES |= {"low": "<f8", "high": "<f8"}
_HEAD = struct.Struct("<qqqq")


@dataclass(frozen=True, slots=True, eq=False)
class Slots:
    """Slots of one level that have a reading, in the order of time; all (n,)."""

    slot: NDArray[np.int64]
    """Time divided by the width of a slot. [1]"""
    count: NDArray[np.int64]
    """Readings. [1]"""
    broken: NDArray[np.uint8]
    """1 where a reading has no usable value: not finite, or of quality BAD."""
    first: NDArray[np.int64]
    """Where the first usable reading lies, of any where none is, in 65,536ths of the width. [1]"""
    last: NDArray[np.int64]
    """The same of the last one. [1]"""
    apart: NDArray[np.float32]
    """Longest time from a reading to the one before it, in the slot or earlier. [s]"""
    low: NDArray[np.float64]
    """Smallest usable value, NaN where there is none. [native unit]"""
    high: NDArray[np.float64]
    """Largest usable value. [native unit]"""

    def at(self, places: NDArray[np.intp] | NDArray[np.bool_] | slice) -> "Slots":
        """Those at the given places."""
        return Slots(*(getattr(self, field.name)[places] for field in fields(self)))

    def equals(self, other: "Slots") -> bool:
        """Whether both are the same to the last bit."""
        names = [field.name for field in fields(self)]
        return all(np.array_equal(getattr(self, n), getattr(other, n), equal_nan=n in ("low", "high")) for n in names)


def width(level: int) -> int:
    """Width of a slot as a power of two. [ns]"""
    return SHIFT + STEP * level


def slots_of(rows: Rows, before: int | None) -> Slots:
    """Slots of level 0 of readings, of which `before` [ns] is the time of the one that precedes them."""
    if not rows.time.size:
        return none()
    slot = rows.time >> SHIFT
    begins = np.flatnonzero(np.diff(slot, prepend=slot[0] - 1))
    good = np.isfinite(rows.value) & (rows.quality != Quality.BAD)
    apart = np.diff(rows.time, prepend=rows.time[0] if before is None else before) / NANOSECONDS
    fine = (rows.time & ((1 << SHIFT) - 1)) >> (SHIFT - FINE)
    first, last = _edges(fine, fine, good, begins)
    return Slots(
        slot[begins],
        np.diff(begins, append=rows.time.size),
        np.maximum.reduceat(~good, begins).astype(np.uint8),
        first,
        last,
        np.maximum.reduceat(apart, begins).astype(np.float32),
        *_extremes(rows.value, rows.value, good, begins),
    )


def coarser(slots: Slots) -> Slots:
    """Slots of the next level; those given are all there are of the parts of each."""
    if not slots.slot.size:
        return slots
    slot = slots.slot >> STEP
    begins = np.flatnonzero(np.diff(slot, prepend=slot[0] - 1))
    good = ~np.isnan(slots.low)
    within = (slots.slot & ((1 << STEP) - 1)) << FINE
    first, last = _edges((within + slots.first) >> STEP, (within + slots.last) >> STEP, good, begins)
    return Slots(
        slot[begins],
        np.add.reduceat(slots.count, begins),
        np.maximum.reduceat(slots.broken, begins),
        first,
        last,
        np.maximum.reduceat(slots.apart, begins),
        *_extremes(slots.low, slots.high, good, begins),
    )


def _edges(
    first: NDArray[np.int64], last: NDArray[np.int64], good: NDArray[np.bool_], begins: NDArray[np.intp]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    some = np.maximum.reduceat(good, begins)
    early = np.minimum.reduceat(np.where(good, first, 1 << FINE), begins)
    late = np.maximum.reduceat(np.where(good, last, -1), begins)
    return (
        np.where(some, early, np.minimum.reduceat(first, begins)),
        np.where(some, late, np.maximum.reduceat(last, begins)),
    )


def _extremes(
    low: NDArray[np.float64], high: NDArray[np.float64], good: NDArray[np.bool_], begins: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    some = np.maximum.reduceat(good, begins)
    least = np.minimum.reduceat(np.where(good, low, np.inf), begins)
    most = np.maximum.reduceat(np.where(good, high, -np.inf), begins)
    return np.where(some, least, np.nan), np.where(some, most, np.nan)


def none() -> Slots:
    """No slots."""
    return Slots(*(np.zeros(0, kind) for kind in ("q", "q", "u1", "q", "q", "f4", "f8", "f8")))


def packed(slots: Slots) -> bytes:
    """The content of a row: each field of all slots after the other, little-endian, compressed (zlib)."""
    within = {"slot": slots.slot & ((1 << CHUNK) - 1)}
    columns = [within.get(name, getattr(slots, name)).astype(kind) for name, kind in _TYPES.items()]
    return zlib.compress(b"".join(column.tobytes() for column in columns))


def unpacked(place: int, count: int, content: bytes) -> Slots:
    """Slots of a row; DamagedError where it has other ones than it says."""
    try:
        plain, start, columns = zlib.decompress(content), 0, []
        for kind in _TYPES.values():
            columns.append(np.frombuffer(plain, kind, count, start))
            start += columns[-1].nbytes
    except (zlib.error, ValueError, OverflowError, MemoryError) as error:
        raise DamagedError(f"it cannot be decoded ({error})") from error
    if start != len(plain):
        raise DamagedError("it has another number of spans than it says")
    slot, count_, broken, first, last, *rest = columns
    wide = [column.astype(np.int64) for column in (slot, count_, first, last)]
    return Slots(wide[0] + (place << CHUNK), wide[1], broken, wide[2], wide[3], *rest)


def checksum_of(channel: int, level: int, place: int, count: int, content: bytes) -> int:
    """CRC-32 over all that a row of the table `overview` says and has."""
    return zlib.crc32(content, zlib.crc32(_HEAD.pack(channel, level, place, count)))


def joined(parts: list[Slots]) -> Slots:
    """Parts that follow each other in time, as one."""
    if not parts:
        return none()
    return Slots(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Slots)))
