"""Replays in programs of their own: real ones, and small ones that behave badly."""

import asyncio
import json
import os
import sys
import urllib.request
from pathlib import Path

import pytest

from collector import programs_apart as module
from collector.replays import MOST, Replays, program
from drivers.base import InputError
from tests.collector.recordings import DRAFT, ramp, recorded
from tests.support import until

SPEAKS = """
import sys
print("stop:      Ctrl+C", flush=True)
print("page:      http://127.0.0.1:4711/ (port 8350 is taken, this one was free)", flush=True)
print("x" * 300_000, flush=True)
print(" ".join(sys.argv[1:]), flush=True)
sys.stdin.read()
"""
FAILS = "print('lightoff replay: the file is damaged; work on a copy', flush=True); raise SystemExit(1)"


def speaking(text: str) -> tuple[str, ...]:
    return (sys.executable, "-c", text)


def one(replays: Replays, name: str = "call.lightoff") -> dict[str, object]:
    return next((dict(entry) for entry in replays.state() if entry["name"] == name), {})


def alive(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.timeout(120)
async def test_a_real_one_shows_its_page_and_ends_with_the_recorder(tmp_path: Path):
    call = recorded(tmp_path / "call.lightoff", ramp(DRAFT, 60))
    async with Replays(program()) as replays:
        assert replays.start(call, 10.0) == "opening a replay of call.lightoff"
        assert one(replays) == {"name": "call.lightoff", "speed": 10.0, "address": None, "text": "opening"}
        assert replays.playing("call.lightoff")
        await until(lambda: one(replays)["address"], within=40, what="the address of the replay")
        address = str(one(replays)["address"])
        page = await asyncio.to_thread(lambda: urllib.request.urlopen(address, timeout=10).read())
        assert b"lightoff" in page
        listed = await asyncio.to_thread(lambda: urllib.request.urlopen(f"{address}library", timeout=10).read())
        assert json.loads(listed)["folder"] == "recordings", "it is not kept: its library is the folder recordings"
    with pytest.raises(OSError, match="refused"):
        await asyncio.to_thread(lambda: urllib.request.urlopen(address, timeout=10))
    assert replays.state() == []


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals")
@pytest.mark.timeout(120)
async def test_none_is_left_behind_when_the_recorder_is_killed(tmp_path: Path):
    """The pipe into it breaks with the recorder, however that ended; then it stops in good order."""
    call = recorded(tmp_path / "call.lightoff", ramp(DRAFT, 60))
    pipe = asyncio.subprocess.PIPE
    command = (*program(), str(call), "--port", "0", "--no-browser")
    process = await asyncio.create_subprocess_exec(*command, stdin=pipe, stdout=pipe)
    assert process.stdin is not None
    assert process.stdout is not None
    async with asyncio.timeout(40):
        while not (await process.stdout.readline()).startswith(b"page:"):
            pass
    process.stdin.close()
    out, _ = await asyncio.wait_for(process.communicate(), 20)
    assert process.returncode == 0
    assert b"stopped:" in out


async def test_it_is_told_file_and_speed_and_may_print_what_it_likes(tmp_path: Path):
    told = tmp_path / "told"
    text = SPEAKS.replace(
        "sys.stdin.read()", f"open({str(told)!r}, 'w').write(' '.join(sys.argv[1:])); sys.stdin.read()"
    )
    async with Replays(speaking(text)) as replays:
        replays.start(tmp_path / "call.lightoff", 0.5)
        await until(lambda: one(replays)["address"], what="the address")
        assert one(replays) == {
            "name": "call.lightoff", "speed": 0.5, "address": "http://127.0.0.1:4711/", "text": "open"
        }  # fmt: skip
        await until(told.exists, what="that it got rid of everything it printed")
        await until(lambda: told.read_text().endswith("--no-browser"), what="what it was told")
        assert told.read_text() == f"{tmp_path / 'call.lightoff'} --speed 0.5 --port 0 --no-browser"
        replays.start(tmp_path / "call.lightoff", "max")
        await until(lambda: "--speed max" in told.read_text(), what="the speed max")
        assert len(replays.state()) == 1, "the same recording's earlier replay ends"


@pytest.mark.parametrize("speed", [0.0, 0.09, 101.0, -1.0, float("nan"), "fast", ""])
async def test_a_speed_that_is_none_starts_nothing(tmp_path: Path, speed: float | str):
    async with Replays(speaking(SPEAKS)) as replays:
        with pytest.raises(InputError, match="speed"):
            replays.start(tmp_path / "call.lightoff", speed)
        assert replays.state() == []


async def test_the_oldest_ends_when_there_are_too_many(tmp_path: Path):
    pids = tmp_path / "pids"
    pids.mkdir()
    text = f"import os; open({str(pids)!r} + '/' + str(os.getpid()), 'w').close()\n" + SPEAKS
    async with Replays(speaking(text)) as replays:
        for number in range(MOST):
            assert len(replays.state()) == number
            replays.start(tmp_path / f"{number}.lightoff", 1.0)
            await until(lambda: len(list(pids.iterdir())) == len(replays.state()), what="its start")
        assert len(list(pids.iterdir())) == MOST
        said = replays.start(tmp_path / "more.lightoff", 1.0)
        assert said == f"opening a replay of more.lightoff; the replay of 0.lightoff was ended: {MOST} at a time"
        assert [entry["name"] for entry in replays.state()] == ["1.lightoff", "2.lightoff", "more.lightoff"]
        await until(lambda: one(replays, "more.lightoff")["address"], what="the address")
        processes = [int(path.name) for path in pids.iterdir()]
        await until(lambda: sum(map(alive, processes)) == MOST, what="the end of the oldest")
    assert not any(map(alive, processes)), "with the recorder all of them end"


async def test_one_that_is_ended_is_gone(tmp_path: Path):
    async with Replays(speaking(SPEAKS)) as replays:
        replays.start(tmp_path / "call.lightoff", 1.0)
        assert replays.end("call.lightoff") == "the replay of call.lightoff was ended"
        assert replays.state() == []
        assert not replays.playing("call.lightoff")
        with pytest.raises(InputError, match="is not being replayed"):
            replays.end("call.lightoff")


async def test_what_it_says_at_its_end_is_told(tmp_path: Path):
    async with Replays(speaking(FAILS)) as replays:
        replays.start(tmp_path / "call.lightoff", 1.0)
        await until(lambda: not replays.playing("call.lightoff"), what="its end")
        assert one(replays)["text"] == "the file is damaged; work on a copy"
        assert one(replays)["address"] is None
        replays.start(tmp_path / "other.lightoff", 1.0)
        assert [entry["name"] for entry in replays.state()] == ["other.lightoff"], "what was read makes room"


async def test_one_that_dies_without_a_word_is_told_too(tmp_path: Path):
    async with Replays(speaking(SPEAKS.replace("sys.stdin.read()", "raise SystemExit(3)"))) as replays:
        replays.start(tmp_path / "call.lightoff", 1.0)
        await until(lambda: not replays.playing("call.lightoff"), what="its end")
        assert one(replays)["text"] == "the replay ended by itself (status 3); open it again"
        assert one(replays)["address"] is None


async def test_one_that_says_no_address_or_is_no_program_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "BEGIN", 0.3)
    async with Replays(speaking("import sys; sys.stdin.read()")) as replays:
        replays.start(tmp_path / "call.lightoff", 1.0)
        await until(lambda: not replays.playing("call.lightoff"), what="its end")
        assert "said no address" in str(one(replays)["text"])
    async with Replays((str(tmp_path / "no program"),)) as replays:
        replays.start(tmp_path / "call.lightoff", 1.0)
        await until(lambda: not replays.playing("call.lightoff"), what="its end")
        assert "did not start" in str(one(replays)["text"])


async def test_one_that_said_its_address_may_run_as_long_as_it_likes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "BEGIN", 2.0)
    loop = asyncio.get_running_loop()
    async with Replays(speaking(SPEAKS)) as replays:
        began = loop.time()
        replays.start(tmp_path / "call.lightoff", 1.0)
        await until(lambda: loop.time() > began + 2.5, what="the time that it has for its address")
        assert one(replays)["address"] == "http://127.0.0.1:4711/"
        assert replays.playing("call.lightoff")


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals")
async def test_one_that_will_not_end_is_ended_by_force(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("collector.page.END", 0.2)
    pid = tmp_path / "pid"
    text = f"""
import os, signal, time
for number in (signal.SIGTERM, signal.SIGINT):
    signal.signal(number, signal.SIG_IGN)
open({str(pid)!r}, 'w').write(str(os.getpid()))
print("page: http://127.0.0.1:1/", flush=True)
while True:
    time.sleep(1)
"""
    async with Replays(speaking(text)) as replays:
        replays.start(tmp_path / "call.lightoff", 1.0)
        await until(lambda: one(replays)["address"], what="the address")
        process = int(pid.read_text())
    assert not alive(process)
