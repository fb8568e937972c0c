"""Fresh readings: each batch as one small row, until they are sealed into blocks."""

import struct
import zlib
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.blocks import DamagedError
from collector.rows import Rows, merged

COLUMNS = "id, first, last, count, checksum, content"
"""Of the table `batch`, in the order of the fields below."""

RECORD = np.dtype([("channel", "<u4"), ("time", "<i8"), ("value", "<f8"), ("quality", "i1")])
"""One reading: number of the channel, time [ns], value, quality; without padding."""
_RECORD = struct.Struct("<Iqdb")
_HEAD = struct.Struct("<qqqq")

Record = tuple[int, int, float, int]
"""Number of the channel, time [ns], value [native unit], quality."""
Records = NDArray[np.void]
"""(n,) of `RECORD`."""


@dataclass(frozen=True, slots=True)
class Batch:
    """A row of the table `batch`."""

    id: int
    """Rises from batch to batch; never used again."""
    first: int
    """Earliest time. [ns]"""
    last: int
    """Latest time. [ns]"""
    count: int
    """Readings. [1]"""
    checksum: int
    content: bytes


def batch_of(number: int, parts: Iterable[Records]) -> Batch:
    """The row of these readings, of which there is at least one."""
    records = np.concatenate(list(parts))
    content = records.tobytes()
    head = (int(records["time"].min()), int(records["time"].max()), records.size)
    return Batch(number, *head, _checksum(number, *head, content), content)


def records_of(singles: Iterable[Record]) -> Records:
    """Readings as they stand in a batch."""
    return np.frombuffer(b"".join(_RECORD.pack(*one) for one in singles), RECORD)


def many(channel: int, rows: Rows) -> Records:
    """The same of readings of one channel."""
    records = np.empty(rows.time.size, RECORD)
    records["channel"], records["time"], records["value"], records["quality"] = (
        *(channel, rows.time, rows.value, rows.quality),
    )
    return records


def check(batch: Batch) -> None:
    """DamagedError where a batch is not what was written."""
    try:
        whole = _checksum(batch.id, batch.first, batch.last, batch.count, batch.content) == batch.checksum
    except (struct.error, TypeError) as error:
        raise DamagedError(f"it cannot be decoded ({error})") from error
    if not whole:
        raise DamagedError("its checksum differs")
    if len(batch.content) != batch.count * RECORD.itemsize:
        raise DamagedError("it has another number of readings than it says")


def decoded(contents: Iterable[bytes]) -> Records:
    """Readings of batches that were checked, in their order."""
    return np.frombuffer(b"".join(contents), RECORD)


def rows_of(records: Records) -> Rows:
    """Readings of one channel in the order of time."""
    rows = Rows(*(np.ascontiguousarray(records[name]) for name in ("time", "value", "quality")))
    return merged([rows])


def _checksum(number: int, first: int, last: int, count: int, content: bytes) -> int:
    return zlib.crc32(content, zlib.crc32(_HEAD.pack(number, first, last, count)))
