"""The page as a process of its own: started, watched, started again when it dies, ended with the recording."""

import asyncio
import json
import logging
import os
import subprocess
import sys
import threading
import time
import webbrowser
from asyncio.subprocess import PIPE, Process
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from typing import Any

from collector.building import Share

BEGIN = 20.0
"""Time the page has to say its address. [s]"""
FIRST_REST, LONGEST_REST = 0.5, 30.0
"""Wait before a page that died is started again; doubled each time it died soon. [s]"""
GOOD_LIFE = 10.0
"""A page that lived longer than this did not die soon. [s]"""
END = 3.0
"""Time the page has to end by itself. [s]"""

LONGEST_LINE = 65_536
"""Of what it prints, the end of a line that is longer. [bytes]"""

APART: Mapping[str, Any] = (
    {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
    if sys.platform == "win32"
    else {"start_new_session": True}
)
"""Ctrl+C is for the recorder, which ends the page when everything is written."""

log = logging.getLogger(__name__)


def program() -> tuple[str, ...]:
    """The page's program; -P: a folder of that name where it is started must not be taken for it."""
    return (sys.executable, "-P", "-m", "dashboard")


def show(address: str) -> None:
    """Open the page where there is a browser with a screen; never wait for it."""
    if sys.platform == "linux" and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return  # what would open now is a text browser in this terminal
    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


class PageProcess:
    """Runs the page's program; it gets one line of settings and ends when its standard input does."""

    def __init__(
        self,
        program: Sequence[str],
        settings: Mapping[str, object],
        *,
        on_address: Callable[[str], None],
        on_share: Callable[[Share], None] = lambda _: None,
    ) -> None:
        self._program = tuple(program)
        self._settings = dict(settings)
        self._on_address = on_address
        self._on_share = on_share
        self.starts = 0
        """How often the page was started. [1]"""

    async def run(self) -> None:
        """Keep a page running until cancelled; whatever happens to it, the recording goes on."""
        rest = FIRST_REST
        while True:
            self.starts += 1
            process = await asyncio.create_subprocess_exec(*self._program, stdin=PIPE, stdout=PIPE, **APART)
            began = time.monotonic()
            try:
                begun = await self._begin(process)
                if begun:
                    await self._listen(process)
                    await process.wait()
            finally:
                await end_process(process)
            how = f"ended by itself (status {process.returncode})" if begun else "did not start"
            log.error("the page %s; the recording goes on, the page is tried again in %g s", how, rest)
            if time.monotonic() - began > GOOD_LIFE:
                rest = FIRST_REST
            await asyncio.sleep(rest)
            rest = min(2 * rest, LONGEST_REST)

    async def _begin(self, process: Process) -> bool:
        """Tell the page its settings and hear its address; False when it does not come."""
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(json.dumps(self._settings).encode() + b"\n")
        try:
            async with asyncio.timeout(BEGIN):
                await process.stdin.drain()
                address = str(json.loads(await process.stdout.readline())["address"])
            self._settings["port"] = int(address.rstrip("/").rsplit(":", 1)[1])
        except (ConnectionError, TimeoutError, ValueError, LookupError, TypeError):
            return False
        self._on_address(address)
        return True

    async def _listen(self, process: Process) -> None:
        """Hear until its output ends how it shares itself, so that links hold when it has to be started again."""
        assert process.stdout is not None
        rest = b""
        while piece := await process.stdout.read(4096):
            *lines, rest = (rest + piece).split(b"\n")
            rest = rest[-LONGEST_LINE:]  # a longer line is none of its own
            for line in lines:
                self._hear(line)

    def _hear(self, line: bytes) -> None:
        try:
            facts = json.loads(line)["share"]
            share = None if facts is None else Share.parse(facts)
        except (ValueError, LookupError, TypeError, RecursionError):
            return
        self._settings["share"] = facts
        if share:
            self._on_share(share)


async def _read_to_end(process: Process) -> None:
    """Take whatever it prints, so that its pipe never fills."""
    assert process.stdout is not None
    while await process.stdout.read(4096):
        pass


async def end_process(process: Process) -> None:
    """End it: by its standard input, by asking, by force; what it still prints is taken, so that it can end.

    On return it has ended, also where this is cancelled meanwhile: then by force at once.
    """
    reading = asyncio.create_task(_read_to_end(process), name="output of the page")
    try:
        if process.stdin is not None:
            process.stdin.close()
            with suppress(ConnectionError):
                await process.stdin.wait_closed()
        for end in (None, process.terminate):
            if end is not None:
                with suppress(ProcessLookupError):
                    end()
            with suppress(TimeoutError):
                async with asyncio.timeout(END):
                    await process.wait()
                    break
    finally:
        with suppress(ProcessLookupError):
            process.kill()
        await asyncio.wait([reading, asyncio.create_task(process.wait(), name="end of the page")])
