"""What the page knows of the recorder, and the queue of each browser that looks on."""

import asyncio
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from typing import Any

from analysis.model import NANOSECONDS, Plate
from dashboard.attempts import Attempts

Message = dict[str, Any]

READINGS_WAITING = 20_000
"""Readings a browser may be behind before it loses the oldest. [1]"""

MESSAGES_WAITING = 500
"""Other messages a browser may be behind; beyond that it starts afresh with what is known. [1]"""

CHANNELS = 2_000
"""Channels and derived quantities whose latest reading is remembered. [1]"""

EVENTS = 50
"""Events a new browser is told. [1]"""


class Listener:
    """Queue of one browser; the oldest readings are lost when it is full, and counted."""

    def __init__(self, limit: int = READINGS_WAITING) -> None:
        self._readings: deque[list[Any]] = deque()
        self._messages: deque[Message] = deque()
        self._status: Message | None = None
        self._limit = limit
        self._ready = asyncio.Event()
        self._lost = 0
        self.dropped = 0
        """Readings that this browser was too slow for. [1]"""
        self.behind = False
        """Lost more than readings: has to start afresh."""

    def offer(self, message: Message) -> None:
        """Queue a message; of states only the newest is kept."""
        kind = message["type"]
        if kind == "readings":
            self._readings.extend(message["readings"])
            while len(self._readings) > self._limit:
                self._readings.popleft()
                self._lost += 1
        elif kind == "status":
            self._status = message
        else:
            if kind in ("hello", "jump"):
                self._readings.clear()
            elif kind == "channels" and (there := _there(message)) is not None:
                self._readings = deque(row for row in self._readings if row[0] in there)
            self._messages.append(message)
            if len(self._messages) > MESSAGES_WAITING:
                self._messages.clear()
                self.behind = True
        self._ready.set()

    def take(self) -> list[Message]:
        """Everything queued, in an order in which it can be shown."""
        self._ready.clear()
        messages = list(self._messages)
        self._messages.clear()
        if self._readings:
            messages.append({"type": "readings", "readings": list(self._readings)})
            self._readings.clear()
        if self._lost:
            self.dropped += self._lost
            messages.append({"type": "behind", "count": self._lost})
            self._lost = 0
        if self._status is not None:
            messages.append(self._status)
            self._status = None
        return messages

    def start_afresh(self, known: Iterable[Message]) -> None:
        """Forget what is queued and begin again with what is known."""
        self.behind = False
        self._readings.clear()
        self._messages.clear()
        for message in known:
            self.offer(message)

    def wake(self) -> None:
        """End the present wait."""
        self._ready.set()

    async def wait(self, within: float) -> None:
        """Return when something is queued, or after `within` [s] without."""
        try:
            async with asyncio.timeout(within):
                await self._ready.wait()
        except TimeoutError:
            return


