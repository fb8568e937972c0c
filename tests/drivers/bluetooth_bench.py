"""Benches of Bluetooth instruments: the driver over the library, a private bus and a BlueZ of ours."""

import struct
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

from analysis.model import Channel
from collector.profiles import named
from drivers.base import BusyError, Emission, NotFoundError, NotPermittedError, SettingsError
from drivers.ble import Ble
from drivers.ble_advertised import Advertised
from drivers.codecs import bthome
from drivers.profile import BleSection, Profile, Value
from drivers.setup import Setup
from tests.drivers.bench import Failure
from tests.drivers.bluetooth_bus import BluetoothBus
from tests.drivers.bluetooth_peers import Peer, PeerCharacteristic
from tests.drivers.bluetooth_service import BluetoothService
from tests.support import StillClock

NAME = "draft meter"
OWN = "00000001-1111-4222-8333-00005e005301"
OWN_SERVICE = "00000000-1111-4222-8333-00005e005301"
PAIRING = ("org.bluez.Error.Failed", "Operation failed with ATT error: 0x05 (Insufficient Authentication)")


def pressure(number: float) -> bytes:
    """What the meter of `characteristic-pressure` says of a number of tenths of a pascal."""
    return struct.pack("<iBB", round(number), 0, round(number) % 256)


def own_peer(**more: Any) -> Peer:
    """A manometer with a characteristic of its own, which notifies and is not read."""
    return Peer(services={OWN_SERVICE: [PeerCharacteristic(OWN, ("notify",))]}, advertised=(OWN_SERVICE,), **more)


def make(profile: Profile, peer: Peer, channels: dict[str, str], **settings: Any) -> Ble:
    """A driver of a peer that waits little; `settings` of the driver and of the setup."""
    driver = {key: settings.pop(key) for key in ("backlog", "find", "connect") if key in settings}
    setup = Setup(
        name=NAME, profile=profile, address=peer.address, channels=channels, **{"now": StillClock(), **settings}
    )
    return Ble(setup, **{"find": 0.3, "connect": 2.0, **driver})


def silent_after(profile: Profile, silence: float) -> Profile:
    """The profile with another silence. [s]"""
    return Profile(
        name=profile.name, driver="ble", values=profile.values, ble=profile.ble, silence=silence, title=profile.title
    )


class BluetoothBench:
    """What all have in common: the bus, BlueZ and a peer."""

    def __init__(self, peer: Peer) -> None:
        self.peer = peer
        self.bus = BluetoothBus()
        self.service = BluetoothService(peer)

    def close(self) -> None:
        """All of it goes."""
        self.service.close()
        self.bus.close()

    @contextmanager
    def during(self, begin: Callable[[], object], end: Callable[[], object]) -> Iterator[None]:
        """A state that passes."""
        begin()
        try:
            yield
        finally:
            end()

    def radio_failures(self) -> Sequence[Failure]:
        """What is wrong with the computer."""
        service = self.service

        def state(begin: Callable[[], object], end: Callable[[], object]) -> Callable[[], AbstractContextManager[None]]:
            return lambda: self.during(begin, end)

        return (
            Failure(
                "switched off", state(lambda: service.power(on=False), lambda: service.power(on=True)), NotFoundError
            ),
            Failure("no adapter", state(service.remove_adapter, service.add_adapter), NotFoundError),
            Failure("no BlueZ", state(service.stop, service.start), NotFoundError),
            Failure(
                "no Low Energy",
                state(lambda: service.set_roles("peripheral"), lambda: service.set_roles("central")),
                NotFoundError,
            ),
        )


class NotifyBench(BluetoothBench):
    """A manometer that notifies."""

    def __init__(self, folder: Path) -> None:
        super().__init__(own_peer())
        self.driver = self.make()
        self._number = 0

    def make(self, *, patience: float = 30.0) -> Ble:
        """With so small a backlog that a flood fills it."""
        profile = silent_after(named("characteristic-pressure"), patience)
        self.driver = make(profile, self.peer, {"pressure": "draft_collector"}, backlog=64)
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        """Once it is subscribed."""
        return any(isinstance(emission, Channel) for emission in emitted) and self.service.notifying(self.peer)

    def say(self, count: int) -> None:
        """Different numbers, each with the count of its message."""
        self.service.say(self.peer, OWN, [self._next() for _ in range(count)])

    def _next(self) -> bytes:
        self._number += 1
        return pressure(self._number)

    def failures(self) -> Sequence[Failure]:
        """Of the computer, and of the instrument."""
        peer = self.peer

        def set_(**facts: Any) -> None:
            for name, value in facts.items():
                setattr(peer, name, value)

        characteristic = peer.characteristic(OWN)
        services = dict(peer.services)
        return (
            *self.radio_failures(),
            Failure(
                "away", lambda: self.during(lambda: set_(present=False), lambda: set_(present=True)), NotFoundError
            ),
            Failure(
                "busy",
                lambda: self.during(
                    lambda: set_(refuses=("org.bluez.Error.InProgress", "In Progress")), lambda: set_(refuses=None)
                ),
                BusyError,
            ),
            Failure(
                "pairing",
                lambda: self.during(
                    lambda: setattr(characteristic, "error", PAIRING), lambda: setattr(characteristic, "error", None)
                ),
                NotPermittedError,
            ),
            Failure(
                "another kind",
                lambda: self.during(
                    lambda: set_(services={"180f": [PeerCharacteristic("2a19")]}), lambda: set_(services=services)
                ),
                SettingsError,
            ),
        )

    def lose(self) -> None:
        """It drops the connection and is away."""
        self.service.disconnect(self.peer, away=True)

    def bring_back(self) -> None:
        """It is in reach again."""
        self.peer.present = True

    def flood(self) -> int:
        """More than the driver holds."""
        self.say(2000)
        return 2000

    def flooding(self) -> AbstractContextManager[object]:
        """As fast as the bus takes it."""
        return self.service.flooding(lambda: self.service.saying(self.peer, OWN, [self._next() for _ in range(50)]))

    def lost(self) -> int:
        """Messages dropped."""
        return self.driver.statistics()["dropped_messages"]

    def nonsense(self) -> None:
        """Nothing, and less than a number."""
        self.service.say(self.peer, OWN, [b"", b"\xff\xff"])

    def unreadable(self) -> int:
        """As the driver counts."""
        return self.driver.statistics()["unreadable"]


