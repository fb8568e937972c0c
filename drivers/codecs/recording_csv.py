"""A recording as CSV text: one row an instant, one column a channel, headed `point@instrument [unit]`."""

import csv
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

from analysis.model import NANOSECONDS, Channel, Quality, Reading
from analysis.points import POINTS, measure_of, nearest
from analysis.units import UnitError, to_inside
from drivers.base import InputError

MOST_PROBLEMS = 1000
"""Problems kept with line and reason; further ones are counted only."""

MOST_UNREADABLE = 100_000
"""After so many rows in a row that give nothing the rest is given up; 1,000 characters count as one. Our choice. [1]"""

_HEAD = re.compile(r"(?P<point>[^@\[\]]+?)(?:@(?P<instrument>.+?))?\s*\[(?P<unit>[^\[\]]*)\]")
_SECONDS = re.compile(r"([-+]?)(\d+)(?:\.(\d*))?")
_INSTANT = re.compile(r"(\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d)(?:[.,](\d{1,9})\d*)?\s*(Z|[+-]\d\d:?\d\d)?")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Problem:
    """A row or a cell that could not be read."""

    line: int
    """Line of the file, counted from one; 0 where it is of no line."""
    reason: str
    word: str = "line"
    """What is counted: a Parquet file has rows."""

    def __str__(self) -> str:
        """Line and reason."""
        return f"{self.word} {self.line}: {self.reason}" if self.line else self.reason


class Row(NamedTuple):
    """A row whose time can be read."""

    line: int
    """Of the file, counted from one."""
    time: int
    """UTC since 1970. [ns]"""
    values: list[tuple[int, float]]
    """Place among the channels and value [native unit] of each cell with a number in it; NaN where that says `nan`."""


class HeadError(InputError):
    """The first line cannot be read; carries every mistake in it."""

    def __init__(self, name: str, mistakes: Sequence[str]) -> None:
        self.mistakes = tuple(mistakes)
        self.where = f"{name}: line 1"
        more = f" (and {len(mistakes) - 1} more)" if len(mistakes) > 1 else ""
        super().__init__(f"{name}: line 1: {mistakes[0]}{more}", "correct it and try again")


def parse_time(text: str, start: int = 0) -> int:
    """Time cell to UTC [ns]: ISO 8601 with its offset, or seconds from `start` [ns]; ValueError in words."""
    if (match := _SECONDS.fullmatch(text)) is not None:
        sign, whole, fraction = match.groups()
        value = int(whole) * NANOSECONDS + int(f"{fraction or ''}000000000"[:9])
        return start + (-value if sign == "-" else value)
    if (match := _INSTANT.fullmatch(text)) is None:
        raise ValueError(f"'{text[:40]}' is neither a time such as 2026-01-14T06:31:20.250Z nor seconds from the start")
    instant, fraction, zone = match.groups()
    if zone is None:
        raise ValueError(f"'{text}' has no time zone; add Z when it is UTC, else its offset such as -05:00")
    span = datetime.fromisoformat(instant + ("+00:00" if zone == "Z" else zone)) - _EPOCH
    return (span.days * 86_400 + span.seconds) * NANOSECONDS + int(f"{fraction or ''}000000000"[:9])


def format_time(time: int) -> str:
    """UTC [ns] as ISO 8601 with as many digits as it has: milliseconds at least."""
    seconds, rest = divmod(time, NANOSECONDS)
    digits = f"{rest:09d}"
    while len(digits) > 3 and digits.endswith("000"):
        digits = digits[:-3]
    return f"{_second(seconds)}.{digits}Z"


@lru_cache(maxsize=64)
def _second(seconds: int) -> str:
    """A whole second in words; many rows follow each other within one."""
    return f"{_EPOCH + timedelta(seconds=seconds):%Y-%m-%dT%H:%M:%S}"


