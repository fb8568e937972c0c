"""What may be wrong, for whoever watches: looked for in a process beside the recorder when an attempt has ended."""

import asyncio
import json
import logging
import sys
from asyncio.subprocess import PIPE
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

from collector.page import APART, end_process

WORKER = (sys.executable, "-P", "-m", "collector.causes_worker")
EVERY = 60.0
"""A call is looked at anew no sooner than this, since it takes some seconds of a processor. [s]"""
TURN = 2.0
"""Between two looks whether an attempt has ended. [s]"""
PATIENCE = 300.0
"""Longest time for an answer. [s]"""

log = logging.getLogger(__name__)


class SharedDiagnosis:
    """Tells `use` the leading cause of a recording, None where there is none; the recorder never waits for it."""

    def __init__(
        self,
        recording: Path,
        *,
        ended: Callable[[], int],
        use: Callable[[Mapping[str, Any] | None], None],
        command: Sequence[str] = WORKER,
        every: float = EVERY,
        turn: float = TURN,
    ) -> None:
        """`ended`: number of the newest attempt that is over, 0 where none is or nobody watches."""
        self._recording, self._ended, self._use = recording, ended, use
        self._command, self._every, self._turn = tuple(command), every, turn

    @asynccontextmanager
    async def looking(self) -> AsyncIterator[None]:
        """Look while the block runs."""
        task = asyncio.create_task(self.run(), name="diagnosis for who watches")
        try:
            yield
        finally:
            task.cancel()
            await asyncio.wait([task])

    async def run(self) -> None:
        """Look until cancelled."""
        told, clock = 0, asyncio.get_running_loop().time
        due = -float("inf")
        while True:
            ended = self._ended()
            if ended not in (0, told) and clock() >= due:
                told, due = ended, clock() + self._every
                try:
                    self._use(leading(await self._ask()))
                except (OSError, ValueError, TimeoutError) as error:
                    log.info("nothing can be said of causes: %r", error)
            await asyncio.sleep(self._turn)

    async def _ask(self) -> Mapping[str, Any]:
        process = await asyncio.create_subprocess_exec(*self._command, stdin=PIPE, stdout=PIPE, limit=2**20, **APART)
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            async with asyncio.timeout(PATIENCE):
                process.stdin.write(json.dumps(str(self._recording.absolute())).encode() + b"\n")
                with suppress(ConnectionError):
                    await process.stdin.drain()
                found = json.loads(await process.stdout.readline() or b"{}")
                return found if isinstance(found, dict) else {}
        finally:
            await end_process(process)


def leading(found: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The first cause of what the process says, or why it cannot tell; None where it says nothing."""
    if causes := found.get("causes"):
        return {"text": causes[0]["text"], "likely": causes[0]["likely"], "cannot_tell": found.get("cannot_tell", "")}
    if why := found.get("cannot_tell"):
        return {"text": "", "likely": "", "cannot_tell": why}
    return None
