"""Many rows of a recording's CSV at once, where nothing about them is out of the ordinary."""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from drivers.arrow import csv_cells
from drivers.codecs.recording_csv import Row


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
    found = csv_cells(text, channels, start)
    if found is None or any(np.isinf(value).any() for _, value in found[2]):
        return None
    time, dated, columns = found
    lines = first + np.arange(time.size, dtype=np.int64)
    return Block(lines, time, tuple(Column(*cells) for cells in columns)), dated


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
