"""The page of a company: its calls, the worst alarm first, each of which can be opened."""

import asyncio
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from starlette.responses import FileResponse
from starlette.websockets import WebSocket, WebSocketDisconnect

from dashboard.access import Access, Application, content_security_policy
from dashboard.caution import CAUTION
from drivers.base import InputError

LOOK = 0.1
"""Between two looks whether something changed. [s]"""
HEARTBEAT = 1.0
"""A browser hears something at least this often. [s]"""
LONGEST = 1000
"""A longer message from a browser is no question. [characters]"""
FILES = {
    "/": ("calls_assets/calls.html", "text/html"),
    "/calls.css": ("calls_assets/calls.css", "text/css"),
    "/calls.js": ("calls_assets/calls.js", "text/javascript"),
    "/style.css": ("assets/style.css", "text/css"),
}

Told = Callable[[], Mapping[str, Any]]
"""What there is to draw: `company`, `calls`, `opened` and `trouble`."""
Open = Callable[[str, str], None]
"""Opens a call by technician and name; InputError where it is not on the list."""


def calls_page(told: Told, open_call: Open) -> Application:
    """The page as an ASGI application."""
    server = FastAPI(title="calls", docs_url=None, redoc_url=None, openapi_url=None)
    folder = Path(__file__).parent

    def serve(path: str, file: str, kind: str) -> None:
        @server.get(path, include_in_schema=False)
        async def answer() -> FileResponse:
            return FileResponse(folder / file, media_type=kind, headers={"Cache-Control": "no-cache"})

    for path, (file, kind) in FILES.items():
        serve(path, file, kind)

    @server.websocket("/live")
    async def live(websocket: WebSocket) -> None:
        await websocket.accept()
        telling = asyncio.create_task(_tell(websocket, told), name="calls: to browser")
        listening = asyncio.create_task(_listen(websocket, open_call), name="calls: from browser")
        try:
            await asyncio.wait((telling, listening), return_when=asyncio.FIRST_COMPLETED)
        finally:
            telling.cancel()
            listening.cancel()
            await asyncio.gather(telling, listening, return_exceptions=True)

    return Access(server, content_security_policy([]))


async def _tell(websocket: WebSocket, told: Told) -> None:
    clock = asyncio.get_running_loop().time
    last, at = "", -float("inf")
    try:
        while True:
            said = {**told(), "caution": CAUTION}
            still = json.dumps({**said, "calls": [{**call, "age": 0} for call in said["calls"]]})
            if still != last or clock() - at >= HEARTBEAT:
                last, at = still, clock()
                await websocket.send_text(json.dumps(said))
            await asyncio.sleep(LOOK)
    except (WebSocketDisconnect, RuntimeError, OSError):
        return  # the browser is gone


async def _listen(websocket: WebSocket, open_call: Open) -> None:
    try:
        async for text in websocket.iter_text():
            match _plain(text):
                case {"open": [str(technician), str(call)]}:
                    try:
                        open_call(technician, call)
                    except InputError:
                        continue  # it has gone from the list meanwhile, which the browser is told anyway
    except (WebSocketDisconnect, RuntimeError, OSError):
        return  # the browser is gone


def _plain(text: str) -> Any:
    try:
        return json.loads(text) if len(text) <= LONGEST else None
    except (ValueError, RecursionError):
        return None