class PolledBench(BluetoothBench):
    """A thermometer that is read: it says a number by having it when it is asked."""

    EVERY = 0.01

    def __init__(self, folder: Path) -> None:
        super().__init__(Peer(services={OWN_SERVICE: [PeerCharacteristic(OWN, ("read",))]}))
        self.characteristic = self.peer.characteristic(OWN)
        self.characteristic.waits = True
        self.driver = self.make()
        self._number = 0

    def make(self, *, patience: float = 30.0) -> Ble:
        """Asked a hundred times a second."""
        value = Value(name="temperature", unit="degC", characteristic=OWN, type="int16", scale=0.01, every=self.EVERY)
        profile = Profile(name="polled", driver="ble", values=(value,), ble=BleSection(), silence=patience)
        self.driver = make(profile, self.peer, {"temperature": "temp_supply"})
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        """Once it was asked."""
        return any(isinstance(emission, Channel) for emission in emitted) and self.peer.connected

    def say(self, count: int) -> None:
        """Answers to the next questions."""
        for _ in range(count):
            self._number += 1
            self.characteristic.answers.append(struct.pack("<h", self._number))

    def failures(self) -> Sequence[Failure]:
        """Of the computer."""
        return self.radio_failures()

    def lose(self) -> None:
        """It drops the connection and is away."""
        self.service.disconnect(self.peer, away=True)

    def bring_back(self) -> None:
        """It is in reach again."""
        self.peer.present = True

    def nonsense(self) -> None:
        """Nothing, and less than a number."""
        self.characteristic.answers += [b"", b"\xff"]

    def unreadable(self) -> int:
        """As the driver counts."""
        return self.driver.statistics()["unreadable"]

    def lost(self) -> int:
        """Nothing is lost: it is asked when there is room."""
        return 0

    def flood(self) -> int:
        """It is asked, and cannot."""
        raise AssertionError("an instrument that is asked does not flood")

    def flooding(self) -> AbstractContextManager[object]:
        """It is asked, and cannot."""
        raise AssertionError("an instrument that is asked does not flood")


class AdvertisedBench(BluetoothBench):
    """A thermometer with BTHome advertisements, each with its own number."""

    def __init__(self, folder: Path) -> None:
        super().__init__(Peer(advertised=("fcd2",)))
        self.peer.present = False  # it advertises when it has something to say
        self.driver = self.make()
        self._number = 0

    def make(self, *, patience: float = 30.0) -> Advertised:
        """With so small a backlog that a flood fills it."""
        setup = Setup(
            name=NAME,
            profile=silent_after(named("bthome"), patience),
            address=self.peer.address,
            channels={"temperature": "temp_supply"},
            now=StillClock(),
        )
        self.driver = Advertised(setup, backlog=64)
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        """Once somebody searches."""
        return self.service.searching

    def say(self, count: int) -> None:
        """Temperatures."""
        self.service.advertise(self.peer, bthome.SERVICE, [self._next() for _ in range(count)])

    def _next(self) -> bytes:
        self._number += 1
        return struct.pack("<BBBBh", 0x40, 0x00, self._number % 256, 0x02, self._number % 3000)

    def failures(self) -> Sequence[Failure]:
        """Of the computer."""
        return self.radio_failures()

    def lose(self) -> None:
        """It is only ever silent."""
        raise AssertionError("an instrument without a connection is not lost")

    bring_back = lose

    def flood(self) -> int:
        """More than the driver holds."""
        self.say(2000)
        return 2000

    def flooding(self) -> AbstractContextManager[object]:
        """As fast as the bus takes it."""
        return self.service.flooding(
            lambda: self.service.advertising(self.peer, bthome.SERVICE, [self._next() for _ in range(50)])
        )

    def lost(self) -> int:
        """Messages dropped."""
        return self.driver.statistics()["dropped_messages"]

    def nonsense(self) -> None:
        """Another version, an object nobody knows."""
        self.service.advertise(self.peer, bthome.SERVICE, [b"\x20\x02\x00\x00", b"\x40\xef\x00"])

    def unreadable(self) -> int:
        """As the driver counts."""
        return self.driver.statistics()["unreadable"]
