"""What events add up to, where there are too many of them or a replay begins again."""

from types import SimpleNamespace
from typing import Any

import pytest

from analysis.model import Event, EventKind
from collector import standing
from collector.standing import Standing


class Seen:
    """The times of what was taken in."""

    def __init__(self) -> None:
        self.times: list[int] = []

    def apply(self, event: Event) -> None:
        """Take one in."""
        self.times.append(event.time)


def made(collector: Any, **given: Any) -> Standing[Seen]:
    return Standing(collector, EventKind.DONE, Seen, **given)


def event(time: int, kind: EventKind = EventKind.DONE, **data: object) -> Event:
    return Event(time, kind, "", None, data)


def test_of_a_replay_so_many_are_followed_and_the_others_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(standing, "MOST_REPLAYED", 3)
    collector = SimpleNamespace(followers=[], now=lambda: 100)
    found = made(collector, replaying=True)
    for time in (3, 1, 2, 4, 5):
        collector.followers[0](event(time))
    assert (found.now().times, found.missed) == ([1, 2, 3], 2)


def test_a_replay_that_begins_again_has_seen_nothing() -> None:
    collector = SimpleNamespace(followers=[], now=lambda: 2)
    found = made(collector, replaying=True)
    for time in (1, 2, 3):
        found.follow(event(time))
    assert found.now().times == [1, 2]
    found.follow(event(2, EventKind.REPLAY, what="loop"))
    assert found.now().times == []


def test_live_what_was_recorded_comes_first_and_other_kinds_are_passed_over() -> None:
    found = made(SimpleNamespace(followers=[], now=lambda: 0), recorded=[event(7), event(8)])
    found.follow(event(9, EventKind.NOTE))
    found.follow(event(5))
    assert found.now().times == [7, 8, 5]
