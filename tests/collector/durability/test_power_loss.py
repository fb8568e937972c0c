"""A power loss at any instant: nothing acknowledged is missing, nothing is half there, the file opens and goes on.

The file operations of a real writer are watched, and a disk that promises no more than SQLite asks of one
(`disk.py`, with the sources) is stopped at instants all over them.
"""

import os
import random
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from collector.database import RecordingError
from collector.recording import Recording
from collector.store import Store
from tests.benchmarks.table import say
from tests.collector.durability.disk import Disk, State, losses
from tests.collector.durability.load import acknowledged, contents, held, left_by_format
from tests.collector.durability.trace import Operation, Run, Said, traced, writer

STATES = int(os.environ.get("LIGHTOFF_LOSSES", "300"))
"""States of all runs together. [1]"""
TURNS = 3
"""How often a run is gone through; in each a refused sync leaves something else. [1]"""
NAME = "call.lightoff"
SEALING = ("--sealed-after", 40)
"""A channel is sealed with almost every batch."""


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder in memory where there is one: thousands of states are written, none has to last."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as made:
        (Path(made) / "run").mkdir()
        yield Path(made)


def whole_life(folder: Path) -> Run:
    return traced(folder, *writer(folder / NAME, "--last", 120, *SEALING))


def taken_up_again(folder: Path) -> Run:
    """After a kill -9, with its log beside it."""
    with subprocess.Popen(writer(folder / NAME, *SEALING), stdout=subprocess.PIPE, text=True) as killed:
        assert killed.stdout is not None
        while killed.stdout.readline().strip() != "70":
            pass
        killed.send_signal(signal.SIGKILL)
    with tempfile.TemporaryDirectory() as beside:  # looked at in a copy: a look takes the log in
        copy = Path(shutil.copytree(folder, beside, dirs_exist_ok=True)) / NAME
        first = held(copy)
    return traced(folder, *writer(folder / NAME, "--first", first, "--last", first + 60, *SEALING))


REMOVED = 20


def said(one: Operation, text: str) -> bool:
    """Whether a program said a line then; with its end, or that comes by itself."""
    return isinstance(one, Said) and one.text.strip() == text


def written_anew(folder: Path) -> Run:
    """Somebody removes the file while it is recorded: from the next batch on everything is there again."""
    run = traced(folder, *writer(folder / NAME, "--last", 40, "--remove-at", REMOVED, *SEALING))
    again = next(place for place, one in enumerate(run.operations) if said(one, str(REMOVED)))
    return replace(run, certain=again + 1)


def refusing(refused: str) -> Callable[[Path], Run]:
    """The medium refuses for a while, and the batch is tried until it is there."""

    def run(folder: Path) -> Run:
        done = traced(folder, *writer(folder / NAME, "--last", 40, *SEALING), refused=refused)
        assert any(said(one, "refused") for one in done.operations), "nothing was refused"
        return done

    return run


def raised(version: int, *, killed: bool) -> Callable[[Path], Run]:
    """Taken up again from a file of an older format, finished or left by a kill."""

    def run(folder: Path) -> Run:
        left_by_format(version, folder / NAME, 60, killed=killed)
        return traced(folder, *writer(folder / NAME, "--first", 60, "--last", 75, *SEALING))

    return run


RUNS: dict[str, tuple[Callable[[Path], Run], float]] = {
    "from its creation to its end": (whole_life, 0.3),
    "taken up again after a kill": (taken_up_again, 0.15),
    "removed and written anew": (written_anew, 0.05),
    "a full disk": (refusing("pwrite64:error=ENOSPC:when=400..430"), 0.05),
    "a disk that refuses a sync": (refusing("fdatasync:error=EIO:when=20..60+7"), 0.1),
    "a medium that fails": (refusing("pwrite64:error=EIO:when=300..900+37"), 0.05),
    "a medium that takes no writes": (refusing("pwrite64:error=EROFS:when=600..610"), 0.05),
    "raised from format 1": (raised(1, killed=False), 0.1),
    "raised from format 2, left by a kill": (raised(2, killed=True), 0.2),
}


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("what", RUNS)
def test_a_power_loss_takes_nothing_acknowledged(what, folder, capsys):
    run, share = RUNS[what]
    began = time.monotonic()
    done = run(folder / "run")
    _as_it_is(done, folder / "run")
    watched = time.monotonic()
    chance = random.Random(what)
    before = _batches_before(done, folder)
    states, reopened = 0, list[float]()
    seen: set[int] = set()
    for _ in range(TURNS):
        for state in losses(done, round(STATES * share / TURNS), chance):
            states += 1
            seen.add(hash((state.said, *sorted(state.files.items()))))
            reopened += _stands(state, states, before, folder / "state")
    with capsys.disabled():
        say(
            f"power loss, {what}: {len(done.operations)} operations, {states} states, {len(seen)} distinct,"
            f" opened in {1000 * np.median(reopened):.0f} ms (p50), {1000 * np.quantile(reopened, 0.99):.0f} ms (p99),"
            f" {max(reopened) * 1000:.0f} ms at the most; {watched - began:.0f} s to watch,"
            f" {time.monotonic() - watched:.0f} s to try"
        )
    assert len(seen) > 0.7 * states


def _as_it_is(run: Run, folder: Path) -> None:
    """The trace is complete: carried out without a loss it gives the files that are there."""
    disk = Disk(run, random.Random(0))
    for operation in run.operations:
        disk.step(operation)
    there = {file.name: file.read_bytes() for file in folder.iterdir()}
    told = disk.now()
    for files in (there, told):
        files.pop(f"{NAME}-shm", None)  # is written through memory
    assert told == there
    assert disk.said.split()[-1] == "closed"


def _batches_before(run: Run, folder: Path) -> int:
    if not run.before:
        return 0
    _lay(run.before, folder / "before")
    return held(folder / "before" / NAME)


def _lay(files: object, folder: Path) -> None:
    folder.mkdir()
    for name, content in dict(files).items():  # type: ignore[call-overload]
        (folder / name).write_bytes(content)


def _stands(state: State, number: int, before: int, folder: Path) -> Sequence[float]:
    """The state holds what was acknowledged, to a reader, and goes on with a writer; how long opening took [s].

    One state in three is opened by a reader alone, one by a reader and then a writer, one by a writer first.
    """
    _lay(state.files, folder)
    path, least, took = folder / NAME, before + acknowledged(state.said), list[float]()
    begun = bool(state.said or before)
    """Before that it may be no recording yet, and only a writer can open it."""
    try:
        if begun and number % 3:
            took.append(_within(path, least))
        if not begun or number % 3 != 1:
            began = time.monotonic()
            with Store(path) as store:
                took.append(time.monotonic() - began)
                _within(path, least)
                count = held(path)
                store.append(contents(count))
            assert held(path) == count + 1
    except (AssertionError, RecordingError) as error:
        files = {name: len(content) for name, content in state.files.items()}
        pytest.fail(f"power lost after {state.after} operations ({state.why}), {files}: {error}")
    shutil.rmtree(folder)
    return took


def _within(path: Path, least: int) -> float:
    """All that was acknowledged is there, and at most the batch that was under way; how long opening took. [s]"""
    began = time.monotonic()
    Recording(path).close()
    took = time.monotonic() - began
    count = held(path)
    assert least <= count <= least + 1, f"{count} batches, {least} were acknowledged"
    return took
