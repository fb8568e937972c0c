"""From a callback to the session that emits: bounded, the oldest messages are dropped and counted."""

import asyncio
from collections import deque
from contextlib import suppress
from dataclasses import dataclass
from typing import NamedTuple


class Message(NamedTuple):
    """What an instrument said."""

    time: int
    """When it arrived. [ns]"""
    source: str
    data: bytes
    refused: str = ""
    """Why there is no data: the instrument did not answer a question."""


@dataclass(slots=True)
class Dropped:
    """Messages dropped in a row."""

    start: int
    """[ns]"""
    end: int = 0
    """[ns]"""
    count: int = 0


class Inbox:
    """Messages of one session on their way; all on one event loop."""

    def __init__(self, size: int) -> None:
        self.failure: Exception | None = None
        """What ends the session, to be raised when the messages before it are taken."""
        self._messages: deque[Message] = deque()
        self._size = size
        self._dropped: Dropped | None = None
        self._arrived = asyncio.Event()

    def put(self, message: Message) -> None:
        """Add a message."""
        if len(self._messages) >= self._size:
            oldest = self._messages.popleft()
            self._dropped = self._dropped or Dropped(oldest.time)
            self._dropped.count += 1
            self._dropped.end = oldest.time
        self._messages.append(message)
        self._arrived.set()

    def fail(self, error: Exception) -> None:
        """End the session; the first error counts."""
        self.failure = self.failure or error
        self._arrived.set()

    def take(self) -> tuple[Dropped | None, Message] | None:
        """The oldest message and what was dropped before it."""
        if not self._messages:
            return None
        dropped, self._dropped = self._dropped, None
        return dropped, self._messages.popleft()

    def drop_all(self) -> Dropped | None:
        """What is left at the end of a session, as dropped."""
        left = self._dropped
        for message in self._messages:
            left = left or Dropped(message.time)
            left.count += 1
            left.end = message.time
        self._messages.clear()
        self._dropped = None
        return left

    async def arrival(self, within: float) -> None:
        """Return when something came, or after `within` [s]."""
        with suppress(TimeoutError):
            async with asyncio.timeout(within):
                await self._arrived.wait()
        self._arrived.clear()
