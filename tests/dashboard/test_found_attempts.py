"""Attempts of recordings, found by another process: once each, remembered, and nobody waits for them."""

import json
import sys
import threading
import time
from pathlib import Path

import pytest

from dashboard import found_attempts
from dashboard.found_attempts import FAILED, FoundAttempts
from dashboard.library import Summaries
from tests.collector.recordings import DRAFT, ramp, recorded
from tests.support import until

WORKER = """
import json, sys, time
for line in sys.stdin:
    path = json.loads(line)
    open(sys.argv[1], "a").write(path + "\\n")
    if "slow" in path:
        time.sleep(60)
    if "bad" in path:
        sys.exit(3)
    print(json.dumps({"text": "1 attempt: 1 heated", "attempts": [{"number": 1}], "more": 0}), flush=True)
"""


@pytest.fixture
def asked(tmp_path):
    """Where the worker notes what it was asked."""
    (tmp_path / "worker.py").write_text(WORKER)
    return tmp_path / "asked.txt"


def finder(asked: Path, patience: float = 30.0) -> FoundAttempts:
    return FoundAttempts([sys.executable, str(asked.with_name("worker.py")), str(asked)], patience)


def paths(folder: Path, *names: str) -> list[Path]:
    found = [folder / f"{name}.lightoff" for name in names]
    for path in found:
        path.write_text(path.name)
    return found


async def answered(found: FoundAttempts, path: Path) -> dict[str, object]:
    await until(lambda: found.of(path) is not None, what=f"attempts of {path.name}")
    answer = found.of(path)
    assert answer is not None
    return answer


async def ended() -> None:
    await until(lambda: not [one for one in threading.enumerate() if one.name == "attempts of recordings"])


async def test_it_is_asked_once_and_nobody_waits(asked, tmp_path):
    (path,) = paths(tmp_path, "call")
    found = finder(asked)
    began = time.monotonic()
    assert found.of(path) is None
    assert time.monotonic() - began < 0.1
    assert (await answered(found, path))["text"] == "1 attempt: 1 heated"
    await ended()
    assert asked.read_text().split() == [str(path)]


async def test_a_recording_that_changed_is_looked_at_again(asked, tmp_path):
    (path,) = paths(tmp_path, "call")
    found = finder(asked)
    await answered(found, path)
    path.write_text("longer than before")
    assert found.of(path) is None
    await answered(found, path)
    path.with_name("call.lightoff-wal").write_text("a log beside it")
    assert found.of(path) is None
    await answered(found, path)
    await ended()


async def test_one_that_ends_the_search_is_told_and_the_next_is_found(asked, tmp_path):
    bad, good = paths(tmp_path, "bad", "good")
    found = finder(asked)
    found.of(bad)
    assert (await answered(found, good))["text"] == "1 attempt: 1 heated"
    assert found.of(bad) == json.loads(FAILED)
    await ended()


async def test_one_that_takes_too_long_is_given_up(asked, tmp_path):
    (slow,) = paths(tmp_path, "slow")
    assert await answered(finder(asked, patience=0.3), slow) == json.loads(FAILED)
    await ended()


async def test_what_is_urgent_is_next(asked, tmp_path):
    slow, *others, last = paths(tmp_path, "slow", "b", "c", "d")
    found = finder(asked, patience=2.0)
    found.of(slow)
    await until(asked.exists)
    for path in others:
        found.of(path)
    found.of(last, urgent=True)
    await answered(found, others[-1])
    await ended()
    assert [Path(path).stem for path in asked.read_text().split()] == ["slow", "d", "b", "c"]


async def test_what_is_remembered_is_bounded(asked, tmp_path, monkeypatch):
    monkeypatch.setattr(found_attempts, "MOST_KEPT", 2)
    found = finder(asked)
    for path in paths(tmp_path, "a", "b", "c"):
        await answered(found, path)
    await ended()
    assert [Path(key[0]).stem for key in found._known] == ["b", "c"]


async def test_a_worker_that_cannot_be_started_is_told(tmp_path):
    (path,) = paths(tmp_path, "call")
    assert await answered(FoundAttempts([str(tmp_path / "none")]), path) == json.loads(FAILED)
    await ended()


async def test_the_list_has_them_when_they_are_there(asked, tmp_path):
    (tmp_path / "calls").mkdir()
    path = recorded(tmp_path / "calls" / "call.lightoff", ramp(DRAFT, 5))
    recorded(tmp_path / "calls" / "now.lightoff", ramp(DRAFT, 5))
    listed = Summaries(path.parent, path.with_name("now.lightoff"), finder(asked))

    def row(name):
        return next(one for one in listed.listing()["recordings"] if one["name"] == name)

    assert (row("call.lightoff")["attempts"], row("call.lightoff")["attempts_problem"]) == (None, "")
    assert row("now.lightoff")["attempts_problem"].startswith("on the view Live")
    await until(lambda: row("call.lightoff")["attempts"] == "1 attempt: 1 heated")
    assert listed.attempts_of(path)["attempts"] == [{"number": 1}]
    assert "problem" in listed.attempts_of(path.with_name("now.lightoff"))
    await ended()
    assert asked.read_text().split() == [str(path)]


def test_a_file_that_is_gone_is_told(tmp_path):
    assert "not there" in FoundAttempts().of(tmp_path / "gone.lightoff")["problem"]  # type: ignore[index]