def _column(cell: str, default_instrument: str) -> Channel:
    match = _HEAD.fullmatch(cell.strip())
    if match is None:
        raise ValueError(f"'{cell}' is not 'point [unit]' or 'point@instrument [unit]'")
    point, unit = match["point"].strip(), match["unit"].strip()
    if point not in POINTS:
        raise ValueError(f"unknown point '{point}'{nearest(point)}")
    try:
        to_inside(unit, measure_of(point))
    except UnitError as error:
        raise ValueError(f"'{point}': {error}") from error
    return Channel(point, (match["instrument"] or default_instrument).strip(), unit)


def _cells(line: str) -> list[str]:
    """Cells of one line; a cell never spans lines, so that one stray quote cannot swallow the rows after it."""
    text = line.rstrip("\r\n")
    return next(csv.reader([text], strict=True), []) if '"' in text else text.split(",")


def _other_form(head: str) -> str:
    """What a first line that cannot be read looks like, or nothing."""
    if "\0" in head or "\ufffd" in head:
        return "this is not text in UTF-8"
    for separator, name in ((";", "semicolons"), ("\t", "tabs")):
        if separator in head and "," not in head:
            return f"the cells are separated by {name}; separate them by commas"
    return ""


def parse_head(cells: Sequence[str], name: str) -> tuple[Channel, ...]:
    """Channels of the columns after the first; HeadError names every mistake. `name` is the instrument not named."""
    mistakes: list[str] = []
    channels: list[Channel] = []
    if not cells or cells[0].strip().lstrip("\ufeff").lower() != "time":
        mistakes.append("the first column must be headed 'time'")
    for number, cell in enumerate(cells[1:], start=2):
        try:
            channel = _column(cell, name)
        except ValueError as error:
            mistakes.append(f"column {number}: {error}")
            continue
        if any(channel.key == other.key for other in channels):
            mistakes.append(f"column {number}: '{channel.key}' stands twice; name the instruments apart with '@'")
        channels.append(channel)
    if not channels and not mistakes:
        mistakes.append("there is no column beside 'time'")
    if mistakes:
        raise HeadError(name, mistakes)
    return tuple(channels)


