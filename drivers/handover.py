"""From the reader thread of a port to the event loop: what arrived, and what was lost on the way."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from drivers.passage import Passage


class Chunk(NamedTuple):
    """Bytes that arrived together."""

    time: int
    """When it arrived. [ns]"""
    data: bytes
    cut: bool = False
    """It may begin in the middle of a line."""
    source: str = ""
    """The question that it belongs to."""
    reason: str = ""
    """Why it is not to be read."""


class Cause(StrEnum):
    """Why chunks were dropped."""

    SLOW = "slow"
    """The program did not keep up."""
    FLOOD = "flood"
    """The instrument says more than it may."""


@dataclass(slots=True)
class Loss:
    """Chunks dropped."""

    cause: Cause
    start: int
    """[ns]"""
    end: int = 0
    """[ns]"""
    bytes: int = 0
    lines: int = 0

    def add(self, chunk: Chunk, lines: int) -> None:
        """One more chunk with so many lines is lost."""
        self.end = chunk.time
        self.bytes += len(chunk.data)
        self.lines += lines

    def merge(self, other: "Loss") -> None:
        """Another one after this."""
        self.end, self.bytes, self.lines = other.end, self.bytes + other.bytes, self.lines + other.lines


def lines_in(data: bytes) -> int:
    """Lines that end in these bytes, with LF, CR or CRLF. [1]"""
    return data.count(b"\n") + data.count(b"\r") - data.count(b"\r\n")


Taken = tuple[tuple[Loss, ...], Chunk]
"""A chunk and what was lost before it."""


class Handover(Passage):
    """From the reader thread to the loop: bounded, the oldest chunks are dropped and counted."""

    def __init__(self, size: int, count: Callable[[bytes], int] = lines_in) -> None:
        super().__init__()
        self._chunks: deque[tuple[Loss | None, Chunk]] = deque()
        """Each with the flood before it."""
        self._size = size
        self._count = count
        self._slow: Loss | None = None
        self._flood: Loss | None = None
        """Behind the newest chunk."""
        self._whole = False
        """It ended with the end of a line."""
        self._passed: Loss | None = None
        """A flood before chunks that were dropped themselves."""

    def put(self, chunk: Chunk) -> None:
        """In the thread: add a chunk."""
        with self._lock:
            if len(self._chunks) >= self._size:
                flood, oldest = self._chunks.popleft()
                self._slow = self._slow or Loss(Cause.SLOW, oldest.time)
                self._slow.add(oldest, self._count(oldest.data))
                self._passed = _joined(self._passed, flood)
            self._chunks.append((self._flood, chunk))
            self._flood = None
        self.signal()

    def drop(self, chunk: Chunk) -> None:
        """In the thread: a chunk is more than the instrument may say."""
        with self._lock:
            self._flood = self._flood or Loss(Cause.FLOOD, chunk.time)
            self._flood.add(chunk, self._count(chunk.data))
            self._whole = chunk.data.endswith((b"\n", b"\r"))

    def settle(self, time: int) -> None:
        """In the thread: nothing comes now, so that what was dropped behind the newest chunk is told."""
        if self._flood:
            self.put(Chunk(time, b"", cut=not self._whole))

    def take(self) -> Taken | None:
        """In the loop: the oldest chunk and what was lost before it."""
        with self._lock:
            if not self._chunks:
                return None
            flood, chunk = self._chunks.popleft()
            slow, flood = self._slow, _joined(self._passed, flood)
            self._slow = self._passed = None
        return tuple(loss for loss in (slow, flood) if loss), chunk

    def rest(self) -> Loss | None:
        """In the loop: what was lost behind the newest chunk, at the end of a session."""
        with self._lock:
            loss, self._flood = self._flood, None
        return loss


def _joined(first: Loss | None, second: Loss | None) -> Loss | None:
    if first and second:
        first.merge(second)
    return first or second
