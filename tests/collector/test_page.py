"""The page as a process: started with its settings, started again, ended; whatever it does, the recorder lives on."""

import asyncio
import json
import logging
import os
import sys
from contextlib import suppress
from pathlib import Path

import pytest

from collector import page
from collector.building import Share
from collector.page import PageProcess
from tests.support import until

GOOD = """
import json, sys
settings = json.loads(sys.stdin.readline())
print(json.dumps({"address": f"http://127.0.0.1:{settings['port'] or 4711}/"}), flush=True)
print("x" * 300_000, flush=True)
sys.stdin.read()
"""


def program(text: str) -> tuple[str, ...]:
    return (sys.executable, "-c", text)


async def ended(task: asyncio.Task[None]) -> None:
    task.cancel()
    with suppress(asyncio.CancelledError):
        await task


async def test_it_is_told_its_settings_says_its_address_and_ends_with_the_recording():
    said: list[str] = []
    running = PageProcess(program(GOOD), {"port": 0, "token": "secret"}, on_address=said.append)
    task = asyncio.create_task(running.run())
    await until(lambda: said, what="the address")
    assert said == ["http://127.0.0.1:4711/"]
    await asyncio.wait_for(ended(task), page.END + 1)


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX sessions")
async def test_an_interrupt_at_the_terminal_does_not_reach_it(tmp_path: Path):
    """It has a session of its own: Ctrl+C is for the recorder, which ends it when everything is written."""
    said: list[str] = []
    told = tmp_path / "session"
    text = f"import os; open({str(told)!r}, 'w').write(str(os.getsid(0)))\n" + GOOD
    task = asyncio.create_task(PageProcess(program(text), {"port": 0}, on_address=said.append).run())
    await until(lambda: said, what="the address")
    assert int(told.read_text()) != os.getsid(0)
    await ended(task)


async def test_one_that_dies_is_started_again_at_the_same_port(caplog: pytest.LogCaptureFixture):
    said: list[str] = []
    text = GOOD.replace("sys.stdin.read()", "")
    running = PageProcess(program(text), {"port": 0}, on_address=said.append)
    task = asyncio.create_task(running.run())
    await until(lambda: len(said) == 2, what="the second start")
    assert said[0] == said[1]
    assert "ended by itself (status 0)" in caplog.text
    await ended(task)


@pytest.mark.parametrize(
    "text",
    ["raise SystemExit(3)", "print('hello', flush=True)", "print('{}', flush=True)", "print('[1]', flush=True)"],
)
async def test_one_that_cannot_start_is_tried_less_and_less_often(monkeypatch: pytest.MonkeyPatch, caplog, text):
    monkeypatch.setattr(page, "FIRST_REST", 0.01)
    running = PageProcess(program(text), {"port": 0}, on_address=lambda address: None)
    with caplog.at_level(logging.ERROR):
        task = asyncio.create_task(running.run())
        await until(lambda: running.starts >= 3, what="three starts")
        await ended(task)
    assert "the page did not start; the recording goes on, the page is tried again in 0.01 s" in caplog.text
    assert "in 0.02 s" in caplog.text


async def test_one_that_says_nothing_is_ended_and_tried_again(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setattr(page, "BEGIN", 0.3)
    monkeypatch.setattr(page, "END", 0.3)
    mute = f"import os, time; open({str(tmp_path / 'pid')!r}, 'w').write(str(os.getpid())); time.sleep(600)"
    running = PageProcess(program(mute), {"port": 0}, on_address=lambda address: None)
    task = asyncio.create_task(running.run())
    await until(lambda: running.starts >= 2, what="the second start")
    await ended(task)
    assert json.loads((tmp_path / "pid").read_text()) > 0


SHARING = """
import json, sys
settings = json.loads(sys.stdin.readline())
print(json.dumps({"address": "http://127.0.0.1:4711/"}), flush=True)
share = settings.get("share") or {"addresses": ["10.0.0.7"], "token": "t" * 32, "until": 5.0, "port": 0}
print("x" * 300_000)
print(json.dumps({"share": {**share, "port": share["port"] + 1}}), flush=True)
print('{"share": {"addresses": "wrong"}}', flush=True)
"""


async def test_how_it_is_shared_is_heard_and_told_it_again_when_it_is_started_again(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(page, "FIRST_REST", 0.01)
    shares: list[Share] = []
    running = PageProcess(
        program(SHARING), {"port": 0, "share": None}, on_address=lambda _: None, on_share=shares.append
    )
    task = asyncio.create_task(running.run())
    await until(lambda: len(shares) >= 2, what="the second start")
    await ended(task)
    assert shares[:2] == [Share(("10.0.0.7",), "t" * 32, 5.0, port=port) for port in (1, 2)]


async def test_once_it_is_no_longer_shared_it_is_not_shared_again(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(page, "FIRST_REST", 0.01)
    shares: list[Share] = []
    text = SHARING.replace(
        "\nprint('{", """\nif settings.get("share"): print('{"share": null}', flush=True)\nprint('{"""
    )
    first = Share(("10.0.0.7",), "o" * 32, 5.0)
    running = PageProcess(
        program(text), {"port": 0, "share": first.facts()}, on_address=lambda _: None, on_share=shares.append
    )
    task = asyncio.create_task(running.run())
    await until(lambda: len(shares) >= 2, what="the second start")
    await ended(task)
    assert [share.token[0] for share in shares[:2]] == ["o", "t"]
