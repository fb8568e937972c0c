"""Work that ends in time, also when its session is cancelled once or twice, and when it will not."""

import asyncio
import threading
import time

import pytest

from drivers.endings import LAST, BrokenOffError, bounded, carried_out, ended, thread_ended
from tests.drivers.session import DefectError
from tests.support import until


async def stubborn(cancels: list[float], stays: float) -> None:
    """Work that goes on for a while after it was cancelled, each time."""
    for _ in range(2):
        try:
            await asyncio.sleep(30)
        except asyncio.CancelledError:
            cancels.append(time.monotonic())
            await asyncio.sleep(stays)


async def test_the_result_and_the_error_of_the_work_come_out() -> None:
    async def right() -> int:
        return 7

    async def wrong() -> None:
        raise DefectError

    assert await bounded(right(), within=1, ending=1) == 7
    with pytest.raises(DefectError):
        await bounded(wrong(), within=1, ending=1)


async def test_work_that_a_library_cancels_from_within_is_an_error_and_no_cancellation() -> None:
    async def broken() -> None:
        future = asyncio.get_running_loop().create_future()
        asyncio.get_running_loop().call_soon(future.cancel)
        await future

    with pytest.raises(BrokenOffError):
        await bounded(broken(), within=1, ending=1)


async def test_late_work_is_cancelled_and_may_clean_up() -> None:
    cancels: list[float] = []
    with pytest.raises(TimeoutError):
        await bounded(stubborn(cancels, 0.01), within=0.02, ending=0.1)
    assert len(cancels) == 2
    assert cancels[1] - cancels[0] >= 0.1, "no time to clean up"


async def test_work_that_will_not_end_is_cancelled_again_and_left() -> None:
    began = time.monotonic()
    cancels: list[float] = []
    with pytest.raises(TimeoutError):
        await bounded(stubborn(cancels, 5), within=0.02, ending=0.05)
    assert time.monotonic() - began < 0.05 + LAST + 1
    assert cancels


async def test_a_cancelled_session_waits_for_its_work_to_clean_up() -> None:
    cleaned: list[str] = []

    async def work() -> None:
        try:
            await asyncio.sleep(30)
        finally:
            await asyncio.sleep(0.05)
            cleaned.append("work")

    task = asyncio.create_task(bounded(work(), within=30, ending=1))
    await asyncio.sleep(0)
    await asyncio.sleep(0)
    for _ in range(2):  # also when it is cancelled again meanwhile
        task.cancel()
        await asyncio.sleep(0.01)
    await asyncio.wait({task})
    assert task.cancelled()
    assert cleaned == ["work"]


async def test_what_has_to_be_done_is_done_though_the_session_is_cancelled() -> None:
    done: list[str] = []

    async def work() -> None:
        await asyncio.sleep(0.05)
        done.append("work")
        raise DefectError

    task = asyncio.create_task(carried_out(work(), within=1))
    await asyncio.sleep(0)
    task.cancel()
    await asyncio.wait({task})
    assert task.cancelled(), "the cancellation was lost"
    assert done == ["work"]
    await carried_out(work(), within=1)  # what it raises is over with it


async def test_what_takes_too_long_is_given_up() -> None:
    began = time.monotonic()
    await carried_out(asyncio.sleep(30), within=0.05)
    assert time.monotonic() - began < 1


async def test_tasks_are_ended_all() -> None:
    tasks = [asyncio.create_task(asyncio.sleep(30)) for _ in range(3)]
    await ended(*tasks, within=1)
    assert all(task.cancelled() for task in tasks)


class Stuck:
    """A thread that the system does not let go on, until it is released."""

    def __init__(self) -> None:
        self.release = threading.Event()
        self.last_act = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self.thread = threading.Thread(target=self._work, name="stuck")
        self.thread.start()

    def _work(self) -> None:
        assert self.release.wait(10)
        self._loop.call_soon_threadsafe(self.last_act.set)


async def test_the_loop_goes_on_while_a_thread_does_not_end() -> None:
    stuck, within = Stuck(), 0.4
    pauses: list[float] = []

    async def tick() -> None:
        while True:
            before = time.monotonic()
            await asyncio.sleep(0.005)
            pauses.append(time.monotonic() - before)

    ticking = asyncio.create_task(tick(), name="tick")
    assert not await thread_ended(stuck.thread, stuck.last_act, within=within)
    count = len(pauses)
    await until(lambda: len(pauses) > count + 1, what="a pause that the end would be in")
    await ended(ticking, within=1)
    assert max(pauses) < 0.15 * within, "the loop was held up"
    stuck.release.set()
    assert await thread_ended(stuck.thread, stuck.last_act, within=5)
    assert not stuck.thread.is_alive()


async def test_a_wait_for_a_thread_that_is_cancelled_waits_to_its_end_all_the_same() -> None:
    stuck = Stuck()
    waiting = asyncio.create_task(thread_ended(stuck.thread, stuck.last_act, within=5), name="waiting")
    await asyncio.sleep(0)
    threading.Timer(0.1, stuck.release.set).start()
    waiting.cancel()
    with pytest.raises(asyncio.CancelledError):
        await waiting
    assert not stuck.thread.is_alive()
