"""A recording's CSV file as columns: put in the order of time, the first of two values for one instant kept."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Channel, Quality
from collector.rows import Rows
from drivers.base import InputError
from drivers.codecs.csv_block import Block, Column
from drivers.codecs.recording_csv import MOST_PROBLEMS, Problem
from drivers.csv_file import open_blocks

FAR = 2.0
"""A row that lies further back than this is no late one: a second run, or a clock that was set. Our choice. [s]"""

Times = NDArray[np.int64]


@dataclass(slots=True)
class Table:
    """What a CSV file has."""

    name: str
    channels: tuple[Channel, ...]
    span: tuple[int, int]
    """First and last time of a row. [ns]"""
    rows: int
    """With a readable time. [1]"""
    disordered: int
    """Rows that came late by up to `FAR`. [1]"""
    problems: tuple[Problem, ...]
    problem_count: int
    conflicts: int = 0
    """Second values for one channel and instant, counted as the columns are taken. [1]"""
    twice: int = 0
    """The same value once more for one channel and instant, counted as the columns are taken. [1]"""


def read_table(path: Path, progress: Callable[[float], None] | None = None) -> tuple[Table, Iterator[Rows]]:
    """What a CSV file has, and the readings of its channels one after the other, each to be taken once.

    A damaged file gives what stands before. InputError in one sentence where no reading can be had.
    """
    reader = None
    times: list[Times] = []
    lines: list[Times] = []
    columns: list[list[Column]] = []
    damaged: list[Problem] = []
    try:
        with open_blocks(path, progress=progress) as reader:
            columns = [[] for _ in reader.channels]
            for block in reader:
                _take(block, times, lines, columns)
    except InputError as error:
        if reader is None or not any(column.value.size for own in columns for column in own):
            raise
        damaged = [Problem(reader.careful.line, error.what)]
    if not any(column.value.size for own in columns for column in own):
        first = f" ({reader.careful.problems[0]})" if reader.careful.problems else ""
        raise InputError(f"{path} has no reading that could be read{first}", "name another file")
    time, line = np.concatenate(times), np.concatenate(lines)
    back = time[1:] < time[:-1]
    jumps = _jumps(np.diff(time / NANOSECONDS), line)
    found = sorted([*reader.careful.problems, *damaged, *jumps], key=lambda problem: problem.line)
    table = Table(
        reader.name,
        reader.channels,
        (int(time.min()), int(time.max())),
        time.size,
        int(np.sum(back)) - len(jumps),
        tuple(found[:MOST_PROBLEMS]),
        reader.careful.problem_count + len(damaged) + len(jumps),
    )
    return table, _columns(table, time, times, columns)


def column_rows(block: Block, place: int) -> Rows:
    """Readings of a channel in a block, in the file's order."""
    column = block.columns[place]
    return _rows(block.time if column.rows is None else block.time[column.rows], column.value)


def _take(block: Block, times: list[Times], lines: list[Times], columns: list[list[Column]]) -> None:
    times.append(block.time)
    lines.append(block.line)
    for own, column in zip(columns, block.columns, strict=True):
        own.append(column)


def _jumps(step: NDArray[np.float64], line: Times) -> list[Problem]:
    """Where the time goes back far."""
    return [
        Problem(
            int(line[place + 1]),
            f"the time goes back by {-step[place]:g} s, as where a second run was put below or a clock"
            " was set; rows stand in the order of their time",
        )
        for place in np.flatnonzero(step < -FAR)
    ]


def _columns(table: Table, time: Times, times: list[Times], columns: list[list[Column]]) -> Iterator[Rows]:
    for own in columns:
        if all(column.rows is None for column in own):
            when = time
        else:
            parts = (at if column.rows is None else at[column.rows] for at, column in zip(times, own, strict=True))
            when = np.concatenate([*parts])
        value = np.concatenate([column.value for column in own])
        own.clear()
        yield _in_order(table, when, value)


def _in_order(table: Table, time: Times, value: NDArray[np.float64]) -> Rows:
    if not np.all(time[1:] > time[:-1]):
        order = np.argsort(time, kind="stable")
        time, value = time[order], value[order]
        first = np.append(True, time[1:] != time[:-1])
        if not first.all():
            group = np.cumsum(first) - 1
            same = _bits(value) == _bits(value[first])[group]
            table.conflicts += int(np.sum(~same))
            table.twice += int(np.sum(same & ~first))
            time, value = time[first], value[first]
    return _rows(time, value)


def _rows(time: Times, value: NDArray[np.float64]) -> Rows:
    return Rows(time, value, np.where(np.isnan(value), np.int8(Quality.BAD), np.int8(Quality.GOOD)))


def _bits(value: NDArray[np.float64]) -> Times:
    """What tells values apart in a recording: 0 from -0, and no two of those that are none."""
    return np.where(np.isnan(value), np.nan, value).view(np.int64)
