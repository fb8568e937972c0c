"""A recording read through in windows of time, so that memory stays flat whatever its length."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from typing import NamedTuple

from analysis.model import NANOSECONDS
from collector.recording import Recording
from collector.rows import Rows

MOST = 65_536
"""Readings wished in a window; it grows until it has half as many, and shrinks when it has more. [1]"""
SHORTEST, LONGEST = NANOSECONDS // 1000, 3600 * NANOSECONDS
"""Of a window of one channel; of several that part of it. An instrument says 2,000 readings a second at the most, so
that one that was quiet and begins to flood gives 7.2 million in the first long window. Our choice. [ns]"""
_QUIET = 8
"""Empty windows after which the next reading is looked for. [1]"""


class Window(NamedTuple):
    """What some channels have in a span."""

    end: int
    """Last time of the span. [ns]"""
    rows: dict[str, Rows]
    """Readings of each channel, by its key."""


def windows(recording: Recording, channels: Sequence[str], start: int, end: int) -> Iterator[Window]:
    """Readings of the channels from `start` to `end` [ns], both included; windows without any are left out."""
    longest = max(LONGEST // max(len(channels), 1), SHORTEST)
    width, at, quiet = min(NANOSECONDS, longest), start, 0
    while at <= end and channels:
        last = min(at + width - 1, end)
        rows = {key: recording.read(key, at, last) for key in channels}
        count = sum(one.time.size for one in rows.values())
        if count:
            yield Window(last, rows)
        quiet = 0 if count else quiet + 1
        width = max(width // 2, SHORTEST) if count > MOST else min(2 * width, longest) if 2 * count < MOST else width
        at = last + 1
        if quiet >= _QUIET and at <= end:
            at, quiet = max(at, _next(recording, at, end + 1)), 0


def _next(recording: Recording, start: int, otherwise: int) -> int:
    """Time of the next reading of any channel. [ns]"""
    with closing(recording.readings(start)) as readings:
        return next((reading.time for reading in readings), otherwise)
