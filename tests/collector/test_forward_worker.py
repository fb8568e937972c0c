"""The process that sends: killed at any instant it goes on at the last place that counts as kept, and loses nothing."""

import json
import os
import random
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.model import Event, EventKind
from collector.archive import program
from collector.forward_kept import Kept
from collector.forward_marks import MINUTE
from collector.rows import Many, Rows
from collector.sinks.sink import Target
from collector.store import Store
from tests.collector.archive_bench import Gate, gate, same, serving, stored
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, T0

KILLS = int(os.environ.get("LIGHTOFF_KILLS", "3"))
STARTED = Event(T0, EventKind.RECORDER, "recording started", None, {"wall": T0})


class Process:
    """The worker as the recorder starts it."""

    def __init__(self, recording: Path, url: str, **more: Any) -> None:
        self.process = subprocess.Popen(program(), stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        settings = {"recording": str(recording), "url": url, "bucket": "lightoff", "org": "", "secret": None, **more}
        self.say(settings)

    def say(self, message: object) -> None:
        assert self.process.stdin
        self.process.stdin.write(json.dumps(message).encode() + b"\n")
        self.process.stdin.flush()

    def touched(self, *spans: tuple[str, int, int]) -> None:
        self.say({"touched": spans, "anew": False})

    def until(self, condition: Callable[[dict[str, Any]], object], *, within: float = 30.0) -> dict[str, Any]:
        """The first status for which the condition holds."""
        assert self.process.stdout
        deadline = time.monotonic() + within
        said: dict[str, Any] = {}
        while line := self.process.stdout.readline():
            said = json.loads(line)
            if condition(said):
                return said
            assert time.monotonic() < deadline, said
        raise AssertionError(f"it ended: {said}")

    def end(self) -> dict[str, Any]:
        """Its last word after the end of its input."""
        out, _ = self.process.communicate(timeout=30)
        said: dict[str, Any] = json.loads(out.splitlines()[-1])
        assert self.process.returncode == 0
        return said

    def kill(self) -> None:
        self.process.kill()
        for end in (self.process.stdin, self.process.stdout):
            assert end
            end.close()
        self.process.wait()


def rows(first: int, count: int) -> Rows:
    time_ = T0 + (first + np.arange(count)) * (SECOND // 10)
    value = np.round(np.sin((first + np.arange(count)) / 70.0), 3).astype(np.float64)
    return Rows(time_, value, np.zeros(count, np.int8))


def kept(recording: Path, server: Gate) -> int:
    """Readings of one channel that count as kept."""
    with Kept(recording, Target(server.url).identity) as account:
        for about in account.calls():
            account.begin(about)
        minutes = range(T0 // MINUTE, T0 // MINUTE + 5 * KILLS + 2)
        return sum(account.count(DRAFT.key, minute) or 0 for minute in minutes)


def distinct(server: Gate) -> int:
    return len({line for line in server.lines if line.startswith("lightoff,")})


@pytest.mark.timeout(60 + 5 * KILLS)
def test_killed_at_any_instant_it_loses_nothing_and_does_not_begin_anew(tmp_path: Path):
    """The server of the test forgets nothing, so that what it answered for counts as kept at once."""
    chance = random.Random(1)
    recording = tmp_path / "call.lightoff"
    said = 0
    with gate() as server, Store(recording) as store:
        store.append([STARTED, DRAFT, SUPPLY])
        for trial in range(KILLS):
            store.append([Many(DRAFT.key, rows(said, 3000)), Many(SUPPLY.key, rows(said, 3000))])
            said += 3000
            before = len(server.asked)
            worker = Process(recording, server.url, settle=0)
            deadline = time.monotonic() + 20
            while len(server.asked) < before + 1 + trial % 3:
                assert time.monotonic() < deadline
                time.sleep(chance.uniform(0, 0.01))
            while trial == KILLS - 1 and not kept(recording, server):
                assert time.monotonic() < deadline
                time.sleep(0.01)
            worker.kill()
        worker = Process(recording, server.url, settle=0)
        worker.until(lambda status: status["sent_all"])
        last = worker.end()
        assert (last["state"], last["waiting"]) == ("up to date", 0)
        assert distinct(server) == 2 * said
        assert last["sent"] < 2 * said, "it does not begin anew each time"
        assert kept(recording, server) == said


def test_server_and_sender_killed_in_the_middle_the_server_holds_what_the_store_has(tmp_path: Path):
    """Whatever the server lost was not yet kept when the sender was killed; this one loses ten seconds at the most."""
    recording = tmp_path / "call.lightoff"
    with serving(tmp_path) as server, Store(recording) as store:
        store.append([STARTED, DRAFT, SUPPLY, Many(DRAFT.key, rows(0, 3000)), Many(SUPPLY.key, rows(0, 3000))])
        first = Process(recording, server.url, settle=12)
        first.until(lambda status: status["sent_all"])
        server.kill()
        first.kill()
        server.start()
        assert not same(server.holds(), stored(recording)), "it lost nothing, so nothing is tried here"
        second = Process(recording, server.url, settle=12)
        store.append([Many(DRAFT.key, rows(3000, 10))])
        second.touched((DRAFT.key, T0 + 300 * SECOND, T0 + 301 * SECOND))
        second.until(lambda status: status["sent"] >= 6010)
        server.kill()
        second.until(lambda status: status["state"] == "waiting" or status["unsure"] == 0 or status["again"])
        server.start()
        store.append([Many(DRAFT.key, rows(3010, 10))])
        second.touched((DRAFT.key, T0 + 301 * SECOND, T0 + 302 * SECOND))
        second.until(lambda status: status["sent"] >= 2 * 6010 and status["sent_all"])
        assert second.end()["sent_all"]
        server.until_it_holds(stored(recording))


def test_it_ends_soon_after_its_input_also_when_the_server_takes_nothing(tmp_path: Path):
    recording = tmp_path / "call.lightoff"
    with Store(recording) as store:
        store.append([STARTED, DRAFT, Many(DRAFT.key, rows(0, 30))])
    worker = Process(recording, "http://127.0.0.1:1", grace=0.5)
    status = worker.until(lambda status: status["state"] == "waiting")
    assert "takes no connection" in status["text"]
    began = time.monotonic()
    assert worker.end()["sent_all"] is False
    assert time.monotonic() - began < 5


def test_no_argument_of_it_holds_a_secret():
    assert program()[0] == sys.executable
    assert "collector.forward_worker" in program()
