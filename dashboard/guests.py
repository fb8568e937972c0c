"""What guests of the local network get: the page to look at, by a link; everything that changes anything is refused."""

import asyncio
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie

from dashboard.access import Access, Receive, Scope, Send, single
from dashboard.join import PAGE, SCRIPT
from dashboard.sharing import GONE, Refused, Sharing, Viewer, device_of

VIEWER = "lightoff.viewer"
"""In the scope of a guest's request: who it is. The technician's own requests have none."""

READ_ONLY = "refused: this page is read only for whoever looks on; ask the technician to do it"
NO_LINK = "refused: this page is shared by a link; open the whole link that you were given"

READABLE = frozenset(
    {"/", "/_dash-layout", "/_dash-dependencies", "/_favicon.ico", "/_reload-hash", "/plotly.min.js", "/causes"}
)
READABLE_BELOW = ("/assets/", "/_dash-component-suites/", "/photos/")
FIGURES = "/trends"
"""Asked by POST, since the question is long; it changes nothing."""
LIVE = "/live"
"""The websocket; whatever a guest sends on it is refused."""

FIGURES_AT_ONCE = 2
"""Figures made at the same time for all guests together: the technician's come first. [1]"""
LONGEST_TOKEN = 128
"""A longer one is none. [bytes]"""
PATIENCE = 5.0
"""Time for sending it. [s]"""


class Guests:
    """Stands before the page where it is reached from the network (ASGI); what is not known to only read is refused."""

    def __init__(self, access: Access, sharing: Sharing) -> None:
        self._access = access
        self._sharing = sharing
        self._turns = asyncio.Semaphore(FIGURES_AT_ONCE)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or websocket."""
        if scope["type"] == "lifespan":
            await self._access.application(scope, receive, send)
            return
        try:
            await self._answer(scope, receive, self._access.with_headers(send))
        except Refused as refused:
            await self._access.refuse(scope, receive, send, str(refused), refused.status)

    async def _answer(self, scope: Scope, receive: Receive, send: Send) -> None:
        self._check_names(scope)
        path = scope["path"]
        if scope["type"] == "http" and path in ("/join", "/join.js"):
            await self._join(scope, receive, send)
            return
        kept = self._cookie(scope)
        viewer = self._sharing.viewer(kept)
        if viewer is None:
            raise Refused(GONE if kept else NO_LINK)
        if not only_reads(scope):
            raise Refused(READ_ONLY)
        await self._pass(viewer, {**scope, VIEWER: viewer}, receive, send)

    async def _pass(self, viewer: Viewer, scope: Scope, receive: Receive, send: Send) -> None:
        application = self._access.application
        if scope["type"] == "websocket":
            with self._sharing.watching(viewer):
                await application(scope, receive, send)
        elif scope["path"] == FIGURES:
            async with self._turns:
                await application(scope, receive, send)
        else:
            await application(scope, receive, send)

    def _check_names(self, scope: Scope) -> None:
        """Only under an address that is shared now, only from this very page: other names may be made to point here."""
        share = self._sharing.share
        known = {f"{address}:{share.port}" for address in share.addresses} if share else set()
        host = single(scope["headers"], b"host")
        if host is None or host not in known:
            raise Refused(f"refused: asked for under the name {host!r}; open the link that you were given")
        origin = single(scope["headers"], b"origin")
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if origin is None and changes:
            raise Refused("refused: no origin given; open the page itself in a browser")
        if origin is not None and origin.lower() != f"http://{host}":
            raise Refused(f"refused: asked by another page, {origin!r}; open the page itself in a browser")

    async def _join(self, scope: Scope, receive: Receive, send: Send) -> None:
        match scope["method"], scope["path"]:
            case "GET", "/join":
                await _send(send, "text/html", PAGE)
            case "GET", "/join.js":
                await _send(send, "text/javascript", SCRIPT)
            case "POST", "/join":
                token = await _body(receive)
                client = scope.get("client")
                agent = single(scope["headers"], b"user-agent") or ""
                kept = self._sharing.admit(token, client[0] if client else "", device_of(agent))
                cookie = f"{self._name()}={kept}; Path=/; Max-Age={self._sharing.left():.0f}; HttpOnly; SameSite=Strict"
                await _send(send, "text/plain", "welcome", [(b"set-cookie", cookie.encode())])
            case _:
                raise Refused(READ_ONLY)

    def _name(self) -> str:
        """Of what a browser keeps: browsers do not tell the ports of one address apart there."""
        return f"lightoff_guest_{self._sharing.share.port if self._sharing.share else 0}"

    def _cookie(self, scope: Scope) -> str | None:
        given = single(scope["headers"], b"cookie")
        try:
            found = SimpleCookie(given or "")
        except CookieError:
            return None
        return str(found[self._name()].value) if self._name() in found else None


def only_reads(scope: Scope) -> bool:
    """Whether a request is known to change nothing; of whatever is added to the page later it is not known."""
    path = scope["path"]
    if scope["type"] == "websocket":
        return bool(path == LIVE)
    if scope["method"] == "POST":
        return bool(path == FIGURES)
    return scope["method"] in ("GET", "HEAD") and (path in READABLE or path.startswith(READABLE_BELOW))


async def _body(receive: Receive) -> str:
    """The token sent; too long or too slow it is none."""
    body = b""
    try:
        async with asyncio.timeout(PATIENCE):
            while (message := await receive())["type"] == "http.request":
                body += bytes(message.get("body", b""))
                if len(body) > LONGEST_TOKEN:
                    return ""
                if not message.get("more_body"):
                    return body.decode("ascii", "replace")
    except TimeoutError:
        pass
    return ""


async def _send(send: Send, kind: str, text: str, more: Iterable[tuple[bytes, bytes]] = ()) -> None:
    headers = [(b"content-type", f"{kind}; charset=utf-8".encode()), (b"cache-control", b"no-store"), *more]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": text.encode()})


async def read_only(name: str, arguments: object) -> dict[str, object]:  # noqa: ARG001
    """What is answered to whatever a guest wants done."""
    return {"ok": False, "text": READ_ONLY}
