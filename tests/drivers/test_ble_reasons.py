"""What hinders Bluetooth is said in one sentence, with what to try; and a connection that breaks is heard at once."""

import os
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from collector.profiles import named
from drivers.base import (
    BusyError,
    ConnectionLostError,
    DriverError,
    NotFoundError,
    NotPermittedError,
    SettingsError,
    SilentError,
)
from drivers.ble import Ble
from drivers.ble_advertised import Advertised
from drivers.radio_reasons import Reason, radio_error
from drivers.setup import Setup, Shared
from tests.drivers.bluetooth_bench import NAME, OWN, OWN_SERVICE, NotifyBench, make, own_peer, pressure, silent_after
from tests.drivers.bluetooth_bus import VARIABLE, BluetoothBus, needs_bus
from tests.drivers.bluetooth_peers import ADDRESS, Peer, PeerCharacteristic
from tests.drivers.bluetooth_service import BluetoothService
from tests.drivers.session import Session, nothing_left
from tests.support import until

FAILED = "org.bluez.Error.Failed"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[NotifyBench]:
    with closing(NotifyBench(tmp_path)) as bench:
        yield bench


async def failure(driver: Ble) -> DriverError:
    """What a session ends with."""
    with nothing_left():
        error = await Session(driver).failure()
    assert isinstance(error, DriverError)
    return error


def sentence(error: DriverError, *words: str) -> None:
    """One sentence that begins with the instrument and has these words."""
    text = str(error)
    assert text.startswith(f"{NAME}: ")
    assert "\n" not in text
    for word in words:
        assert word in text, text


@needs_bus
async def test_what_is_wrong_with_the_computer_is_said(bench: NotifyBench) -> None:
    words = {
        "switched off": ("Bluetooth is switched off", "bluetoothctl power on"),
        "no adapter": ("has no Bluetooth radio", "plug in"),
        "no BlueZ": ("Bluetooth service of this computer does not answer", "systemctl start bluetooth"),
        "no Low Energy": ("has no Low Energy", "adapter"),
    }
    for title, prepared, expected in bench.radio_failures():
        with prepared():
            error = await failure(bench.make())
        assert type(error) is expected
        sentence(error, *words[title])


@needs_bus
async def test_a_computer_without_a_system_bus_has_no_bluetooth_service(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "unix:path=/nowhere/bus")
    error = await failure(make(named("characteristic-pressure"), own_peer(), {"pressure": "draft_collector"}))
    assert type(error) is NotFoundError
    sentence(error, "Bluetooth service of this computer does not answer")


@needs_bus
async def test_a_user_who_may_not_use_bluetooth_is_told_which_group_may() -> None:
    with closing(BluetoothBus(forbidden=True)), closing(BluetoothService()):
        error = await failure(make(named("characteristic-pressure"), own_peer(), {"pressure": "draft_collector"}))
    assert type(error) is NotPermittedError
    sentence(error, "may not use Bluetooth", "group 'bluetooth'")


