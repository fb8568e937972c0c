"""The frame of the page: what stands above every view, the views themselves, and the way from one to another."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from dashboard.caution import CAUTION
from dashboard.tiles import data


@dataclass(frozen=True, slots=True)
class View:
    """One of the views that the page can show; what stands above them stays."""

    name: str
    """In the address, behind `#`."""
    text: str
    """On its button."""
    parts: Sequence[Any]


def frame(views: Sequence[View]) -> Any:
    """The page, empty; the scripts in the browser fill it."""
    return html.Main(
        [
            _takeover(),
            html.Div(id="safety-message", role="alert", hidden=True),
            html.Div([*_banners(), _top_line()], id="top"),
            _open_entries(),
            _ways(views),
            _alarm_line(),
            _talk_line(),
            html.Div(id="problem-line", role="alert", hidden=True),
            *(html.Div(list(view.parts), id=f"view-{view.name}", className="view", hidden=True) for view in views),
            html.Div(id="reply", role="status", hidden=True),
            html.P(CAUTION, id="caution"),
        ],
        id="page",
    )


def section(name: str, title: str, *, hidden: bool = False) -> Any:
    """A part of a view that a script fills: `NAME-body` under a heading `NAME-title`."""
    body = html.Div(id=f"{name}-body")
    return html.Section([html.H2(title, id=f"{name}-title", tabIndex="-1"), body], id=name, hidden=hidden)


def _ways(views: Sequence[View]) -> Any:
    ways = [html.Button(view.text, className="way", **data(view=view.name)) for view in views]
    labelled: dict[str, Any] = {"aria-label": "views"}
    return html.Nav(ways, id="ways", **labelled)


def _takeover() -> Any:
    """Takes the whole page for what must not wait; above everything until it is acknowledged."""
    labelled: dict[str, Any] = {"aria-modal": "true", "aria-labelledby": "takeover-title"}
    parts = [html.H2(id="takeover-title", tabIndex="-1"), html.Div(id="takeover-body")]
    return html.Div(parts, id="takeover", role="alertdialog", hidden=True, **labelled)


def _top_line() -> Any:
    return html.Header(
        [
            html.H1("lightoff", id="program"),
            html.Span("connecting", id="page-state", className="state"),
            html.Span(id="recorder-state", className="state"),
            html.Span(id="archive-state", className="state", hidden=True),
            html.Span(id="broker-state", className="state", hidden=True),
            html.Span(id="watching-state", className="state", hidden=True),
            html.Button(id="meters-state", hidden=True),
            html.Button(id="sharing-state", hidden=True),
            _settings(),
            html.Div(
                [
                    html.Span(id="room-co-shape"),
                    " ",
                    html.Span("CO not measured", id="room-co-main"),
                    html.Span(id="room-co-more", hidden=True),
                ],
                id="room-co",
                className="not-measured",
            ),
        ],
        id="top-line",
    )


def _settings() -> Any:
    """What the page is to be like on this screen; kept in the browser."""
    buttons = [
        html.Button("metric", id="units-switch"),
        html.Button("light", id="theme-switch"),
        html.Button("sound on", id="sound-switch"),
        html.Button("keep screen awake", id="awake-switch"),
        html.Button("keys off", id="keys-switch"),
    ]
    keys = (
        "Keys: M mark, N note, E enter a reading, P pause the trends, 1 to 5 views. "
        "Sounds begin with the first touch or key."
    )
    summary = html.Summary([html.Span("⚙ ", className="only-narrow"), html.Span("Settings", className="only-wide")])
    parts = [summary, html.Div([*buttons, html.P(keys, className="facts")], className="buttons")]
    return html.Details(parts, id="settings")


def _open_entries() -> Any:
    """What was opened for a test and is not put back: on every view until it is."""
    labelled: dict[str, Any] = {"aria-label": "open entries"}
    parts = [html.P(id="open-warning", role="alert", hidden=True), html.Ul(id="open-list")]
    return html.Section(parts, id="open-entries", hidden=True, **labelled)


def _banners() -> list[Any]:
    """Where the readings come from, and that whoever looks on here may only do that."""
    return [
        html.Div(id="origin-banner", role="status", hidden=True),
        html.Div(id="guest-banner", role="status", hidden=True),
    ]


def _talk_line() -> Any:
    """What somebody who looks on from elsewhere asked for last; leads to the list."""
    labelled: dict[str, Any] = {"aria-live": "polite"}
    return html.Div(html.Button(id="talk-line", hidden=True), **labelled)


def _alarm_line() -> Any:
    """How many alarms, and the most urgent; leads to their list."""
    parts: list[Any] = [html.Span(id="alarm-line-priority"), " ", html.Span(id="alarm-line-text")]
    return html.Button(html.Span(parts, id="alarm-line-words"), id="alarm-line", hidden=True)
