"""The sessions of a call's instruments: they begin with it, come and go while it runs, and end with it."""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from analysis.model import Event, EventKind
from collector.supervisor import State, Supervisor
from drivers.base import InputError, Now

ENDS_WITHIN = 2.0
"""Longest time that the end of an instrument's session is waited for. [s]"""


class Sessions:
    """A supervisor each; `gone` is told of one that left, with the event of it, when its session is at its end."""

    def __init__(self, *, now: Now, gone: Callable[[Supervisor, Event], None]) -> None:
        self.supervisors: list[Supervisor] = []
        self._now = now
        self._gone = gone
        self._group: asyncio.TaskGroup | None = None
        self._tasks: dict[Supervisor, asyncio.Task[None]] = {}

    @property
    def running(self) -> bool:
        """Whether sessions are started at once."""
        return self._group is not None

    def add(self, supervisor: Supervisor, after: Sequence[asyncio.Task[Any]] = ()) -> None:
        """Begin its sessions with `run`, or now while that runs; a short while at most behind the tasks `after`."""
        if supervisor not in self.supervisors:
            self.supervisors.append(supervisor)
        if self._group:
            sessions = _after(after, supervisor.run)
            name = f"supervisor: {supervisor.driver.name}"
            self._tasks[supervisor] = self._group.create_task(sessions, name=name)

    def remove(self, name: str, *, told: str, text: str) -> asyncio.Task[None] | None:
        """Let an instrument go; the task that ends its session, None where there was none. InputError without it."""
        there = (one for one in self.supervisors if one.driver.name == name and one.status.state is not State.REMOVED)
        if (supervisor := next(there, None)) is None:
            raise InputError(f"there is no instrument '{name}'", "look at the list of meters again")
        supervisor.leave()
        event = Event(self._now(), EventKind.INSTRUMENT, f"{name}: {text or told}", name, {"state": told, "text": text})
        task = self._tasks.pop(supervisor, None)
        if self._group is None or task is None or task.done():
            self._leave(supervisor, event)
            return None
        return self._group.create_task(self._end(supervisor, task, event), name=f"end: {name}")

    async def run(self, *beside: Callable[[], Awaitable[None]]) -> None:
        """Run all of them, and what runs `beside`, until cancelled or until one has a defect."""
        try:
            async with asyncio.TaskGroup() as group:
                self._group = group
                for supervisor in self.supervisors:
                    self.add(supervisor)
                for work in beside:
                    group.create_task(_after((), work), name=work.__name__.strip("_"))
        finally:
            self.stop()

    def stop(self) -> None:
        """No more sessions begin."""
        self._group = None

    async def _end(self, supervisor: Supervisor, task: asyncio.Task[None], event: Event) -> None:
        task.cancel()
        try:
            await asyncio.wait([task], timeout=ENDS_WITHIN)
        finally:
            self._leave(supervisor, event)

    def _leave(self, supervisor: Supervisor, event: Event) -> None:
        supervisor.close()
        self.supervisors.remove(supervisor)
        self._gone(supervisor, event)


async def _after(tasks: Sequence[asyncio.Task[Any]], run: Callable[[], Awaitable[None]]) -> None:
    if tasks:
        await asyncio.wait(tasks, timeout=ENDS_WITHIN)
    await run()
