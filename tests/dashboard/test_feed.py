"""The client of the feed against a real server on loopback."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from collector import feed
from dashboard import app
from dashboard.feed import FeedClient
from tests.dashboard.feed_server import TOKEN, FeedServer
from tests.support import until

HELLO = {"type": "hello", "recording": "call.lightoff"}


async def at_once(_: float) -> None:
    await asyncio.sleep(0.005)


@asynccontextmanager
async def connected(server: FeedServer, token: str = TOKEN) -> AsyncIterator[tuple[FeedClient, list[dict[str, Any]]]]:
    heard: list[dict[str, Any]] = []
    client = FeedClient("127.0.0.1", server.port, token, heard.append, sleep=at_once, answer_within=0.3)
    task = asyncio.create_task(client.run())
    try:
        yield client, heard
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def test_gives_its_token_and_hears_everything() -> None:
    async with FeedServer([HELLO]).running() as server, connected(server) as (client, heard):
        await until(lambda: HELLO in heard, what="greeting")
        server.say({"type": "readings", "readings": [["a@b", 1, 2.0, 0]]})
        await until(lambda: len(heard) == 3, what="readings")
        assert heard[0] == {"type": "feed", "connected": True}
        assert client.connections == 1


async def test_a_wrong_token_hears_nothing_and_keeps_trying() -> None:
    async with FeedServer([HELLO]).running() as server, connected(server, "wrong") as (_, heard):
        await until(lambda: server.refused > 2, what="refusals")
        assert heard == []


async def test_connects_again_when_the_server_comes_back() -> None:
    server = FeedServer([HELLO])
    async with server.running(), connected(server) as (client, heard):
        await until(lambda: HELLO in heard)
        await server.stop()
        await until(lambda: heard[-1] == {"type": "feed", "connected": False}, what="loss noticed")
        answer = await client.command("note", {"text": "gone"})
        assert not answer["ok"]
        assert "no connection" in answer["text"]
        await server.start()
        await until(lambda: client.connections == 2, what="second connection")
        await until(lambda: heard.count(HELLO) == 2)


async def test_malformed_lines_are_counted_and_survived() -> None:
    async with FeedServer([HELLO]).running() as server, connected(server) as (client, heard):
        await until(lambda: HELLO in heard)
        server.say_raw(
            b'{"type": "sta\n\xff\xfe\n[1, 2]\n{"no": "type"}\n{"type": 3}\nnull\n\n{"type":"reply","id":[]}\n'
        )
        server.say({"type": "jump"})
        await until(lambda: {"type": "jump"} in heard, what="what follows the damage")
        assert client.malformed == 7
        assert client.connections == 1


async def test_a_line_without_end_costs_one_connection_only() -> None:
    async with FeedServer([HELLO]).running() as server, connected(server) as (client, heard):
        await until(lambda: HELLO in heard)
        server.say_raw(b"x" * (5 * 1024 * 1024))
        await until(lambda: client.connections == 2, what="second connection")


async def test_numbers_that_a_browser_cannot_read_become_nothing() -> None:
    status = {"type": "status", "alarms": [{"value": float("nan")}]}
    async with FeedServer([status]).running() as server, connected(server) as (_, heard):
        await until(lambda: len(heard) == 2)
        assert heard[1]["alarms"] == [{"value": None}]


async def test_a_command_comes_back_with_its_answer() -> None:
    async with FeedServer([HELLO]).running() as server, connected(server) as (client, heard):
        await until(lambda: HELLO in heard)
        answers = list(
            await asyncio.gather(client.command("note", {"text": "a"}), client.command("mark", {"text": "b"}))
        )
        assert answers == [{"ok": True, "text": "note done"}, {"ok": True, "text": "mark done"}]
        assert [message["arguments"] for message in server.received] == [{"text": "a"}, {"text": "b"}]
        assert not any(message["type"] == "reply" for message in heard)


async def test_only_known_commands_are_passed_on() -> None:
    async with FeedServer([HELLO]).running() as server, connected(server) as (client, heard):
        await until(lambda: HELLO in heard)
        assert not (await client.command("shutdown", {}))["ok"]
        assert server.received == []


async def test_a_command_without_answer_fails_in_one_sentence() -> None:
    server = FeedServer([HELLO])
    server.mute = True
    async with server.running(), connected(server) as (client, heard):
        await until(lambda: HELLO in heard)
        answer = await client.command("note", {"text": "a"})
        assert not answer["ok"]
        assert "no answer" in answer["text"]
        waiting = asyncio.create_task(client.command("note", {"text": "b"}))
        await until(lambda: len(server.received) == 2)
        await server.stop()
        assert "went away" in (await waiting)["text"]


def test_what_the_feed_has_gathered_does_not_wait_in_the_page_again() -> None:
    assert app.GATHER < feed.GATHER
