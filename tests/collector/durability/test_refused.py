"""A medium that refuses a write, a sync or a name while an older recording is raised: it is what it was, or raised.

Each refusal is tried in turn, once for a moment and once for good. The medium is then well again, as a disk is on which
room was made: everything must be there.
"""

import os
import random
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.database import FORMAT, version_of
from collector.store import Store
from tests.benchmarks.table import say
from tests.collector.durability.load import contents, held, left_by_format
from tests.collector.durability.trace import Names, Run, Said, Sync, SyncFolder, Write, strace, traced, writer

TRIES = int(os.environ.get("LIGHTOFF_REFUSALS", "8"))
"""Refusals tried. [1]"""
NAME = "call.lightoff"
BATCHES = 60
ARGUMENTS = ("--first", BATCHES, "--last", BATCHES)


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("killed", [False, True])
def test_an_older_file_survives_a_medium_that_refuses(killed: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    older = tmp_path / "older"
    older.mkdir()
    left_by_format(2, older / NAME, BATCHES, killed=killed)
    folder = tmp_path / "run"
    shutil.copytree(older, folder)
    refusals = list(_refusals(traced(folder, *writer(folder / NAME, *ARGUMENTS))))
    chance = random.Random(1)
    surely = [refusal for refusal in refusals if refusal[1]][-2:]  # the last syncs before it takes the place
    chosen = [*surely, *chance.sample(refusals, min(TRIES // 2, len(refusals)) - 2)]
    ended: Counter[str] = Counter()
    for refusal, must_fail in chosen:
        shutil.rmtree(folder)
        shutil.copytree(older, folder)
        raised = _tried(refusal, folder / NAME)
        ended["raised" if raised else "as it was"] += 1
        assert not (raised and must_fail), f"{refusal}: the new file may not be on the medium"
    with capsys.disabled():
        say(f"raised while the medium refuses: {len(chosen)} of {len(refusals)} refusals, {dict(ended)}")


def _refusals(run: Run) -> Iterator[tuple[str, bool]]:
    """Every call of a run until the file is open, refused alone and with all that follow it; and whether it must fail.

    It must where no sync is possible from before the moment on at which the new file takes the older one's place.
    """
    until = next(place for place, one in enumerate(run.operations) if isinstance(one, Said))
    kinds = [type(one) for one in run.operations[:until]]
    placed = next(n for n, one in enumerate(run.operations) if isinstance(one, Names) and one.changes[-1][0] == NAME)
    before = sum(kind in (Sync, SyncFolder) for kind in kinds[:placed]) - 1  # SQLite's; the last one is our own
    counts = {
        "pwrite64:error=ENOSPC": kinds.count(Write),
        "pwrite64:error=EIO": kinds.count(Write),
        "fdatasync:error=EIO": kinds.count(Sync) + kinds.count(SyncFolder) - 2,
        "fsync:error=EIO": 2,
        "rename,unlink:error=EROFS": kinds.count(Names),
    }
    for call, count in counts.items():
        for number in range(1, count + 1):
            yield f"{call}:when={number}", call.startswith("fsync") and number == 1
            yield f"{call}:when={number}+", "sync" in call and number <= (1 if call.startswith("fsync") else before)


def _tried(refusal: str, path: Path) -> bool:
    """Whether it was raised, before a writer came again to a medium that is well."""
    calls = refusal.partition(":")[0]
    command = [strace(), "-f", "-o", "/dev/null", "-e", f"trace={calls}", "-e", f"inject={refusal}", "--"]
    command += writer(path, *ARGUMENTS)
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    if done.returncode:
        assert "collector.database.RecordingError: " in done.stderr.splitlines()[-1], f"{refusal}: {done.stderr}"
    assert held(path) == BATCHES, refusal
    raised = version_of(path) == FORMAT
    with Store(path) as store:
        store.append(contents(BATCHES))
    assert held(path) == BATCHES + 1, refusal
    assert [file.name for file in path.parent.iterdir()] == [path.name], refusal
    return raised
