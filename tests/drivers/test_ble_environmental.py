"""An instrument with the standard service, over the library and a BlueZ of ours."""

import math
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager

import pytest

from collector.profiles import named
from drivers.ble import Ble
from drivers.profile import BleSection, Profile, Value
from drivers.registry import KINDS
from drivers.setup import Setup
from tests.drivers.bluetooth_bench import make, silent_after
from tests.drivers.bluetooth_bus import BluetoothBus, needs_bus
from tests.drivers.bluetooth_peers import Peer, PeerCharacteristic
from tests.drivers.bluetooth_service import BluetoothService
from tests.drivers.session import Session
from tests.support import until

pytestmark = needs_bus

MEASUREMENT = bytes.fromhex("0000010000000500000104")
RANGE = struct.pack("<hh", -4000, 8500)


def hundredths(number: float) -> bytes:
    return struct.pack("<h", round(number * 100))


def thermometer() -> Peer:
    """Temperature, humidity that is only read, battery, and what it says of itself."""
    return Peer(
        name="thermometer",
        advertised=("181a",),
        services={
            "180a": [
                PeerCharacteristic("2a29", ("read",), b"Example"),
                PeerCharacteristic("2a24", ("read",), b"EX-1\0"),
                PeerCharacteristic("2a26", ("read",), b"\xff\x00\x01"),
            ],
            "181a": [
                PeerCharacteristic("2a6e", value=hundredths(21.5), descriptors={"290c": MEASUREMENT, "2906": RANGE}),
                PeerCharacteristic("2a6f", ("read",), struct.pack("<H", 5055)),
            ],
            "180f": [PeerCharacteristic("2a19", ("read", "notify"), b"\x61")],
        },
    )


@contextmanager
def room(peer: Peer) -> Iterator[BluetoothService]:
    """A computer with the peer in reach."""
    with closing(BluetoothBus()), closing(BluetoothService(peer)) as service:
        yield service


def driver(peer: Peer, channels: dict[str, str], *, silence: float = 30.0) -> Ble:
    return make(silent_after(named("environmental-sensing"), silence), peer, channels)


async def test_what_notifies_is_heard_and_what_does_not_is_read() -> None:
    peer = thermometer()
    with room(peer) as service:
        one = driver(peer, {"temperature": "temp_supply", "humidity": "humidity_supply"})
        session = Session(one)
        subscribed = (peer.services["181a"][0], peer.services["180f"][0])
        await session.until(lambda: all(one.notifying for one in subscribed), "subscriptions")
        await session.until(lambda: session.readings, "humidity that was read")
        service.say(peer, "2a6e", [hundredths(48.25), b"\x00\x80"])
        service.say(peer, "2a19", [b"\x40"])
        await session.until(lambda: one.facts().get("battery") == 0.64, "battery")
        await session.cancel()
    found = [(reading.channel.split("@")[0], reading.value) for reading in session.readings]
    assert ("humidity_supply", 50.55) in found
    temperatures = [value for point, value in found if point == "temp_supply"]
    assert temperatures[0] == 48.25
    assert math.isnan(temperatures[1]), "a value that is not known became a number"


async def test_what_the_instrument_says_of_itself_is_kept() -> None:
    peer = thermometer()
    with room(peer) as service:
        one = driver(peer, {"temperature": "temp_supply"})
        session = Session(one)
        await session.until(lambda: service.notifying(peer), "subscription")
        await until(lambda: "temperature interval" in one.facts(), what="facts")
        await until(lambda: "battery" in one.facts(), what="battery")
        await session.cancel()
    assert one.facts() == {
        "manufacturer": "Example",
        "model": "EX-1",
        "battery": 0.97,
        "low_battery": False,
        "temperature range": [-40.0, 85.0],
        "temperature sampling": "instantaneous",
        "temperature interval": 5,
        "temperature uncertainty": pytest.approx(0.02),
    }


