"""The search for instruments: transports beside each other, none of which stops another."""

import asyncio
from collections.abc import Awaitable, Callable

import pytest

from collector import scan
from collector.scan import Search
from drivers.base import InputError, NotPermittedError
from drivers.found import Found, Measured
from drivers.registry import KINDS, Kind, Tell
from tests.support import until

Looking = Callable[[float, Tell], Awaitable[None]]


def kind(scan: Looking | None = None, probe: Callable[[str, float, Tell], Awaitable[None]] | None = None) -> Kind:
    return Kind(KINDS["serial"].make, KINDS["serial"].decoder, scan, "an address", probe)


def telling(*found: Found) -> Looking:
    async def look(seconds: float, tell: Tell) -> None:
        for one in found:
            tell(one)

    return look


def raising(error: Exception) -> Looking:
    async def look(seconds: float, tell: Tell) -> None:
        raise error

    return look


async def for_ever(seconds: float, tell: Tell) -> None:
    await asyncio.Event().wait()


def found(address: str = "/dev/ttyUSB0", driver: str = "serial", **more: object) -> Found:
    facts = {"name": "draft meter", **more}
    return Found(driver=driver, address=address, **facts)  # type: ignore[arg-type]


async def test_one_transport_that_fails_stops_no_other(caplog):
    search = Search(
        {
            "ble": kind(raising(NotPermittedError("Bluetooth", "this user may not look", "join the group bluetooth"))),
            "mqtt": kind(raising(ZeroDivisionError())),
            "modbus": kind(None),
            "serial": kind(telling(found())),
        }
    )
    await search.run(0.1)
    assert search.transports == ("ble", "mqtt", "serial")
    assert [one.address for one in search.found.values()] == ["/dev/ttyUSB0"]
    assert search.troubles == {
        "ble": "Bluetooth: this user may not look; join the group bluetooth",
        "mqtt": "mqtt: the search failed by a defect of the program (ZeroDivisionError); report it",
    }
    assert "ZeroDivisionError" in caplog.text


async def test_a_transport_that_does_not_end_is_ended(monkeypatch):
    monkeypatch.setattr(scan, "GRACE", 0.05)
    search = Search({"ble": kind(for_ever), "serial": kind(telling(found()))})
    await asyncio.wait_for(search.run(0.05), 5)
    assert list(search.troubles) == ["ble"]
    assert "did not end within 0.1 s" in search.troubles["ble"]
    assert len(search.found) == 1


async def test_what_is_known_already_stays_and_values_are_the_newest():
    first = found(
        signal=-60,
        profile="line-pressure",
        measures=(Measured(name="pressure", unit="inH2O", value=0.5), Measured(name="temp", unit="degC", value=20.0)),
        note="in use",
        facts={"maker": "Example"},
    )
    later = found(name="", measures=(Measured(name="pressure", unit="inH2O", value=0.6),), facts={"plug": "USB"})
    nothing_new = found(name="", measures=(Measured(name="pressure", unit="inH2O"),))
    told: list[Found] = []
    search = Search({"serial": kind(telling(first, later, nothing_new))}, on_found=told.append)
    await search.run(0.1)
    (one,) = search.found.values()
    assert (one.name, one.signal, one.profile, one.note) == ("draft meter", -60, "line-pressure", "")
    assert {measured.name: measured.value for measured in one.measures} == {"pressure": 0.6, "temp": 20.0}
    assert one.facts == {"maker": "Example", "plug": "USB"}
    assert (len(told), told[-1], search.changes) == (3, one, 3)


async def test_a_value_in_another_unit_is_never_taken_for_the_last_one():
    first = found(measures=(Measured(name="pressure", unit="inH2O", value=0.5),))
    later = found(measures=(Measured(name="pressure", unit="Pa"),))
    search = Search({"serial": kind(telling(first, later))})
    await search.run(0.1)
    assert [one.measures for one in search.found.values()] == [(Measured(name="pressure", unit="Pa"),)]


