"""`lightoff scan` as it runs: the search, and what is shown meanwhile."""

import asyncio
import json
from collections.abc import Callable, Coroutine
from contextlib import suppress
from shutil import get_terminal_size

from collector.scan import Key, Search
from collector.scan_text import found_plain, line, table
from drivers.found import Found

PACE = 0.5
"""Time between two pictures of a search. [s]"""
ROUND = 20.0
"""How long each look lasts while watching. [s]"""

Show = Callable[[Search], None]
Write = Callable[[str], None]


async def look(search: Search, seconds: float, show: Show) -> None:
    """Look for so long [s] and show meanwhile how it stands."""
    await _beside(search.run(seconds), search, show)


async def watch(search: Search, seconds: float | None, show: Show) -> None:
    """Watch until cancelled or for so long [s], and show what changes."""
    with suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            await _beside(search.watch(min(ROUND, seconds or ROUND)), search, show)


def progress(write: Write, seconds: float) -> Show:
    """A line that counts."""
    began = asyncio.get_running_loop().time()

    def show(search: Search) -> None:
        passed = asyncio.get_running_loop().time() - began
        write(f"\rlooking: {min(passed, seconds):.0f} of {seconds:g} s, {len(search.found)} found ")

    return show


def nothing(search: Search) -> None:
    """Show nothing meanwhile."""


def screen(write: Write) -> Show:
    """A table on a terminal, each written over the one before."""
    lines = 0

    def show(search: Search) -> None:
        nonlocal lines
        width, height = get_terminal_size()
        room = max(4, height - len(search.troubles) - 2)
        text = table(search.found.values(), width=width - 1, height=room) if search.found else "nothing yet"
        troubles = (trouble[: width - 1] for trouble in search.troubles.values())
        shown = "\n".join([text, *troubles, "stop with Ctrl+C"])
        write((f"\x1b[{lines}A\x1b[J" if lines else "") + shown + "\n")
        lines = shown.count("\n") + 1

    return show


def news(write: Write, complain: Write, *, as_json: bool) -> Show:
    """A line for each instrument that is new or changed since the last time, and for each new trouble."""
    told: dict[Key, Found] = {}
    troubles: dict[str, str] = {}

    def show(search: Search) -> None:
        nonlocal told, troubles
        for name, trouble in search.troubles.items():
            if troubles.get(name) != trouble:
                complain(f"{trouble}\n")
        for key, found in search.found.items():
            if told.get(key) != found:
                write(f"{json.dumps(found_plain(found), ensure_ascii=False) if as_json else line(found)}\n")
        told, troubles = dict(search.found), dict(search.troubles)

    return show


async def _beside(work: Coroutine[None, None, None], search: Search, show: Show) -> None:
    """The work, and a picture now and then and at its end."""
    task = asyncio.create_task(work, name="the search")
    try:
        while not task.done():
            await asyncio.wait({task}, timeout=PACE)
            show(search)
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task