class Hub:
    """Passes the feed's messages to all browsers and remembers what a new one has to be told."""

    def __init__(self, recording: Path) -> None:
        self.recording = recording
        """The recording the readings go to."""
        self._connected = False
        self._hello: Message | None = None
        self._channels: Message | None = None
        self._status: Message | None = None
        self._latest: dict[str, list[Any]] = {}
        self._events: deque[Message] = deque(maxlen=EVENTS)
        self._attempts = Attempts()
        self._listeners: dict[int, Listener] = {}
        self._sharing: Message | None = None
        self.closed = False
        """The page is ending."""

    def close(self) -> None:
        """Let every browser's connection end."""
        self.closed = True
        for listener in self._listeners.values():
            listener.wake()

    def publish(self, message: Message) -> None:
        """Remember a message of the feed and pass it to every browser; never waits."""
        match message:
            case {"type": "feed", "connected": bool(connected)}:
                self._connected = connected
            case {"type": "hello"}:
                self._hello = message
                self._latest.clear()
                self._events.clear()
                self._attempts.forget()
            case {"type": "job", "job": _, "plate": dict(), "limits": list()} if self._hello:
                self._hello = self._hello | message | {"type": "hello"}
            case {"type": "channels", "channels": list()}:
                self._channels = message
                if (there := _there(message)) is not None:
                    self._latest = {key: row for key, row in self._latest.items() if key in there}
            case {"type": "readings", "readings": list(rows)}:
                message = {"type": "readings", "readings": self._remember(rows)}
            case {"type": "status"}:
                self._status = message
            case {"type": "event"}:
                self._events.append(message)
            case _ if followed := self._follow(message):
                message = followed
            case _:
                return
        for listener in self._listeners.values():
            listener.offer(message)

    def share(self, told: Message) -> None:
        """Remember how the page is shared and who looks on, and pass it to every browser that may know."""
        self._sharing = told
        for listener in self._listeners.values():
            listener.offer(told)

    def known(self) -> list[Message]:
        """What a new browser has to be told, in order."""
        messages: list[Message] = [{"type": "feed", "connected": self._connected}]
        messages += [message for message in (self._sharing, self._hello, self._channels) if message]
        messages += [*self._events, *self._attempts.known()]
        if self._latest:
            messages.append({"type": "readings", "readings": list(self._latest.values())})
        return [*messages, self._status] if self._status else messages

    @contextmanager
    def listening(self, limit: int = READINGS_WAITING) -> Iterator[Listener]:
        """A browser's queue, filled with what is known, for as long as it looks on."""
        listener = Listener(limit)
        for message in self.known():
            listener.offer(message)
        self._listeners[id(listener)] = listener
        try:
            yield listener
        finally:
            del self._listeners[id(listener)]

    @property
    def listeners(self) -> int:
        """How many browsers look on. [1]"""
        return len(self._listeners)

    @property
    def newest(self) -> float | None:
        """Time of the newest reading shown, None when there is none. [s]"""
        times = [row[1] for row in self._latest.values()]
        return max(times) / NANOSECONDS if times else None

    @property
    def plate(self) -> Plate:
        """The rating plate of the job, empty where not known."""
        return plate_from((self._hello or {}).get("plate"))

    @property
    def limits(self) -> list[Message]:
        """Limits of the job [inside units]."""
        limits = (self._hello or {}).get("limits")
        return [limit for limit in limits if isinstance(limit, dict)] if isinstance(limits, list) else []

    def _follow(self, message: Message) -> Message | None:
        """A message of what is played or lost, as browsers are told it; None for one that is none."""
        match message:
            case {"type": "attempts", "attempts": list()}:
                return self._attempts.use(message)
            case {"type": "jump"}:
                self._latest.clear()
                self._attempts.forget()
                return message
            case {"type": "dropped", "count": int()}:
                return message  # every browser adds it up and says it
        return None

    def _remember(self, rows: list[Any]) -> list[list[Any]]:
        good = [row for row in rows if _is_reading(row)]
        for row in good:
            if row[0] in self._latest or len(self._latest) < CHANNELS:
                self._latest[row[0]] = row
        return good


def plate_from(facts: object) -> Plate:
    """Rating plate from its JSON form; what is not known there is left out."""
    if not isinstance(facts, Mapping):
        return Plate()
    names = {field.name for field in fields(Plate)}
    known: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in facts.items()
        if name in names and value is not None
    }
    return Plate(**known)


def _there(message: Message) -> set[str] | None:
    """Keys of the channels and derived quantities that there are, None where the recorder does not say both."""
    channels, derived = message.get("channels"), message.get("derived")
    if not isinstance(channels, list) or not isinstance(derived, list):
        return None
    return {str(channel.get("key")) for channel in channels if isinstance(channel, dict)} | {*map(str, derived)}


def _is_reading(row: object) -> bool:
    match row:
        case [str(), int(), float() | int() | None, int()]:
            return True
        case _:
            return False
