"""A folder of small recordings to analyse, and what a line is without them."""

import gzip
import json
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib.resources import files
from pathlib import Path

from collector.analysis_line import Task, line_of


def cut(name: str, target: Path, seconds: int) -> Path:
    """The beginning of a bundled recording, about so long [s]."""
    lines = gzip.decompress((files("replay_data") / f"{name}.csv.gz").read_bytes()).decode().splitlines(keepends=True)
    target.write_text("".join(lines[: 1 + 18 * seconds]))
    return target


def folder_of(folder: Path, count: int) -> list[Path]:
    """So many readable files with a job beside the first, and one that is none."""
    folder.mkdir()
    names = ("igniter_aged", "hose_split", "filter_loaded", "drain_backs_up")
    found = [cut(names[place % 4], folder / f"call {place}.csv", 90 + 15 * place) for place in range(count)]
    (folder / "call 0.toml").write_text((files("replay_data") / f"{names[0]}.toml").read_text())
    (folder / "none.csv").write_text("no recording\n")
    return [*found, folder / "none.csv"]


def task_of(path: Path) -> Task:
    """The file named by itself."""
    return Task(str(path), str(path.absolute()))


def lines_of(paths: list[Path]) -> list[str]:
    """The line of each, made here, in their own order of text."""
    return sorted(line or "" for line in map(line_of, map(task_of, paths)))


def read(path: Path) -> dict[str, dict[str, object]]:
    """The lines of a file by the file they are about."""
    found = [json.loads(line) for line in path.read_text().splitlines()]
    return {one["file"]: one for one in found}


@contextmanager
def stuck(path: Path) -> Iterator[Callable[[], None]]:
    """A file at which whoever reads it waits for ever; what is given waits until somebody does."""
    os.mkfifo(path)
    held: list[int] = []

    def wait_for_reader(within: float = 90.0) -> None:
        deadline = time.monotonic() + within
        while not held:
            assert time.monotonic() < deadline, f"nobody reads {path.name} within {within} s"
            with suppress(OSError):  # nobody does yet
                held.append(os.open(path, os.O_WRONLY | os.O_NONBLOCK))
            time.sleep(0.01)  # looks at another process

    yield wait_for_reader
    for one in held:
        os.close(one)
