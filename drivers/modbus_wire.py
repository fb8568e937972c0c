"""An open serial port or connection for Modbus, and how a port is opened without holding up anybody."""

import asyncio
import logging
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from drivers.endings import thread_ended

END = 1.5
"""Longest time to wait for the end of a thread that opens a port. [s]"""
HELD = 1024
"""Bytes kept while an answer is waited for; the oldest are dropped and counted. [bytes]"""

_log = logging.getLogger(__name__)


class Wire(asyncio.Protocol):
    """An open port or connection."""

    def __init__(self, gone: Callable[["Wire"], None]) -> None:
        self.transport: Any = None
        self.data = bytearray()
        self.heard = 0.0
        """When something was sent or came last, by the loop's clock. [s]"""
        self._gone = gone
        self._arrived = asyncio.Event()
        self._dropped = 0
        self._transaction = 0
        self._clock = asyncio.get_running_loop().time

    def connection_made(self, transport: Any) -> None:
        """It is open."""
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        """Something came."""
        self.heard = self._clock()
        self.data += data
        self._dropped += max(len(self.data) - HELD, 0)
        del self.data[:-HELD]
        self._arrived.set()

    def connection_lost(self, error: Exception | None) -> None:  # noqa: ARG002 - what it says is of no use to people
        """It is gone."""
        self._gone(self)
        self._arrived.set()

    def polled(self, task: "asyncio.Task[None]") -> None:
        """The polling of a port ended."""
        if not task.cancelled() and task.exception():
            self.transport.poll_task = None
            discard(self.transport)
            self.connection_lost(None)

    def send(self, frame: bytes) -> None:
        """Send a question."""
        self.heard = self._clock()
        self.transport.write(frame)

    def clear(self) -> int:
        """Forget what came; how much that was. [bytes]"""
        count = len(self.data) + self._dropped
        self.data.clear()
        self._dropped = 0
        self._arrived.clear()
        return count

    async def arrival(self, within: float) -> None:
        """Wait until more comes, or the line goes, at most `within` [s]."""
        with suppress(TimeoutError):
            async with asyncio.timeout(within):
                await self._arrived.wait()
        self._arrived.clear()

    def next_transaction(self) -> int:
        """Number of the next question on this connection; never the same within 65,535."""
        self._transaction = self._transaction % 65535 + 1
        return self._transaction


class StillOpeningError(TimeoutError):
    """The system has not come back from an opening before."""


class Opener:
    """Opens a port in a thread, since a system may take long for it; one that comes too late is closed again."""

    def __init__(self) -> None:
        self._stuck: threading.Thread | None = None
        """Nobody waits for it any more, and the system does not let it end."""

    async def open(self, wire: Wire, opener: Callable[[], Any], title: str) -> None:
        """Open; StillOpeningError while one before is under way: a further one could only wait beside it."""
        if self._stuck and self._stuck.is_alive():
            raise StillOpeningError(f"the system is still busy opening {title}")
        loop = asyncio.get_running_loop()
        opened: asyncio.Future[Any] = loop.create_future()
        ended = asyncio.Event()

        def deliver(transport: Any, error: Exception | None) -> None:
            ended.set()
            if opened.done():
                discard(transport)
            elif error:
                opened.set_exception(error)
            else:
                opened.set_result(transport)

        def work() -> None:
            transport, failure = None, None
            try:
                transport = opener()
            except Exception as error:  # raised where it is waited for
                failure = error
            try:
                loop.call_soon_threadsafe(deliver, transport, failure)
            except RuntimeError:  # the loop is closed: nobody waits
                discard(transport)

        thread = threading.Thread(target=work, name=f"opening {title}", daemon=True)
        thread.start()
        try:
            transport = await opened
        except asyncio.CancelledError:
            if opened.done() and not opened.cancelled() and not opened.exception():
                discard(opened.result())
            await self._end(thread, ended)
            raise
        transport.setup()
        wire.connection_made(transport)
        if transport.poll_task:  # where a port is polled, its loss ends a task that nobody waits for
            transport.poll_task.add_done_callback(wire.polled)

    async def _end(self, thread: threading.Thread, ended: asyncio.Event) -> None:
        try:
            await thread_ended(thread, ended, within=END)
        finally:
            if thread.is_alive():
                self._stuck = thread
                _log.warning("the system does not come back from opening a port (%s)", thread.name)


def discard(transport: Any) -> None:
    """Close a port on which nothing was begun."""
    if transport and transport.sync_serial:
        with suppress(OSError):
            transport.sync_serial.close()
