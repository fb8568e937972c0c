"""Layout of the live page and its one callback: a request for a figure in, the figure out, nothing kept between."""

import asyncio
from dataclasses import replace
from typing import Any

from dash import Dash, Input, Output, dcc, html
from dash.exceptions import PreventUpdate

from dashboard.figures import POINTS_A_TRACE, TREND_POINTS, Figure, View, message_figure, trend_figure
from dashboard.history import read, span
from dashboard.hub import Hub
from dashboard.tiles import data, skeletons
from drivers.base import LightoffError

WINDOWS = ((60, "1 min"), (300, "5 min"), (900, "15 min"), (1800, "30 min"), (0, "all"))
"""Windows of the trends [s]; 0 is everything."""

NARROW = 600
"""A figure below this width is drawn for a telephone. [pixels]"""

CAUTION = (
    "Gas, carbon monoxide and mains voltage can kill. Local codes, the maker's instructions and licensed practice "
    "come first; nothing on this page replaces them."
)


def register(dash: Dash, hub: Hub) -> None:
    """Register the callbacks."""

    @dash.callback(Output("trends", "figure"), Input("trend-request", "data"), prevent_initial_call=True)
    async def trends(request: Any) -> Figure:
        if not isinstance(request, dict):
            raise PreventUpdate
        return await asyncio.to_thread(requested_figure, request, hub)


def requested_figure(request: dict[str, Any], hub: Hub) -> Figure:
    """Figure for what a browser asks: `window` [s] or `start` and `end` [ms], `units`, `light`, `width` [pixels]."""
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
        start, end = _wanted(request, hub)
        found = read(hub.recording, TREND_POINTS, start, end)
    except LightoffError as error:
        return message_figure(str(error), view)
    return trend_figure(found, replace(view, start=start, end=end), hub.plate, hub.limits)


def _wanted(request: dict[str, Any], hub: Hub) -> tuple[float, float]:
    """Span to show: as asked for, else the window that ends at the newest reading. [s]"""
    start, end = _number(request.get("start"), 0.0) / 1000, _number(request.get("end"), 0.0) / 1000
    if 0 < start < end:
        return start, end
    recorded = span(hub.recording)
    newest = hub.newest or (recorded[1] if recorded else 0.0)
    window = _number(request.get("window"), 300.0)
    if window > 0:
        return newest - window, newest
    first = min(recorded[0], newest) if recorded else newest
    return first, max(newest, first + 1.0)


def _number(value: object, otherwise: float) -> float:
    usable = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15
    return float(value) if usable else otherwise  # type: ignore[arg-type]


def layout() -> Any:
    """The page, empty; the script in the browser fills it."""
    return html.Main(
        [
            html.Div(id="safety-message", role="alert", hidden=True),
            html.Div(id="origin-banner", role="status", hidden=True),
            _top_line(),
            html.Div(id="problem-line", role="alert", hidden=True),
            html.Div(skeletons(), id="tiles"),
            html.P("Waiting for the first reading.", id="no-tiles"),
            _filled_by_script("alarms", "Alarms"),
            html.Button("Mark this moment (key M)", id="mark", className="wide-button"),
            _trends(),
            _filled_by_script("replay", "Replay", hidden=True),
            _filled_by_script("instruments", "Instruments"),
            _filled_by_script("notes", "Notes and events"),
            _filled_by_script("type-in", "Type in a reading"),
            html.Div(id="reply", role="status", hidden=True),
            html.P(CAUTION, id="caution"),
            dcc.Store(id="trend-request"),
        ],
        id="page",
    )


def _top_line() -> Any:
    return html.Header(
        [
            html.Span("lightoff", id="program"),
            html.Span("connecting", id="page-state", className="state"),
            html.Span(id="recorder-state", className="state"),
            html.Button("metric", id="units-switch"),
            html.Button("light", id="theme-switch"),
            html.Span("CO not measured", id="room-co"),
        ],
        id="top-line",
    )


def _trends() -> Any:
    windows = [html.Button(text, className="window", **data(window=str(seconds))) for seconds, text in WINDOWS]
    follow = html.Button("stop here", id="follow")
    graph = dcc.Graph(
        id="trends",
        figure={"data": [], "layout": {"paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)"}},
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


def _filled_by_script(name: str, title: str, *, hidden: bool = False) -> Any:
    body = html.Div(id=f"{name}-body")
    return html.Section([html.H2(title), body], id=name, hidden=hidden)
