"""The channels of a recording as what measures are read from: good readings, the sensor behind them, and its errors."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.measures.defaults import default_accuracy, default_response_time
from analysis.measures.errors import Budget, Part, budget, parts
from analysis.model import Channel, Series, origin_of
from analysis.points import POINTS, measure_of
from analysis.quantity import Quantity
from analysis.steady import Span
from analysis.uncertainty import Accuracy, AccuracyError

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """One channel with a value in every reading, and what is known of its sensor."""

    channel: Channel
    time: Array
    """(n,) strictly increasing. [s]"""
    value: Array
    """(n,) finite and plausible. [inside unit]"""
    sensor: str
    """Name of the sensor: one instrument has as many as it has channels at once."""
    errors: tuple[Part, ...]
    """What the statement says without the steps of the display."""
    step: float
    """Step of the display by the statement, 0 where it does not say. [inside unit]"""
    response_time: float
    """[s]"""
    assumed: str
    """Accuracy that was taken because none is given; empty where one is."""

    def budget(self, value: float) -> Budget:
        """What a reading may be off by, without the steps of the display. [inside unit]"""
        return budget(self.errors, value)

    def within(self, span: Span) -> slice:
        """Readings of a span, its ends included."""
        return slice(int(self.time.searchsorted(span.start, "left")), int(self.time.searchsorted(span.end, "right")))


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """All that was read, by point."""

    by_point: Mapping[str, tuple[Source, ...]]
    start: float
    """First reading of all. [s]"""
    end: float
    """Last reading of all. [s]"""
    doubts: Mapping[str, str] = field(default_factory=dict)
    """Why what a channel says is doubtful, by its key."""
    found: dict[tuple[str, Span, bool], tuple[Quantity, Source] | None] = field(default_factory=dict)
    """Levels that were asked for, so that a margin does not work its pressure out again; one a span and point."""

    def at(self, point: str) -> tuple[Source, ...]:
        """Channels of a point."""
        return self.by_point.get(point, ())


def bench(series: Iterable[Series], accuracies: Mapping[str, Accuracy] | None = None) -> Bench:
    """What measures are read from; channels of points that are unknown and channels without a value are left out.

    accuracies : statements by key of the channel, before those that the channels carry.
    """
    kept = [one for one in series if one.channel.point in POINTS]
    good = [(one.channel, *_good(one)) for one in kept]
    good = [(channel, time, value) for channel, time, value in good if time.size]
    sensors = _sensors([(channel, float(time[0]), float(time[-1])) for channel, time, _ in good])
    by_point: dict[str, list[Source]] = defaultdict(list)
    for (channel, time, value), sensor in zip(good, sensors, strict=True):
        by_point[channel.point].append(_source(channel, time, value, sensor, (accuracies or {}).get(channel.key)))
    start = min((float(time[0]) for _, time, _ in good), default=math.nan)
    end = max((float(time[-1]) for _, time, _ in good), default=math.nan)
    return Bench({point: tuple(sources) for point, sources in by_point.items()}, start, end)


def _good(series: Series) -> tuple[Array, Array]:
    low, high = measure_of(series.channel.point).plausible
    kept = (series.value >= low) & (series.value <= high)  # NaN is neither
    return (series.time, series.value) if kept.all() else (series.time[kept], series.value[kept])


def _source(channel: Channel, time: Array, value: Array, sensor: str, stated: Accuracy | None) -> Source:
    measure = measure_of(channel.point)
    accuracy, assumed = stated, ""
    if accuracy is None and channel.accuracy:
        try:
            accuracy = Accuracy.parse(channel.accuracy, measure.name)
        except AccuracyError as error:
            assumed = f"{error}; taken"
    if accuracy is None and (usual := default_accuracy(channel.point)):
        accuracy = Accuracy.parse(usual, measure.name)
        assumed = f"{assumed or 'accuracy not given; taken'} {usual} (usual for such a meter, no published source)"
    terms = accuracy.terms if accuracy else ()
    difference = "K" if measure.name == "temperature" else measure.inside
    steps = [term.limits[0].width(0.0, 1.0, difference) for term in terms if term.resolution]
    response = channel.response_time if channel.response_time is not None else default_response_time(channel.point)
    return Source(
        channel,
        time,
        value,
        sensor,
        parts(accuracy, measure, sensor=sensor, reading=channel.key) if accuracy else (),
        max(steps, default=0.0),
        max(response, 0.0) if math.isfinite(response) else 0.0,
        assumed,
    )


def _sensors(channels: Sequence[tuple[Channel, float, float]]) -> list[str]:
    """Sensor behind each channel: channels of one instrument and one measure that never run at once share one.

    A meter that is carried from point to point is one sensor with one error; two inputs of one instrument are two.
    """
    names = [""] * len(channels)
    groups: dict[tuple[str, str], list[list[int]]] = defaultdict(list)
    for place in sorted(range(len(channels)), key=lambda place: channels[place][1]):
        channel, start, _ = channels[place]
        held = groups[channel.instrument, POINTS[channel.point].measure]
        carried = origin_of(channel.instrument) == "by hand"
        free = [group for group in held if carried or channels[group[-1]][2] < start]
        if not free:
            held.append([])
        (free[0] if free else held[-1]).append(place)
    for (instrument, _), held in groups.items():
        for group in held:
            first = channels[group[0]][0].point
            for place in group:
                names[place] = instrument if len(held) == 1 else f"{instrument} ({POINTS[first].text})"
    return names
