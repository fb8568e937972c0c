"""Many rows of a recording's CSV at once, where nothing about them is out of the ordinary."""

from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS
from drivers.codecs.recording_csv import Row

_DATES = (
    r"^(?:19|20)\d\d-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:\.\d{1,9})?(?:Z|[+-](?:[01]\d|2[0-3]):[0-5]\d)$"  # of `parse_time`
)
_SECONDS = r"^[-+]?\d{1,9}(?:\.\d{0,9})?$"
_EXACT = 9
"""Digits after the decimal point that whole nanoseconds have. [1]"""


class Column(NamedTuple):
    """What one channel has in a block."""

    rows: NDArray[np.intp] | None
    """(m,) places of the rows that have a reading; None where all have one."""
    value: NDArray[np.float64]
    """(m,) NaN where the cell says `nan`. [native unit]"""


class Block(NamedTuple):
    """Rows with a readable time, in the file's order."""

    line: NDArray[np.int64]
    """(n,) of the file, counted from one."""
    time: NDArray[np.int64]
    """(n,) UTC since 1970. [ns]"""
    columns: tuple[Column, ...]
    """One for each channel."""


def block_of(text: bytes, channels: int, *, first: int, start: int = 0) -> tuple[Block, bool] | None:
    """Whole lines of a file, its line `first` the first of them, and whether their times are dates.

    None where not every line is a plain row without a mistake: then they have to be read line by line. Numbers are
    read as `drivers.codecs.recording_csv.CsvReader` reads them, to the last bit.
    """
    if not text or not _is_plain(text):
        return None
    import pyarrow as arrow  # noqa: PLC0415 - the command line must start without it
    import pyarrow.csv as arrow_csv  # noqa: PLC0415

    names = [str(number) for number in range(channels + 1)]
    try:
        table = arrow_csv.read_csv(
            arrow.BufferReader(text),
            arrow_csv.ReadOptions(use_threads=False, column_names=names, block_size=len(text) + 1),
            arrow_csv.ParseOptions(quote_char=False, ignore_empty_lines=False),
            arrow_csv.ConvertOptions(
                column_types=dict.fromkeys(names[1:], arrow.float64()) | {names[0]: arrow.string()}, null_values=[""]
            ),
        )
        found = _times(table.column(0).combine_chunks(), start)
    except arrow.ArrowException:
        return None
    columns = [_column(column.combine_chunks()) for column in table.columns[1:]]
    if found is None or any(np.isinf(column.value).any() for column in columns):
        return None
    time, dated = found
    return Block(first + np.arange(time.size, dtype=np.int64), time, tuple(columns)), dated


def block_from(rows: Iterable[Row], channels: int) -> Block:
    """Rows that were read one by one."""
    lines: list[int] = []
    times: list[int] = []
    places: list[list[int]] = [[] for _ in range(channels)]
    values: list[list[float]] = [[] for _ in range(channels)]
    for number, row in enumerate(rows):
        lines.append(row.line)
        times.append(row.time)
        for place, value in row.values:
            places[place].append(number)
            values[place].append(value)
    return Block(
        np.array(lines, np.int64),
        np.array(times, np.int64),
        tuple(
            Column(None if len(own) == len(times) else np.array(own, np.intp), np.array(value, np.float64))
            for own, value in zip(places, values, strict=True)
        ),
    )


def _is_plain(text: bytes) -> bool:
    """No `nan(1)`, which only one of the two readers takes for a number, and no line that a return alone ends."""
    return text.isascii() and b"(" not in text and text.count(b"\r") == text.count(b"\r\n")


def _times(texts: Any, start: int) -> tuple[NDArray[np.int64], bool] | None:
    """Times [ns] of an arrow array of texts, and whether they are dates; None for any that is not plain."""
    import pyarrow as arrow  # noqa: PLC0415
    from pyarrow import compute  # noqa: PLC0415

    dated = ":" in texts[0].as_py()
    if not compute.all(compute.match_substring_regex(texts, _DATES if dated else _SECONDS)).as_py():
        return None
    if dated:
        return _held(texts.cast(arrow.timestamp("ns", "UTC")), "<i8"), True
    if abs(start) > (1 << 63) - 10**_EXACT * NANOSECONDS:
        return None
    halves = _held(texts.cast(arrow.decimal128(2 * _EXACT, _EXACT)), "<i8, <i8")  # the lower and the upper one
    return halves["f0"] + start, False


def _column(cells: Any) -> Column:
    value = _held(cells, "<f8")
    if not cells.null_count:
        return Column(None, value)
    bits = np.frombuffer(cells.buffers()[0], np.uint8)
    rows = np.flatnonzero(np.unpackbits(bits, count=cells.offset + len(cells), bitorder="little")[cells.offset :])
    return Column(rows, value[rows])


def _held(cells: Any, kind: str) -> NDArray[Any]:
    """What an arrow array holds; its own `to_numpy` would load a library that is not needed, wherever that is."""
    return np.frombuffer(cells.buffers()[1], kind)[cells.offset : cells.offset + len(cells)]
