"""The bench of a Modbus instrument: a unit of a real server that answers the question of the profile on demand."""

import time
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import pytest

from analysis.model import Channel
from drivers.base import BusyError, Driver, Emission, NotFoundError, SettingsError
from drivers.modbus import Modbus
from drivers.profile import ModbusSection, Profile, Value
from drivers.setup import Setup, Shared
from tests.drivers.bench import Failure
from tests.drivers.modbus_peers import RtuPeer, TcpPeer, Unit

NAME = "duct transmitter"
Peer = TcpPeer | RtuPeer
WAYS = pytest.mark.parametrize("way", ["tcp", "rtu"])
PRESSURE = Value(name="pressure", unit="Pa", first_register=0, type="int32", order="big")


def make(address: str, device: int | None = 7, **settings: Any) -> Modbus:
    """A driver of one unit; `settings` beside the usual ones or in place of them."""
    section = {key: settings.pop(key) for key in ("every", "within", "gap", "baud", "parity") if key in settings}
    values = settings.pop("values", (PRESSURE,))
    profile = Profile(
        name="transmitter",
        driver="modbus",
        values=values,
        silence=settings.pop("silence", 30.0),
        modbus=ModbusSection(**{"every": 0.002, "within": 0.3, "baud": 115200, **section}),
    )
    facts: dict[str, Any] = {
        "name": NAME,
        "channels": {values[0].name: "draft_collector"},
        "now": time.time_ns,
        "shared": Shared(),
        **settings,
    }
    more = {"lister": settings["lister"]} if "lister" in settings else {}
    facts.pop("lister", None)
    return Modbus(Setup(profile=profile, address=address, device=device, **facts), **more)


class ModbusBench:
    """A unit with a value that rises with each reading; its answers wait for `say`."""

    def __init__(self, peer: TcpPeer | RtuPeer) -> None:
        self.peer = peer
        peer.tap.on_demand = 4
        self.driver = make(peer.address)

    def make(self, *, patience: float = 30.0) -> Driver:
        """With so long a wait for each answer."""
        self.driver = make(self.peer.address, within=patience)
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        """Once the unit answered the settling question, so that no answer to an earlier session is held."""
        return any(isinstance(emission, Channel) for emission in emitted)

    def say(self, count: int) -> None:
        """So many answers may go."""
        self.peer.thread.do(lambda: self.peer.tap.let(count))

    def failures(self) -> Sequence[Failure]:
        """The server is away; on a port, what hinders its opening."""
        away = Failure("away", self._away, NotFoundError)
        if isinstance(self.peer, TcpPeer):
            return (away,)
        held = Failure("port held", self.peer.port.held, BusyError)
        return away, held, Failure("another file", self._another_file, SettingsError)

    def lose(self) -> None:
        """It vanishes."""
        self.peer.lose()

    def bring_back(self) -> None:
        """It is there again."""
        self.peer.bring_back()

    def flood(self) -> int:
        """Not a matter of who is only heard when asked."""
        raise NotImplementedError

    def flooding(self) -> AbstractContextManager[object]:
        """As `flood`."""
        raise NotImplementedError

    def lost(self) -> int:
        """As `flood`."""
        raise NotImplementedError

    def nonsense(self) -> None:
        """One answer is spoiled: its last byte; on a network its function."""
        tap = self.peer.tap
        at = -1 if isinstance(self.peer, RtuPeer) else 7

        def spoil(answer: bytes) -> bytes:
            if len(answer) < 9 + (4 if at == 7 else 0):
                return answer  # of the settling question
            tap.change = lambda same: same
            changed = bytearray(answer)
            changed[at] ^= 0x55
            return bytes(changed)

        def begin() -> None:
            tap.change = spoil
            tap.let(1)

        self.peer.thread.do(begin)

    def unreadable(self) -> int:
        """As the driver counts."""
        return self.driver.statistics()["unreadable"]

    def close(self) -> None:
        """The peer is taken down."""
        self.peer.close()

    @contextmanager
    def _away(self) -> Iterator[None]:
        self.peer.lose()
        try:
            yield
        finally:
            self.peer.bring_back()

    @contextmanager
    def _another_file(self) -> Iterator[None]:
        assert isinstance(self.peer, RtuPeer)
        path = self.peer.port.path
        device = path.readlink()
        path.unlink()
        path.write_text("no port\n")
        try:
            yield
        finally:
            path.unlink()
            path.symlink_to(device)


def tcp_bench() -> ModbusBench:
    """On loopback."""
    return ModbusBench(TcpPeer(Unit(7, [0] * 20, rising=True)))


def rtu_bench(folder: Path) -> ModbusBench:
    """On a pseudo-terminal."""
    return ModbusBench(RtuPeer(folder, Unit(7, [0] * 20, rising=True)))


def peer_of(way: str, folder: Path, *units: Unit) -> Peer:
    return TcpPeer(*units) if way == "tcp" else RtuPeer(folder, *units)


def unit_of(question: bytes, way: str) -> int:
    return question[6 if way == "tcp" else 0]


def mute(peer: Peer, way: str, number: int) -> None:
    """This unit says nothing any more."""
    tap = peer.tap
    tap.change = lambda answer: b"" if unit_of(answer, way) == number else answer
