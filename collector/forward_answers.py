"""What a server has answered for and may still lose: counted by channel and minute until it counts as kept."""

from collections import OrderedDict
from dataclasses import dataclass
from itertools import takewhile

import numpy as np
from numpy.typing import NDArray

from collector.forward_marks import Mark, whole_minute


@dataclass(frozen=True, slots=True, eq=False)
class _Answer:
    """Of one channel and minute."""

    count: int
    times: NDArray[np.int64] | None
    """Of these readings, where some more may be added; None where the minute would be sent whole. [ns]"""
    at: float
    """When it was answered last. [s, monotonic]"""


class Answers:
    """Answers in the order of their coming."""

    def __init__(self) -> None:
        self._of: OrderedDict[tuple[str, int], _Answer] = OrderedDict()

    def __len__(self) -> int:
        """Minutes of channels. [1]"""
        return len(self._of)

    @property
    def readings(self) -> int:
        """How many there are in all of them. [1]"""
        return sum(answer.count for answer in self._of.values())

    def count(self, channel: str, minute: int) -> int | None:
        """Readings answered for, None where there is nothing of that minute."""
        answer = self._of.get((channel, minute))
        return answer.count if answer else None

    def may_grow(self, channel: str, minute: int) -> bool:
        """Whether readings of that minute can be added to those that were answered."""
        answer = self._of.get((channel, minute))
        return answer is not None and answer.times is not None

    def add(self, mark: Mark, times: NDArray[np.int64], at: float, *, recent: bool) -> None:
        """The readings of these times [ns], all that are within the mark, were answered at `at` [s].

        A `recent` minute is remembered by its times, so that further readings of it can be added.
        """
        before = self._of.pop((mark.channel, mark.minute), None)
        if before is not None and before.times is not None and not mark.whole:
            times = np.union1d(before.times, times)
        self._of[mark.channel, mark.minute] = _Answer(len(times), times if recent else None, at)

    def ripe(self, limit: float) -> dict[tuple[str, int], int]:
        """Give away what was answered up to `limit` [s]: readings by channel and minute."""
        ripe = list(takewhile(lambda one: one[1].at <= limit, self._of.items()))
        for place, _ in ripe:
            del self._of[place]
        return {place: answer.count for place, answer in ripe}

    def all_ripe(self, limit: float) -> bool:
        """Whether nothing was answered later than that. [s]"""
        return not self._of or next(reversed(self._of.values())).at <= limit

    def give_back(self) -> list[Mark]:
        """Forget every answer; the minutes that have to be sent again."""
        marks = [whole_minute(*place) for place in self._of]
        self._of.clear()
        return marks
