"""Work beside a call that goes on only while somebody looks on, and never for longer than it is allowed."""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from types import TracebackType
from typing import Any, Self

ENDS_WITHIN = 2.5
"""Longest time an end is waited for. [s]"""

log = logging.getLogger(__name__)


class Attended:
    """One piece of work at a time, as long as the block runs; on leaving it has ended.

    It ends by itself, after `longest` [s], or when nobody asked for it for `unasked` [s].
    """

    def __init__(self, name: str, *, longest: float, unasked: float) -> None:
        self.name = name
        self.why = ""
        """Why the last one ended, in words; empty while it goes on, and before the first."""
        self._longest, self._unasked = longest, unasked
        self._task: asyncio.Task[None] | None = None
        self._ending: set[asyncio.Task[None]] = set()
        self._began = self._asked = 0.0

    async def __aenter__(self) -> Self:
        """Itself."""
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        """End it."""
        if tasks := self.stop():
            await asyncio.wait(tasks)

    @property
    def running(self) -> bool:
        """Whether it goes on."""
        return self._task is not None and not self._task.done()

    @property
    def left(self) -> float:
        """How much longer it may go on. [s]"""
        return max(0.0, self._began + self._longest - _clock()) if self.running else 0.0

    def begin(self, work: Callable[[], Awaitable[None]]) -> None:
        """Begin work; an earlier one is ended before."""
        before = self.stop()
        self._began = self._asked = _clock()
        self.why = ""
        self._task = asyncio.create_task(self._run(work, before), name=self.name)

    def ask(self) -> None:
        """Somebody looks on."""
        if self.running:
            self._asked = _clock()

    def stop(self, why: str = "stopped") -> list[asyncio.Task[Any]]:
        """End it; tasks that are done when it, and any before it, has ended."""
        task, self._task = self._task, None
        if task is not None and not task.done():
            self.why = why
            task.cancel()
            self._ending.add(task)
            task.add_done_callback(self._ending.discard)
        return list(self._ending)

    async def _run(self, work: Callable[[], Awaitable[None]], before: list[asyncio.Task[Any]]) -> None:
        if before:
            await asyncio.wait(before, timeout=ENDS_WITHIN)
        task = asyncio.ensure_future(work())
        try:
            while not task.done() and (left := self._until() - _clock()) > 0:
                await asyncio.wait([task], timeout=left)
            if not task.done():
                at_length = self._began + self._longest <= _clock()
                self.why = (
                    f"ended after {_span(self._longest)}" if at_length else "ended, since nobody looked on any more"
                )
        finally:
            task.cancel()
            await asyncio.wait([task], timeout=ENDS_WITHIN)
            if task.done() and not task.cancelled() and (error := task.exception()):
                self.why = f"ended by a defect of the program ({type(error).__name__}); report it"
                log.error("%s failed", self.name, exc_info=error)

    def _until(self) -> float:
        return min(self._began + self._longest, self._asked + self._unasked)


def _clock() -> float:
    return asyncio.get_running_loop().time()


def _span(seconds: float) -> str:
    return f"{seconds / 60:g} min" if seconds >= 60 else f"{seconds:g} s"
