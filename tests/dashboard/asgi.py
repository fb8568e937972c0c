"""One request or websocket straight to an ASGI application, without a socket."""

import asyncio
from typing import Any

from dashboard.access import Application

HOST = "127.0.0.1:8350"
ORIGIN = "http://127.0.0.1:8350"


def scope(kind: str, path: str, method: str, headers: dict[str, str]) -> dict[str, Any]:
    """ASGI scope of a request."""
    raw = [(name.lower().encode(), value.encode()) for name, value in headers.items()]
    place, _, query = path.partition("?")
    common = {
        "path": place,
        "raw_path": place.encode(),
        "query_string": query.encode(),
        "headers": raw,
        "root_path": "",
    }
    connection = {"client": ("127.0.0.1", 1), "server": ("127.0.0.1", 8350), "asgi": {"version": "3.0"}}
    kinds: dict[str, dict[str, Any]] = {
        "http": {"method": method, "scheme": "http"},
        "websocket": {"scheme": "ws", "subprotocols": []},
    }
    return {"type": kind, "http_version": "1.1", **common, **connection, **kinds[kind]}


async def request(
    application: Application,
    path: str = "/",
    method: str = "GET",
    headers: dict[str, str] | None = None,
    body: bytes = b"",
) -> tuple[int, dict[str, str], bytes]:
    """Status, headers and body of the answer."""
    sent: list[Any] = []
    waiting = [body]

    async def receive() -> dict[str, Any]:
        if not waiting:
            await asyncio.Event().wait()  # the browser stays and says no more
        return {"type": "http.request", "body": waiting.pop(), "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    await application(scope("http", path, method, headers or {"Host": HOST}), receive, send)
    answer = {name.decode().lower(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], answer, b"".join(part.get("body", b"") for part in sent[1:])


async def knock(application: Application, path: str, headers: dict[str, str]) -> str:
    """What a websocket is told first: `websocket.accept` or `websocket.close`."""
    sent: list[str] = []
    waiting: list[dict[str, Any]] = [{"type": "websocket.connect"}, {"type": "websocket.disconnect", "code": 1000}]

    async def receive() -> dict[str, Any]:
        return waiting.pop(0) if len(waiting) > 1 else waiting[0]

    async def send(message: Any) -> None:
        sent.append(message["type"])

    await application(scope("websocket", path, "GET", headers), receive, send)
    return sent[0]
