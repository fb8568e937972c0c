"""The live feed on loopback: one JSON object a line, for whoever knows the token; commands come back the same way."""

import asyncio
import hmac
import json
import math
import secrets
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict

from analysis.model import Event, EventKind
from analysis.points import DERIVED
from collector.collector import Collector
from collector.commands import Commands
from collector.fanout import Item, Listener
from collector.instrument_rows import instrument_rows
from drivers.base import LightoffError

GATHER = 0.033
"""Readings are sent at once, and then those of so long together: a lone one does not wait. [s]"""
STATUS = 0.5
"""Time between two status messages. [s]"""
LONGEST_LINE = 4 * 1024 * 1024
"""A longer line from a client ends its connection; a job file in it may have six bytes a character. [bytes]"""
PATIENCE = 5.0
"""Time a new client has to send its token. [s]"""

GONE = ("removed", "changed")
"""States in which an instrument's channels may be gone."""

AT_ONCE = ("alarm", "check", "done", "entry", "withdrawn", "remote_note", "remote_request", "remote_done")
"""Kinds of events whose effect on the status is told at once."""

Message = Mapping[str, object]


class Feed:
    """Serves looking-on processes of this machine; a slow one loses its own oldest readings and delays nothing."""

    def __init__(
        self,
        collector: Collector,
        commands: Commands,
        *,
        about: Callable[[], Message],
        state: Callable[[], Message] = dict,
        instruments: Callable[[], Mapping[str, Message]] = dict,
    ) -> None:
        self._collector = collector
        self._commands = commands
        self._about = about
        self._state = state  # what other parts of the call add to each status
        self._facts = instruments  # what the job says of each instrument
        self.token = secrets.token_urlsafe(32)
        self._clients: set[asyncio.Task[None]] = set()

    @asynccontextmanager
    async def serve(self) -> AsyncIterator[tuple[str, int]]:
        """Listen on a free loopback port while the block runs; gives host and port."""
        server = await asyncio.start_server(self._client, "127.0.0.1", 0, limit=LONGEST_LINE)
        try:
            host, port = server.sockets[0].getsockname()[:2]
            yield host, port
        finally:
            server.close()
            for client in self._clients:
                client.cancel()
            if self._clients:
                await asyncio.wait(self._clients)

    async def _client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._clients.add(task)
        try:
            if await self._admitted(reader):
                await self._talk(reader, writer)
        except* (ConnectionError, ValueError, RecursionError, TimeoutError, asyncio.CancelledError):
            pass  # the client is gone, sends what is no line, or the recording ends
        finally:
            self._clients.discard(task)
            writer.close()
            with suppress(ConnectionError, asyncio.CancelledError):
                await writer.wait_closed()

    async def _admitted(self, reader: asyncio.StreamReader) -> bool:
        async with asyncio.timeout(PATIENCE):
            message = _decode(await reader.readline())
        given = str(message.get("token", "")) if message.get("type") == "auth" else ""
        return hmac.compare_digest(given.encode(), self.token.encode())

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        listener, end = self._collector.fanout.listen()
        try:
            await _send(writer, {"type": "hello", **self._about()})
            told, sequence = await self._send_channels(writer), _Known()
            await self._send_state(writer, sequence)
            for event in list(self._collector.remembered):
                await _send(writer, _event(event))
            await _send(writer, _readings(self._collector.latest.values()))
            async with asyncio.TaskGroup() as group:
                sending = [
                    group.create_task(self._send_live(listener, writer, told, sequence), name="feed: live"),
                    group.create_task(self._send_status(writer, sequence), name="feed: status"),
                ]
                while line := await reader.readline():
                    await _send(writer, self._answer(_decode(line)))
                for task in sending:
                    task.cancel()
        finally:
            end()

    async def _send_live(self, listener: Listener, writer: asyncio.StreamWriter, told: int, sequence: "_Known") -> None:
        clock = asyncio.get_running_loop().time
        dropped, sent = 0, -GATHER
        while True:
            await listener.wait()
            await asyncio.sleep(max(0.0, sent + GATHER - clock()))  # also 0: what comes in the same turn goes together
            sent = clock()
            items = listener.take()
            if self._collector.opened != told:
                told = await self._send_channels(writer)
            for part in _until_moved(items):
                await _send(writer, _readings(part))
                for item in part:
                    if isinstance(item, Event):
                        await _send(writer, _event(item))
                        if item.data.get("what") == "seek":
                            await _send(writer, {"type": "jump"})
                        if item.kind == "job":
                            await _send(writer, self._job())
                        if item.kind in AT_ONCE:
                            await self._send_state(writer, sequence)
            if any(_lets_go(item) for item in items):
                told = await self._send_channels(writer)  # once more, behind what was queued of those that are gone
            if listener.dropped > dropped:
                await _send(writer, {"type": "dropped", "count": listener.dropped - dropped})
                dropped = listener.dropped

    def _job(self) -> Message:
        """What follows from the job in force, for pages that know of another one; their readings stay."""
        about = self._about()
        return {"type": "job", **{name: about[name] for name in ("job", "plate", "limits", "site") if name in about}}

    async def _send_status(self, writer: asyncio.StreamWriter, sequence: "_Known") -> None:
        while True:
            await asyncio.sleep(STATUS)
            await self._send_state(writer, sequence)

    async def _send_state(self, writer: asyncio.StreamWriter, sequence: "_Known") -> None:
        """The status, and of the attempts what is new to this client."""
        status = self._status()
        news = self._collector.sequence.attempts().since(sequence.version)
        sequence.version = self._collector.sequence.attempts().version
        if news:
            await _send(writer, news)
        await _send(writer, status)

    async def _send_channels(self, writer: asyncio.StreamWriter) -> int:
        """Tell every channel; what `opened` was, since another may be opened while this waits."""
        collector, told = self._collector, self._collector.opened
        channels = [
            {"key": channel.key, "point": channel.point, "instrument": channel.instrument, "unit": channel.unit}
            for channel in collector.channels
            if not collector.succession.left(channel.key)  # of a meter, the unit in which it shows now
        ]
        derived = [name for name in collector.latest if name in DERIVED]
        await _send(writer, {"type": "channels", "channels": channels, "derived": derived})
        return told

    def _status(self) -> Message:
        collector, now = self._collector, self._collector.now()
        recorder = collector.recorder
        return {
            "type": "status",
            "now": now,
            "making": collector.derived.making,
            "making_high": collector.derived.making_high,
            "speakers": collector.speakers.of,
            "phase": asdict(told) if (told := collector.sequence.told(now)) else None,
            "warnings": [asdict(sign) for sign in collector.sequence.warnings(now)],
            "first_drop": asdict(first) if (first := collector.drops.first) else None,
            "alarms": [asdict(alarm) for alarm in collector.alarms.snapshot()],
            "flood": collector.alarms.flood,
            "instruments": instrument_rows(collector, self._facts()),
            "suspicions": [asdict(told) for told in collector.suspicions.told()],
            "recorder": {
                "state": "standing still" if recorder.failure else "recording",
                "text": recorder.failure or "",
                "lost": recorder.lost,
                "queued": recorder.queued,
            },
            "replay": self._commands.replay_state(),
            "practice": self._commands.practice_state(),
            "entries": self._commands.entries(),
            **self._state(),
        }

    def _answer(self, message: Message) -> Message:
        given = message.get("arguments")
        try:
            answer = self._commands.execute(str(message.get("name", "")), given if isinstance(given, dict) else {})
        except LightoffError as error:
            return {"type": "reply", "id": message.get("id"), "ok": False, "text": str(error)}
        return {"type": "reply", "id": message.get("id"), "ok": True, "text": answer.text, "data": answer.data}


