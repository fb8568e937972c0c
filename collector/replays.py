"""Recordings of the library played in programs of their own, each with its own page; a few at a time."""

import asyncio
import sys
from asyncio.subprocess import PIPE, STDOUT, Process
from collections.abc import AsyncIterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Self

from collector.page import APART, end_process
from drivers.base import InputError
from drivers.replay import FASTEST, SLOWEST

MOST = 3
"""Replays at a time; the oldest ends when one more begins. [1]"""
BEGIN = 30.0
"""Time a replay has to say its address. [s]"""
LONGEST_LINE = 4096
"""What goes beyond it in a line that a replay prints is not looked at. [bytes]"""


def program() -> tuple[str, ...]:
    """The program of a replay, which ends with its input; -P: as for the page."""
    return (sys.executable, "-P", "-m", "collector.tied", "replay")


@dataclass(slots=True)
class _Entry:
    """One replay: how it was asked for, and what has become of it."""

    speed: float | str
    task: asyncio.Task[None] | None = None
    address: str | None = None
    text: str = "opening"
    said: str = field(default="")
    """Last line that tells what went wrong."""

    @property
    def running(self) -> bool:
        return self.task is not None and not self.task.done()


class Replays:
    """Starts and ends replays for as long as its block runs; on leaving, every one has ended."""

    def __init__(self, program: Sequence[str]) -> None:
        self._program = tuple(program)
        self._entries: dict[str, _Entry] = {}  # by the name of the file, the oldest first
        self._ending: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> Self:
        """Itself."""
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        """End every replay."""
        for name in list(self._entries):
            self._let_end(name)
        if self._ending:
            await asyncio.wait(set(self._ending))

    def playing(self, name: str) -> bool:
        """Whether a recording of that name is being replayed."""
        return name in self._entries and self._entries[name].running

    def start(self, path: Path, speed: float | str) -> str:
        """Begin a replay at a speed, a number or `max`; an earlier one of the same recording ends."""
        if isinstance(speed, str):
            if speed != "max":
                raise InputError(f"'{speed[:20]}' is no speed", f"say {SLOWEST:g} to {FASTEST:g}, or max")
        elif not SLOWEST <= speed <= FASTEST:
            raise InputError(
                f"speed {speed:g} is outside {SLOWEST:g} to {FASTEST:g}", "choose one between them, or max"
            )
        name = path.name
        self._let_end(name)
        for other in [other for other, entry in self._entries.items() if not entry.running]:
            del self._entries[other]  # failed or ended: that was there to be read
        note = ""
        if len(self._entries) >= MOST:
            oldest = next(iter(self._entries))
            self._let_end(oldest)
            note = f"; the replay of {oldest} was ended: {MOST} at a time"
        entry = self._entries[name] = _Entry(speed)
        entry.task = asyncio.create_task(self._run(path, entry), name=f"replay of {name}")
        return f"opening a replay of {name}{note}"

    def end(self, name: str) -> str:
        """End a replay."""
        if name not in self._entries:
            raise InputError(f"{name[:80]} is not being replayed", "look at the list of recordings again")
        self._let_end(name)
        return f"the replay of {name} was ended"

    def state(self) -> list[dict[str, object]]:
        """Every replay: its file, its speed, and its address or what else there is to say."""
        return [
            {"name": name, "speed": entry.speed, "address": entry.address, "text": entry.text}
            for name, entry in self._entries.items()
        ]

    def _let_end(self, name: str) -> None:
        entry = self._entries.pop(name, None)
        if entry is not None and entry.task is not None and not entry.task.done():
            entry.task.cancel()
            self._ending.add(entry.task)
            entry.task.add_done_callback(self._ending.discard)

    async def _run(self, path: Path, entry: _Entry) -> None:
        command = (*self._program, str(path), "--speed", _as_given(entry.speed), "--port", "0", "--no-browser")
        try:
            process = await asyncio.create_subprocess_exec(*command, stdin=PIPE, stdout=PIPE, stderr=STDOUT, **APART)
        except OSError as error:
            entry.text = f"the replay did not start ({error.strerror or error}); try again"
            return
        try:
            try:
                async with asyncio.timeout(BEGIN) as limit:
                    async for line in _lines(process):
                        _hear(line, entry)
                        if entry.address and limit.when() is not None:
                            limit.reschedule(None)
                with suppress(TimeoutError):
                    await asyncio.wait_for(process.wait(), BEGIN)
                entry.text = entry.said or f"the replay ended by itself (status {process.returncode}); open it again"
            except TimeoutError:
                entry.text = f"the replay said no address within {BEGIN:g} s; close some programs and try again"
        finally:
            entry.address = None
            await end_process(process)


def _as_given(speed: float | str) -> str:
    return speed if isinstance(speed, str) else f"{speed:g}"


def _hear(line: str, entry: _Entry) -> None:
    head, colon, rest = line.partition(":")
    if head == "page" and rest.split():
        entry.address, entry.text = rest.split()[0], "open"
    elif colon and head == "lightoff replay":
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
