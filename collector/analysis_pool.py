"""Recordings analysed by several processes of this machine; one that dies costs the recording that it was at."""

import signal
import threading
from collections.abc import Generator, Sequence
from itertools import islice
from multiprocessing import connection, get_context, parent_process
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from os import _exit as leave
from typing import NamedTuple

from collector.analysis_line import Task, error_line, line_of


class Done(NamedTuple):
    """What came of a recording."""

    task: Task
    line: str | None
    """Its line, or None where the one that is there is still true."""


def in_processes(tasks: Sequence[Task], jobs: int) -> Generator[Done, None, None]:
    """Each recording's line as soon as it is there; so many processes, which end with this iterator."""
    waiting = iter(tasks)
    team: dict[object, _Worker] = {}
    try:
        for task in islice(waiting, jobs):
            _begin(team, task)
        while team:
            for one in connection.wait([own.connection for own in team.values()]):
                own = team[one]
                task, (line, alive) = own.task, own.answer()
                following = next(waiting, None)
                if following is None or not alive:
                    team.pop(one).end()
                if following is not None:
                    if alive:
                        own.give(following)
                    else:
                        _begin(team, following)
                yield Done(task, line)
    finally:
        for own in team.values():
            own.process.kill()
            own.end()


class _Worker:
    """A process and what it is at."""

    def __init__(self, task: Task) -> None:
        context = get_context("spawn")
        self.connection, theirs = context.Pipe()
        self.process: SpawnProcess = context.Process(target=_work, args=(theirs,), daemon=True)
        self.process.start()
        theirs.close()  # or its end would not be heard
        self.task = task
        self.give(task)

    def give(self, task: Task) -> None:
        self.task = task
        try:
            self.connection.send(task)
        except OSError:  # it is dead, and the next look at it will say so
            return

    def answer(self) -> tuple[str | None, bool]:
        """What came of the task, and whether another one can be given."""
        try:
            return self.connection.recv(), True
        except (EOFError, OSError):
            self.process.join()
            return error_line(self.task, _ended(self.process.exitcode)), False

    def end(self) -> None:
        self.connection.close()
        self.process.join()


def _begin(team: dict[object, _Worker], task: Task) -> None:
    own = _Worker(task)
    team[own.connection] = own


def _ended(code: int | None) -> str:
    how = f"was killed ({signal.Signals(-code).name})" if code and code < 0 else f"ended with status {code}"
    return f"the process that analysed it {how}; say the same again, with fewer --jobs if memory is short"


def _work(to: Connection) -> None:
    """Answer until nobody asks any more; gone with whoever asks, also in the middle of a recording."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is for the one who asks
    threading.Thread(target=_leave_with_parent, name="parent", daemon=True).start()
    while True:
        try:
            task = to.recv()
        except (EOFError, OSError):
            return
        to.send(line_of(task))


def _leave_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        leave(1)
