"""Sealed readings: many of one channel in a compressed block that says what is in it and whether it is whole.

docs/recording-format.md has the form in a stranger's words.
"""

import math
import struct
import zlib
from dataclasses import dataclass

import numpy as np

from analysis.model import Quality
from collector.columns import packed_times, packed_values, unpacked_times, unpacked_values
from collector.rows import Rows

COLUMNS = "channel, first, last, count, low, high, doubtful, time, value, quality, checksum"
"""Of the table `block`, in the order of the fields below."""

_UNDECODED = (RuntimeError, TypeError, ValueError, IndexError, AttributeError, OverflowError)
_HEAD = struct.Struct("<qqqqddqqqq")


class DamagedError(Exception):
    """Bytes of a recording are not what was written."""


@dataclass(frozen=True, slots=True)
class Block:
    """A row of the table `block`."""

    channel: int
    """Number of the channel."""
    first: int
    """Time of the first reading. [ns]"""
    last: int
    """Time of the last reading. [ns]"""
    count: int
    """Readings. [1]"""
    low: float | None
    """Smallest finite value, None where there is none. [native unit]"""
    high: float | None
    """Largest finite value. [native unit]"""
    doubtful: int
    """Readings that are suspect. [1]"""
    time: bytes
    value: bytes
    quality: bytes
    """Empty where every reading is good."""
    checksum: int = 0


def encoded(channel: int, rows: Rows) -> Block:
    """The block of one or more readings in the order of time."""
    finite = rows.value[np.isfinite(rows.value)]
    block = Block(
        channel,
        int(rows.time[0]),
        int(rows.time[-1]),
        rows.time.size,
        float(finite.min()) if finite.size else None,
        float(finite.max()) if finite.size else None,
        int(np.count_nonzero(rows.quality == Quality.SUSPECT)),
        packed_times(rows.time),
        packed_values(rows.value),
        zlib.compress(rows.quality.tobytes()) if rows.quality.any() else b"",
    )
    return Block(*_facts(block), checksum_of(block))


def decoded(block: Block) -> Rows:
    """The readings of a block, bit for bit; DamagedError where the block is not what was written."""
    try:
        if checksum_of(block) != block.checksum:
            raise DamagedError("its checksum differs")
        time, value = unpacked_times(block.time), unpacked_values(block.value)
        quality = np.frombuffer(zlib.decompress(block.quality), np.int8) if block.quality else None
    except (*_UNDECODED, struct.error, zlib.error) as error:
        raise DamagedError(f"it cannot be decoded ({error})") from error
    rows = Rows(time, value, np.zeros(block.count, np.int8) if quality is None else quality)
    if not rows.time.size == rows.value.size == rows.quality.size == block.count:
        raise DamagedError("it has another number of readings than it says")
    if int(rows.time[0]) != block.first or int(rows.time[-1]) != block.last:
        raise DamagedError("it begins or ends at another time than it says")
    return rows


def faults(block: Block) -> list[str]:
    """What is wrong with a block, in words: all that `decoded` looks at, and order, extremes and qualities too."""
    try:
        rows = decoded(block)
    except DamagedError as error:
        return [str(error)]
    found = []
    if not bool((np.diff(rows.time) > 0).all()):
        found.append("its times do not rise")
    finite = rows.value[np.isfinite(rows.value)]
    extremes = (float(finite.min()), float(finite.max())) if finite.size else (None, None)
    if extremes != (block.low, block.high):
        found.append("its smallest or largest value is another than it says")
    if int(np.count_nonzero(rows.quality == Quality.SUSPECT)) != block.doubtful:
        found.append("it has another number of doubtful readings than it says")
    return found


def checksum_of(block: Block) -> int:
    """CRC-32 over all that a block says and has."""
    low, high = (math.nan if limit is None else limit for limit in (block.low, block.high))
    sizes = (len(block.time), len(block.value), len(block.quality))
    head = _HEAD.pack(block.channel, block.first, block.last, block.count, low, high, block.doubtful, *sizes)
    return zlib.crc32(block.quality, zlib.crc32(block.value, zlib.crc32(block.time, zlib.crc32(head))))


def _facts(block: Block) -> tuple[int, int, int, int, float | None, float | None, int, bytes, bytes, bytes]:
    return (
        *(block.channel, block.first, block.last, block.count, block.low, block.high, block.doubtful),
        *(block.time, block.value, block.quality),
    )
