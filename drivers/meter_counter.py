"""An instrument's own number of its messages: what is missing, came twice or late, and when it was switched off."""

import math
from enum import Enum
from typing import NamedTuple

from analysis.model import NANOSECONDS

WINDOW = 16
"""A message so many numbers behind the newest is one that came late, or twice. Our choice. [1]"""
SETTLED = 2 * NANOSECONDS
SPACINGS = 3
"""Messages overtake each other within this and so many usual spacings, not across a longer pause. [ns] [1]"""
NEAR = 4
"""How far the time passed and the numbers passed may differ for the count to have gone on. [1]"""
PAUSE = 10 * NANOSECONDS
"""Missing numbers are told so long after the first: they may come late, and one event a message tells nobody. [ns]"""
PARTS = 16
"""Messages of one number that are told apart, the last ones. [1]"""
FAR = 2 * WINDOW
"""So many numbers ahead in no time are not missing where the number is one of a beginning. Our choice. [1]"""


class Place(Enum):
    """Where a message stands among the others."""

    NEXT = "next"
    AGAIN = "again"
    """The same message was taken already."""
    LATE = "late"
    """A later one was taken before it."""
    RESTARTED = "restarted"
    """The instrument counts from its beginning again: it was switched off and on."""


class Missing(NamedTuple):
    """Numbers that did not come."""

    messages: int
    start: int
    """Arrival of the last message before them. [ns]"""
    end: int
    """Arrival of the first message after them. [ns]"""


class CounterWatch:
    """Follows a counter that has `size` numbers from 0 on [1]; holds the last few of them, whatever comes.

    A number that is at most half the circle ahead is a later one, and those between are missing until they come late.
    Messages of one number that say different things are parts of one, and none of them came twice. That the count
    began again needs evidence in the time that passed: a number that is no larger than it can have got since.
    """

    def __init__(self, size: int) -> None:
        self._size = size
        self._window = min(WINDOW, self._size // 4)
        self._last: int | None = None
        self._time = 0
        self._heard = 0
        self._interval = 0.0
        self._apart = False
        self._seen: dict[int, list[str]] = {}
        self._absent: dict[int, None] = {}
        self._untold: Missing | None = None
        self._untold_since = 0
        self.missing = 0
        """Numbers that have not come. [1]"""

    def begin(self) -> None:
        """A session begins: what was missed meanwhile came in no wrong order."""
        self._apart = True

    def skip(self) -> None:
        """Messages were lost on the way here, and that is told already: whatever number comes next is the next one."""
        self._last = None
        self._seen, self._absent = {}, {}

    def step(self, number: int, content: str, time: int) -> Place:
        """Where a message with this number stands that arrived at `time` [ns]; `content` tells it from its like."""
        number %= self._size
        if self._last is None:
            return self._forward(number, content, time, missing=0)
        ahead, elapsed = (number - self._last) % self._size, time - self._time
        settled = self._is_settled(elapsed)
        if ahead == 0:
            return self._once_more(number, content, time)
        if settled and self._size - ahead <= self._window:
            return self._late(number, content)
        expected = elapsed / self._interval if self._interval else math.nan
        if settled and ahead <= self._size // 2:
            if ahead > expected + FAR and number <= expected + NEAR:
                return self._restart(number, content, time)
            return self._forward(number, content, time, missing=ahead - 1)
        return self._after_pause(number, content, time, ahead, expected)

    def _after_pause(self, number: int, content: str, time: int, ahead: int, expected: float) -> Place:
        """A pause lies between: the time that passed tells whether it counted on meanwhile or began again."""
        assert self._last is not None
        known, half = not math.isnan(expected), self._size // 2
        tolerance = max(NEAR, 0.25 * expected) if known else NEAR
        passed = ahead + self._size * max(0, round((expected - ahead) / self._size)) if known else ahead
        wrapped = number < self._last
        if ahead == 1 or (not wrapped and ahead <= self._window) or (not known and ahead <= half):
            return self._forward(number, content, time, missing=ahead - 1)
        if known and 2 * tolerance >= self._size:  # it may have gone round any number of times: nobody knows how often
            return self._forward(number, content, time, missing=0)
        if known and abs(passed - expected) <= tolerance:
            return self._forward(number, content, time, missing=passed - 1)
        if number <= (expected if known else 0) + NEAR:
            return self._restart(number, content, time)
        return self._forward(number, content, time, missing=0 if wrapped and ahead > half else ahead - 1)

    def _once_more(self, number: int, content: str, time: int) -> Place:
        """The number of before; after so long it is that of another message, from an instrument that does not count on.

        One that says the same may be sent again all the same, so that no time between messages is learned from it.
        """
        if self._is_settled(time - self._heard):
            return self._same(number, content, Place.NEXT)
        if self._apart or content not in self._seen[number]:
            self._time = time
        self._heard, self._apart = time, False
        self._seen[number] = [content]
        return Place.NEXT

    def _is_settled(self, elapsed: int) -> bool:
        return not self._apart and 0 <= elapsed <= max(SETTLED, SPACINGS * self._interval)

    def told(self, now: int, pause: int = PAUSE) -> Missing | None:
        """What is missing and not told yet, once `pause` [ns] passed since the first of it."""
        if self._untold is None or 0 <= now - self._untold_since < pause:
            return None
        told, self._untold = self._untold, None
        return told

    @property
    def waiting(self) -> bool:
        """Whether something is missing that is not told yet."""
        return self._untold is not None

    def _same(self, number: int, content: str, place: Place) -> Place:
        parts = self._seen.setdefault(number, [])
        if content in parts:
            return Place.AGAIN
        parts.append(content)
        del parts[:-PARTS]
        return place

    def _late(self, number: int, content: str) -> Place:
        if number in self._absent:
            del self._absent[number]
            self.missing -= 1
            if self._untold:
                left = self._untold._replace(messages=self._untold.messages - 1)
                self._untold = left if left.messages > 0 else None
        return self._same(number, content, Place.LATE)

    def _forward(self, number: int, content: str, time: int, *, missing: int) -> Place:
        if missing > 0:
            assert self._last is not None
            self.missing += missing
            for passed in range(max(0, missing - self._window), missing):
                absent = (self._last + 1 + passed) % self._size
                self._absent.pop(absent, None)
                self._absent[absent] = None
            before = self._untold
            self._untold_since = self._untold_since if before else time
            start = before.start if before else self._time
            self._untold = Missing((before.messages if before else 0) + missing, start, time)
        elif self._last is not None and time > self._time and not self._apart:
            spacing = time - self._time
            self._interval += (spacing - self._interval) * (0.2 if self._interval else 1.0)
        self._last, self._time, self._heard, self._apart = number, time, time, False
        self._seen.pop(number, None)
        self._seen[number] = [content]
        self._absent.pop(number, None)
        self._forget()
        return Place.NEXT

    def _forget(self) -> None:
        """Numbers that are too far behind to come late, or to be taken for one of this round."""
        assert self._last is not None
        for held in (self._seen, self._absent):
            for number in list(held):
                if (self._last - number) % self._size <= self._window:
                    break
                del held[number]

    def _restart(self, number: int, content: str, time: int) -> Place:
        self._seen, self._absent = {}, {}
        self._last = None
        self._forward(number, content, time, missing=0)
        return Place.RESTARTED
