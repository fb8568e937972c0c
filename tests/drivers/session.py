"""A session of a driver under test: what it emitted, how it ended, and what it left behind."""

import asyncio
import gc
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from analysis.model import Reading
from drivers.base import Driver, Emission, Emit
from tests.drivers.bench import Bench
from tests.support import until

ENDS_WITHIN = 2.0
"""Time a cancelled session may take. [s]"""
PEERS_WITHIN = 1.0
"""Time that a peer in another thread has to close its own end. [s]"""


class Session:
    """A session that runs and what it emitted; `on_emit` may raise."""

    def __init__(self, driver: Driver, on_emit: Emit | None = None) -> None:
        self.driver = driver
        self.emitted: list[Emission] = []
        self._on_emit = on_emit
        self.task = asyncio.create_task(driver.run(self._emit), name=f"session of {driver.name}")

    def _emit(self, emission: Emission) -> None:
        self.emitted.append(emission)
        if self._on_emit:
            self._on_emit(emission)

    @property
    def readings(self) -> list[Reading]:
        """Readings so far."""
        return [emission for emission in self.emitted if isinstance(emission, Reading)]

    async def until(self, condition: Callable[[], object], what: str) -> None:
        """Wait for a condition; AssertionError when it does not come or the session ends before it."""
        await until(lambda: condition() or self.task.done(), what=what)
        if not condition():
            raise AssertionError(f"the session ended before: {what}") from self.task.exception()

    async def listen(self, bench: Bench) -> Self:
        """Wait until the peer is heard."""
        await self.until(lambda: bench.listening(self.emitted), "listening")
        return self

    async def hear(self, bench: Bench, count: int) -> None:
        """Let the peer say so many things and wait for their readings."""
        wanted = len(self.readings) + count
        bench.say(count)
        await self.until(lambda: len(self.readings) >= wanted, f"{count} readings")

    async def failure(self) -> BaseException | None:
        """What the session ends with."""
        await until(self.task.done, what="end of the session")
        assert not self.task.cancelled(), "the session took a failure for a cancellation"
        return self.task.exception()

    async def cancel(self) -> None:
        """Cancel the session; AssertionError when it does not end in time, or not by that."""
        began = time.monotonic()
        self.task.cancel()
        await asyncio.wait({self.task}, timeout=3 * ENDS_WITHIN)
        took = time.monotonic() - began
        assert self.task.done(), "a cancelled session goes on"
        assert took < ENDS_WITHIN, f"a cancelled session took {took:.1f} s to end"
        assert self.task.cancelled(), f"a cancelled session ended with {self.task.exception()!r}"


class DefectError(Exception):
    """An error that no driver knows."""


@contextmanager
def nothing_left() -> Iterator[None]:
    """AssertionError when tasks, threads or (where the system lists them) descriptors are more than before."""
    before = _held()
    yield
    gc.collect()
    after = _held()
    deadline = time.monotonic() + PEERS_WITHIN
    while len(after["descriptors"]) > len(before["descriptors"]) and time.monotonic() < deadline:
        time.sleep(0.005)  # the loop stands still: only a peer's thread can close its end of a connection meanwhile
        after["descriptors"] = _held()["descriptors"]
    for what, held in after.items():
        assert len(held) <= len(before[what]), f"{what} left behind: {', '.join(sorted(held - before[what]))}"


def _held() -> dict[str, set[str]]:
    table = Path("/proc/self/fd")
    return {
        "tasks": {task.get_name() for task in asyncio.all_tasks()},
        "threads": {f"{thread.name} {thread.ident}" for thread in threading.enumerate()},
        "descriptors": set(os.listdir(table)) if table.exists() else set(),  # noqa: PTH208
    }
