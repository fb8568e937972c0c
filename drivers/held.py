"""Messages of a session that the broker keeps: none is acknowledged before whoever took it says so.

What waits here is bounded without anything being dropped: where whoever takes it is slow, nothing more is read from the
connection, and the broker keeps the rest. The broker is also told how many messages may be unacknowledged (receive
maximum), but mosquitto 2.0.11 sends more while it empties a queue: as many again for each acknowledgement.
"""

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from drivers.inbox import Message

EXPIRY = 7 * 24 * 3600
"""How long a broker is asked to keep a session whose worker is away; it may keep it for less. [s]"""
MOST = 2000
"""Messages that a session may have unacknowledged; Mosquitto sends 20 unless `max_inflight_messages` says more. [1]"""
HERE, GONE = b"here", b"gone"
"""What stands, retained, on the topic of a session's presence; nothing where the session was ended."""

PRESENT = 20
"""`here` is said anew so often: a broker that was killed says nobody's last word, and one that is read no more hears of
us by it. [s]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A session that the broker keeps between connections, also when this program is killed."""

    name: str
    """Client identifier: the session belongs to whoever connects with it last."""
    presence: str
    """Topic on which the broker says `here` or `gone`."""
    most: int = MOST
    """Messages unacknowledged at a time. [1]"""
    expiry: int = EXPIRY
    """[s]"""
    leave: Sequence[str] = ()
    """Subscriptions of the session that are ended first: only what waits in it is wanted."""
    marker: str = ""
    """Where it is to be emptied: a topic on which a message comes behind all that waits."""


class Held:
    """Messages of one connection on their way from its thread to the one that takes them."""

    def __init__(self, most: int = MOST, *, woken: Callable[[], None] = lambda: None) -> None:
        self.stop = threading.Event()
        """Hang up; the session stays and is said to be gone."""
        self.finish = threading.Event()
        """Hang up and end the session for good."""
        self.opened = False
        """The broker has agreed to all that was asked for."""
        self.resumed: bool | None = None
        """Whether the broker still had the session; None until it says."""
        self.failure: Exception | None = None
        """What ended the connection."""
        self.ended = threading.Event()
        self._most = most
        self._room = threading.Event()
        self._room.set()
        self._messages: deque[Message] = deque()
        self._done: deque[int] = deque()
        self._lock = threading.Lock()
        self._woken = woken

    def open(self) -> None:
        """In its thread: the other side has agreed."""
        self.opened = True
        self._woken()

    def put(self, message: Message) -> None:
        """In its thread: add a message."""
        with self._lock:
            self._messages.append(message)
            self._room.clear()
            if len(self._messages) < self._most:
                self._room.set()
        self._woken()

    def room(self, within: float) -> bool:
        """In its thread: whether more may be read, waiting for that up to `within` [s]."""
        return self._room.is_set() or self._room.wait(within)

    def end(self) -> None:
        """In its thread: its last act."""
        self.ended.set()
        self._woken()

    def take(self) -> Message | None:
        """The oldest message."""
        with self._lock:
            found = self._messages.popleft() if self._messages else None
            if len(self._messages) < self._most:
                self._room.set()
            return found

    def __len__(self) -> int:
        """Messages that wait. [1]"""
        return len(self._messages)

    def acknowledge(self, number: int) -> None:
        """A message that was taken is done with; the broker forgets it."""
        if number:
            self._done.append(number)

    def done(self) -> list[int]:
        """In its thread: numbers to be acknowledged now."""
        found = []
        while self._done:
            found.append(self._done.popleft())
        return found
