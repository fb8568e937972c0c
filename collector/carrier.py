"""A process beside the recorder that carries what is recorded elsewhere: its life, what it is told and tells."""

import asyncio
import json
import logging
from abc import ABC, abstractmethod
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

from analysis.model import Reading
from collector.forward_marks import GRACE, MINUTE, TELLING, Mark, Marks
from collector.page import APART, end_process
from collector.store import Written
from collector.supervisor import Backoff
from drivers.base import InputError

FIRST_REST, LONGEST_REST = 0.5, 30.0
"""Waits before a process that died is started again. [s]"""

log = logging.getLogger(__name__)


class Carrier(ABC):
    """Keeps the process running for the place that the job in force names; whatever happens to it, recording goes on.

    `committed` is told of each durable batch and remembers spans alone, so that any number of readings needs little.
    """

    turn = 1.0
    """Between two lines that tell what was recorded. [s]"""
    word = ""
    """What it is called."""

    def __init__(self, recording: Path, settings: Callable[[], Any], *, command: Sequence[str]) -> None:
        self._recording, self._settings = recording, settings
        self._command = tuple(command)
        self._marks = Marks()
        self._backoff = Backoff(FIRST_REST, LONGEST_REST)
        self._ending = asyncio.Event()
        self._said: dict[str, Any] = {}
        self._trouble = ""
        self._server = ""
        self._forgotten = 0
        self.starts = 0
        """How often the process was started. [1]"""
        self.process: Process | None = None

    @abstractmethod
    def _target(self, settings: Any) -> Any:
        """The place, None where the job names none; InputError where it cannot be."""

    @abstractmethod
    def _given(self, target: Any) -> Mapping[str, Any]:
        """Settings of the process."""

    def _line(self) -> Mapping[str, Any] | None:
        """What is told next, None where there is nothing."""
        if not (marks := self._marks.take()):
            return None
        anew, self._forgotten = self._marks.forgotten > self._forgotten, self._marks.forgotten
        return {"touched": marks, "anew": anew}

    def _take(self, said: dict[str, Any]) -> None:
        """The process tells something."""
        self._said = said

    def committed(self, items: Sequence[Written]) -> None:
        """These are durable."""
        if not self._server:
            return  # its process begins with all that is in the recording
        spans: dict[tuple[str, int], tuple[int, int]] = {}
        for item in items:
            if isinstance(item, Reading):
                place, time = (item.channel, item.time // MINUTE), item.time
                low, high = spans.get(place, (time, time))
                spans[place] = (min(low, time), max(high, time))
        self._marks.add(Mark(channel, *span) for (channel, _), span in spans.items())

    async def run(self) -> None:
        """Keep a process running for the server that the job names, until `end`, or until cancelled."""
        while not self._ending.is_set():
            settings, target = self._settings(), None
            try:
                target = self._target(settings)
                self._trouble = ""
            except InputError as error:
                if str(error) != self._trouble:
                    log.warning("%s", error)
                self._trouble = str(error)
            if target is None:
                self._server, self._said = "", {}
                await self._pause(self.turn)
                continue
            self._server = str(target)
            await self._serve(target, settings)

    def end(self) -> None:
        """All is recorded: `run` returns when that is sent, or a few seconds later."""
        self._ending.set()

    @asynccontextmanager
    async def sending(self) -> AsyncIterator[None]:
        """Run while the block does; when that is over and all is recorded, send the rest as far as that goes soon."""
        task = asyncio.create_task(self.run(), name=self.word)
        try:
            yield
        finally:
            self.end()
            await asyncio.wait([task])
            if error := task.exception():  # the recording is whole all the same
                log.error("the %s ended with a defect (%r); please report it", self.word, error)

    async def _pause(self, seconds: float) -> None:
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._ending.wait()

    async def _serve(self, target: Any, settings: Any) -> None:
        """One life of the process."""
        self.starts += 1
        self.process = process = await asyncio.create_subprocess_exec(
            *self._command, stdin=PIPE, stdout=PIPE, limit=2**20, **APART
        )
        hearing = asyncio.create_task(self._hear(process), name=f"{self.word}: status")
        try:
            await self._talk(process, target, settings, hearing)
        except ConnectionError:
            pass  # it is gone
        finally:
            self._marks.take()  # whatever was not told is found by the next one, which compares
            await self._close(process, hearing)
        if not self._ending.is_set() and self._settings() == settings:
            wait = self._backoff.failed()
            self._trouble = f"what sends to {target} ended by itself (status {process.returncode}); it is started again"
            log.error("%s in %.1f s", self._trouble, wait)
            await self._pause(wait)

    async def _talk(self, process: Process, target: Any, settings: Any, hearing: "asyncio.Task[None]") -> None:
        assert process.stdin is not None
        process.stdin.write(json.dumps(self._given(target)).encode() + b"\n")
        while not hearing.done() and not self._ending.is_set() and self._settings() == settings:
            await self._pause(self.turn)
            self._hand_on(process)
        self._hand_on(process)

    def _hand_on(self, process: Process) -> None:
        """Tell what was recorded, unless what was told before is still on its way: then it is told with the next."""
        assert process.stdin is not None
        if process.stdin.transport.get_write_buffer_size() == 0 and (line := self._line()) is not None:
            process.stdin.write(json.dumps(line).encode() + b"\n")

    async def _hear(self, process: Process) -> None:
        assert process.stdout is not None
        while line := await process.stdout.readline():
            with suppress(ValueError):
                self._take(json.loads(line))
                self._backoff.succeeded()

    async def _close(self, process: Process, hearing: "asyncio.Task[None]") -> None:
        assert process.stdin is not None
        process.stdin.close()
        try:
            await asyncio.wait([hearing], timeout=GRACE + 4 * TELLING)
        finally:
            hearing.cancel()
            await asyncio.wait([hearing])
            await end_process(process)
            self.process = None
