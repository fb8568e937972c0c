"""Two other ways from the feed to the eye: `python -m tests.benchmarks.other_ways interval|push`, started like a page.

Eight tiles and four charts of four traces over five minutes, as Dash is mostly used: `interval` asks for what is new
each 200 ms, `push` is told it each 200 ms over Dash's own websocket once `begin` is set: at full load it hangs the
tab when that is done while the page is loading. Both also serve /live, so that further viewers cost the same anywhere.
"""

import asyncio
import json
import math
import sys
from collections import deque
from collections.abc import Iterable
from typing import Any

import uvicorn
from dash import Dash, Input, Output, State, ctx, dcc, html, set_props
from dash.exceptions import PreventUpdate
from starlette.websockets import WebSocket

from analysis.thinning import thin
from dashboard.__main__ import Settings
from dashboard.app import PageServer, _tell
from dashboard.feed import FeedClient
from dashboard.figures import POINTS_A_TRACE
from dashboard.history import read
from dashboard.hub import Hub
from dashboard.serving import AnnouncingServer, listening_socket, when_input_ends
from dashboard.tiles import data

PERIOD = 0.2
"""Between two updates. [s]"""
WINDOW = 300.0
"""Of the charts. [s]"""
MOST_POINTS = 2000
KEPT = 600
"""Readings of a channel kept for a browser that is behind: a minute at 10 Hz. [1]"""

TILES = (
    "draft_switch draft_collector draft_transition draft_burner_box gas_manifold flame_current temp_supply"
    " humidity_supply".split()
)
CHARTS = (
    ("draft_switch", "draft_collector", "draft_transition", "draft_burner_box"),
    ("temp_return", "temp_supply", "temp_supply_2", "temp_outdoor"),
    ("humidity_supply", "humidity_return", "humidity_room", "flame_current"),
    ("gas_manifold", "static_return", "static_supply", "draft_vent"),
)
POINTS = tuple(point for chart in CHARTS for point in chart)
"""Of the sixteen channels, one of each."""


