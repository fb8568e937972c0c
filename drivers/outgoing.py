"""From a program to the thread of a connection: what is to be said to a broker, until the broker has confirmed it."""

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

MOST_AT_ONCE: Final = 16
"""Parcels on their way at the same time; a broker may take 20 from a client by default. [1]"""
MOST: Final = 64
"""Parcels that wait; a further one is refused. [1]"""


class Settled(Protocol):
    """What is told how it went."""

    def __call__(self, *, taken: bool) -> None:
        """In the thread of the connection: whether the broker has it."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Parcel:
    """One message to a broker."""

    topic: str
    data: bytes
    retain: bool = False
    qos: int = 1
    content_type: str = ""
    expires: int = 0
    """How long the broker keeps it for somebody; 0: for ever. [s]"""
    settled: Settled | None = None
    """Told, in the thread of the connection, whether the broker has it; for QoS 1."""


class Outgoing:
    """Parcels in their order; bounded, and whoever puts one is told when it is full. For any thread."""

    def __init__(self, most: int = MOST) -> None:
        self._lock = threading.Lock()
        self._waiting: deque[Parcel] = deque()
        self._on_the_way: dict[int, Parcel] = {}
        self._most = most
        self.refused = 0
        """Parcels not taken because too many wait. [1]"""

    @property
    def unconfirmed(self) -> int:
        """Parcels that wait or are on their way. [1]"""
        return len(self._waiting) + len(self._on_the_way)

    def put(self, parcel: Parcel) -> bool:
        """Take a parcel; whether there was room."""
        with self._lock:
            if len(self._waiting) >= self._most:
                self.refused += 1
                return False
            self._waiting.append(parcel)
        return True

    def publish(self, say: Callable[[Parcel], int]) -> None:
        """In the thread: say what waits; `say` gives the number under which it will be confirmed."""
        while True:
            with self._lock:
                if not self._waiting or len(self._on_the_way) >= MOST_AT_ONCE:
                    return
                parcel = self._waiting.popleft()
            number = say(parcel)
            if not parcel.qos:
                continue
            with self._lock:  # it is confirmed in this thread, and not before this
                self._on_the_way[number] = parcel

    def confirmed(self, number: int, *, taken: bool) -> Parcel | None:
        """In the thread: the broker has answered for a parcel, or refused it."""
        with self._lock:
            parcel = self._on_the_way.pop(number, None)
        if parcel and parcel.settled:
            parcel.settled(taken=taken)
        return parcel

    def broken_off(self) -> None:
        """In the thread: the connection is gone, and nobody knows what arrived of what was not confirmed."""
        with self._lock:
            left = [*self._on_the_way.values(), *self._waiting]
            self._on_the_way.clear()
            self._waiting.clear()
        for parcel in left:
            if parcel.settled:
                parcel.settled(taken=False)
