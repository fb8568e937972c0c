"""Layout of the live view: tiles, trends, alarms, notes; empty, the scripts in the browser fill it."""

from typing import Any

from dash import html

from dashboard.charts import CHARTS
from dashboard.shell import section
from dashboard.tiles import data, skeletons

WINDOWS = ((60, "1 min"), (300, "5 min"), (900, "15 min"), (1800, "30 min"), (0, "all"))
"""Windows of the trends [s]; 0 is everything."""


def layout() -> list[Any]:
    """What moves: phase and tiles beside the trends where there is room, above them where there is not."""
    left = [
        _headline(),
        html.Div(skeletons(), id="tiles"),
        _nothing_yet(),
        section("alarms", "Alarms"),
        section("causes", "What it may be", hidden=True),
    ]
    right = [
        _acting(),
        _trends(),
        section("talk", "From elsewhere", hidden=True),
        section("attempts", "Attempts", hidden=True),
        section("replay", "Replay", hidden=True),
        section("practice", "Practice: what is wrong with the simulated unit", hidden=True),
    ]
    return [
        html.Div([html.Div(left, id="live-left"), html.Div(right, id="live-right")], id="live-columns"),
        section("done", "What I did", hidden=True),
        section("notes", "Notes and events"),
        section("type-in", "Enter a reading by hand"),
        section("sharing", "In the same building"),
    ]


def _acting() -> Any:
    """What is done most while something happens: under the thumb on a telephone."""

    def button(text: str, key: str, name: str) -> Any:
        return html.Button([text, html.Span(f" (key {key})", className="only-wide")], id=name, className="wide-button")

    return html.Div(
        [button("Mark this moment", "M", "mark"), button("Enter a reading", "E", "enter")],
        id="mark-room",
    )


def _headline() -> Any:
    """The phase, largest; how long it lasts, which try it is, what comes next; which contact opened first."""
    return html.Section(
        [
            html.Div(id="headline-warnings", role="alert", hidden=True),
            html.Div(id="headline-phase"),
            html.Div(html.Div(id="headline-done"), id="headline-bar", hidden=True),
            html.Div(id="headline-more"),
            html.Div(id="headline-drop", hidden=True),
            html.Div(id="headline-said", role="status", hidden=True),
        ],
        id="headline",
        hidden=True,
    )


def _nothing_yet() -> Any:
    return html.Div(
        [
            html.P("Waiting for the first reading.", id="no-tiles-text"),
            html.Button("type in a reading", id="to-type-in", hidden=True),
        ],
        id="no-tiles",
    )


def _trends() -> Any:
    windows = [html.Button(text, className="window", **data(window=str(seconds))) for seconds, text in WINDOWS]
    moving = [
        html.Button("pause", id="follow"),
        html.Button("earlier", id="trends-earlier", hidden=True),
        html.Button("later", id="trends-later", hidden=True),
    ]
    return html.Section(
        [
            html.H2("Trends", id="trends-title", tabIndex="-1"),
            html.Div([*windows, *moving], id="windows", className="buttons"),
            html.Div(id="trends-cursor-row", className="buttons"),
            html.P(id="dew-point", hidden=True),
            html.P(id="trends-message", className="facts", hidden=True),
            html.Div([*map(_chart, CHARTS), _strip(), html.Div(id="trends-cursor-line", hidden=True)], id="trends"),
            html.P(id="trends-axis", className="facts"),
        ],
        id="trends-section",
    )


def _strip() -> Any:
    """The attempts and their phases, on the time axis of the charts above."""
    head = html.Div([html.H3("attempts and phases"), html.Span(id="attempts-at")], className="chart-head")
    return html.Div([head, html.Div(id="attempts-strip")], id="attempts-strip-row", hidden=True)


def _chart(chart: Any) -> Any:
    """One chart: its head with the lines' names, and what they show at the cursor; the drawing below."""
    head = html.Div(
        [
            html.H3([html.Span(chart.title), html.Span(className="chart-unit")]),
            html.Div(className="legend"),
        ],
        className="chart-head",
    )
    return html.Div(
        [head, html.Div(className="chart-drawing")], className="chart", hidden=True, **data(chart=chart.name)
    )
