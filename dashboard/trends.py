"""What a browser asks of the trends: a span of the recording in, the charts' figures out; nothing is kept between."""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from dashboard.charts import CHARTS, TREND_POINTS
from dashboard.figures import POINTS_A_TRACE, View, trend_figures
from dashboard.history import moments, read, span
from dashboard.hub import Hub
from dashboard.tiles import FROM_START
from drivers.base import LightoffError

FAR = 9e12
"""A browser's time beyond this is none; it also keeps nanoseconds within what can be recorded. [ms]"""

NARROW = 600
"""Charts below this width are drawn for a telephone. [pixels]"""

LARGEST_SHIFT = 15 * 3600.0
"""Local time is never further from UTC (the largest now is 14 h). [s]"""

LARGEST_VALUE = 1e9
"""A range that a browser wants kept beyond this is none. [unit on screen]"""

DAY = 86_400.0
"""Times that count from the start are moved by a day more: a drawing takes the first ten thousand milliseconds for
years, and the time of day stays the same. [s]"""

Request = Mapping[str, Any]


def view_of(request: Request) -> View:
    """How the charts are to look: `units`, `light`, `width` [pixels], `keep` (ranges by chart). Odd facts are none."""
    kept = request.get("keep")
    return View(
        0.0,
        1.0,
        units="metric" if request.get("units") == "metric" else "trade",
        light=request.get("light") is True,
        narrow=_number(request.get("width"), 1000.0) < NARROW,
        points=POINTS_A_TRACE,
        keep=_ranges(kept) if isinstance(kept, dict) else {},
    )


def requested_trends(request: Request, hub: Hub) -> dict[str, Any]:
    """Figures for what a browser asks: `window` [s] or `start` and `end` [ms, UTC], and how they are to look.

    `shift` moves times that count from the start of a recording [ms]: the charts show local time, and 0 is to be 0:00
    there. Answers `figures` by name; a `message` where there is nothing to draw.
    """
    try:
        wanted = _wanted(request, hub)
        if wanted is None:
            return {"message": "no readings yet", "figures": {}}
        found = read(hub.recording, TREND_POINTS, *wanted, POINTS_A_TRACE)
        events = moments(hub.recording, *wanted)
    except LightoffError as error:
        return {"message": str(error), "figures": {}}
    view = spanned(view_of(request), request, *wanted)
    figures = trend_figures(found, view, hub.plate, hub.limits, events)
    message = "" if figures else "no readings that can be drawn as lines"
    moved = {"counted": view.counted, "shift": view.shift * 1000, "asked": request.get("shift")}
    return {"message": message, **moved, "figures": figures}


def spanned(view: View, request: Request, start: float, end: float) -> View:
    """The view on a span [s]; times that count from the start of a recording are moved by the `shift` asked for."""
    if end >= FROM_START:
        return replace(view, start=start, end=end)
    shift = _number(request.get("shift"), 0.0) / 1000
    shift = shift if abs(shift) <= LARGEST_SHIFT else 0.0
    return replace(view, start=max(0.0, start), end=end, shift=shift + DAY, counted=True)


def answering(hub: Hub) -> Callable[[Any], dict[str, Any]]:
    """The answer to whatever a browser sends; ValueError when it is no request."""

    def answer(request: Any) -> dict[str, Any]:
        if not isinstance(request, dict):
            raise ValueError("a request for trends is a JSON object")
        return requested_trends(request, hub)

    return answer


def _wanted(request: Request, hub: Hub) -> tuple[float, float] | None:
    """Span to show: as asked for, else the window that ends at the newest reading; None before the first one. [s]"""
    start, end = (_number(request.get(name), math.nan) / 1000 for name in ("start", "end"))
    if start < end:
        return start, end
    recorded = span(hub.recording)
    newest = hub.newest if hub.newest is not None else recorded[1] if recorded else None
    if newest is None:
        return None
    window = _number(request.get("window"), 300.0)
    if window > 0:
        return newest - window, newest
    first = min(recorded[0], newest) if recorded else newest
    return first, max(newest, first + 1.0)


def _ranges(kept: dict[Any, Any]) -> dict[str, tuple[float, float]]:
    ranges = {}
    for chart in CHARTS:
        match kept.get(chart.name):
            case [int() | float() as low, int() | float() as high] if -LARGEST_VALUE < low < high < LARGEST_VALUE:
                ranges[chart.name] = (float(low), float(high))
    return ranges


def _number(value: object, otherwise: float) -> float:
    usable = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < FAR
    return float(value) if usable else otherwise  # type: ignore[arg-type]