async def test_one_that_tells_changes_only_is_asked_when_it_is_quiet() -> None:
    peer = thermometer()
    with room(peer) as service:
        one = driver(peer, {"temperature": "temp_supply"}, silence=0.4)
        session = Session(one)
        await session.until(lambda: len(session.readings) >= 4, "answers of a quiet instrument")
        asked = peer.characteristic("2a6e").reads
        assert {reading.value for reading in session.readings} == {21.5}
        assert abs(asked - len(session.readings)) <= 1, "an answer is one reading, though BlueZ tells it twice"
        before = len(session.readings)
        for number in range(40):
            service.say(peer, "2a6e", [hundredths(number)])
            await session.until(lambda: len(session.readings) > before + number, "notification")  # noqa: B023
        assert peer.characteristic("2a6e").reads <= asked + 1, "one that speaks was asked"
        await session.cancel()


async def test_two_sensors_of_a_kind_go_to_their_own_points() -> None:
    peer = thermometer()
    peer.services["181a"].append(PeerCharacteristic("2a6e", value=hundredths(5.0)))
    values = (Value(name="temperature", unit="degC"), Value(name="temperature_2", unit="degC"))
    profile = Profile(name="two", driver="ble", values=values, ble=BleSection(format="environmental"))
    with room(peer) as service:
        session = Session(make(profile, peer, {"temperature": "temp_supply", "temperature_2": "temp_return"}))
        await session.until(lambda: service.notifying(peer) and session.emitted, "subscription")
        first, second = (path for path, one in peer.paths.items() if one.uuid == "2a6e")
        for path, number in ((second, 18.0), (first, 50.0)):
            peer_paths = {path: peer.paths[path]}
            whole, peer.paths = peer.paths, peer_paths
            service.say(peer, "2a6e", [hundredths(number)])
            peer.paths = whole
        await session.until(lambda: len(session.readings) == 2, "both")
        await session.cancel()
    assert [(one.channel.split("@")[0], one.value) for one in session.readings] == [
        ("temp_return", 18.0),
        ("temp_supply", 50.0),
    ]


async def test_a_question_that_is_refused_is_counted_and_the_others_go_on() -> None:
    peer = thermometer()
    peer.characteristic("2a6f").error = ("org.bluez.Error.NotPermitted", "Read not permitted")
    with room(peer) as service:
        one = driver(peer, {"temperature": "temp_supply", "humidity": "humidity_supply"})
        session = Session(one)
        await session.until(lambda: one.statistics()["unreadable"] >= 1 and service.notifying(peer), "refusal")
        service.say(peer, "2a6e", [hundredths(48.25)])
        await session.until(lambda: session.readings, "reading")
        await session.cancel()
    assert [reading.value for reading in session.readings] == [48.25]


async def test_a_battery_that_wants_pairing_keeps_no_reading_away() -> None:
    peer = thermometer()
    peer.characteristic("2a19").error = ("org.bluez.Error.NotPermitted", "Not paired")
    with room(peer) as service:
        one = driver(peer, {"temperature": "temp_supply"})
        session = Session(one)
        await session.until(lambda: service.notifying(peer) and session.emitted, "subscription")
        service.say(peer, "2a6e", [hundredths(48.25)])
        await session.until(lambda: session.readings, "reading")
        await session.cancel()


async def test_the_registry_makes_one_that_works() -> None:
    peer = thermometer()
    with room(peer) as service:
        setup = Setup(
            name="supply",
            profile=named("environmental-sensing"),
            address=peer.address.lower(),
            channels={"temperature": "temp_supply"},
            now=lambda: 1,
        )
        session = Session(KINDS["ble"].make(setup))
        await session.until(lambda: service.notifying(peer) and session.emitted, "subscription")
        service.say(peer, "2a6e", [hundredths(20)])
        await session.until(lambda: session.readings, "reading")
        await session.cancel()
