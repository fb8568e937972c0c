"""Two recordings on one axis of time: A drawn solid, B dashed and movable, a figure for each group of points."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.model import NANOSECONDS, Series
from analysis.points import POINTS, measure_of
from analysis.thinning import longest_line, thin, with_gaps
from analysis.units import UnitError
from collector.normalize import outline, series, zeros_in
from collector.outline import Outline, spacing_of
from collector.recording import Recording
from dashboard.compare_look import GROUPS, Figure, Group, lanes, layout, legend_row, line, marks
from dashboard.recorded import Wanted, shown_span, whole_span
from dashboard.tiles import scale_of
from drivers.base import InputError

MOST_POINTS = 2000
"""Of a trace. [1]"""
LARGEST_MOVE = 1e7
"""B is moved no further than this. [s]"""
LANE = 0.7
"""Height of a closed contact in its lane. [1]"""
FIRST_CLOSED = ("gas_valve", "switch_closed")
"""What two calls are aligned by: the first of these that closes in both."""


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two recordings."""

    letter: str
    path: Path
    began: float
    """[s]"""
    moved: float
    """Its start on the axis. [s]"""
    length: float
    """[s]"""


Pair = tuple[Side, Series]


def compared(a: Path, b: Path, wanted: Wanted, *, align: str = "start", by: float = 0.0) -> dict[str, Any]:
    """Figures of two recordings, times from the start of A [s]; `align` is `start` or `gas`, then B moved `by` [s]."""
    first, second = whole_span(a), whole_span(b)
    moved, how = (0.0, "both begin at 0:00") if align != "gas" else _aligned(a, b, first[0], second[0])
    moved += by
    sides = (
        Side("A", a, first[0], 0.0, first[1] - first[0]),
        Side("B", b, second[0], moved, second[1] - second[0]),
    )
    whole = min(side.moved for side in sides), max(side.moved + side.length for side in sides)
    shown = shown_span(wanted, *whole)
    found: dict[str, list[Pair]] = {}
    for side in sides:
        for one in _thinned(side, *shown):
            found.setdefault(one.channel.point, []).append((side, one))
    groups = [(group, [pair for point in group.points for pair in found.get(point, ())]) for group in GROUPS]
    figures = [_figure(group, pairs, shown, wanted) for group, pairs in groups if pairs]
    note = f", then B is moved by {_signed(by)} s" if by else ""
    return {
        "figures": figures,
        "span": [whole[0] * 1000, whole[1] * 1000],
        "shown": [shown[0] * 1000, shown[1] * 1000],
        "counted": True,
        "moved": moved,
        "text": f"{how}{note}",
    }


def _aligned(a: Path, b: Path, begin_a: float, begin_b: float) -> tuple[float, str]:
    """How far B is moved so that the same contact closes at the same time [s], and that in words."""
    for point in FIRST_CLOSED:
        times = [closes_at(path, point) for path in (a, b)]
        if times[0] is not None and times[1] is not None:
            text = POINTS[point].text
            return (times[0] - begin_a) - (times[1] - begin_b), f"aligned where they first say: {text}"
    raise InputError(
        "neither the gas valve nor the pressure switch is seen closing in both recordings", "align them at the start"
    )


def closes_at(path: Path, point: str) -> float | None:
    """When a contact first goes from open to closed [s], None where it is not seen doing so."""
    with Recording(path) as recording:
        found = [
            time
            for channel in recording.channels
            if channel.point == point and (time := _first_rise(series(recording, channel))) is not None
        ]
    return min(found, default=None)


def _first_rise(one: Series) -> float | None:
    good = np.isfinite(one.value)
    time, closed = one.time[good], one.value[good] >= 0.5
    rises = np.flatnonzero(closed[1:] & ~closed[:-1])
    return float(time[rises[0] + 1]) if rises.size else None


def _thinned(side: Side, start: float, end: float) -> Iterator[Series]:
    """The series of a recording on the common axis, one read after the other so that memory stays small."""
    low, high = (round((side.began + time - side.moved) * NANOSECONDS) for time in (start, end))
    with Recording(side.path, past_damage=True) as recording:
        zeros = zeros_in(recording)
        for channel in recording.channels:
            if channel.point not in POINTS:
                continue
            contact = POINTS[channel.point].measure == "contact"
            try:
                if contact:
                    one = series(recording, channel, low, high, zeros=zeros)
                else:
                    one = outline(recording, channel, low, high, points=MOST_POINTS, zeros=zeros)
            except UnitError:
                continue
            if not np.isfinite(one.value).any():
                continue
            # a contact may be told only when it changes; an outline is broken where it is to be already
            longest = math.inf if contact or isinstance(one, Outline) else longest_line(spacing_of(one))
            time, value = with_gaps(one.time, one.value, longest)
            time, value = thin(time, value, MOST_POINTS)
            yield Series(one.channel, time - side.began + side.moved, value)


def _figure(group: Group, pairs: list[Pair], shown: tuple[float, float], wanted: Wanted) -> Figure:
    units = "metric" if wanted.units == "metric" else "trade"
    measure = measure_of(group.points[0])
    contact = measure.name == "contact"
    scale, offset = scale_of(measure, units)
    keys = list(dict.fromkeys((one.channel.point, _nth(side, one, pairs)) for side, one in pairs))
    points = list(dict.fromkeys(point for point, _ in keys))
    names: dict[int, str] = {}
    traces = []
    for side, one in pairs:
        point, nth = one.channel.point, _nth(side, one, pairs)
        place = keys.index((point, nth))
        name = names.setdefault(place, POINTS[point].text + (f" ({one.channel.instrument})" if nth else ""))
        value = one.value * LANE + (len(points) - 1 - points.index(point)) if contact else one.value * scale + offset
        x = np.round(one.time, 3).tolist()
        y = [None if math.isnan(number) else round(number, 4) for number in value.tolist()]
        look: dict[str, Any] = {"letter": side.letter, "place": place, "light": wanted.light}
        traces.append(line(x, y, name=name, contact=contact, **look))
        if not contact:
            traces.append(marks(x, y, **look))
    made = layout(group, measure, units, shown, light=wanted.light, narrow=wanted.narrow)
    if contact:
        lanes(made, points, LANE)
    legend = [] if contact else [legend_row(name, place, light=wanted.light) for place, name in names.items()]
    height = 90 + 34 * len(points) if contact else 260
    return {"figure": {"data": traces, "layout": made}, "height": height, "legend": legend, "title": group.title}


def _nth(side: Side, one: Series, pairs: list[Pair]) -> int:
    """Which meter of this point it is within its own recording, from 0."""
    own = [other for where, other in pairs if where is side and other.channel.point == one.channel.point]
    return next(place for place, other in enumerate(own) if other is one)


def _signed(seconds: float) -> str:
    return f"{seconds:+g}".replace("-", "−")  # noqa: RUF001
