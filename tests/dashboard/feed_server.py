"""A small feed for the tests: a real loopback server that says what the test puts in."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from collector.feed import LONGEST_LINE

TOKEN = "token of the test"

Message = dict[str, Any]


class FeedServer:
    """Serves clients that know the token; what they send is kept in `received`."""

    def __init__(self, greeting: list[Message] | None = None) -> None:
        self.greeting = greeting or []
        self.received: list[Message] = []
        self.refused = 0
        self.answers: dict[str, Message] = {}
        """What is answered to a command, by its name, in place of that it is done."""
        self.mute = False
        """Answers no command."""
        self.port = 0
        self._writers: set[asyncio.StreamWriter] = set()
        self._server: asyncio.Server | None = None
        self._talks: set[asyncio.Task[None]] = set()

    @property
    def clients(self) -> int:
        """How many are connected."""
        return len(self._writers)

    @asynccontextmanager
    async def running(self) -> AsyncIterator["FeedServer"]:
        """Serve while the block runs, on the same port as before."""
        await self.start()
        try:
            yield self
        finally:
            await self.stop()

    async def start(self) -> None:
        """Begin to serve."""
        self._server = await asyncio.start_server(self._client, "127.0.0.1", self.port, limit=LONGEST_LINE)
        self.port = self._server.sockets[0].getsockname()[1]

    async def stop(self) -> None:
        """Cut every connection and refuse new ones."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for talk in self._talks:
            talk.cancel()
        await asyncio.gather(*self._talks, return_exceptions=True)

    def say(self, *messages: Message) -> None:
        """Send messages to every client."""
        self.say_raw(b"".join(json.dumps(message).encode() + b"\n" for message in messages))

    def say_raw(self, data: bytes) -> None:
        """Send bytes to every client."""
        for writer in self._writers:
            writer.write(data)

    async def _client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._talks.add(task)
        try:
            await self._talk(reader, writer)
        except (OSError, asyncio.CancelledError):
            pass
        finally:
            self._writers.discard(writer)
            self._talks.discard(task)
            writer.transport.abort()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if json.loads(await reader.readline()) != {"type": "auth", "token": TOKEN}:
            self.refused += 1
            return
        for message in self.greeting:
            writer.write(json.dumps(message).encode() + b"\n")
        self._writers.add(writer)
        while line := await reader.readline():
            message = json.loads(line)
            self.received.append(message)
            if self.mute:
                continue
            reply = {"type": "reply", "id": message["id"], "ok": True, "text": f"{message['name']} done"}
            reply |= self.answers.get(message["name"], {})
            writer.write(json.dumps(reply).encode() + b"\n")
