"""The page put together: Dash for the layout, one websocket for everything that moves, routes for the trends."""

import asyncio
import json
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from dash import Dash
from dash.backends import get_backend
from fastapi import FastAPI
from starlette.websockets import WebSocket, WebSocketDisconnect

from dashboard.access import Access, content_security_policy
from dashboard.charts import TREND_POINTS
from dashboard.found_attempts import FoundAttempts
from dashboard.found_causes import FoundCauses, add_causes
from dashboard.guest_view import for_guest
from dashboard.guests import VIEWER, read_only
from dashboard.hub import Hub, Listener, Message
from dashboard.library import Summaries
from dashboard.library_routes import add_routes as add_library
from dashboard.photo_routes import add_routes as add_photos
from dashboard.sharing import Viewer
from dashboard.shell import frame
from dashboard.tiles import words
from dashboard.trend_routes import add_routes, scripts
from dashboard.views import views
from dashboard.wizard import words as places

Command = Callable[[str, Mapping[str, object]], Awaitable[dict[str, Any]]]
Told = Callable[[Message], Message | None]

CUT_OFF = 4401
"""What a guest's connection is closed with when they may no longer look on; the reason is a sentence."""

GATHER = 0.02
"""A browser gets messages at once, and then those of so long together; less than the feed gathers, so that what the
feed has gathered does not wait here again. [s]"""

HEARTBEAT = 1.0
"""A browser hears something at least this often, so that it can tell a silent page from a quiet one. [s]"""

LONGEST_COMMAND = 450_000
"""A longer message from a browser is refused: a job file of 200 kB, its line ends and quotes doubled. [characters]"""


DOCUMENT = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}</head>
<body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""
"""Dash's own document, with its language said."""


class PageServer(get_backend("fastapi")):  # type: ignore[misc]
    """Dash's own server without its websocket, which nothing uses, and without pages about its routes."""

    websocket_capability = False

    @staticmethod
    def create_app(name: str = "dashboard") -> FastAPI:
        """Server that Dash puts its routes on."""
        return FastAPI(title=name, docs_url=None, redoc_url=None, openapi_url=None)


def page(
    hub: Hub, command: Command, library: Path = Path("recordings"), attempts: FoundAttempts | None = None
) -> Access:
    """The page as an ASGI application: fed by `hub`, its browsers' commands go to `command`.

    The same application, without what stands before it, is served to guests (`dashboard.guests`), whose requests say
    who they are. `library` is the folder of the recordings that can be looked at; `attempts` has their attempts looked
    for.
    """
    dash = Dash(
        "dashboard",
        backend=PageServer,
        assets_folder=str(Path(__file__).parent / "assets"),
        title="lightoff",
        update_title="",
        serve_locally=True,
        external_scripts=scripts(),
        index_string=DOCUMENT,
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    dash.layout = frame(views())
    known = words() | {"trend_points": sorted(TREND_POINTS), "longest_command": LONGEST_COMMAND, "places": places()}

    async def live(websocket: WebSocket) -> None:
        viewer: Viewer | None = websocket.scope.get(VIEWER)
        told = for_guest if viewer else _everything
        await websocket.accept()
        with hub.listening() as listener:
            telling = _tell(websocket, hub, listener, known, told)
            listening = _listen(websocket, listener, read_only if viewer else command)
            around = [asyncio.create_task(telling, name="live: to browser")]
            around.append(asyncio.create_task(listening, name="live: from browser"))
            if viewer:
                around.append(asyncio.create_task(_cut_off(websocket, viewer), name="live: cut off"))
            try:
                await asyncio.wait(around, return_when=asyncio.FIRST_COMPLETED)
            finally:
                for task in around:
                    task.cancel()
                await asyncio.gather(*around, return_exceptions=True)

    dash.server.add_api_websocket_route("/live", live)
    add_routes(dash.server, hub)
    add_photos(dash.server, hub.recording, library)
    add_causes(dash.server, hub.recording, FoundCauses())
    add_library(dash.server, Summaries(library, hub.recording, attempts))
    return Access(dash.server, content_security_policy(dash.csp_hashes()))


def _everything(message: Message) -> Message | None:
    return message


async def _cut_off(websocket: WebSocket, viewer: Viewer) -> None:
    """Close a guest's connection as soon as they may no longer look on."""
    await viewer.ended.wait()
    with suppress(WebSocketDisconnect, RuntimeError, OSError):
        await websocket.close(CUT_OFF, viewer.why)


async def _tell(websocket: WebSocket, hub: Hub, listener: Listener, known: Message, told: Told = _everything) -> None:
    """Send one browser what comes in, as arrays of messages, until it is gone or the page ends."""
    messages = [known]
    try:
        while not hub.closed:
            shown = [one for message in messages if (one := told(message)) is not None]
            await websocket.send_text(json.dumps(shown, separators=(",", ":")))
            await asyncio.sleep(GATHER)
            await listener.wait(HEARTBEAT)
            if listener.behind:
                listener.start_afresh(hub.known())
            messages = listener.take()
        await websocket.close(code=1001)
    except (WebSocketDisconnect, RuntimeError, OSError):
        return  # the browser is gone


async def _listen(websocket: WebSocket, listener: Listener, command: Command) -> None:
    """Pass the commands of one browser on, one after the other, and give it the answers."""
    try:
        async for text in websocket.iter_text():
            listener.offer({"type": "reply", **await _answer(text, command)})
    except (WebSocketDisconnect, RuntimeError, OSError):
        return  # the browser is gone


async def _answer(text: str, command: Command) -> dict[str, Any]:
    if len(text) > LONGEST_COMMAND:
        size = f"{len(text)} characters, and {LONGEST_COMMAND} are the most"
        return {"id": None, "ok": False, "text": f"what the page sent has {size}; shorten it and send it again"}
    try:
        message = json.loads(text)
    except (ValueError, RecursionError):
        message = None
    match message:
        case {"id": int(number), "name": str(name), "arguments": dict(arguments)}:
            return {"id": number, **await command(name, arguments)}
        case _:
            return {"id": None, "ok": False, "text": "the page sent something that is no command; load it again"}
