"""Serves the page to the local network while it is shared, and nothing before and after; the commands for it."""

import asyncio
import contextlib
import errno
import os
import socket
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

import uvicorn

from collector.arguments import number_in, text_in
from collector.building import ALL, HOURS, Share, begun
from dashboard.access import Access
from dashboard.guests import Guests
from dashboard.sharing import Sharing
from drivers.base import InputError, LightoffError

TICK = 1.0
"""Time between two looks at the clock: a link holds at most so much longer. [s]"""
CONNECTIONS = 200
"""Connections of guests at the same time; further ones are answered that it is busy. [1]"""
LONGEST_MESSAGE = 65_536
"""A guest that sends a longer one is cut off. [bytes]"""
END = 5.0
"""Time that guests' requests have to end when the sharing does. [s]"""

Answer = Mapping[str, Any]


class QuietServer(uvicorn.Server):
    """A server beside another one, which takes the signals."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave the signals alone."""
        yield


class GuestServer:
    """Begins and ends the sharing; `remember` is told whenever the link is another one or none."""

    def __init__(
        self, access: Access, sharing: Sharing, *, port: int, remember: Callable[[Share | None], None] = lambda _: None
    ) -> None:
        self._application = Guests(access, sharing)
        self._sharing = sharing
        self._port = port
        self._remember = remember
        self._server: QuietServer | None = None
        self._serving: asyncio.Task[None] | None = None
        self._work = asyncio.Lock()
        self.commands = {"share_begin": self._begin, "share_end": self._end, "share_cut": self._cut}
        """What the technician's page may do, by name; guests may nothing."""

    async def begin(self, share: Share) -> None:
        """Listen on the addresses of a share, and share; InputError when no port there is free."""
        async with self._work:
            if self._sharing.share:
                self._sharing.end("the technician shares by another link now: ask for it")
                self._remember(None)
            await self._stop()
            sockets, port = listening(share.addresses, share.port or self._port)
            config = uvicorn.Config(
                self._application,
                lifespan="off",
                log_level="error",
                access_log=False,
                server_header=False,
                proxy_headers=False,  # whoever asks is whoever is connected
                timeout_graceful_shutdown=1,
                limit_concurrency=CONNECTIONS,
                ws="websockets-sansio",
                ws_max_size=LONGEST_MESSAGE,
                ws_per_message_deflate=False,
            )
            self._server = QuietServer(config)
            self._serving = asyncio.create_task(self._serve(self._server, sockets), name="guests")
            self._sharing.begin(replace(share, port=port))
            self._remember(self._sharing.share)

    async def end(self) -> None:
        """Cut everybody off, then stop listening."""
        self._sharing.end()
        self._remember(None)
        async with self._work:
            await self._stop()

    async def watch(self) -> None:
        """End the sharing when its time is over, until cancelled."""
        while True:
            await asyncio.sleep(TICK)
            shared = self._sharing.share is not None
            self._sharing.tick()
            if shared and self._sharing.share is None:
                await self.end()

    async def close(self) -> None:
        """Stop listening; the page ends, and what is shared is shared again when it returns."""
        self._sharing.end("the recorder ended: there is nothing more to look at here")
        async with self._work:
            await self._stop()

    async def execute(self, name: str, given: Mapping[str, object]) -> dict[str, Any]:
        """Carry out one of the commands."""
        try:
            return {"ok": True, "text": await self.commands[name](given)}
        except LightoffError as error:
            return {"ok": False, "text": str(error)}

    async def _begin(self, given: Mapping[str, object]) -> str:
        hours = number_in(given, "hours") if "hours" in given else HOURS
        address = text_in(given, "address", default=ALL)
        share = await asyncio.to_thread(begun, address, hours, time.time())
        await self.begin(share)
        return "shared: whoever has the link and is in the same network can look on"

    async def _end(self, given: Mapping[str, object]) -> str:  # noqa: ARG002
        await self.end()
        return "no longer shared; whoever looked on was cut off"

    async def _cut(self, given: Mapping[str, object]) -> str:
        if not self._sharing.cut(round(number_in(given, "viewer"))):
            raise InputError("that viewer is gone already", "look at the list again")
        self._remember(self._sharing.share)
        return "cut off; the others look on, and for new ones there is a new link"

    async def _serve(self, server: QuietServer, sockets: Sequence[socket.socket]) -> None:
        try:
            await server.serve(sockets=list(sockets))
        finally:
            for one in sockets:
                one.close()

    async def _stop(self) -> None:
        server, serving = self._server, self._serving
        self._server = self._serving = None
        if server is None or serving is None:
            return
        server.should_exit = True
        _, late = await asyncio.wait([serving], timeout=END)
        if late:
            serving.cancel()
            with suppress(asyncio.CancelledError):
                await serving


def listening(addresses: Sequence[str], wanted: int) -> tuple[list[socket.socket], int]:
    """Sockets on one port of all these addresses: the wanted one, or another that is free; InputError without one."""
    for port in (wanted, 0, 0, 0):
        bound: list[socket.socket] = []
        try:
            for address in addresses:
                own = bound[0].getsockname()[1] if bound else port
                bound.append(_bound(address, own))
        except OSError as error:
            for one in bound:
                one.close()
            if error.errno != errno.EADDRINUSE:
                what = f"{address} cannot be shared on ({os.strerror(error.errno or 0)})"
                raise InputError(what, "look whether this computer is still in that network") from error
        else:
            return bound, bound[0].getsockname()[1]
    raise InputError(f"no port is free on {', '.join(addresses)}", "try again, or name another address")


def _bound(address: str, port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere this would take a port that is in use
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((address, port))
        made.listen()  # whoever comes before the server is up waits for it
    except BaseException:
        made.close()
        raise
    return made
