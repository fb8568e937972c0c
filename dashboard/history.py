"""Readings and moments back from a recording, read anew each time they are asked for."""

from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.airflow import temperature_rise
from analysis.model import NANOSECONDS, Channel, Event, EventKind, Series
from analysis.points import measure_of
from analysis.units import UnitError
from collector.derived import TEMPERATURE_FRESH
from collector.normalize import joined, outline, series, zeros_in
from collector.outline import Outline
from collector.recording import Recording

RISE = ("temp_supply", "temp_return")
"""What the temperature rise is of: it rests on each reading, since the extremes of the two say nothing of it."""
MOMENTS = frozenset({EventKind.MARK, EventKind.NOTE, EventKind.ALARM, EventKind.PHOTO})
"""Kinds of events that are drawn across the trends; of alarms only that they were raised."""
FROM_ELSEWHERE = frozenset({EventKind.REMOTE_NOTE, EventKind.REMOTE_REQUEST})
"""These are drawn too, at the moment that they are about."""


def read(
    path: Path, points: Collection[str], start: float | None, end: float | None, most: int | None = None
) -> list[Series]:
    """Series of every channel at these points from `start` to `end` [s], None for the ends of the recording.

    With `most`, a channel that has many more readings comes in about so many points, as an `Outline`; contacts never.
    The temperature rise is worked out where it is asked for. Channels whose unit can't be read are left out, and so is
    what is damaged. RecordingError when the file can't be read.
    """
    low, high = (None if time is None else round(time * NANOSECONDS) for time in (start, end))
    found, for_rise = [], []
    with Recording(path, past_damage=True) as recording, recording.still():
        zeros = zeros_in(recording)
        for channel in recording.channels:
            if channel.point not in points:
                continue
            with suppress(UnitError):
                found.append(
                    series(recording, channel, low, high, zeros=zeros)
                    if most is None or measure_of(channel.point).name == "contact"
                    else outline(recording, channel, low, high, points=most, zeros=zeros)
                )
                if "temp_rise" in points and channel.point in RISE:
                    one = found[-1]
                    for_rise.append(
                        series(recording, channel, low, high, zeros=zeros) if isinstance(one, Outline) else one
                    )
        changes = [event.data for event in recording.events({EventKind.UNIT_CHANGED})]
    pairs = [(str(one["from"]), str(one["to"])) for one in changes]
    found = joined(found, pairs)
    rise = rise_of(joined(for_rise, pairs)) if "temp_rise" in points else None
    return [*found, rise] if rise else found


def moments(path: Path, start: float, end: float) -> list[Event]:
    """Marks, notes, photographs, raised alarms and what was said from elsewhere between two times [s].

    RecordingError when it can't be read.
    """
    low, high = start * NANOSECONDS, end * NANOSECONDS
    with Recording(path) as recording:
        events = recording.events(MOMENTS | FROM_ELSEWHERE)
    placed = sorted(map(_at_its_moment, events), key=lambda event: event.time)
    return [event for event in placed if low <= event.time <= high and _is_moment(event)]


def span(path: Path) -> tuple[float, float] | None:
    """First and last time of any reading [s], None when there is none; RecordingError when it can't be read."""
    with Recording(path) as recording:
        ends = recording.span()
    return None if ends is None else (ends[0] / NANOSECONDS, ends[1] / NANOSECONDS)


def rise_of(found: Sequence[Series]) -> Series | None:
    """Temperature rise at each reading of the supply air, None where one of the two was never measured.

    NaN where the return air is older than what enters a live rise.
    """
    supply, back = _measured(found, "temp_supply"), _measured(found, "temp_return")
    if supply is None or back is None:
        return None
    channel = Channel("temp_rise", supply.channel.instrument, "K")
    if not back.time.size:
        return Series(channel, supply.time, np.full(supply.time.shape, np.nan))
    latest = np.searchsorted(back.time, supply.time, side="right") - 1
    held = back.value[np.maximum(latest, 0)]
    fresh = (latest >= 0) & (supply.time - back.time[np.maximum(latest, 0)] <= TEMPERATURE_FRESH)
    return Series(channel, supply.time, np.where(fresh, temperature_rise(held, supply.value), np.nan))


def _measured(found: Sequence[Series], point: str) -> Series | None:
    """The series that stands for a point: measured before typed in, then the one with most readings."""
    own = [series for series in found if series.channel.point == point]
    return max(own, key=lambda one: ("by hand: " not in one.channel.instrument, one.time.size), default=None)


def _at_its_moment(event: Event) -> Event:
    at = event.data.get("at") if event.kind in FROM_ELSEWHERE else None
    return replace(event, time=at) if isinstance(at, int) else event


def _is_moment(event: Event) -> bool:
    return event.kind is not EventKind.ALARM or event.data.get("to") == "unacknowledged"
