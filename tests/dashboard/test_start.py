"""The page as a process: settings in, address out, and its end with the recorder."""

import asyncio
import json
import socket
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed, InvalidStatus

from collector.building import Share
from dashboard.__main__ import Settings
from dashboard.app import CUT_OFF, LONGEST_COMMAND
from dashboard.serving import listening_socket
from tests.dashboard.feed_server import TOKEN, FeedServer
from tests.support import until

HELLO: dict[str, Any] = {"type": "hello", "recording": "call.lightoff", "job": None, "plate": {}, "limits": []}


def settings(server: FeedServer, port: int = 0) -> bytes:
    facts = {"feed_host": "127.0.0.1", "feed_port": server.port, "token": TOKEN, "recording": "none.lightoff"}
    facts["library"] = "recordings"
    return json.dumps({**facts, "port": port}).encode() + b"\n"


@asynccontextmanager
async def started(first_line: bytes) -> AsyncIterator[asyncio.subprocess.Process]:
    pipe = asyncio.subprocess.PIPE
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "dashboard", stdin=pipe, stdout=pipe, stderr=pipe, cwd=Path(__file__).parents[2]
    )
    assert process.stdin is not None
    try:
        process.stdin.write(first_line)
        await process.stdin.drain()
        yield process
    finally:
        if process.returncode is None:
            process.kill()
        await process.communicate()


async def address_of(process: asyncio.subprocess.Process) -> str:
    assert process.stdout is not None
    async with asyncio.timeout(30):
        return str(json.loads(await process.stdout.readline())["address"])


async def told(websocket: Any, kind: str) -> dict[str, Any]:
    async with asyncio.timeout(10):
        while True:
            for message in json.loads(await websocket.recv()):
                if message["type"] == kind:
                    return dict(message)


async def test_serves_feed_and_commands_and_ends_with_its_input() -> None:
    async with FeedServer([HELLO]).running() as server, started(settings(server)) as process:
        address = await address_of(process)
        host = address.removeprefix("http://").rstrip("/")
        async with connect(f"ws://{host}/live", origin=f"http://{host}") as browser:  # type: ignore[arg-type]
            assert "pressure" in (await told(browser, "page"))["measures"]
            assert await told(browser, "hello") == HELLO
            server.say({"type": "readings", "readings": [["a@b", 1, 2.5, 0]]})
            assert (await told(browser, "readings"))["readings"] == [["a@b", 1, 2.5, 0]]
            await browser.send(json.dumps({"id": 7, "name": "note", "arguments": {"text": "water"}}))
            assert await told(browser, "reply") == {"type": "reply", "id": 7, "ok": True, "text": "note done"}
            assert server.received[0]["arguments"] == {"text": "water"}
            await browser.send("no command")
            assert not (await told(browser, "reply"))["ok"]
            await browser.send(json.dumps({"id": 8, "name": "exit", "arguments": {}}))
            assert not (await told(browser, "reply"))["ok"]

            job = "# µ\n" * 40_000  # 200 kB
            await browser.send(
                json.dumps({"id": 9, "name": "job_check", "arguments": {"text": job}}, ensure_ascii=False)
            )
            assert (await told(browser, "reply"))["ok"]
            assert server.received[-1]["arguments"] == {"text": job}
            await browser.send(json.dumps({"id": 10, "name": "note", "arguments": {"text": "x" * LONGEST_COMMAND}}))
            refused = await told(browser, "reply")
            assert not refused["ok"]
            assert "shorten it" in refused["text"]
            assert len(server.received) == 2, "what is too long goes no further"
            dear = json.dumps(
                {"id": 11, "name": "note", "arguments": {"text": "\U0001f525" * 440_000}}, ensure_ascii=False
            )
            await browser.send(dear)
            assert (await told(browser, "reply"))["ok"], "also where each character takes four bytes"
            await browser.send('{"id": 12, "name": "note", "arguments": {"text": "half \\ud83d"}}')
            assert (await told(browser, "reply"))["ok"]
            assert server.received[-1]["arguments"] == {"text": "half ?"}

            assert process.stdin is not None
            process.stdin.close()
            began = time.monotonic()
            with pytest.raises(ConnectionClosed) as closed:
                await told(browser, "never")
            assert closed.value.rcvd is not None
            assert closed.value.rcvd.code in (1001, 1012), "the page says that it goes away, it is not cut off"
            async with asyncio.timeout(10):
                assert await process.wait() == 0
            assert time.monotonic() - began < 3.0
        assert process.stderr is not None
        assert await process.stderr.read() == b""


