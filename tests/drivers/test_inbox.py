"""Messages on their way from a thread to the loop: what does not fit is dropped, the oldest first, and counted."""

import pytest

from drivers import inbox as module
from drivers.inbox import Inbox, Message


def sized(number: int, size: int = 1) -> Message:
    return Message(number, "topic", b"x" * size)


async def test_the_oldest_are_dropped_and_counted_before_the_next_one() -> None:
    inbox = Inbox(3)
    for number in range(8):
        inbox.put(sized(number))
    missed, message = inbox.take() or (None, sized(-1))
    assert missed is not None
    assert (missed.start, missed.end, missed.count, message.time) == (0, 4, 5, 5)
    assert [taken[1].time for taken in (inbox.take(), inbox.take()) if taken and taken[0] is None] == [6, 7]
    assert inbox.take() is None


async def test_large_messages_are_bounded_by_their_bytes_and_the_last_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LARGEST", 100)
    inbox = Inbox()
    for number in range(4):
        inbox.put(sized(number, 40))
    missed, message = inbox.take() or (None, sized(-1))
    assert missed is not None
    assert (missed.count, message.time) == (2, 2)
    inbox.put(sized(9, 500))
    missed, message = inbox.take() or (None, sized(-1))
    assert missed is not None
    assert (missed.count, message.time) == (1, 9)
    inbox.put(sized(10, 99))
    assert inbox.take() == (None, sized(10, 99))


async def test_an_arrival_wakes_the_loop() -> None:
    inbox = Inbox()
    inbox.put(sized(1))
    await inbox.arrival(within=30)
    inbox.open()
    await inbox.arrival(within=30)
    inbox.end()
    await inbox.arrival(within=30)
    assert inbox.ended.is_set()
    await inbox.arrival(within=0.01)
