"""Questions and answers on an open serial port: an answer is only taken for the question that it belongs to."""

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic
from typing import Protocol

from drivers.codecs.lines import LineFramer
from drivers.codecs.text import LONGEST_LINE

QUIET = 0.05
"""A line that says nothing for so long is at rest. [s]"""
LATE = 3.0
"""An answer is reckoned with for so many times the longest time to one, however much that time varies. [1]"""
LATEST = 10.0
"""Longest time to wait for what else may come. [s]"""
PIECE = 1024
"""Read at once. [bytes]"""


class Line(Protocol):
    """What is asked of a port."""

    @property
    def in_waiting(self) -> int:
        """Bytes that can be read at once. [1]"""
        ...

    def read(self, size: int = 1, /) -> bytes:
        """At most so many bytes; after a short while without any, none."""
        ...

    def write(self, data: bytes, /) -> int | None:
        """Send."""
        ...


@dataclass(slots=True)
class Doubt:
    """What is not known after a question without an answer."""

    owed: int = 0
    """Questions whose answers may still come. [1]"""
    last: float = 0.0
    """When the last of them was asked. [s]"""
    gap: float = 0.0
    """Longest time between two of them. [s]"""


class Conversation:
    """Asks one thing after the other. An instrument answers in the order in which it was asked.

    After a question that got no answer in time an answer may still come, and would be taken for the next one's. So
    nothing is read until it is certain whose the answers are: either all that are owed have come, or the answer to one
    more question has, and then nothing for LATE times the longest time to an answer, and for as long as there was
    between two questions: if that one was late, and the others are as late, they come no further apart. All these
    answers are thrown away.
    """

    def __init__(
        self,
        port: Line,
        stop: threading.Event,
        *,
        within: float,
        ending: bytes,
        doubt: Doubt,
        late: Callable[[bytes], None],
        latest: float = LATEST,
        clock: Callable[[], float] = monotonic,
    ) -> None:
        self._port = port
        self._stop = stop
        self._within = within
        self._ending = ending
        self._doubt = doubt
        self._late = late
        """Told of each line that is thrown away."""
        self._latest = latest
        self._clock = clock
        self._framer = LineFramer(LONGEST_LINE)
        self._lines: deque[bytes] = deque()
        self._echoes: set[bytes] = set()
        """What was asked: some instruments send back what they hear."""

    def ask(self, question: bytes) -> bytes | None:
        """The answer; None where none came in time, or where it is not certain whose it would be."""
        if not self._at_rest(QUIET if self._doubt.owed else 0.0):
            return None
        if self._doubt.owed and not self._settle(question):
            return None
        return self._exchange(question)

    def _exchange(self, question: bytes) -> bytes | None:
        doubt, asked = self._doubt, self._clock()
        doubt.gap = max(doubt.gap, asked - doubt.last) if doubt.owed else 0.0
        doubt.owed, doubt.last = doubt.owed + 1, asked
        self._port.write(question + self._ending)
        self._echoes.add(question.strip())
        line = self._line(self._within)
        if line is not None:
            doubt.owed -= 1
        return line

    def _settle(self, question: bytes) -> bool:
        """Ask once more and throw the answer away; whether it is certain now that none is owed."""
        answer = self._exchange(question)
        if answer is None:
            return False
        self._late(answer)
        doubt = self._doubt
        quiet = min(max(LATE * self._within, doubt.gap + QUIET), self._latest)
        return self._at_rest(quiet if doubt.owed else QUIET, forget=True) and not doubt.owed

    def _at_rest(self, quiet: float, *, forget: bool = False) -> bool:
        """Throw away what comes until nothing did for so long [s], or, where answers are owed, until all have come.

        Then none is owed where `forget` says so. The beginning of a line is thrown away too, and its end is owed then.
        False where the session ends before.
        """
        doubt, owed = self._doubt, self._doubt.owed
        heard = self._clock()
        while not self._stop.is_set():
            line = self._line(max(0.0, heard + quiet - self._clock()))
            if line is not None:
                self._late(line)
                doubt.owed = max(0, doubt.owed - 1)
                heard = self._clock()
                quiet = QUIET if owed and not doubt.owed else max(quiet, QUIET)
            elif self._framer.unfinished and quiet < QUIET:
                quiet = QUIET
            elif self._clock() >= heard + quiet:
                if forget:
                    doubt.owed = 0
                if self._framer.unfinished:
                    self._framer.clear()
                    doubt.last = doubt.last if doubt.owed or forget else self._clock()
                    doubt.owed = max(1, doubt.owed)
                return True
        return False

    def _line(self, within: float) -> bytes | None:
        """The next line that is not blank; None where none ends within so long [s]."""
        deadline = self._clock() + within
        while not self._stop.is_set():
            while self._lines:
                line = self._lines.popleft()
                if line.strip() and line.strip() not in self._echoes:
                    return line
            waiting = self._port.in_waiting
            left = deadline - self._clock()
            if not waiting and left <= 0:
                return None
            self._lines.extend(self._framer.feed(self._port.read(min(max(waiting, 1), PIECE))))
        return None