class CsvReader:
    """Reads a recording from lines of CSV, row by row; what cannot be read is reported and the rest goes on."""

    def __init__(self, lines: Iterable[str], name: str, *, start: int = 0, file: str = "") -> None:
        self._lines = iter(lines)
        self._start = start
        self._file = file or name
        self._unreadable = self._since = 0
        """What could not be read in a row up to now, and from which line on."""
        self._last: Problem | None = None
        self.dated: bool | None = None
        """Whether the first time is a date; one file has dates or seconds, never both."""
        self.line = 1
        """Line that was read last."""
        self.problems: list[Problem] = []
        """The first `MOST_PROBLEMS` problems."""
        self.problem_count = 0
        self.heard: Callable[[Problem, str], None] | None = None
        """Told every problem, with its line as it stands in the file."""
        self._text = ""
        head = next(self._lines, None)
        if head is None:
            raise InputError(f"{self._file}: the file is empty", "name another file")
        try:
            self.channels = parse_head(_cells(head), name)
        except csv.Error as error:
            raise HeadError(self._file, [f"not CSV text ({error})"]) from None
        except HeadError as error:
            raise HeadError(self._file, [_other_form(head)] if _other_form(head) else error.mistakes) from None
        self._keys = tuple(channel.key for channel in self.channels)

    def _report(self, reason: str) -> None:
        self.problem_count += 1
        self._last = Problem(self.line, reason)
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(self._last)
        if self.heard:
            self.heard(self._last, self._text)

    def __iter__(self) -> Iterator[Reading]:
        """Readings in the file's order; InputError where nothing more of the file can be read."""
        for row in self.rows(self._lines):
            for place, value in row.values:
                yield Reading(self._keys[place], row.time, value, Quality.BAD if math.isnan(value) else Quality.GOOD)

    def rows(self, lines: Iterable[str]) -> Iterator[Row]:
        """Rows of the lines that come next, in the file's order; InputError where nothing more of it can be read."""
        for line in lines:
            self.line += 1
            self._text = line
            before = self.problem_count
            row = None if line.isspace() else self._row(line)
            if row and (row.values or self.problem_count == before):
                self._unreadable = 0
            else:
                self._give_up_after(line)
            if row:
                yield row

    def passed(self, lines: int, *, dated: bool) -> None:
        """So many lines were read by other means, all of them readable, their times dates or seconds."""
        self.line += lines
        self.dated = dated
        self._unreadable = 0

    def _give_up_after(self, line: str) -> None:
        if not self._unreadable:
            self._since = self.line
        self._unreadable += 1 + len(line) // 1000
        if self._unreadable >= MOST_UNREADABLE:
            why = f" ({self._last})" if self._last and self._last.line >= self._since else ""
            what = f"{self._file}: from line {self._since} on no row can be read{why}, and the rest was left out"
            raise InputError(what, "correct the file and try again")

    def _row(self, line: str) -> Row | None:
        try:
            cells = _cells(line)
        except csv.Error as error:
            self._report(f"not CSV text ({error})")
            return None
        if len(cells) != len(self._keys) + 1:
            self._report(f"{len(cells)} cells where the first line has {len(self._keys) + 1}")
            return None
        try:
            time = parse_time(cells[0].strip(), self._start)
        except ValueError as error:
            self._report(str(error))
            return None
        if not -(2**63) <= time < 2**63:
            self._report(f"time '{cells[0][:40]}' is out of range")
            return None
        dated = ":" in cells[0]
        if self.dated is None:
            self.dated = dated
        elif self.dated is not dated:
            self._report(
                f"'{cells[0][:40]}' is {'a date' if dated else 'seconds'} where the rows before have the other"
            )
            return None
        return Row(self.line, time, [*self._values(cells)])

    def _values(self, cells: list[str]) -> Iterator[tuple[int, float]]:
        for place, cell in enumerate(cells[1:]):
            if not cell or cell.isspace():
                continue
            try:
                value = _number(cell)
            except ValueError:
                self._report(f"{self._keys[place]}: '{cell[:40]}' is not a number")
                continue
            if math.isinf(value):
                self._report(f"{self._keys[place]}: '{cell[:40]}' is not a finite number")
                continue
            yield place, value


def _number(cell: str) -> float:
    if "_" in cell:  # Python would read 1_000 as a thousand
        raise ValueError(cell)
    return float(cell)


def encode_head(channels: Sequence[Channel]) -> list[str]:
    """Cells of the first line."""
    return ["time", *(f"{channel.key} [{channel.unit}]" for channel in channels)]


def encode_rows(
    channels: Sequence[Channel], readings: Iterable[Reading], digits: Mapping[str, int] | None = None
) -> Iterator[list[str]]:
    """Cells of each row, from readings in the order of their time; readings of one instant share a row.

    `digits` are those after the decimal point that a channel's instrument shows; without, as many as the value has.
    """
    shown = digits or {}
    place = {channel.key: number for number, channel in enumerate(channels, start=1)}
    row: list[str] = []
    current: int | None = None
    for reading in readings:
        if reading.time != current:
            if row:
                yield row
            current = reading.time
            row = [format_time(current), *("" for _ in channels)]
        row[place[reading.channel]] = encode_value(reading.value, shown.get(reading.channel))
    if row:
        yield row


def encode_value(value: float, digits: int | None = None) -> str:
    """Text with so many digits after the decimal point; without, the shortest that reads back as the same value."""
    if digits is not None:
        return f"{round(value, digits) + 0.0:.{digits}f}"  # + 0.0: nothing is never written as -0.00
    text = repr(value)
    return text.removesuffix(".0") if text != "-0.0" else text
