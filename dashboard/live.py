"""Layout of the live page and its one callback: a request for a figure in, the figure out, nothing kept between."""

import asyncio
import math
from dataclasses import replace
from typing import Any

from dash import Dash, Input, Output, dcc, html
from dash.exceptions import PreventUpdate

from dashboard.figures import POINTS_A_TRACE, TREND_POINTS, Figure, View, message_figure, trend_figure
from dashboard.history import read, span
from dashboard.hub import Hub
from dashboard.shell import section
from dashboard.tiles import FROM_START, data, skeletons
from drivers.base import LightoffError

WINDOWS = ((60, "1 min"), (300, "5 min"), (900, "15 min"), (1800, "30 min"), (0, "all"))
"""Windows of the trends [s]; 0 is everything."""

FAR = 9e12
"""A browser's time beyond this is none; it also keeps nanoseconds within what can be recorded. [ms]"""

NARROW = 600
"""A figure below this width is drawn for a telephone. [pixels]"""

LARGEST_SHIFT = 15 * 3600.0
"""Local time is never further from UTC (the largest now is 14 h). [s]"""


def register(dash: Dash, hub: Hub) -> None:
    """Register the callbacks."""

    @dash.callback(Output("trends", "figure"), Input("trend-request", "data"), prevent_initial_call=True)
    async def trends(request: Any) -> Figure:
        if not isinstance(request, dict):
            raise PreventUpdate
        return await asyncio.to_thread(requested_figure, request, hub)


def requested_figure(request: dict[str, Any], hub: Hub) -> Figure:
    """Figure for what a browser asks: `window` [s] or `start` and `end` [ms, UTC], and how it is to look.

    `shift` moves times that count from the start of a recording [ms]: the figure shows local time, and 0 is to be 0:00
    there. Then `units`, `light` and `width` [pixels].
    """
    view = View(
        0.0,
        1.0,
        units="metric" if request.get("units") == "metric" else "trade",
        light=request.get("light") is True,
        narrow=_number(request.get("width"), 1000.0) < NARROW,
        points=POINTS_A_TRACE,
        revision=str(request.get("revision", "")),
    )
    try:
        wanted = _wanted(request, hub)
        if wanted is None:
            return message_figure("no readings yet", view)
        found = read(hub.recording, TREND_POINTS, *wanted)
    except LightoffError as error:
        return message_figure(str(error), view)
    start, end = wanted
    view = replace(view, start=start, end=end)
    if end < FROM_START:
        shift = _number(request.get("shift"), 0.0) / 1000
        shift = shift if abs(shift) <= LARGEST_SHIFT else 0.0
        view = replace(view, start=max(0.0, start), shift=shift, counted=True)
    return trend_figure(found, view, hub.plate, hub.limits)


def _wanted(request: dict[str, Any], hub: Hub) -> tuple[float, float] | None:
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


def _number(value: object, otherwise: float) -> float:
    usable = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < FAR
    return float(value) if usable else otherwise  # type: ignore[arg-type]


def layout() -> Any:
    """What moves: tiles, trends, alarms and notes, empty; the script in the browser fills it."""
    return [
        html.Div(skeletons(), id="tiles"),
        _nothing_yet(),
        section("alarms", "Alarms"),
        html.Button("Mark this moment (key M)", id="mark", className="wide-button"),
        _trends(),
        section("replay", "Replay", hidden=True),
        section("practice", "Practice: what is wrong with the simulated unit", hidden=True),
        section("notes", "Notes and events"),
        section("type-in", "Type in a reading"),
    ]


def _nothing_yet() -> Any:
    return html.Div(
        [
            html.P("Waiting for the first reading.", id="no-tiles-text"),
            html.Button("type in a reading", id="to-type-in", hidden=True),
        ],
        id="no-tiles",
    )


_EMPTY = {
    "paper_bgcolor": "rgba(0,0,0,0)",
    "plot_bgcolor": "rgba(0,0,0,0)",
    "xaxis": {"visible": False},
    "yaxis": {"visible": False},
}
"""Before the first figure."""


def _trends() -> Any:
    windows = [html.Button(text, className="window", **data(window=str(seconds))) for seconds, text in WINDOWS]
    follow = html.Button("stop here", id="follow")
    graph = dcc.Graph(
        id="trends",
        figure={"data": [], "layout": _EMPTY},
        config={"displaylogo": False, "displayModeBar": False, "scrollZoom": False, "doubleClick": False},
        responsive=True,
    )
    return html.Section(
        [
            html.H2("Trends"),
            html.Div([*windows, follow], id="windows", className="buttons"),
            html.P(id="dew-point", hidden=True),
            html.Div(id="legend", className="facts"),
            html.Div(graph, id="trends-room"),
        ],
        id="trends-section",
    )