class Present:
    """What came over the feed of late, by point."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub
        self._kept: dict[str, deque[tuple[float, float]]] = {point: deque(maxlen=KEPT) for point in POINTS}

    def publish(self, message: dict[str, Any]) -> None:
        """Take a message of the feed in, and pass it on to those at /live."""
        self._hub.publish(message)
        if message["type"] == "readings":
            for key, time, value, _ in message["readings"]:
                if (kept := self._kept.get(key.partition("@")[0])) is not None and "@" in key:
                    kept.append((time / 1e6, math.nan if value is None else value))

    def tiles(self) -> list[Any]:
        """The tiles, each with the time of its reading."""
        return [_tile(*(self._kept[point] or [(0.0, math.nan)])[-1]) for point in TILES]

    def since(self, last: float) -> tuple[list[Any], float]:
        """What each chart is to be extended by after a time [ms], and the time it then reaches."""
        extensions, newest = [], last
        for chart in CHARTS:
            new = [[row for row in self._kept[point] if row[0] > last] for point in chart]
            x = [[row[0] for row in rows] for rows in new]
            y = [[row[1] for row in rows] for rows in new]
            extensions.append([{"x": x, "y": y}, list(range(len(chart))), MOST_POINTS])
            newest = max((newest, *(row[0] for rows in new for row in rows)))
        return extensions, newest


def _tile(time: float, value: float) -> Any:
    return html.Div(html.Span(f"{value:.4g}", **data(time=repr(time))), className="tile-value")


def _figures(settings: Settings, hub: Hub) -> tuple[list[Any], float]:
    end = hub.newest or 0.0
    found = {series.channel.point: series for series in read(settings.recording, POINTS, end - WINDOW, end)}
    figures: list[Any] = []
    newest = 0.0
    for chart in CHARTS:
        traces = []
        for point in chart:
            x, y = (column.tolist() for column in thin(found[point].time * 1000, found[point].value, POINTS_A_TRACE))
            traces.append({"x": x, "y": y, "mode": "lines", "name": point})
            newest = max(newest, *x[-1:], 0.0)
        layout = {"xaxis": {"type": "date"}, "uirevision": "same", "height": 230, "margin": {"t": 8, "b": 30}}
        figures.append(dcc.Graph(id=f"chart-{len(figures)}", figure={"data": traces, "layout": layout}))
    return figures, newest


def application(way: str, settings: Settings, hub: Hub, present: Present) -> Any:
    """The page of one of the two ways."""
    dash = Dash("other", backend="fastapi" if way == "push" else PageServer, update_title="", serve_locally=True)

    def layout() -> Any:
        figures, newest = _figures(settings, hub)
        return html.Div(
            [
                html.Div(
                    present.tiles(), id="tiles", style={"display": "grid", "gridTemplateColumns": "repeat(4, 1fr)"}
                ),
                html.Div(figures, id="trends"),
                dcc.Store(id="reached", data=newest),
                dcc.Interval(id="clock", interval=PERIOD * 1000) if way == "interval" else None,
                dcc.Store(id="begin"),
            ]
        )

    dash.layout = layout
    charts = [f"chart-{number}" for number in range(len(CHARTS))]
    if way == "interval":
        _ask(dash, present, charts)
    else:
        _push(dash, present, charts)

    async def live(websocket: WebSocket) -> None:
        await websocket.accept()
        with hub.listening() as listener:
            await _tell(websocket, hub, listener, {"type": "page"})

    dash.server.add_api_websocket_route("/live", live)
    return dash.server


def _ask(dash: Dash, present: Present, charts: Iterable[str]) -> None:
    @dash.callback(
        [
            Output("tiles", "children"),
            *(Output(chart, "extendData") for chart in charts),
            Output("reached", "data"),
        ],
        Input("clock", "n_intervals"),
        State("reached", "data"),
        prevent_initial_call=True,
    )
    def new(_: int, reached: float) -> Any:
        extensions, newest = present.since(reached)
        return [present.tiles(), *extensions, newest]


def _push(dash: Dash, present: Present, charts: Iterable[str]) -> None:
    @dash.callback(
        Input("begin", "data"),
        State("reached", "data"),
        websocket=True,
        persistent=True,
        prevent_initial_call=True,
    )
    async def new(_: int, reached: float) -> None:
        socket = ctx.websocket
        while not socket.is_shutdown:
            extensions, reached = present.since(reached)
            set_props("tiles", {"children": present.tiles()})
            for chart, extension in zip(charts, extensions, strict=True):
                set_props(chart, {"extendData": extension})
            await asyncio.sleep(PERIOD)
        raise PreventUpdate


async def serve(way: str, settings: Settings) -> None:
    """Serve it until the recorder is gone."""
    hub = Hub(settings.recording)
    present = Present(hub)
    feed = FeedClient(settings.feed_host, settings.feed_port, settings.token, present.publish)
    bound = listening_socket(0)
    config = uvicorn.Config(
        application(way, settings, hub, present),
        lifespan="off",
        log_level="error",
        access_log=False,
        timeout_graceful_shutdown=1,
        ws="websockets-sansio",
    )
    address = f"http://127.0.0.1:{bound.getsockname()[1]}/"
    server = AnnouncingServer(config, lambda: print(json.dumps({"address": address}), flush=True))  # noqa: T201
    loop = asyncio.get_running_loop()

    def end() -> None:
        hub.close()
        server.should_exit = True

    when_input_ends(lambda: loop.call_soon_threadsafe(end))
    reading = asyncio.create_task(feed.run(), name="feed")
    try:
        await server.serve(sockets=[bound])
    finally:
        reading.cancel()
        await asyncio.gather(reading, return_exceptions=True)


if __name__ == "__main__":
    asyncio.run(serve(sys.argv[1], Settings.parse(sys.stdin.readline())))
