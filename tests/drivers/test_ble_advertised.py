"""Instruments that say their values in advertisements, and the search for all kinds of them."""

import asyncio
import struct
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from collector.profiles import named
from drivers.base import DriverError, NotFoundError, SettingsError, SilentError
from drivers.ble_advertised import REPEATED, Advertised
from drivers.ble_scan import NAME as SEARCH
from drivers.codecs import bthome
from drivers.found import Found, Measured
from drivers.registry import KINDS
from drivers.setup import Setup
from tests.drivers.bluetooth_bench import NAME, AdvertisedBench, silent_after
from tests.drivers.bluetooth_bus import BluetoothBus, needs_bus
from tests.drivers.bluetooth_peers import ADDRESS, Peer
from tests.drivers.bluetooth_service import BluetoothService
from tests.drivers.session import Session, nothing_left
from tests.drivers.test_bthome import sealed
from tests.support import StillClock, until

SECRET = "231d39c1d7cc1ab1aee224cd096db932"
SEALER = "54:48:E6:8F:80:A5"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[AdvertisedBench]:
    with closing(AdvertisedBench(tmp_path)) as bench:
        yield bench


def make(*, silence: float = 30.0, **more: Any) -> Advertised:
    facts: dict[str, Any] = {
        "address": ADDRESS,
        "channels": {"temperature": "temp_supply"},
        "now": StillClock(),
        **more,
    }
    return Advertised(Setup(name=NAME, profile=silent_after(named("bthome"), silence), **facts))


def temperature(number: float, packet: int | None = None) -> bytes:
    head = b"\x40" if packet is None else bytes((0x40, 0x00, packet))
    return head + struct.pack("<Bh", 0x02, round(number * 100))


@needs_bus
async def test_no_connection_is_made(bench: AdvertisedBench) -> None:
    session = await Session(bench.make()).listen(bench)
    await session.hear(bench, 3)
    await session.cancel()
    assert not bench.service.calls["Connect"]


@needs_bus
async def test_a_message_that_is_sent_again_is_one_reading_and_counted(bench: AdvertisedBench) -> None:
    clock = StillClock()
    driver = make(now=clock)
    session = await Session(driver).listen(bench)
    for message in (temperature(21, 1), temperature(21, 1), temperature(21, 2), temperature(22, 3)):
        bench.service.advertise(bench.peer, bthome.SERVICE, [message] * 3)
    await session.until(lambda: len(session.readings) == 3, "three messages")
    await session.until(lambda: driver.statistics()["repeats"] == 9, "nine repeats")
    clock.advance(REPEATED / 1e9)
    bench.service.advertise(bench.peer, bthome.SERVICE, [temperature(22, 3)])
    await session.until(lambda: len(session.readings) == 4, "the same number after a while: it does not count on")
    await session.cancel()
    assert [reading.value for reading in session.readings] == [21, 21, 22, 22]
    assert driver.statistics()["duplicates"] == 0


@needs_bus
async def test_an_instrument_whose_number_begins_anew_at_each_waking_loses_no_reading(bench: AdvertisedBench) -> None:
    clock = StillClock()
    session = await Session(make(now=clock)).listen(bench)
    for number in range(40):
        bench.service.advertise(bench.peer, bthome.SERVICE, [temperature(20 + number % 5, 0)])
        await session.until(lambda: len(session.readings) > number, "reading")  # noqa: B023 - waited for at once
        clock.advance(30.0)
    await session.cancel()
    assert [reading.value for reading in session.readings] == [20 + number % 5 for number in range(40)]


@needs_bus
async def test_without_a_number_the_same_after_a_while_is_a_reading(bench: AdvertisedBench) -> None:
    clock = StillClock()
    session = await Session(make(now=clock)).listen(bench)
    bench.service.advertise(bench.peer, bthome.SERVICE, [temperature(22)] * 3)
    await session.until(lambda: session.readings, "message")
    clock.advance(REPEATED / 1e9)
    bench.service.advertise(bench.peer, bthome.SERVICE, [temperature(22)])
    await session.until(lambda: len(session.readings) == 2, "the same after a while")
    await session.cancel()
    assert [reading.value for reading in session.readings] == [22, 22]


@needs_bus
async def test_others_in_reach_are_not_taken_for_it(bench: AdvertisedBench) -> None:
    other = Peer(address="00:00:5E:00:53:02", data={bthome.SERVICE: temperature(99, 1)})
    bench.service.peers["/org/bluez/hci0/dev_00_00_5E_00_53_02"] = other
    session = await Session(bench.make()).listen(bench)
    await session.hear(bench, 5)
    await session.cancel()
    assert all(reading.value < 1 for reading in session.readings)


@needs_bus
async def test_silence_is_told_from_never_heard_and_a_new_session_hears_it_again(bench: AdvertisedBench) -> None:
    driver = bench.make(patience=0.15)
    with nothing_left():
        never = await Session(driver).failure()
    assert type(never) is NotFoundError
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    assert type(await session.failure()) is SilentError
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    await session.cancel()


