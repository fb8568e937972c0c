"""From the thread of a broker to the event loop: messages that arrived, and how many were lost on the way."""

import asyncio
import threading
from collections import deque
from contextlib import suppress
from dataclasses import dataclass
from typing import NamedTuple

BACKLOG = 4096
"""Messages kept for a loop that does not keep up; the oldest are dropped and counted. [1]"""
LARGEST = 16_000_000
"""What they may hold altogether. [bytes]"""


class Message(NamedTuple):
    """A message as it arrived."""

    time: int
    """When it arrived. [ns]"""
    topic: str
    data: bytes
    retained: bool = False
    """The broker kept it from before the subscription."""
    again: bool = False
    """The broker says that it may have been sent before."""


@dataclass(slots=True)
class Missed:
    """Messages dropped in a row."""

    start: int
    """When the first of them arrived. [ns]"""
    end: int
    """When the last of them arrived. [ns]"""
    count: int = 0

    def add(self, message: Message) -> None:
        """One more is lost."""
        self.end = message.time
        self.count += 1


class Inbox:
    """Messages on their way; `stop` is for the thread, `failure` and `ended` are its."""

    def __init__(self, size: int = BACKLOG) -> None:
        self.stop = threading.Event()
        self.ended = asyncio.Event()
        """The thread is at its end."""
        self.opened = False
        """The broker sends what was asked for from now on."""
        self.failure: Exception | None = None
        """What ended the thread, to be raised when the messages before it are taken."""
        self._loop = asyncio.get_running_loop()
        self._arrived = asyncio.Event()
        self._lock = threading.Lock()
        self._messages: deque[Message] = deque()
        self._held = 0
        self._size = size
        self._missed: Missed | None = None
        self._signalled = False

    def open(self) -> None:
        """In the thread: the broker has agreed."""
        self.opened = True
        self._signal()

    def put(self, message: Message) -> None:
        """In the thread: add a message."""
        with self._lock:
            self._messages.append(message)
            self._held += len(message.data)
            while len(self._messages) > self._size or (self._held > LARGEST and len(self._messages) > 1):
                oldest = self._messages.popleft()
                self._held -= len(oldest.data)
                self._missed = self._missed or Missed(oldest.time, oldest.time)
                self._missed.add(oldest)
        self._signal()

    def end(self) -> None:
        """In the thread: its last act."""
        with suppress(RuntimeError):  # the loop is closed: nobody waits
            self._loop.call_soon_threadsafe(self.ended.set)
        self._signal()

    def take(self) -> tuple[Missed | None, Message] | None:
        """In the loop: the oldest message and what was lost before it."""
        with self._lock:
            if not self._messages:
                return None
            missed, self._missed = self._missed, None
            message = self._messages.popleft()
            self._held -= len(message.data)
            return missed, message

    async def arrival(self, within: float) -> None:
        """In the loop: return when something happened, or after `within` [s]."""
        with suppress(TimeoutError):
            async with asyncio.timeout(within):
                await self._arrived.wait()
        with self._lock:
            self._arrived.clear()
            self._signalled = False

    def _signal(self) -> None:
        """In the thread: wake the loop, with one call until it wakes."""
        with self._lock:
            call, self._signalled = not self._signalled, True
        if call:
            with suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._arrived.set)
