"""Work beside a call: it ends at its length, when nobody looks on, when told, with its block; nothing is left of it."""

import asyncio
import logging

from collector.attended import Attended
from tests.drivers.session import nothing_left
from tests.support import until


class Work:
    """Goes on until it is cancelled, and says so."""

    def __init__(self) -> None:
        self.began = self.ended = 0

    async def __call__(self) -> None:
        self.began += 1
        try:
            await asyncio.Event().wait()
        finally:
            self.ended += 1


async def test_it_ends_at_its_length_although_somebody_looks_on():
    work = Work()
    with nothing_left():
        async with Attended("trial", longest=0.15, unasked=10) as one:
            one.begin(work)
            assert one.running
            assert 0 < one.left <= 0.15

            def over() -> bool:
                one.ask()
                return not one.running

            await until(over, within=2, what="its end")
            assert (work.began, work.ended) == (1, 1)
            assert one.why == "ended after 0.15 s"


async def test_it_ends_when_the_page_is_gone_and_goes_on_while_it_asks():
    work = Work()
    with nothing_left():
        async with Attended("trial", longest=60, unasked=0.15) as one:
            one.begin(work)
            for _ in range(30):
                one.ask()
                await asyncio.sleep(0.01)  # twice as long as it would go on unasked
            assert one.running
            await until(lambda: not one.running, within=2, what="its end")
            assert one.why == "ended, since nobody looked on any more"


async def test_it_ends_with_the_call_and_when_told():
    first, second = Work(), Work()
    with nothing_left():
        async with Attended("trial", longest=60, unasked=60) as one:
            one.begin(first)
            await until(lambda: first.began, what="it runs")
            one.begin(second)
            await until(lambda: second.began, what="the second runs")
            assert first.ended == 1, "one at a time, and the first has ended before"
        assert second.ended == 1


async def test_a_defect_is_told_and_ends_it_alone(caplog):
    async def broken() -> None:
        raise ZeroDivisionError

    with caplog.at_level(logging.CRITICAL), nothing_left():
        async with Attended("trial", longest=60, unasked=60) as one:
            one.begin(broken)
            await until(lambda: not one.running, what="its end")
            assert "defect of the program (ZeroDivisionError)" in one.why
