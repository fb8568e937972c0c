"""From a thread to the event loop: how the loop is woken, and how each learns of the other's end."""

import asyncio
import threading
from contextlib import suppress


class Passage:
    """What a thread and a session have in common; `stop` is for the thread, the rest is its."""

    def __init__(self) -> None:
        self.stop = threading.Event()
        self.ended = asyncio.Event()
        """The thread is at its end."""
        self.opened = False
        """What was asked for comes from now on."""
        self.failure: Exception | None = None
        """What ends the session, to be raised when what came before it is taken."""
        self._loop = asyncio.get_running_loop()
        self._arrived = asyncio.Event()
        self._lock = threading.Lock()
        self._signalled = False

    def end(self) -> None:
        """In the thread: its last act."""
        with suppress(RuntimeError):  # the loop is closed: nobody waits
            self._loop.call_soon_threadsafe(self.ended.set)
        self.signal()

    def signal(self) -> None:
        """In the thread: wake the loop, with one call until it wakes."""
        with self._lock:
            call, self._signalled = not self._signalled, True
        if call:
            with suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._arrived.set)

    async def arrival(self, within: float) -> None:
        """In the loop: return when something happened, or after `within` [s]."""
        with suppress(TimeoutError):
            async with asyncio.timeout(within):
                await self._arrived.wait()
        with self._lock:
            self._arrived.clear()
            self._signalled = False
