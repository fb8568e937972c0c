"""Live listeners: each its own, a slow one loses its oldest, counted, and disturbs nobody."""

import asyncio

from analysis.model import Quality
from collector.fanout import FanOut
from tests.support import until


def value(number: int) -> tuple[str, int, float, Quality]:
    return ("draft_collector@draft meter", number, 1.0, Quality.GOOD)


async def test_a_slow_listener_loses_its_oldest_and_the_others_nothing():
    fanout = FanOut()
    slow, end_slow = fanout.listen(limit=3)
    quick, end_quick = fanout.listen()
    for number in range(10):
        fanout.offer(value(number))
    assert [item[1] for item in slow.take()] == [7, 8, 9]  # type: ignore[index]
    assert slow.dropped == 7
    assert [item[1] for item in quick.take()] == list(range(10))  # type: ignore[index]
    assert quick.dropped == 0
    end_slow()
    end_quick()
    end_quick()
    assert len(fanout) == 0


async def test_waiting_ends_when_something_comes():
    fanout = FanOut()
    listener, end = fanout.listen()
    waiting = asyncio.create_task(listener.wait())
    await asyncio.sleep(0)
    assert not waiting.done()
    fanout.offer(value(1))
    await until(waiting.done, within=1, what="the listener wakes")
    assert listener.take() == [value(1)]
    end()
