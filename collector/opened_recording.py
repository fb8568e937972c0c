"""A recording's channels as series, each reading at the point where its meter was at that time."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Series
from analysis.points import POINTS
from analysis.units import UnitError
from collector.normalize import Normalizer, joined, one_series, same_meters, series_of, zeros_in
from collector.recording import Recording
from collector.rows import Rows
from drivers.base import InputError

HOSE_OFF = 5.0
"""So long before and after a meter was moved to another point what it shows is of neither. Our choice. [s]"""


@dataclass(frozen=True, slots=True)
class Contents:
    """What a recording has."""

    series: tuple[Series, ...]
    doubtful: Mapping[str, NDArray[np.float64]]
    """When readings were suspect, by the key of their channel. [s]"""
    events: tuple[Event, ...]
    span: tuple[int, int]
    """First and last time of a reading. [ns]"""
    rows: int
    """Instants at which something was read. [1]"""
    left_out: tuple[str, ...] = ()
    """What is damaged and was not read, in words."""


def read_recording(
    path: Path, documented: Callable[[Channel], Channel], progress: Callable[[float], None] | None = None
) -> Contents:
    """What a recording has, also while it is still written; RecordingError, or InputError where it has no reading.

    `documented` adds to a channel what is known of its instrument.
    """
    found: dict[str, Series] = {}
    doubtful: dict[str, NDArray[np.float64]] = {}
    instants: list[NDArray[np.int64]] = []
    with Recording(path, past_damage=True) as recording, recording.still():
        channels, events = recording.channels, recording.events()
        zeros, withdrawn = zeros_in(recording), recording.withdrawn()
        moves = [event for event in events if event.kind is EventKind.POINT_CHANGED]
        for number, channel in enumerate(channels, start=1):
            rows = recording.read(channel.key)
            if rows.time.size and not any(np.array_equal(rows.time, times) for times in instants):
                instants.append(rows.time)
            for part, piece in _by_place(channel, rows, moves):
                with suppress(UnitError):  # a unit of another version, or one that does not fit where the meter went
                    normalizer = Normalizer(documented(part), zeros.get(channel.key, ()))
                    one, when = series_of(normalizer, piece, withdrawn.get(channel.key, ()))
                    _add(found, _without_moves(one, moves))
                    if when.size:
                        doubtful[part.key] = np.union1d(doubtful.get(part.key, when), when)
            if progress:
                progress(number / len(channels))
        left_out = tuple(recording.told(damage) for damage in recording.damage)
    if not instants:
        raise InputError(f"{path} has no readings", "choose another recording")
    changes = [event.data for event in events if event.kind is EventKind.UNIT_CHANGED]
    pairs = [(str(one["from"]), str(one["to"])) for one in changes]
    series = joined([*found.values()], pairs)
    groups = same_meters(pairs)
    told = {one.channel.key: groups.get(one.channel.key, [one.channel.key]) for one in series}
    joint = {key: [doubtful[one] for one in own if one in doubtful] for key, own in told.items()}
    return Contents(
        tuple(series),
        {key: np.unique(np.concatenate(own)) for key, own in joint.items() if own},
        tuple(events),
        (min(int(times[0]) for times in instants), max(int(times[-1]) for times in instants)),
        _distinct(instants),
        left_out,
    )


def _distinct(times: Sequence[NDArray[np.int64]]) -> int:
    """How many different times there are in arrays that each rise."""
    if len(times) == 1:
        return times[0].size
    together = np.sort(np.concatenate(times), kind="stable")  # which merges what is sorted in parts
    return int(np.count_nonzero(together[1:] != together[:-1])) + 1


def _by_place(channel: Channel, rows: Rows, moves: Sequence[Event]) -> Iterator[tuple[Channel, Rows]]:
    """The readings of a channel by where its meter was; mostly all are where the channel says."""
    turns, points = list[int](), [channel.point]
    for move in moves:
        point = str(move.data.get("point"))
        if move.data.get("channel") == f"{points[-1]}@{channel.instrument}" and point in POINTS:
            turns.append(move.time)
            points.append(point)
    ends = [0, *np.searchsorted(rows.time, turns).tolist(), rows.time.size]
    for point, start, end in zip(points, ends, ends[1:], strict=False):
        if point in POINTS and (end > start or len(points) == 1):
            part = slice(start, end)
            yield replace(channel, point=point), Rows(rows.time[part], rows.value[part], rows.quality[part])


def _add(found: dict[str, Series], one: Series) -> None:
    before = found.get(one.channel.key)
    found[one.channel.key] = one if before is None else one_series([before, one])


def _without_moves(one: Series, moves: Sequence[Event]) -> Series:
    """The series without values while its hose or probe was in somebody's hand."""
    point, _, instrument = one.channel.key.partition("@")
    value = one.value
    for move in moves:
        old_point, _, old_instrument = str(move.data.get("channel")).partition("@")
        if old_instrument == instrument and point in (old_point, move.data.get("point")):
            away = np.abs(one.time - move.time / NANOSECONDS) <= HOSE_OFF
            value = np.where(away, np.nan, value)
    return one if value is one.value else Series(one.channel, one.time, value)
