"""From the reader thread of a port to the event loop: what arrived, and what was lost on the way."""

import asyncio
import threading
from collections import deque
from contextlib import suppress
from dataclasses import dataclass
from typing import NamedTuple


class Chunk(NamedTuple):
    """Bytes that arrived together."""

    time: int
    """When it arrived. [ns]"""
    data: bytes
    cut: bool
    """It may begin in the middle of a line."""


@dataclass(slots=True)
class Loss:
    """Chunks dropped in a row."""

    start: int
    """[ns]"""
    end: int = 0
    """[ns]"""
    bytes: int = 0
    lines: int = 0

    def add(self, chunk: Chunk) -> None:
        """One more chunk is lost."""
        self.end = chunk.time
        self.bytes += len(chunk.data)
        self.lines += chunk.data.count(b"\n") or chunk.data.count(b"\r")


class Handover:
    """From the reader thread to the loop: bounded, the oldest chunks are dropped and counted."""

    def __init__(self, size: int) -> None:
        self.stop = threading.Event()
        self.ended = asyncio.Event()
        """The thread is at its end."""
        self.opened = False
        self.failure: Exception | None = None
        """What ended the thread, to be raised when the chunks before it are taken."""
        self._loop = asyncio.get_running_loop()
        self._arrived = asyncio.Event()
        self._lock = threading.Lock()
        self._chunks: deque[Chunk] = deque()
        self._size = size
        self._loss: Loss | None = None
        self._signalled = False

    def put(self, chunk: Chunk) -> None:
        """In the thread: add a chunk."""
        with self._lock:
            if len(self._chunks) >= self._size:
                oldest = self._chunks.popleft()
                self._loss = self._loss or Loss(oldest.time)
                self._loss.add(oldest)
            self._chunks.append(chunk)
        self.signal()

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

    def take(self) -> tuple[Loss | None, Chunk] | None:
        """In the loop: the oldest chunk and what was lost before it."""
        with self._lock:
            if not self._chunks:
                return None
            loss, self._loss = self._loss, None
            return loss, self._chunks.popleft()

    async def arrival(self, within: float) -> None:
        """In the loop: return when something came, or after `within` [s]."""
        with suppress(TimeoutError):
            async with asyncio.timeout(within):
                await self._arrived.wait()
        with self._lock:
            self._arrived.clear()
            self._signalled = False
