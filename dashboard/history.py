"""Readings back from a recording, read anew each time they are asked for."""

from collections.abc import Collection
from pathlib import Path

from analysis.model import NANOSECONDS, Series
from analysis.units import UnitError
from collector.normalize import series
from collector.recording import Recording


def read(path: Path, points: Collection[str], start: float | None, end: float | None) -> list[Series]:
    """Series of every channel at these points from `start` to `end` [s], None for the ends of the recording.

    Channels whose unit can't be read are left out. RecordingError when the file can't be read.
    """
    low, high = (None if time is None else round(time * NANOSECONDS) for time in (start, end))
    found = []
    with Recording(path) as recording:
        for channel in recording.channels:
            if channel.point in points:
                try:
                    found.append(series(recording, channel, low, high))
                except UnitError:
                    continue
    return found


def span(path: Path) -> tuple[float, float] | None:
    """First and last time of any reading [s], None when there is none; RecordingError when it can't be read."""
    with Recording(path) as recording:
        ends = recording.span()
    return None if ends is None else (ends[0] / NANOSECONDS, ends[1] / NANOSECONDS)