@needs_bus
async def test_repeats_keep_silence_away(bench: AdvertisedBench) -> None:
    driver = bench.make(patience=0.3)
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    bench.peer.data, bench.peer.present = {bthome.SERVICE: temperature(21, 7)}, True
    await session.until(lambda: driver.statistics()["repeats"] > 60, "0.6 s of repeats")
    await session.cancel()


@needs_bus
async def test_an_encrypted_instrument_is_read_with_the_key_of_the_job() -> None:
    peer = Peer(address=SEALER, data={bthome.SERVICE: sealed(bytes.fromhex("02CA09"), 5)})
    with closing(BluetoothBus()), closing(BluetoothService(peer)):
        session = Session(make(address=SEALER, secret=SECRET))
        await session.until(lambda: session.readings, "reading")
        await session.cancel()
        assert session.readings[0].value == 25.06


@needs_bus
@pytest.mark.parametrize("secret", [None, "00" * 16])
async def test_an_instrument_that_cannot_be_opened_is_told_with_the_reason(secret: str | None) -> None:
    peer = Peer(address=SEALER, data={bthome.SERVICE: sealed(bytes.fromhex("02CA09"), 5)})
    with closing(BluetoothBus()), closing(BluetoothService(peer)):
        driver = make(address=SEALER, secret=secret, silence=0.2)
        error = await Session(driver).failure()
    assert type(error) is SilentError
    assert "key" in str(error)
    assert driver.statistics()["unreadable"] == 1


@pytest.mark.parametrize(
    ("facts", "why"),
    [
        ({"secret": "123"}, "32 hexadecimal digits"),
        ({"secret": SECRET, "address": "6E400001-B5A3-F393-E0A9-E50E24DCCA9E"}, "Linux, Windows"),
        ({"address": ""}, "no address"),
        ({"channels": {"draft": "draft_collector"}}, "no value 'draft'"),
    ],
)
def test_settings_that_cannot_work_are_refused_at_once(facts: dict[str, Any], why: str) -> None:
    with pytest.raises(SettingsError, match=why):
        make(**facts)


@needs_bus
async def test_the_search_tells_what_each_one_can_measure() -> None:
    peers = (
        Peer(ADDRESS, "basement", data={bthome.SERVICE: bytes.fromhex("4000010161 02CA09 03BF13")}, signal=-48),
        Peer("00:00:5E:00:53:02", "thermometer", advertised=("181a",), signal=-60),
        Peer("00:00:5E:00:53:03", "", advertised=()),
        Peer("00:00:5E:00:53:04", "", data={bthome.SERVICE: sealed(bytes.fromhex("02CA09"), 1)}),
        Peer("00:00:5E:00:53:05", "gauge", advertised=("00000000-1111-4222-8333-00005e005301",)),
    )
    told: list[Found] = []
    scan = KINDS["ble"].scan
    assert scan
    with closing(BluetoothBus()), closing(BluetoothService(*peers)), nothing_left():
        await scan(0.3, told.append)
    found = {one.address[-2:]: one for one in told}
    assert set(found) == {"01", "02", "04", "05"}, "one without a name or a known service is no instrument"
    assert (found["01"].name, found["01"].signal, found["01"].profile) == ("basement", -48, "bthome")
    assert set(found["01"].measures) == {
        Measured(name="battery", unit="%", value=97.0),
        Measured(name="temperature", unit="degC", value=25.06),
        Measured(name="humidity", unit="%", value=50.55),
    }
    assert found["02"].profile == "environmental-sensing"
    assert "connected" in found["02"].note
    assert "key" in found["04"].note
    assert found["05"].profile is None
    assert found["05"].facts == {"services": "00000000-1111-4222-8333-00005e005301"}
    assert len(told) == len(found), "told again without anything new"


@needs_bus
async def test_the_search_tells_new_numbers_as_they_come() -> None:
    peer = Peer(present=False)
    told: list[Found] = []
    scan = KINDS["ble"].scan
    assert scan
    with closing(BluetoothBus()), closing(BluetoothService(peer)) as service:
        task = asyncio.ensure_future(scan(0.5, told.append))
        await until(lambda: service.searching, what="search")
        for number in (21, 22, 23):
            service.advertise(peer, bthome.SERVICE, [temperature(number, number)])
        await task
    assert [one.measures[0].value for one in told] == [21, 22, 23]


@needs_bus
async def test_a_search_that_cannot_be_made_says_why() -> None:
    scan = KINDS["ble"].scan
    assert scan
    with closing(BluetoothBus()), closing(BluetoothService()) as service:
        service.power(on=False)
        with nothing_left(), pytest.raises(DriverError, match="switched off") as caught:
            await scan(5.0, lambda found: None)
    assert caught.value.instrument == SEARCH