class _Known:
    """What a client knows of the attempts."""

    version = 0


async def _send(writer: asyncio.StreamWriter, message: Message) -> None:
    writer.write(json.dumps(message, separators=(",", ":"), default=str).encode() + b"\n")
    await writer.drain()


def _decode(line: bytes) -> Message:
    message = json.loads(line)
    if not isinstance(message, dict):
        raise ValueError("not a JSON object")
    return message


def _until_moved(items: list[Item]) -> Iterator[list[Item]]:
    """The items in pieces that end where a replay was moved: what follows belongs to another time."""
    begin = 0
    for place, item in enumerate(items, start=1):
        if isinstance(item, Event) and item.data.get("what") == "seek":
            yield items[begin:place]
            begin = place
    yield items[begin:]


def _event(event: Event) -> Message:
    message = {"type": "event", "time": event.time, "kind": event.kind, "text": event.text, "subject": event.subject}
    if event.kind in (EventKind.REMOTE_NOTE, EventKind.REMOTE_REQUEST):
        message["at"] = event.data.get("at", event.time)  # the moment that it is about
    return message | ({"attachment": event.data["attachment"]} if "attachment" in event.data else {})


def _lets_go(item: Item) -> bool:
    return isinstance(item, Event) and item.kind == "instrument" and item.data.get("state") in GONE


def _readings(items: Iterable[Item]) -> Message:
    rows = [
        (item[0], item[1], None if math.isnan(item[2]) else item[2], int(item[3]))
        for item in items
        if not isinstance(item, Event)
    ]
    return {"type": "readings", "readings": rows}
