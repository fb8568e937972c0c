"""Who may ask: only a browser on this computer that shows this page, whatever other page it has open besides.

Guests of the local network, while the page is shared with them, come another way: `dashboard/guests.py`.
"""

from collections.abc import Awaitable, Callable, Iterable, MutableMapping, Sequence
from typing import Any
from urllib.parse import urlsplit

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})
"""Host names under which the page answers; any other name is a foreign one that was made to point here."""

REFUSED = 403


def content_security_policy(script_hashes: Sequence[str]) -> str:
    """Policy under which the page runs: its own files only, and the inline scripts of these hashes."""
    return "; ".join(
        (
            "default-src 'self'",
            f"script-src 'self' {' '.join(script_hashes)}".rstrip(),
            "style-src 'self' 'unsafe-inline'",  # plotly places its layers with inline styles
            "img-src 'self' data: blob:",
            "connect-src 'self'",
            "worker-src 'self'",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
        )
    )


class Access:
    """Refuses requests under a foreign Host or from a foreign Origin; adds the security headers to every answer."""

    def __init__(self, application: Application, policy: str) -> None:
        self.application = application
        """What is asked for in the end."""
        self._headers = [
            (b"content-security-policy", policy.encode()),
            (b"x-content-type-options", b"nosniff"),
            (b"referrer-policy", b"no-referrer"),
            (b"cross-origin-resource-policy", b"same-origin"),
        ]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or websocket (ASGI)."""
        if scope["type"] == "lifespan":
            await self.application(scope, receive, send)
            return
        reason = refusal(scope)
        if reason:
            await self.refuse(scope, receive, send, reason)
        else:
            await self.application(scope, receive, self.with_headers(send))

    async def refuse(self, scope: Scope, receive: Receive, send: Send, reason: str, status: int = REFUSED) -> None:
        """Answer a request or websocket with one sentence and nothing else."""
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 4403, "reason": reason})
            return
        headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"cache-control", b"no-store"), *self._headers]
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": reason.encode()})

    def with_headers(self, send: Send) -> Send:
        """What sends answers with the security headers."""

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *self._headers]
            await send(message)

        return sending


def refusal(scope: Scope) -> str | None:
    """Why a request is refused, in one sentence, or None.

    Any port will do, so that the page can be reached through a tunnel; the origin has to be the very host asked for.
    """
    host = single(scope["headers"], b"host")
    if host is None or _name(host) not in LOOPBACK:
        return f"refused: asked for under the name {host!r}; open the page as http://127.0.0.1"
    changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
    origin = single(scope["headers"], b"origin")
    if origin is None:
        return "refused: no origin given; open the page itself in a browser" if changes else None
    if origin.lower() != f"http://{host.lower()}":
        return f"refused: asked by another page, {origin!r}; open the page itself in a browser"
    return None


def single(headers: Iterable[tuple[bytes, bytes]], name: bytes) -> str | None:
    """Value of a header, None where there is none or several."""
    found = [value for key, value in headers if key.lower() == name]
    return found[0].decode("latin-1") if len(found) == 1 else None


def _name(host: str) -> str | None:
    try:
        return urlsplit(f"//{host}").hostname
    except ValueError:
        return None
