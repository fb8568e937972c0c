"""A recording handed over while it is written as fast as the medium takes it: the copy is whole, and of one moment."""

import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from collector.handing_over import handed_over
from collector.verify import verified
from tests.benchmarks.table import say
from tests.collector.durability.load import acknowledged, held
from tests.collector.durability.trace import writer

COPIES = int(os.environ.get("LIGHTOFF_KILLS", "12")) // 3
EXPORT = (sys.executable, "-m", "collector", "export")


@pytest.mark.timeout(600)
def test_a_copy_made_under_load_is_whole_and_holds_what_was_acknowledged(tmp_path, capsys):
    """At least what was acknowledged when the copy was begun, at most what was when it was done."""
    path, chance, told = tmp_path / "call.lightoff", random.Random(3), list[int]()
    with subprocess.Popen(
        writer(path, "--sealed-after", 40, "--pause", 0.01), stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdout is not None
        said = program.stdout.readline()
        for number in range(COPIES):
            said += "".join(program.stdout.readline() for _ in range(chance.randrange(5, 60)))
            before, copy = acknowledged(said), tmp_path / f"{number}.lightoff"
            handed_over(path, copy, lambda _: None)
            told.append(_copied(copy, before))
        program.send_signal(signal.SIGKILL)
        said += program.stdout.read()
    assert told[-1] <= acknowledged(said) + 1
    assert held(path) >= acknowledged(said), "the recording itself took no harm"
    with capsys.disabled():
        say(f"handed over under load: {COPIES} copies, of {told[0]} to {told[-1]} batches")


@pytest.mark.timeout(600)
def test_a_copy_that_is_cut_off_leaves_nothing_and_takes_nothing(tmp_path):
    """Kill -9 of the export at any instant: there is no copy or a whole one, and what is left disturbs no other."""
    path, copy, chance = tmp_path / "call.lightoff", tmp_path / "copy.lightoff", random.Random(5)
    with subprocess.Popen(writer(path, "--last", 150, "--sealed-after", 40), stdout=subprocess.DEVNULL) as program:
        assert program.wait() == 0
    for _ in range(COPIES // 2):
        copy.unlink(missing_ok=True)
        with subprocess.Popen([*EXPORT, str(path), "-o", str(copy)], stdout=subprocess.DEVNULL) as export:
            try:
                export.wait(timeout=chance.uniform(0.3, 0.9))  # the instant of the kill is anywhere
            except subprocess.TimeoutExpired:
                export.send_signal(signal.SIGKILL)
        if copy.exists():
            assert held(copy) == 150
        assert held(path) == 150
    copy.unlink(missing_ok=True)
    subprocess.run([*EXPORT, str(path), "-o", str(copy)], check=True, capture_output=True)
    assert held(copy) == 150
    assert sorted(file.name for file in tmp_path.iterdir()) == [path.name, copy.name]


def _copied(copy: Path, least: int) -> int:
    found = verified(copy)
    assert found.faults == ()
    count = held(copy)
    assert count >= least
    assert not [file for file in copy.parent.iterdir() if ".part" in file.name]
    return count
