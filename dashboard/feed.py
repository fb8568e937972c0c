"""Client of the recorder's feed: one JSON object a line, connected again and again until cancelled."""

import asyncio
import json
import random
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

Message = dict[str, Any]
Sleep = Callable[[float], Awaitable[object]]

COMMANDS = frozenset(
    "note mark acknowledge shelve unshelve zero unzero type_in withdraw pause resume seek speed inject repair"
    " photo_part photo_keep check open_entry close_entry reopen_entry did undo_did job_read job_check job_save job_undo"
    " scan_start scan_state scan_stop trial_start trial_state trial_stop meter_offers"
    " delete_recording restore_recording replay_file end_replay remote_note remote_request remote_done".split(),
)
"""What a browser may ask of the recorder."""

LONGEST_LINE = 4 * 1024 * 1024
"""A longer line ends the connection. [bytes]"""

FIRST_PAUSE = 0.2
LONGEST_PAUSE = 5.0
"""Wait before a new connection grows from the first to the longest. [s]"""

ANSWER_WITHIN = 5.0
"""A command without an answer after this is reported as failed. [s]"""

MOST_WAITING = 64
"""Commands that may wait for their answer at the same time. [1]"""


class FeedClient:
    """Hands every message of the feed to `publish` and commands to the recorder; reports its own connection too.

    Besides the recorder's messages it publishes `{"type": "feed", "connected": bool}`.
    """

    def __init__(
        self,
        host: str,
        port: int,
        token: str,
        publish: Callable[[Message], None],
        *,
        sleep: Sleep = asyncio.sleep,
        answer_within: float = ANSWER_WITHIN,
    ) -> None:
        self._address = (host, port)
        self._token = token
        self._publish = publish
        self._sleep = sleep
        self._answer_within = answer_within
        self._writer: asyncio.StreamWriter | None = None
        self._waiting: dict[int, asyncio.Future[Message]] = {}
        self._number = 0
        self.malformed = 0
        """Lines that were not a JSON object with a type; skipped. [1]"""
        self.connections = 0
        """Connections so far. [1]"""

    async def run(self) -> None:
        """Stay connected until cancelled."""
        pause = FIRST_PAUSE
        while True:
            heard = False
            try:
                heard = await self._session()
            except (OSError, ValueError):  # ValueError: a line beyond the limit
                pass
            finally:
                self._disconnected()
            pause = FIRST_PAUSE if heard else min(pause * 2, LONGEST_PAUSE)
            await self._sleep(pause * random.uniform(0.5, 1.0))

    async def command(self, name: str, arguments: Mapping[str, object]) -> Message:
        """Answer of the recorder: `{"ok": bool, "text": str}`, `data` where there is any.

        Not ok in one sentence when it could not be asked.
        """
        if name not in COMMANDS:
            return _failed(f"unknown command {name!r}; nothing was done")
        writer = self._writer
        if writer is None:
            return _failed("no connection to the recorder, nothing was done; try again in a moment")
        if len(self._waiting) >= MOST_WAITING:
            return _failed("the recorder is busy, nothing was done; try again in a moment")
        self._number += 1
        number = self._number
        answer: asyncio.Future[Message] = asyncio.get_running_loop().create_future()
        self._waiting[number] = answer
        try:
            writer.write(_line({"type": "command", "id": number, "name": name, "arguments": dict(arguments)}))
            async with asyncio.timeout(self._answer_within):
                await writer.drain()
                return await answer
        except (OSError, TimeoutError):
            return _failed("no answer from the recorder; look at the page before you try again")
        finally:
            self._waiting.pop(number, None)

    async def _session(self) -> bool:
        """One connection from its beginning to its end; whether the recorder said anything."""
        reader, writer = await asyncio.open_connection(*self._address, limit=LONGEST_LINE)
        heard = False
        try:
            writer.write(_line({"type": "auth", "token": self._token}))
            await writer.drain()
            while line := await reader.readline():
                message = _message(line)
                if message is None:
                    self.malformed += 1
                    continue
                if not heard:
                    heard = True
                    self._writer = writer
                    self.connections += 1
                    self._publish({"type": "feed", "connected": True})
                self._receive(message)
        finally:
            writer.close()
        return heard

    def _receive(self, message: Message) -> None:
        if message["type"] != "reply":
            self._publish(message)
            return
        number = message.get("id")
        answer = self._waiting.get(number) if isinstance(number, int) else None
        if answer is not None and not answer.done():
            data = message.get("data")
            facts = {"data": data} if isinstance(data, dict) and data else {}
            answer.set_result({"ok": bool(message.get("ok")), "text": str(message.get("text", "")), **facts})

    def _disconnected(self) -> None:
        if self._writer is not None:
            self._writer = None
            self._publish({"type": "feed", "connected": False})
        for answer in self._waiting.values():
            if not answer.done():
                answer.set_result(_failed("the recorder went away before it answered; look at the page and try again"))


def _line(message: Message) -> bytes:
    return json.dumps(message, ensure_ascii=False).encode("utf-8", "replace") + b"\n"  # half characters exist


def _message(line: bytes) -> Message | None:
    try:
        message = json.loads(line, parse_constant=lambda _: None)  # a browser takes no NaN
    except ValueError:
        return None
    well_formed = isinstance(message, dict) and isinstance(message.get("type"), str)
    return message if well_formed else None


def _failed(text: str) -> Message:
    return {"ok": False, "text": text}