async def test_a_page_of_another_site_gets_no_websocket() -> None:
    async with FeedServer([HELLO]).running() as server, started(settings(server)) as process:
        host = (await address_of(process)).removeprefix("http://").rstrip("/")
        with pytest.raises(InvalidStatus, match="403"):
            await connect(f"ws://{host}/live", origin="http://example.com")  # type: ignore[arg-type]
        await until(lambda: server.clients == 1, what="the page's own connection")


async def test_another_port_is_taken_when_the_wanted_one_is_in_use() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        async with FeedServer().running() as server, started(settings(server, port)) as process:
            address = await address_of(process)
    assert not address.endswith(f":{port}/")


@pytest.mark.parametrize("line", [b"\n", b"{}\n", b"not json\n", b'{"feed_host": "127.0.0.1", "port": "x"}\n'])
async def test_unusable_settings_end_it_in_one_sentence(line: bytes) -> None:
    async with started(line) as process:
        _, errors = await process.communicate()
    assert process.returncode == 2
    assert errors.count(b"\n") == 1
    assert b"settings" in errors


def test_the_wanted_port_is_taken_when_it_is_free() -> None:
    with listening_socket(0) as first:
        free = first.getsockname()[1]
    with listening_socket(free) as second:
        assert second.getsockname()[1] == free


def test_settings_are_read_as_given() -> None:
    line = (
        '{"feed_host": "127.0.0.1", "feed_port": 5, "token": "t", "recording": "a b.lightoff",'
        ' "library": "old calls", "port": 8350}'
    )
    assert Settings.parse(line) == Settings("127.0.0.1", 5, "t", Path("a b.lightoff"), Path("old calls"), 8350)


def asked(method: str, address: str, body: str = "", **headers: str) -> tuple[int, str]:
    """Status and cookie of an answer."""
    host, _, path = address.removeprefix("http://").partition("/")
    connection = HTTPConnection(host, timeout=30)
    try:
        connection.request(method, f"/{path}", body or None, headers)
        answer = connection.getresponse()
        answer.read()
        return answer.status, (answer.getheader("Set-Cookie") or "").partition(";")[0]
    finally:
        connection.close()


async def test_it_is_shared_from_the_start_until_the_technician_ends_it() -> None:
    """On another address of this machine; who looks on is cut off at once, and then nothing listens there."""
    share = Share(("127.0.0.2",), "t" * 32, time.time() + 3600)
    async with FeedServer([HELLO]).running() as server:
        given = json.loads(settings(server)) | {"share": share.facts()}
        async with started(json.dumps(given).encode() + b"\n") as process:
            own = (await address_of(process)).removeprefix("http://").rstrip("/")
            assert process.stdout is not None
            async with asyncio.timeout(30):
                shared = Share.parse(json.loads(await process.stdout.readline())["share"])
            assert shared.token == share.token
            there = f"127.0.0.2:{shared.port}"
            status, cookie = await asyncio.to_thread(
                asked, "POST", f"http://{there}/join", shared.token, Origin=f"http://{there}"
            )
            assert status == 200
            assert (await asyncio.to_thread(asked, "GET", f"http://{there}/library", Cookie=cookie))[0] == 403
            async with (
                connect(f"ws://{own}/live", origin=f"http://{own}") as technician,  # type: ignore[arg-type]
                connect(
                    f"ws://{there}/live",
                    origin=f"http://{there}",  # type: ignore[arg-type]
                    additional_headers={"Cookie": cookie},
                ) as guest,
            ):
                assert (await told(guest, "page"))["guest"]
                assert (await told(guest, "hello"))["recording"] == ""
                await guest.send(json.dumps({"id": 1, "name": "note", "arguments": {"text": "water"}}))
                assert not (await told(guest, "reply"))["ok"]
                assert server.received == []
                await technician.send(json.dumps({"id": 2, "name": "share_end", "arguments": {}}))
                with pytest.raises(ConnectionClosed) as closed:
                    await told(guest, "never")
                assert closed.value.rcvd is not None
                assert (closed.value.rcvd.code, closed.value.rcvd.reason[:14]) == (CUT_OFF, "the technician")
                assert (await told(technician, "reply"))["ok"]
            async with asyncio.timeout(30):
                assert json.loads(await process.stdout.readline()) == {"share": None}
            with pytest.raises(ConnectionRefusedError):
                await asyncio.to_thread(asked, "GET", f"http://{there}/join")
