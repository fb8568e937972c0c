"""The archive of a call that runs: its process beside the recorder, what that is told, and what it tells."""

import asyncio
import json
import logging
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

from analysis.model import Event, EventKind, Reading
from collector.archive_target import Secrets, target_of
from collector.collector import Collector
from collector.forward_marks import GRACE, MINUTE, TELLING, Mark, Marks
from collector.job_sections import ArchiveSettings
from collector.page import APART, end_process
from collector.sinks.sink import Target
from collector.store import Written
from collector.supervisor import Backoff
from drivers.base import InputError, Now

TURN = 1.0
"""Between two lines that tell what was recorded. [s]"""
FIRST_REST, LONGEST_REST = 0.5, 30.0
"""Waits before a process that died is started again. [s]"""
TOLD_AFTER = 30.0
"""A server that is away for so long is an event of the recording; shorter ones are on the page alone. [s]"""

log = logging.getLogger(__name__)


def program() -> tuple[str, ...]:
    """The program of the process."""
    return (sys.executable, "-P", "-m", "collector.forward_worker")


class Archive:
    """Has what is recorded sent to the server of the job in force; whatever happens to that, the recording goes on.

    `committed` is told of each durable batch and remembers spans alone, so that any number of readings needs little.
    """

    def __init__(
        self,
        recording: Path,
        settings: Callable[[], ArchiveSettings],
        *,
        secrets: Secrets,
        now: Now,
        tell: Callable[[Event], None],
        command: Sequence[str] = (),
    ) -> None:
        self._recording, self._settings, self._secrets = recording, settings, secrets
        self._now, self._tell = now, tell
        self._command = tuple(command) or program()
        self._marks = Marks()
        self._backoff = Backoff(FIRST_REST, LONGEST_REST)
        self._ending = asyncio.Event()
        self._said: dict[str, Any] = {}
        self._trouble = ""
        self._server = ""
        self._away: int | None = None
        self._forgotten = 0
        self.starts = 0
        """How often the process was started. [1]"""
        self.process: Process | None = None

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

    def status(self) -> dict[str, Any] | None:
        """How far the server has what is recorded; None where the job names none."""
        if not self._server and not self._trouble:
            return None
        own = {"state": "waiting", "text": self._trouble} if self._trouble else {}
        return {"state": "sending", "text": "", "behind": 0.0, "aside": 0, **self._said, **own, "server": self._server}

    def left(self) -> str:
        """What the server does not have at the end, in one sentence; empty where it has all."""
        if not self._server and not self._trouble:
            return ""
        aside = f", and it refuses {count} readings" if (count := self._said.get("aside")) else ""
        if self._said.get("sent_all") and not self._trouble and not aside:
            return ""
        why = f" ({text})" if (text := self._trouble or self._said.get("text")) else ""
        server = self._server or "the archive"
        missing = "" if self._said.get("sent_all") else f"{server} does not have all of {self._recording.name} yet{why}"
        what = f"{missing}{aside}" if missing else f"{server} has {self._recording.name}{aside}"
        return f"{what}: lightoff archive {self._recording} sends what is missing"

    async def run(self) -> None:
        """Keep a process running for the server that the job names, until `end`, or until cancelled."""
        while not self._ending.is_set():
            settings, target = self._settings(), None
            try:
                target = target_of(settings, self._secrets)
                self._trouble = ""
            except InputError as error:
                if str(error) != self._trouble:
                    log.warning("%s", error)
                self._trouble = str(error)
            if target is None:
                self._server, self._said = "", {}
                await self._pause(TURN)
                continue
            self._server = str(target)
            await self._serve(target, settings)

    def end(self) -> None:
        """All is recorded: `run` returns when that is sent, or a few seconds later."""
        self._ending.set()

    @asynccontextmanager
    async def sending(self) -> AsyncIterator[None]:
        """Run while the block does; when that is over and all is recorded, send the rest as far as that goes soon."""
        task = asyncio.create_task(self.run(), name="archive")
        try:
            yield
        finally:
            self.end()
            await asyncio.wait([task])
            if error := task.exception():  # the recording is whole all the same
                log.error("the archive ended with a defect (%r); please report it", error)

    async def _pause(self, seconds: float) -> None:
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._ending.wait()

    async def _serve(self, target: Target, settings: ArchiveSettings) -> None:
        """One life of the process."""
        self.starts += 1
        self.process = process = await asyncio.create_subprocess_exec(
            *self._command, stdin=PIPE, stdout=PIPE, limit=2**20, **APART
        )
        hearing = asyncio.create_task(self._hear(process), name="archive: status")
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

    async def _talk(
        self, process: Process, target: Target, settings: ArchiveSettings, hearing: "asyncio.Task[None]"
    ) -> None:
        assert process.stdin is not None
        given = {
            "recording": str(self._recording.absolute()),
            "url": target.url,
            "bucket": target.bucket,
            "org": target.org,
            "secret": target.secret,
        }
        process.stdin.write(json.dumps(given).encode() + b"\n")
        while not hearing.done() and not self._ending.is_set() and self._settings() == settings:
            await self._pause(TURN)
            self._hand_on(process)
        self._hand_on(process)

    def _hand_on(self, process: Process) -> None:
        """Tell what was recorded, unless what was told before is still on its way: then it is told with the next."""
        assert process.stdin is not None
        if process.stdin.transport.get_write_buffer_size() == 0 and (marks := self._marks.take()):
            anew, self._forgotten = self._marks.forgotten > self._forgotten, self._marks.forgotten
            process.stdin.write(json.dumps({"touched": marks, "anew": anew}).encode() + b"\n")

    async def _hear(self, process: Process) -> None:
        assert process.stdout is not None
        while line := await process.stdout.readline():
            with suppress(ValueError):
                self._said = json.loads(line)
                self._backoff.succeeded()
                self._event_of(self._said)

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

    def _event_of(self, said: Mapping[str, Any]) -> None:
        """A server that is away for long, and its return, stand in the recording."""
        waiting = said["state"] == "waiting"
        if waiting and self._away is None and said["stood_still"] >= TOLD_AFTER:
            self._away = int(said["since"])
            self._event(f"the archive takes nothing: {said['text']}", "away")
        elif not waiting and self._away is not None:
            self._away = None
            self._event(f"the archive {self._server} takes readings again", "back")

    def _event(self, text: str, state: str) -> None:
        self._tell(Event(self._now(), EventKind.ARCHIVE, text, None, {"state": state}))


def archive_of(
    recording: Path, secrets: Secrets | None, collector: Collector, settings: Callable[[], ArchiveSettings]
) -> Archive | None:
    """What sends a recording to the server of the job in force; None where there are no secrets to be read."""
    if secrets is None:
        return None
    archive = Archive(recording, settings, secrets=secrets, now=collector.now, tell=collector.ingest)
    collector.recorder.committed.append(archive.committed)
    return archive
