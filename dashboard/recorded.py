"""One recording looked at afterwards: its trends as a figure, and what every meter showed at a moment."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from analysis.model import NANOSECONDS, EventKind, Plate
from analysis.points import POINTS
from analysis.units import UnitError
from collector.job import JobError, parse
from collector.normalize import series, zeros_in
from collector.recording import Recording
from collector.succession import Succession
from dashboard.charts import TREND_POINTS
from dashboard.figures import Figure, View, trend_figures
from dashboard.history import moments, read, span
from dashboard.tiles import FROM_START
from drivers.base import InputError

WITHIN = 30.0
"""A value older than this says nothing of the moment. [s]"""
MOST_VALUES = 200
"""Meters whose values are told. [1]"""
NARROW = 600.0
"""A figure below this width is drawn for a telephone. [pixels]"""
SHORTEST = 1.0
"""Least span of a figure. [s]"""


@dataclass(frozen=True, slots=True)
class Wanted:
    """How a browser wants a figure."""

    units: str = "trade"
    light: bool = False
    width: float = 1000.0
    """[pixels]"""
    start: float | None = None
    """Span to show, None for all of it. [s]"""
    end: float | None = None
    """[s]"""

    @property
    def narrow(self) -> bool:
        """Whether it is for a telephone."""
        return self.width < NARROW


def recorded_figure(path: Path, wanted: Wanted) -> dict[str, Any]:
    """Figures of a recording's trends, top to bottom, each with its height [pixels]; and the span they show [ms]."""
    whole = whole_span(path)
    start, end = shown_span(wanted, *whole)
    counted = whole[0] < FROM_START
    units = "metric" if wanted.units == "metric" else "trade"
    view = View(start, end, units=units, light=wanted.light, narrow=wanted.narrow, counted=counted)
    plate, limits = _papers(path)
    found, events = read(path, TREND_POINTS, start, end, view.points), moments(path, start, end)
    figures = list(trend_figures(found, view, plate, limits, events).values())
    if counted:
        figures = [_without_zone(figure) for figure in figures]
    return {
        "figures": [{"figure": figure, "height": figure["layout"]["meta"]["height"]} for figure in figures],
        "span": [whole[0] * 1000, whole[1] * 1000],
        "shown": [start * 1000, end * 1000],
        "counted": counted,
    }


def _without_zone(figure: Figure) -> Figure:
    """The figure with times as text: numbers would be shown in local time, and small ones would be taken for years."""
    traces = [trace | {"x": [_told(time) for time in trace["x"]]} for trace in figure["data"]]
    layout = figure["layout"]
    axis = layout["xaxis"] | {"range": [_told(time) for time in layout["xaxis"]["range"]]}
    drawn = {name: [_placed(one) for one in layout[name]] for name in ("shapes", "annotations")}
    return figure | {"data": traces, "layout": layout | {"xaxis": axis} | drawn}


def _placed(one: Figure) -> Figure:
    """A line or words at a time, with that time as text."""
    if one.get("xref") != "x":
        return one
    return one | {name: _told(one[name]) for name in ("x", "x0", "x1") if name in one}


def _told(time: float) -> str:
    return f"{datetime.fromtimestamp(time / 1000, UTC):%Y-%m-%d %H:%M:%S.%f}"


def values_at(path: Path, at: float) -> dict[str, Any]:
    """Last good value of every meter [inside unit] up to a moment [s], None where it has none that is new enough."""
    rows = []
    end = round(at * NANOSECONDS)
    with Recording(path) as recording:
        zeros, units = zeros_in(recording), Succession()
        for event in recording.events({EventKind.UNIT_CHANGED}):
            if event.time <= end:
                units.change(str(event.data["from"]), str(event.data["to"]))
        for channel in recording.channels[:MOST_VALUES]:
            if channel.point not in POINTS or units.left(channel.key):
                continue
            try:
                found = series(recording, channel, end - round(WITHIN * NANOSECONDS), end, zeros=zeros)
            except UnitError:
                continue
            good = np.flatnonzero(np.isfinite(found.value))
            value = float(found.value[good[-1]]) if good.size else None
            rows.append({"point": channel.point, "instrument": channel.instrument, "value": value})
    order = list(POINTS)
    rows.sort(key=lambda row: (order.index(str(row["point"])), str(row["instrument"])))
    return {"at": at * 1000, "values": rows}


def whole_span(path: Path) -> tuple[float, float]:
    """First and last time of a recording [s], at least a second apart; InputError where it has no reading."""
    ends = span(path)
    if ends is None:
        raise InputError(f"{path.name} has no readings", "choose another recording")
    return ends[0], max(ends[1], ends[0] + SHORTEST)


def shown_span(wanted: Wanted, first: float, last: float) -> tuple[float, float]:
    """The span asked for within the whole one [s], the whole one where that asks for nothing of it."""
    start = first if wanted.start is None else max(first, wanted.start)
    end = last if wanted.end is None else min(last, wanted.end)
    if not end > start:
        return first, last
    if end - start < SHORTEST:
        middle = min(max((start + end) / 2, first + SHORTEST / 2), last - SHORTEST / 2)
        return middle - SHORTEST / 2, middle + SHORTEST / 2
    return start, end


def usable(number: float | None, otherwise: float | None, largest: float) -> float | None:
    """A number from a browser, `otherwise` where it is none that can be meant."""
    good = number is not None and math.isfinite(number) and abs(number) <= largest
    return number if good else otherwise


def _papers(path: Path) -> tuple[Plate, list[Mapping[str, Any]]]:
    """Rating plate and limits of the job inside, nothing where it has none or one that is not understood."""
    with Recording(path) as recording:
        text = recording.job()
    try:
        job = parse(text or "", "job")
    except JobError:
        return Plate(), []
    return job.plate, [{"point": one.point, "above": one.above, "below": one.below} for one in job.limits]
