"""The archive of a call that runs: told of what is durable, following the job, never in the way of the recording."""

import asyncio
import os
import signal
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from analysis.model import Event, EventKind, Reading
from collector import archive as archive_module
from collector import carrier, page
from collector.archive import Archive
from collector.archive_target import secrets_beside
from collector.job_sections import ArchiveSettings
from collector.recorder import Recorder
from collector.store import Store
from tests.collector.archive_bench import Gate, gate
from tests.collector.recordings import DRAFT, SECOND, T0
from tests.support import StillClock, until

STARTED = Event(T0, EventKind.RECORDER, "recording started", None, {"wall": T0})


class Bench:
    """A recorder with an archive, whose job can be changed."""

    def __init__(self, store: Store, url: str | None, command: tuple[str, ...] = ()) -> None:
        self.settings = ArchiveSettings(url=url) if url else ArchiveSettings()
        self.events: list[Event] = []
        self.recorder = Recorder(store, now=StillClock(), announce=self.events.append)
        secrets = secrets_beside(store.path.parent)
        self.archive = Archive(
            store.path, lambda: self.settings, secrets=secrets, now=lambda: T0, tell=self.events.append, command=command
        )
        self.recorder.committed.append(self.archive.committed)
        self.said = 0

    def record(self, count: int = 10) -> None:
        for _ in range(count):
            self.recorder.put(Reading(DRAFT.key, T0 + self.said * SECOND // 10, self.said / 10))
            self.said += 1

    @property
    def state(self) -> str:
        status = self.archive.status()
        return str(status["state"]) if status else "none"


@asynccontextmanager
async def recording(folder: Path, url: str | None, command: tuple[str, ...] = ()) -> AsyncIterator[Bench]:
    with Store(folder / "call.lightoff") as store:
        bench = Bench(store, url, command)
        bench.recorder.put(STARTED)
        bench.recorder.put(DRAFT)
        writing = asyncio.create_task(bench.recorder.run(), name="recorder")
        async with bench.archive.sending():
            try:
                yield bench
            finally:
                bench.recorder.stop()
                await writing


def arrived(server: Gate) -> int:
    return len({line for line in server.lines if line.startswith("lightoff,")})


async def test_what_is_recorded_arrives_within_seconds_and_the_rest_at_the_end(tmp_path: Path):
    with gate() as server:
        async with recording(tmp_path, server.url) as bench:
            bench.record(10)
            await until(lambda: arrived(server) == 10, what="the first second")
            bench.record(10)
            await until(lambda: arrived(server) == 20, within=4, what="the next, live")
            await until(lambda: bench.state == "up to date", what="the word of it")
            bench.record(500)
        assert arrived(server) == 520
        assert bench.archive.left() == ""
        assert bench.events == []


async def test_it_follows_the_job_and_begins_with_what_was_recorded_before(tmp_path: Path):
    with gate() as one, gate() as other:
        async with recording(tmp_path, None) as bench:
            bench.record(30)
            await bench.recorder.caught_up()
            assert bench.archive.status() is None
            bench.settings = ArchiveSettings(url=one.url, technician="van 7")
            await until(lambda: arrived(one) == 30, what="what was there")
            bench.settings = ArchiveSettings(url=other.url, bucket="b")
            await until(lambda: arrived(other) == 30, what="all of it at the other server")
            bench.settings = ArchiveSettings()
            await until(lambda: bench.archive.status() is None, what="the end of it")
            assert bench.archive.process is None


async def test_killed_it_is_started_again_and_nothing_is_missing(tmp_path: Path):
    with gate() as server:
        async with recording(tmp_path, server.url) as bench:
            bench.record(20)
            await until(lambda: arrived(server) == 20, what="the first readings")
            assert bench.archive.process
            os.kill(bench.archive.process.pid, signal.SIGKILL)
            bench.record(20)
            await until(lambda: arrived(server) == 40, what="those recorded while it was dead")
            assert bench.archive.starts == 2


async def test_one_that_hangs_holds_nothing_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """It reads nothing and ends only by force; what it would be told of stays bounded."""
    monkeypatch.setattr(carrier, "GRACE", 0.1)
    monkeypatch.setattr(page, "END", 0.3)
    hangs = (sys.executable, "-c", "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); time.sleep(99)")
    async with recording(tmp_path, "http://127.0.0.1:1", hangs) as bench:
        await until(lambda: bench.archive.process, what="its process")
        for _ in range(20):
            bench.record(2000)
            await bench.recorder.caught_up()
        assert bench.recorder.written == 40_002
        assert len(bench.archive._marks) < 100
    assert "does not have all of call.lightoff yet" in bench.archive.left()


async def test_a_server_that_is_away_is_told_on_the_page_and_in_the_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(archive_module, "TOLD_AFTER", 0.3)
    with gate() as server:
        server.decide = lambda _: (503, {})
        async with recording(tmp_path, server.url) as bench:
            bench.record(20)
            await until(lambda: bench.events, what="the event")
            status = bench.archive.status()
            assert status
            assert (status["state"], status["server"]) == ("waiting", server.url.removeprefix("http://"))
            assert "cannot write now (503" in status["text"]
            assert status["since"] > 0
            await until(lambda: (bench.archive.status() or {})["behind"] > 0, what="how far behind", within=20)
            server.decide = lambda _: None
            await until(lambda: len(bench.events) == 2, what="its return", within=20)
        texts = [(event.kind, event.data["state"]) for event in bench.events]
        assert texts == [(EventKind.ARCHIVE, "away"), (EventKind.ARCHIVE, "back")]
        assert "takes nothing: " in bench.events[0].text


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX rights of files")
async def test_a_token_that_others_may_read_is_refused_in_a_sentence(tmp_path: Path):
    token = tmp_path / "token"
    token.write_text("correct horse\n")
    token.chmod(0o644)
    with gate() as server:
        async with recording(tmp_path, None) as bench:
            bench.settings = ArchiveSettings(url=server.url, secret="file:token")
            bench.record(5)
            await until(bench.archive.status, what="the word of it")
            status = bench.archive.status()
            assert status
            assert "'token' can be read by others than its owner" in status["text"]
            assert "chmod 600" in status["text"]
            assert not server.asked
            token.chmod(0o600)
            await until(lambda: arrived(server) == 5, what="the readings, with the token")
        assert server.headers[-1]["Authorization"] == "Token correct horse"
        assert bench.archive.left() == ""
