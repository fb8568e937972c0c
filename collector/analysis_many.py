"""Many recordings analysed, a line of JSON each: what is done already is not done again."""

import json
from collections.abc import Callable, Generator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from typing import Protocol

from collector.analysis_line import Same, Task
from collector.analysis_pool import Done

Workers = Callable[[Sequence[Task]], Generator[Done, None, None]]
"""Who analyses: processes of this machine, or a cluster."""


class Lines(Protocol):
    """Where the lines go."""

    @property
    def known(self) -> Mapping[str, Same]:
        """What the line of each file that is there rests on."""

    @property
    def unread(self) -> set[str]:
        """Files of these lines in whose results rows are missing."""

    def add(self, line: str) -> None:
        """Take a line."""


class Printed:
    """Lines that are shown as they come, and not kept."""

    def __init__(self, show: Callable[[str], None]) -> None:
        self.add = show
        self.known: dict[str, Same] = {}
        self.unread: set[str] = set()


@dataclass(slots=True)
class Tally:
    """How a run went. [1]"""

    analysed: int = 0
    there: int = 0
    """Done before, and not done again."""
    failed: int = 0
    """Could not be analysed; their lines say why."""
    unread: int = 0
    """Analysed now or before, and some of their rows could not be read."""

    def __str__(self) -> str:
        """In words."""
        count = self.analysed + self.there + self.failed
        parts = [f"{self.analysed} analysed"]
        if self.there:
            parts.append(f"{self.there} there already")
        if self.failed:
            parts.append(f"{self.failed} could not be analysed; their lines say why")
        text = f"{count} recording{'s' * (count != 1)}: {', '.join(parts)}"
        if self.unread:
            text += f"; rows of {self.unread} could not be read, and their results say which"
        return text


def run(tasks: Sequence[Task], workers: Workers, lines: Lines, progress: Callable[[float], None]) -> Tally:
    """Analyse what has no line yet that is still true; `progress` is told the share that is done [1]."""
    tally = Tally()
    with closing(workers([replace(task, known=lines.known.get(task.name)) for task in tasks])) as results:
        for number, done in enumerate(results, start=1):
            if done.line is None:
                tally.there += 1
                tally.unread += done.task.name in lines.unread
            else:
                lines.add(done.line)
                found = json.loads(done.line).get("analysis")
                tally.analysed += found is not None
                tally.failed += found is None
                tally.unread += bool(found and found["recording"]["rows_not_read"])
            progress(number / len(tasks))
    return tally
