"""From a callback or a thread to the session that emits: bounded, the oldest messages are dropped and counted."""

from collections import deque
from dataclasses import dataclass
from typing import NamedTuple

from drivers.passage import Passage

BACKLOG = 4096
"""Messages kept for a loop that does not keep up; the oldest are dropped and counted. [1]"""
LARGEST = 16_000_000
"""What they may hold altogether. [bytes]"""


class Message(NamedTuple):
    """What an instrument said."""

    time: int
    """When it arrived. [ns]"""
    source: str
    """Characteristic, service or topic."""
    data: bytes
    refused: str = ""
    """Why there is no data: the instrument did not answer a question."""
    retained: bool = False
    """The broker kept it from before the subscription."""
    again: bool = False
    """The broker says that it may have been sent before."""
    number: int = 0
    """By which it is acknowledged; 0 where nobody waits for that."""


@dataclass(slots=True)
class Dropped:
    """Messages dropped in a row."""

    start: int
    """When the first of them arrived. [ns]"""
    end: int = 0
    """When the last of them arrived. [ns]"""
    count: int = 0

    def add(self, message: Message) -> None:
        """One more is lost."""
        self.end = message.time
        self.count += 1


class Inbox(Passage):
    """Messages of one session on their way."""

    def __init__(self, size: int = BACKLOG) -> None:
        super().__init__()
        self._messages: deque[Message] = deque()
        self._held = 0
        self._size = size
        self._dropped: Dropped | None = None

    def open(self) -> None:
        """In the thread: the other side has agreed."""
        self.opened = True
        self.signal()

    def put(self, message: Message) -> None:
        """In the thread: add a message."""
        with self._lock:
            self._messages.append(message)
            self._held += len(message.data)
            while len(self._messages) > self._size or (self._held > LARGEST and len(self._messages) > 1):
                self._drop()
        self.signal()

    def fail(self, error: Exception) -> None:
        """In the thread: end the session; the first error counts."""
        self.failure = self.failure or error
        self.signal()

    def take(self) -> tuple[Dropped | None, Message] | None:
        """In the loop: the oldest message and what was dropped before it."""
        with self._lock:
            if not self._messages:
                return None
            dropped, self._dropped = self._dropped, None
            message = self._messages.popleft()
            self._held -= len(message.data)
            return dropped, message

    def drop_all(self) -> Dropped | None:
        """In the loop: what is left at the end of a session, as dropped."""
        with self._lock:
            while self._messages:
                self._drop()
            dropped, self._dropped = self._dropped, None
            return dropped

    def _drop(self) -> None:
        oldest = self._messages.popleft()
        self._held -= len(oldest.data)
        self._dropped = self._dropped or Dropped(oldest.time)
        self._dropped.add(oldest)