async def test_a_street_full_of_radios_takes_no_instrument_away():
    """The bound holds; what has a profile outlives what has none."""
    noise = [found(f"00:00:5E:00:{number // 256:02X}:{number % 256:02X}", "ble") for number in range(500)]
    meter = found("00:00:5E:00:53:01", "ble", profile="environmental")
    search = Search({"ble": kind(telling(meter, *noise))}, most=50)
    await search.run(0.1)
    assert (len(search.found), search.dropped) == (50, 451)
    assert search.found[meter.key] == meter
    assert noise[-1].key in search.found


async def test_what_nobody_knows_takes_no_place_from_what_has_a_profile():
    meters = [found(f"/dev/ttyUSB{number}", profile="line-pressure") for number in range(3)]
    search = Search({"serial": kind(telling(*meters, found("/dev/ttyS0")))}, most=3)
    await search.run(0.1)
    assert [one.address for one in search.found.values()] == [one.address for one in meters]
    assert search.dropped == 1


async def test_units_on_one_line_and_topics_of_one_broker_are_apart():
    units = [found("/dev/ttyUSB0", "modbus", device=number) for number in (1, 2)]
    topics = [found("mqtt://192.0.2.1", "mqtt", topic=topic) for topic in ("a", "b")]
    search = Search({"modbus": kind(telling(*units, *topics))})
    await search.run(0.1)
    assert len(search.found) == 4


async def test_an_address_is_asked_in_place_of_looking_everywhere():
    asked: list[str] = []

    async def probe(address: str, seconds: float, tell: Tell) -> None:
        asked.append(address)
        tell(found(address, "modbus", device=7))

    search = Search({"modbus": kind(for_ever, probe)}, ask={"modbus": "/dev/ttyUSB1"})
    await search.run(0.1)
    assert asked == ["/dev/ttyUSB1"]
    assert [one.device for one in search.found.values()] == [7]


@pytest.mark.parametrize("name", ["serial", "smoke"])
def test_a_transport_that_cannot_be_asked_says_so(name):
    with pytest.raises(InputError, match=f"{name} instruments cannot be asked"):
        Search({"serial": kind(for_ever)}, ask={name: "x"})


async def test_watching_looks_again_and_a_trouble_that_is_over_goes(monkeypatch):
    monkeypatch.setattr(scan, "REST", 0.01)
    outcomes = iter([NotPermittedError("Bluetooth", "the adapter is off"), None, None])
    rounds = 0

    async def look(seconds: float, tell: Tell) -> None:
        nonlocal rounds
        rounds += 1
        if error := next(outcomes, None):
            raise error
        tell(found(measures=(Measured(name="pressure", unit="Pa", value=float(rounds)),)))

    search = Search({"ble": kind(look)})
    task = asyncio.create_task(search.watch(0.01))
    await until(lambda: search.troubles)
    await until(lambda: search.found and rounds > 2)
    assert search.troubles == {}
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


async def test_watching_a_transport_that_fails_at_once_does_not_spin(monkeypatch):
    monkeypatch.setattr(scan, "REST", 0.1)
    rounds = 0

    async def look(seconds: float, tell: Tell) -> None:
        nonlocal rounds
        rounds += 1
        raise NotPermittedError("Bluetooth", "the adapter is off")

    search = Search({"ble": kind(look)})
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(search.watch(0.01), 0.35)
    assert 2 <= rounds <= 4


async def test_stopping_the_search_stops_every_transport_and_keeps_what_was_found():
    ended: list[str] = []

    async def look(seconds: float, tell: Tell) -> None:
        tell(found())
        try:
            await asyncio.Event().wait()
        finally:
            ended.append("serial")

    search = Search({"serial": kind(look), "ble": kind(for_ever)})
    task = asyncio.create_task(search.run(60))
    await until(lambda: search.found)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert ended == ["serial"]
    assert len(search.found) == 1
