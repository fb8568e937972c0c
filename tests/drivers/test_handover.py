"""The hand-over from a reader thread to the loop: bounded, in order, and what it drops is counted."""

import asyncio

from drivers.handover import Cause, Chunk, Handover, Loss


async def test_the_oldest_chunks_are_dropped_and_counted_together() -> None:
    handover = Handover(2)
    for time, data in enumerate((b"1\n2\n", b"3\r4\r5", b"no end", b"6\n", b"7\n"), start=10):
        handover.put(Chunk(time, data, cut=False))
    assert handover.take() == ((Loss(Cause.SLOW, start=10, end=12, bytes=15, lines=4),), Chunk(13, b"6\n", cut=False))
    assert handover.take() == ((), Chunk(14, b"7\n", cut=False))
    assert handover.take() is None


async def test_a_second_loss_begins_anew() -> None:
    handover = Handover(1)
    taken = []
    for time in (1, 3):
        handover.put(Chunk(time, b"lost\n", cut=False))
        handover.put(Chunk(time + 1, b"kept\n", cut=False))
        taken.append(handover.take())
    assert taken == [((Loss(Cause.SLOW, time, time, 5, 1),), Chunk(time + 1, b"kept\n", cut=False)) for time in (1, 3)]


async def test_the_loop_is_woken_by_what_came_before_it_waits_and_then_again() -> None:
    handover = Handover(10)
    for time in (1, 2):
        handover.put(Chunk(time, b"early", cut=True))
        async with asyncio.timeout(5):
            await handover.arrival(within=60)
        assert handover.take() == ((), Chunk(time, b"early", cut=True))
