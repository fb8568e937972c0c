"""What the events of one kind add up to: now, or where a replay stands."""

from bisect import bisect_right, insort
from collections.abc import Callable, Iterable
from typing import Generic, Protocol, TypeVar

from analysis.model import Event, EventKind
from collector.collector import Collector

MOST_REPLAYED = 20_000
"""Events of a replayed recording that are followed; further ones are counted. [1]"""


class States(Protocol):
    """What events add up to."""

    def apply(self, event: Event) -> None:
        """Take one in, in the order of time."""


S = TypeVar("S", bound=States)


class Standing(Generic[S]):
    """Follows the events of a kind that the collector takes in.

    Of a replay `now` gives what held at the time where that stands, so that a replay moved back shows less again.
    """

    def __init__(
        self,
        collector: Collector,
        kind: EventKind,
        begun: Callable[[], S],
        *,
        recorded: Iterable[Event] = (),
        replaying: bool = False,
    ) -> None:
        self._collector, self._kind, self._begun = collector, kind, begun
        self.replaying = replaying
        self.states = begun()
        """What they add up to; of a replay where it was last asked for."""
        self._history: list[Event] = []
        """Of a replay: its events so far, in the order of time."""
        self.missed = 0
        """Events of a replay beyond `MOST_REPLAYED`. [1]"""
        self._built_of = (0, 0)
        for event in () if replaying else recorded:
            self.states.apply(event)
        collector.followers.append(self.follow)

    def follow(self, event: Event) -> None:
        """Take note of an event of the kind, and of a replay that begins again."""
        if event.kind is self._kind and not self.replaying:
            self.states.apply(event)
        elif event.kind is self._kind and len(self._history) < MOST_REPLAYED:
            insort(self._history, event, key=lambda one: one.time)
        elif event.kind is self._kind:
            self.missed += 1
        elif self.replaying and event.kind is EventKind.REPLAY and event.data.get("what") == "loop":
            self._history.clear()
            self.states, self._built_of = self._begun(), (0, 0)

    def now(self) -> S:
        """What holds now, or where the replay stands."""
        if self.replaying:
            count = bisect_right(self._history, self._collector.now(), key=lambda one: one.time)
            if (count, len(self._history)) != self._built_of:
                self._built_of = (count, len(self._history))
                self.states = self._begun()
                for event in self._history[:count]:
                    self.states.apply(event)
        return self.states