@needs_bus
async def test_a_bus_that_refuses_the_user_is_a_matter_of_rights(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BLEAK_DBUS_AUTH_UID", str(os.getuid() + 4711))
    with closing(BluetoothBus()):
        error = await failure(make(named("characteristic-pressure"), own_peer(), {"pressure": "draft_collector"}))
    assert type(error) is NotPermittedError
    sentence(error, "may not use Bluetooth")


@needs_bus
@pytest.mark.parametrize(
    ("refuses", "expected", "words"),
    [
        ((FAILED, "le-connection-abort-by-peer"), NotFoundError, ("does not let itself be connected", "telephone")),
        (("org.bluez.Error.InProgress", "Operation already in progress"), BusyError, ("busy",)),
        (("org.bluez.Error.AuthenticationFailed", "no"), NotPermittedError, ("paired", f"pair {ADDRESS}")),
        (("org.bluez.Error.NotReady", "Resource Not Ready"), NotFoundError, ("switched off",)),
    ],
)
async def test_a_connection_that_does_not_come_about_is_explained(
    bench: NotifyBench, refuses: tuple[str, str], expected: type[DriverError], words: tuple[str, ...]
) -> None:
    bench.peer.refuses = refuses
    error = await failure(bench.make())
    assert type(error) is expected
    sentence(error, *words)


@needs_bus
@pytest.mark.parametrize(
    ("refuses", "expected", "words"),
    [
        ((FAILED, "Operation failed with ATT error: 0x05"), NotPermittedError, ("paired",)),
        ((FAILED, "Operation failed with ATT error: 0x0f"), NotPermittedError, ("paired",)),
        (("org.bluez.Error.NotPermitted", "Not paired"), NotPermittedError, ("paired",)),
        (("org.bluez.Error.NotAuthorized", "no"), NotPermittedError, ("paired",)),
        ((FAILED, "Operation failed with ATT error: 0x0e"), ConnectionLostError, ("error", "Unlikely")),
        (("org.bluez.Error.NotSupported", "no"), ConnectionLostError, ("gone",)),
    ],
)
async def test_a_refused_subscription_is_explained(
    bench: NotifyBench, refuses: tuple[str, str], expected: type[DriverError], words: tuple[str, ...]
) -> None:
    bench.peer.characteristic(OWN).error = refuses
    error = await failure(bench.make())
    assert type(error) is expected
    sentence(error, *words)


@needs_bus
async def test_an_instrument_that_is_not_heard_is_not_found(bench: NotifyBench) -> None:
    bench.peer.present = False
    error = await failure(bench.make())
    assert type(error) is NotFoundError
    sentence(error, ADDRESS, "nothing is heard", "telephone")


@needs_bus
async def test_an_instrument_of_another_kind_is_told_with_what_it_has(bench: NotifyBench) -> None:
    bench.peer.services = {"180f": [PeerCharacteristic("2a19")]}
    error = await failure(bench.make())
    assert type(error) is SettingsError
    sentence(error, OWN, "pressure", "2a19", "profile")


@needs_bus
async def test_a_characteristic_that_does_not_notify_needs_a_pace(bench: NotifyBench) -> None:
    bench.peer.services = {OWN_SERVICE: [PeerCharacteristic(OWN, ("read",))]}
    error = await failure(bench.make())
    assert type(error) is SettingsError
    sentence(error, "does not notify", "every")


@needs_bus
async def test_a_bus_that_dies_in_mid_notification_ends_the_session_at_once(bench: NotifyBench) -> None:
    with nothing_left():
        session = await Session(bench.make()).listen(bench)
        await session.hear(bench, 3)
        bench.bus.kill()
        error = await session.failure()
    assert type(error) is ConnectionLostError


@needs_bus
async def test_what_came_before_the_connection_was_lost_is_read(bench: NotifyBench) -> None:
    session = await Session(bench.make()).listen(bench)
    bench.say(20)
    bench.lose()
    assert type(await session.failure()) is ConnectionLostError
    assert len(session.readings) == 20


@needs_bus
async def test_bluez_that_was_started_anew_is_found_again(bench: NotifyBench) -> None:
    driver = bench.make(patience=0.2)
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    bench.service.stop()
    assert type(await session.failure()) is SilentError
    assert isinstance(await Session(driver).failure(), DriverError)
    bench.service.start()
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    await session.cancel()


@needs_bus
async def test_bluez_that_was_started_anew_is_found_again_while_others_still_listen(bench: NotifyBench) -> None:
    """What the library remembers, such as that the instrument is connected, has to go though it is in use."""
    shared = Shared()
    profile = silent_after(named("characteristic-pressure"), 0.2)
    driver = make(profile, bench.peer, {"pressure": "draft_collector"}, shared=shared)
    channels = {"temperature": "temp_room"}
    other = Advertised(
        Setup(
            name="other", profile=named("bthome"), address="00:00:5E:00:53:09", channels=channels, now=lambda: 1,
            shared=shared,
        )
    )  # fmt: skip
    listener = Session(other)
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    bench.service.stop()
    bench.service.start()
    assert type(await session.failure()) is SilentError
    for _ in range(3):
        session = Session(driver)
        await until(lambda: session.task.done() or bench.listening(session.emitted), what="a session")  # noqa: B023
        if not session.task.done():
            break
        assert isinstance(await session.failure(), DriverError)
    await session.hear(bench, 1)
    await session.cancel()
    await listener.cancel()


@needs_bus
async def test_an_instrument_that_bluez_forgot_without_a_word_is_silent(bench: NotifyBench) -> None:
    session = await Session(bench.make(patience=0.2)).listen(bench)
    await session.hear(bench, 1)
    bench.service.remove(bench.peer)
    assert type(await session.failure()) is SilentError


@needs_bus
@pytest.mark.parametrize("hanging", ["StartDiscovery", "Connect", "StartNotify", "Disconnect", "StopDiscovery"])
async def test_bluez_that_never_answers_holds_up_nobody(bench: NotifyBench, hanging: str) -> None:
    bench.service.hanging = {hanging}
    driver = bench.make()
    with nothing_left():
        session = Session(driver)
        await until(lambda: bench.service.calls[hanging] or bench.service.notifying(bench.peer), what="call")
        await session.cancel()  # asserts that it ends in time
    bench.service.hanging = set()
    if hanging == "Disconnect":
        bench.service.disconnect(bench.peer)
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    await session.cancel()


@needs_bus
async def test_one_that_another_program_left_connected_is_found_without_being_heard() -> None:
    peer = own_peer()
    with closing(BluetoothBus()), closing(BluetoothService(peer)) as service:
        driver = make(named("characteristic-pressure"), peer, {"pressure": "draft_collector"})
        session = Session(driver)
        await session.until(lambda: service.notifying(peer), "subscription")
        service.hanging = {"Disconnect"}  # so that it stays connected, as after a crash
        await session.cancel()
        assert peer.connected
        service.hanging = set()
        session = Session(driver)
        before = service.calls["StartDiscovery"]
        await session.until(lambda: session.emitted, "connection")
        service.say(peer, OWN, [pressure(-312)])
        await session.until(lambda: session.readings, "reading")
        assert session.readings[0].value == pytest.approx(-31.2)
        assert service.calls["StartDiscovery"] == before
        await session.cancel()


@needs_bus
async def test_two_instruments_share_one_search_and_connect_one_after_the_other() -> None:
    peers = [own_peer(address=f"00:00:5E:00:53:0{number}") for number in range(1, 4)]
    with closing(BluetoothBus()), closing(BluetoothService(*peers)) as service:
        shared = Shared()
        profile = named("characteristic-pressure")
        drivers = [make(profile, peer, {"pressure": "draft_collector"}, shared=shared) for peer in peers]
        sessions = [Session(driver) for driver in drivers]
        for session, peer in zip(sessions, peers, strict=True):
            await session.until(lambda: service.notifying(peer) and session.emitted, "connection")  # noqa: B023
        assert service.calls["StartDiscovery"] == 1
        assert service.most_connecting == 1
        service.disconnect(peers[0])
        assert isinstance(await sessions[0].failure(), ConnectionLostError)
        for session, peer in zip(sessions[1:], peers[1:], strict=True):
            service.say(peer, OWN, [pressure(10)])
            await session.until(lambda: session.readings, "reading of the others")  # noqa: B023
            await session.cancel()


@pytest.mark.parametrize("platform", ["linux", "win32", "darwin"])
@pytest.mark.parametrize("reason", list(Reason))
def test_every_reason_has_a_sentence_on_every_system(
    monkeypatch: pytest.MonkeyPatch, reason: Reason, platform: str
) -> None:
    monkeypatch.setattr("drivers.radio_reasons.sys.platform", platform)
    error = radio_error(reason, NAME, ADDRESS, "what the system\nsays of it")
    sentence(error)
    assert error.hint
    assert "{" not in str(error)


def test_settings_that_cannot_work_are_refused_at_once() -> None:
    peer: Any = Peer(address="")
    with pytest.raises(SettingsError, match="no address"):
        make(named("characteristic-pressure"), peer, {"pressure": "draft_collector"})
    with pytest.raises(SettingsError, match="no value 'suction'"):
        make(named("characteristic-pressure"), own_peer(), {"suction": "draft_collector"})
