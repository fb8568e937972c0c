"""Work that ends in time, also when its session is cancelled, once or twice."""

import asyncio
import threading
from collections.abc import Coroutine
from contextlib import suppress
from typing import Any, TypeVar

Result = TypeVar("Result")

LAST = 0.2
"""What work that was cancelled twice still gets, and a thread after its last act. [s]"""


class BrokenOffError(Exception):
    """Work was cancelled from within, by the library that does it."""


async def bounded(work: Coroutine[Any, Any, Result], *, within: float, ending: float) -> Result:
    """Result of the work; TimeoutError after `within` [s], BrokenOffError where it cancels itself.

    When cancelled, or late, the work is cancelled and gets `ending` [s] to clean up.
    """
    task = asyncio.create_task(work, name=_name(work))
    try:
        done, _ = await asyncio.wait({task}, timeout=within)
    finally:
        await ended(task, within=ending)
    if not done:
        raise TimeoutError
    if task.cancelled():
        raise BrokenOffError("it was broken off from within")
    return task.result()


async def carried_out(work: Coroutine[Any, Any, object], *, within: float) -> None:
    """Do what has to be done at the end, whatever it raises; it is cancelled after `within` [s]."""
    task = asyncio.create_task(work, name=_name(work))
    cancelled = await _outlast(task, within)
    cancelled |= await _stop(task, LAST)
    if cancelled:
        raise asyncio.CancelledError


async def ended(*tasks: asyncio.Task[Any], within: float) -> None:
    """Cancel tasks and wait for their end."""
    for task in tasks:
        task.cancel()
    cancelled = False
    for task in tasks:
        cancelled |= await _stop(task, within)
    if cancelled:
        raise asyncio.CancelledError


async def thread_ended(thread: threading.Thread, last_act: asyncio.Event, *, within: float) -> bool:
    """Wait at most so long [s] for a thread that was told to end and sets `last_act` then; whether it has ended.

    The loop goes on meanwhile. A second cancellation holds it up, since then nobody waits for the thread any more.
    """
    clock = asyncio.get_running_loop().time
    deadline = clock() + within
    try:
        with suppress(TimeoutError):
            async with asyncio.timeout(within):
                await last_act.wait()
    except asyncio.CancelledError:
        thread.join(max(0.0, deadline - clock()))
        raise
    if last_act.is_set():
        thread.join(LAST)  # a moment: it did its last act
    return not thread.is_alive()


async def _stop(task: asyncio.Task[Any], within: float) -> bool:
    """Whether a cancellation came while the cancelled task was waited for."""
    cancelled = False
    for time in (within, LAST):
        if not task.done():
            task.cancel()
            cancelled |= await _outlast(task, time)
    if task.done() and not task.cancelled():
        task.exception()  # heard here, so that asyncio does not complain
    return cancelled


async def _outlast(task: asyncio.Task[Any], within: float) -> bool:
    """Wait for a task; whether a cancellation came meanwhile, which is for the caller to pass on."""
    clock = asyncio.get_running_loop().time
    deadline, cancelled = clock() + within, False
    while not task.done() and (left := deadline - clock()) > 0:
        try:
            await asyncio.wait({task}, timeout=left)
        except asyncio.CancelledError:
            cancelled = True
    return cancelled


def _name(work: Coroutine[Any, Any, object]) -> str:
    return getattr(work, "__qualname__", "work")
