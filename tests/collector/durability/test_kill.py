"""kill -9 at any instant: nothing acknowledged is lost, nothing is invented, the file opens at once."""

import os
import random
import shutil
import signal
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from collector.recording import Recording
from collector.store import Store
from collector.verify import verified
from tests.benchmarks.table import say
from tests.collector.durability.load import acknowledged, contents, held, left_by_format
from tests.collector.durability.trace import writer

KILLS = int(os.environ.get("LIGHTOFF_KILLS", "12"))
MOST = 400
"""Batches after which another file is begun: the look at all of them is what takes time. [1]"""


@pytest.mark.timeout(1200)
def test_nothing_acknowledged_is_lost_to_kill_9_under_load(tmp_path, capsys):
    """Again and again on the same file, as fast as the medium takes it or at a pace; also before the first batch."""
    chance, opened = random.Random(7), list[float]()
    path, first, total = tmp_path / "0.lightoff", 0, 0
    for number in range(KILLS):
        pause = chance.choice(("0", "0", "0.004"))
        sealed = chance.choice((10, 40, 160))
        command = writer(path, "--first", first, "--pause", pause, "--sealed-after", sealed)
        said = _killed(command, chance.randrange(50), chance)
        before, first = first, _holds(path, first + said, opened)
        total += first - before
        if first > MOST:
            path, first = tmp_path / f"{number}.lightoff", 0
    assert _told(capsys, f"{KILLS} kills under load, {total} batches recorded", opened) < 0.5
    assert total > KILLS


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("what", ["made", "raised from format 2"])
def test_a_kill_9_while_the_writer_opens_its_file_takes_nothing(what, tmp_path, capsys):
    """The kill comes while a file is made or an older one raised: it is then what it was or what it shall be."""
    chance, opened, stopped = random.Random(what), list[float](), 0
    older, before = tmp_path / "older.lightoff", 0
    if what != "made":
        before = 200
        left_by_format(int(what.split()[-1]), older, before)
    for number in range(max(3, KILLS // 5)):
        path = tmp_path / f"{number}.lightoff"
        if before:
            shutil.copyfile(older, path)
        said = _killed(writer(path, "--first", before), 0, chance, at=path)
        stopped += not said
        _holds(path, before + said, opened)
    _told(capsys, f"kills while a file is {what}, {stopped} before the first batch", opened)


def _killed(command: Sequence[str], lines: int, chance: random.Random, *, at: Path | None = None) -> int:
    """Kill a writer some time after it said so many lines, or after it came to a file; batches it acknowledged."""
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        said = "".join(program.stdout.readline() for _ in range(lines))
        lock = Path(f"{at}.lock")
        deadline = time.monotonic() + 30
        while at and not lock.exists():
            assert time.monotonic() < deadline, "the writer never came to its file"
        time.sleep(chance.uniform(0, 0.02))  # the instant of the kill is anywhere
        program.send_signal(signal.SIGKILL)
        said += program.stdout.read()
    assert program.returncode == -signal.SIGKILL, "the writer ended by itself"
    return acknowledged(said)


def _holds(path: Path, least: int, opened: list[float]) -> int:
    """Batches in the file, which a reader and then a writer open; AssertionError where they are not those wanted."""
    if least:  # before that it may be no recording yet
        began = time.monotonic()
        with Recording(path) as recording:
            recording.span()
        opened.append(time.monotonic() - began)
    began = time.monotonic()
    with Store(path) as store:
        opened.append(time.monotonic() - began)
        assert verified(path).faults == ()
        count = held(path)
        assert least <= count <= least + 1, f"{count} batches, {least} were acknowledged"
        store.append(contents(count))
    assert held(path) == count + 1
    return count + 1


def _told(capsys: pytest.CaptureFixture[str], what: str, opened: list[float]) -> float:
    """Say how long opening took; the 99th percentile. [s]"""
    late = float(np.quantile(opened, 0.99))
    with capsys.disabled():
        text = f"opened in {1000 * np.median(opened):.0f} ms (p50), {1000 * late:.0f} ms (p99)"
        say(f"kill -9: {what}; {text}")
    return late
