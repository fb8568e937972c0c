"""What the benchmarks found: said as they go, and the figures that matter in one table at the end of a run.

LIGHTOFF_BENCH_TABLE names a file that the table is written to as well, in Markdown, with the date and the machine.
"""

import os
import platform
import time
from pathlib import Path
from typing import NamedTuple

SAID = "LIGHTOFF_SAID"
"""Of the environment: names a file to which everything that is said is added."""


class Row(NamedTuple):
    """A figure beside what is wished for."""

    what: str
    reached: str
    wished: str


ROWS: list[Row] = []


def machine() -> str:
    """What it was measured on: processor, cores, load, Python."""
    model = ""
    if Path("/proc/cpuinfo").exists():
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        model = next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), "")
    load = f"load {os.getloadavg()[0]:.1f}"
    return f"{model or platform.machine()}, {os.cpu_count()} cores, {load}, Python {platform.python_version()}"


def say(text: str) -> None:
    """Print a figure with the machine, and keep it where somebody gathers what is said."""
    print(f"\n{text} [{machine()}]")  # noqa: T201
    if path := os.environ.get(SAID):
        with Path(path).open("a", encoding="utf-8") as file:
            file.write(f"{text}\0")


def row(what: str, reached: str, wished: str) -> None:
    """Put a figure into the table."""
    ROWS.append(Row(what, reached, wished))


def text() -> str:
    """The table in Markdown; empty without rows."""
    if not ROWS:
        return ""
    head = [Row("what", "reached", "wished for"), Row("---", "---", "---")]
    lines = [f"| {' | '.join(one)} |" for one in [*head, *ROWS]]
    return "\n".join([f"Measured {time.strftime('%Y-%m-%d', time.gmtime())}: {machine()}.", "", *lines])
