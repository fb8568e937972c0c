"""What is to be sent: spans of a channel within one minute; bounded, since any number of them become one."""

import threading
from collections.abc import Iterable
from typing import NamedTuple

MINUTE = 60_000_000_000
"""What is sent again, counted and kept as one. [ns]"""
MOST = 100_000
"""Marks kept: of 16 channels four days. Beyond it the oldest are forgotten and the recording is compared anew. [1]"""

GRACE = 5.0
"""How long after the end of a recording its rest is still tried to be sent. [s]"""
TELLING = 0.5
"""Between two words about how far it is. [s]"""


class Mark(NamedTuple):
    """A span of a channel; within one minute."""

    channel: str
    start: int
    """[ns]"""
    end: int
    """Included. [ns]"""

    @property
    def minute(self) -> int:
        """Which one. [minutes since 1970]"""
        return self.start // MINUTE

    @property
    def whole(self) -> bool:
        """Whether it is all of its minute."""
        return self.start % MINUTE == 0 and self.end == self.start + MINUTE - 1


def whole_minute(channel: str, minute: int) -> Mark:
    """All of a minute."""
    return Mark(channel, minute * MINUTE, (minute + 1) * MINUTE - 1)


def within_minutes(channel: str, start: int, end: int) -> Iterable[Mark]:
    """A span in pieces of one minute each."""
    for minute in range(start // MINUTE, end // MINUTE + 1):
        yield Mark(channel, max(start, minute * MINUTE), min(end, (minute + 1) * MINUTE - 1))


class Marks:
    """Marks by their minutes; the newest is taken first. For any thread."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._spans: dict[int, dict[str, Mark]] = {}
        self._count = 0
        self.forgotten = 0
        """Marks forgotten because there were too many. [1]"""

    def __len__(self) -> int:
        """How many there are."""
        return self._count

    def add(self, marks: Iterable[Mark]) -> None:
        """Take marks in; those of one channel and minute become one that spans them all."""
        with self._lock:
            for mark in marks:
                channels = self._spans.setdefault(mark.minute, {})
                if (known := channels.get(mark.channel)) is None:
                    self._count += 1
                    channels[mark.channel] = mark
                else:
                    span = min(known.start, mark.start), max(known.end, mark.end)
                    channels[mark.channel] = Mark(mark.channel, *span)
            while self._count > self._most:
                gone = self._spans.pop(min(self._spans))
                self._count -= len(gone)
                self.forgotten += len(gone)

    def take(self, most: int | None = None) -> list[Mark]:
        """The newest marks, all of a minute together; no further minute is begun when there are `most`."""
        taken: list[Mark] = []
        with self._lock:
            while self._spans and (most is None or len(taken) < most):
                taken += self._spans.pop(max(self._spans)).values()
            self._count -= len(taken)
        return taken

    def oldest(self) -> int | None:
        """Where the oldest mark begins, None where there is none. [ns]"""
        with self._lock:
            return min(mark.start for mark in self._spans[min(self._spans)].values()) if self._spans else None
