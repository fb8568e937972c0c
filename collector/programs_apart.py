"""Programs with a page of their own, started beside this one and ended with it; a few at a time."""

import asyncio
from asyncio.subprocess import PIPE, STDOUT, Process
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from types import TracebackType
from typing import Any, Self

from collector.page import APART, end_process

BEGIN = 30.0
"""Time a program has to say its address. [s]"""
LONGEST_LINE = 4096
"""What goes beyond it in a line that a program prints is not looked at. [bytes]"""


@dataclass(slots=True)
class Entry:
    """One program: what was asked for with it, and what has become of it."""

    facts: Mapping[str, Any] = field(default_factory=dict)
    task: asyncio.Task[None] | None = None
    address: str | None = None
    text: str = "opening"
    said: str = field(default="")
    """Last line that tells what went wrong."""

    @property
    def running(self) -> bool:
        """Whether it is not at its end."""
        return self.task is not None and not self.task.done()


class ProgramsApart:
    """Starts and ends programs for as long as its block runs; on leaving, every one has ended.

    `what` is what one is called: *the replay did not start*. `command` is the name of the command that it runs.
    """

    def __init__(
        self,
        program: Sequence[str],
        *,
        what: str,
        command: str,
        most: int,
        environment: Mapping[str, str] | None = None,
    ) -> None:
        self._program = tuple(program)
        self._what, self._command, self._most = what, command, most
        self._environment = environment
        self._entries: dict[str, Entry] = {}  # by name, the oldest first
        self._ending: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> Self:
        """Itself."""
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        """End every program."""
        for name in list(self._entries):
            self._let_end(name)
        if self._ending:
            await asyncio.wait(set(self._ending))

    def playing(self, name: str) -> bool:
        """Whether a program of that name runs."""
        return name in self._entries and self._entries[name].running

    def _begin(self, name: str, arguments: Sequence[str], facts: Mapping[str, Any]) -> str:
        """Begin a program; an earlier one of the same name ends, and the oldest where there are too many: its name."""
        self._let_end(name)
        for other in [other for other, entry in self._entries.items() if not entry.running]:
            del self._entries[other]  # failed or ended: that was there to be read
        oldest = ""
        if len(self._entries) >= self._most:
            oldest = next(iter(self._entries))
            self._let_end(oldest)
        entry = self._entries[name] = Entry(facts)
        entry.task = asyncio.create_task(self._run(arguments, entry), name=f"{self._what} of {name}")
        return oldest

    def _let_end(self, name: str) -> None:
        entry = self._entries.pop(name, None)
        if entry is not None and entry.task is not None and not entry.task.done():
            entry.task.cancel()
            self._ending.add(entry.task)
            entry.task.add_done_callback(self._ending.discard)

    async def _run(self, arguments: Sequence[str], entry: Entry) -> None:
        command = (*self._program, *arguments)
        try:
            process = await asyncio.create_subprocess_exec(
                *command, stdin=PIPE, stdout=PIPE, stderr=STDOUT, env=self._environment, **APART
            )
        except OSError as error:
            entry.text = f"the {self._what} did not start ({error.strerror or error}); try again"
            return
        try:
            try:
                async with asyncio.timeout(BEGIN) as limit:
                    async for line in _lines(process):
                        self._hear(line, entry)
                        if entry.address and limit.when() is not None:
                            limit.reschedule(None)
                with suppress(TimeoutError):
                    await asyncio.wait_for(process.wait(), BEGIN)
                ended = f"the {self._what} ended by itself (status {process.returncode}); open it again"
                entry.text = entry.said or ended
            except TimeoutError:
                entry.text = f"the {self._what} said no address within {BEGIN:g} s; close some programs and try again"
        finally:
            entry.address = None
            await end_process(process)

    def _hear(self, line: str, entry: Entry) -> None:
        head, colon, rest = line.partition(":")
        if head == "page" and rest.split():
            entry.address, entry.text = rest.split()[0], "open"
        elif colon and head == f"lightoff {self._command}":
            entry.said = rest.strip()


async def _lines(process: Process) -> AsyncIterator[str]:
    """What it prints, line by line, to the end; a line that is too long is cut."""
    assert process.stdout is not None
    line = b""
    while piece := await process.stdout.read(LONGEST_LINE):
        *whole, line = (line + piece).split(b"\n")
        for one in whole:
            yield one[:LONGEST_LINE].decode("utf-8", "replace")
        line = line[:LONGEST_LINE]
