"""Several Bluetooth instruments at one radio: the trouble of one is no trouble of the others."""

from collections.abc import Iterator
from contextlib import closing, contextmanager

import pytest

from collector.profiles import named
from drivers.base import DriverError, NotFoundError, SilentError
from drivers.ble import Ble
from drivers.ble_advertised import Advertised
from drivers.codecs import bthome
from drivers.profile import BleSection, Profile, Value
from drivers.setup import Setup, Shared
from tests.drivers.bluetooth_bench import OWN, OWN_SERVICE, make, own_peer, pressure, silent_after
from tests.drivers.bluetooth_bus import BluetoothBus, needs_bus
from tests.drivers.bluetooth_peers import Peer, PeerCharacteristic
from tests.drivers.bluetooth_service import BluetoothService
from tests.drivers.session import Session, nothing_left

pytestmark = needs_bus

UNKNOWN = ("org.freedesktop.DBus.Error.UnknownObject", "Method does not exist")
NO_REPLY = ("org.freedesktop.DBus.Error.NoReply", "Did not receive a reply")


@contextmanager
def bluez(*peers: Peer) -> Iterator[BluetoothService]:
    with closing(BluetoothBus()), closing(BluetoothService(*peers)) as service:
        yield service


def notifying(peer: Peer, shared: Shared, silence: float = 30.0) -> Ble:
    profile = silent_after(named("characteristic-pressure"), silence)
    return make(profile, peer, {"pressure": "draft_collector"}, shared=shared)


def polled(peer: Peer, shared: Shared) -> Ble:
    value = Value(name="temperature", unit="degC", characteristic=OWN, type="int16", every=0.02)
    profile = Profile(name="polled", driver="ble", values=(value,), ble=BleSection(), silence=30)
    return make(profile, peer, {"temperature": "temp_supply"}, shared=shared)


async def reading(service: BluetoothService, driver: Ble, peer: Peer) -> Session:
    """A session of a manometer that has read."""
    session = Session(driver)
    await session.until(lambda: session.emitted and service.notifying(peer), "subscription")
    await goes_on(service, session, peer)
    return session


async def goes_on(service: BluetoothService, session: Session, peer: Peer) -> None:
    """It still reads: what it says from now on comes."""
    count = len(session.readings)
    service.say(peer, OWN, [pressure(count + 1), pressure(count + 2)])
    await session.until(lambda: len(session.readings) == count + 2, "reading")


@pytest.mark.parametrize("refuses", [UNKNOWN, NO_REPLY])
async def test_one_that_cannot_be_connected_disconnects_no_other(refuses: tuple[str, str]) -> None:
    first, second = own_peer(), own_peer(address="00:00:5E:00:53:02", refuses=refuses)
    shared = Shared()
    with bluez(first, second) as service, nothing_left():
        session = await reading(service, notifying(first, shared), first)
        driver = notifying(second, shared)
        assert type(await Session(driver).failure()) is NotFoundError
        await goes_on(service, session, first)
        second.refuses = None
        other = await reading(service, driver, second)
        await goes_on(service, session, first)
        await other.cancel()
        await session.cancel()


@pytest.mark.parametrize("error", [UNKNOWN, NO_REPLY])
async def test_one_that_does_not_know_its_own_value_any_more_disconnects_no_other(error: tuple[str, str]) -> None:
    first = own_peer()
    thermometer = PeerCharacteristic(OWN, ("read",), value=b"\1\0")
    second = Peer("00:00:5E:00:53:02", "thermometer", services={OWN_SERVICE: [thermometer]})
    shared = Shared()
    with bluez(first, second) as service, nothing_left():
        session = await reading(service, notifying(first, shared), first)
        driver = polled(second, shared)
        other = Session(driver)
        await other.until(lambda: len(other.readings) > 2, "readings")
        thermometer.error = error
        assert isinstance(await other.failure(), DriverError)
        thermometer.error = None
        other = Session(driver)
        await other.until(lambda: other.readings, "readings again")
        await goes_on(service, session, first)
        await other.cancel()
        await session.cancel()


async def test_one_that_bluez_forgot_is_found_again_while_another_reads() -> None:
    """What is remembered of it, such as that it is connected, goes, and what is remembered of the other stays."""
    first, second = own_peer(), own_peer(address="00:00:5E:00:53:02")
    shared = Shared()
    with bluez(first, second) as service, nothing_left():
        session = await reading(service, notifying(first, shared), first)
        driver = notifying(second, shared, 0.2)
        assert type(await (await reading(service, driver, second)).failure()) is SilentError
        second.refuses = UNKNOWN
        assert type(await Session(driver).failure()) is NotFoundError
        second.refuses = None
        other = await reading(service, driver, second)
        await goes_on(service, session, first)
        await other.cancel()
        await session.cancel()


async def test_bluez_that_was_started_anew_is_found_again_by_one_after_the_other() -> None:
    """One has noticed it and the other has not; one that only listens hears again without a new session."""
    first, second = own_peer(), own_peer(address="00:00:5E:00:53:02")
    room = Peer("00:00:5E:00:53:03", "room", data={bthome.SERVICE: bytes.fromhex("4002CA09")})
    shared = Shared()
    with bluez(first, second, room) as service, nothing_left():
        setup = Setup(
            name="room", profile=named("bthome"), address=room.address, channels={"temperature": "temp_room"},
            now=lambda: 1, shared=shared,
        )  # fmt: skip
        listener = Advertised(setup)
        heard = Session(listener)
        session = await reading(service, notifying(first, shared), first)
        driver = notifying(second, shared, 0.2)
        other = await reading(service, driver, second)
        service.stop()
        service.start()
        assert type(await other.failure()) is SilentError
        assert isinstance(await Session(driver).failure(), DriverError)
        before = listener.statistics()["repeats"]
        await heard.until(lambda: listener.statistics()["repeats"] > before, "advertisement")
        other = await reading(service, driver, second)
        for one in (other, session, heard):
            assert not one.task.done()
            await one.cancel()
