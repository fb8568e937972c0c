"""The page as a process of its own: started, watched, started again when it dies, ended with the recording."""

import asyncio
import json
import logging
import signal
from asyncio.subprocess import PIPE, Process
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress

BEGIN = 20.0
"""Time the page has to say its address. [s]"""
REST = 1.0
"""Wait before a page that died is started again. [s]"""
END = 3.0
"""Time the page has to end by itself. [s]"""

log = logging.getLogger(__name__)


class PageProcess:
    """Runs the page's program; it gets one line of settings and ends when its standard input does."""

    def __init__(
        self, program: Sequence[str], settings: Mapping[str, object], *, on_address: Callable[[str], None]
    ) -> None:
        self._program = tuple(program)
        self._settings = dict(settings)
        self._on_address = on_address
        self.starts = 0
        """How often the page was started. [1]"""

    async def run(self) -> None:
        """Keep a page running until cancelled; whatever happens to it, the recording goes on."""
        while True:
            self.starts += 1
            process = await asyncio.create_subprocess_exec(*self._program, stdin=PIPE, stdout=PIPE)
            try:
                await self._talk(process)
                code = await process.wait()
                log.error("the page ended by itself (status %s); it is started again", code)
            finally:
                await _end(process)
            await asyncio.sleep(REST)

    async def _talk(self, process: Process) -> None:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(json.dumps(self._settings).encode() + b"\n")
        with suppress(ConnectionError, TimeoutError, ValueError):
            await process.stdin.drain()
            async with asyncio.timeout(BEGIN):
                address = str(json.loads(await process.stdout.readline())["address"])
            self._settings["port"] = int(address.rstrip("/").rsplit(":", 1)[1])
            self._on_address(address)
            while await process.stdout.readline():
                pass  # whatever it prints must not fill its pipe


async def _end(process: Process) -> None:
    if process.stdin is not None:
        process.stdin.close()
        with suppress(ConnectionError):
            await process.stdin.wait_closed()
    for again in (None, signal.SIGTERM, signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM):
        with suppress(ProcessLookupError):
            if again is not None:
                process.send_signal(again)
        with suppress(TimeoutError):
            async with asyncio.timeout(END):
                await process.wait()
                return
