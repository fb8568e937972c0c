"""What the battery of drivers asks of a bench: a driver over a real peer, and the strings to pull at that peer."""

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from enum import StrEnum
from typing import NamedTuple, Protocol

from drivers.base import Driver, DriverError, Emission


class Ability(StrEnum):
    """What not every peer can do."""

    FAIL = "fail to connect"
    LOSE = "vanish during a session"
    SILENCE = "say nothing"
    FLOOD = "say more than the driver takes"
    NONSENSE = "say what cannot be read"


class Failure(NamedTuple):
    """A way in which a session cannot start."""

    title: str
    prepared: Callable[[], AbstractContextManager[object]]
    """The peer is in that state inside the block and fine after it."""
    expected: type[DriverError]


class Bench(Protocol):
    """A driver over a real peer, and the strings to pull at that peer."""

    def make(self, *, patience: float = 30.0) -> Driver:
        """A driver of this peer that waits `patience` [s] for a silent one; made once per test."""

    def listening(self, emitted: Sequence[Emission]) -> bool:
        """Whether the session that emitted this takes what the peer says from now on."""

    def say(self, count: int) -> None:
        """The peer says so many things, each of them one reading."""

    def failures(self) -> Sequence[Failure]:
        """What can hinder a session from starting. [Ability.FAIL]"""

    def lose(self) -> None:
        """The peer vanishes. [Ability.LOSE]"""

    def bring_back(self) -> None:
        """The peer that vanished is there again. [Ability.LOSE]"""

    def flood(self) -> int:
        """The peer says more than the driver holds, without a turn for the loop; how many things. [Ability.FLOOD]

        Called when the peer has just been heard.
        """

    def flooding(self) -> AbstractContextManager[object]:
        """The peer says things as fast as it can during the block, from a thread of its own. [Ability.FLOOD]"""

    def lost(self) -> int:
        """Things that the driver says it lost or refused. [Ability.FLOOD]"""

    def nonsense(self) -> None:
        """The peer says what cannot be read. [Ability.NONSENSE]"""

    def unreadable(self) -> int:
        """Things that the driver says it could not read. [Ability.NONSENSE]"""

    def close(self) -> None:
        """The peer is taken down."""
