"""What could not be read of a file that is imported: counted, the first of it kept, all of it written where wished."""

import csv
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from analysis.model import Event, EventKind
from collector.whole_files import text_of, whole_file
from drivers.codecs.recording_csv import MOST_PROBLEMS, Problem


class Unread:
    """Problems of one file."""

    def __init__(self, writer: Any = None) -> None:
        self._writer = writer
        self.first: list[Problem] = []
        """The first `MOST_PROBLEMS`."""
        self.count = 0

    def add(self, problem: Problem, text: str = "") -> None:
        """A row, cell or event that could not be read, with the line as it stands in the file where there is one."""
        self.count += 1
        if len(self.first) < MOST_PROBLEMS:
            self.first.append(problem)
        if self._writer:
            line = problem.line if problem.word in ("line", "row") else f"{problem.word} {problem.line}"
            self._writer.writerow((line, problem.reason, text.rstrip("\r\n")))

    def events(self, name: str, now: int) -> list[Event]:
        """The first of them as events of the recording."""
        return [
            Event(now, EventKind.PROBLEM, f"{name}: {one}", name, {"line": one.line, "reason": one.reason})
            for one in self.first
        ]


@contextmanager
def unread(bad: Path | None) -> Iterator[Unread]:
    """Problems; where a file is named all of them are written there as CSV: line, reason and the line itself."""
    if bad is None:
        yield Unread()
        return
    with whole_file(bad) as file, text_of(file, "replace") as text:
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(("line", "reason", "text"))
        yield Unread(writer)
