"""A Modbus line whose adapter is named by its serial number, or goes while somebody waits for an answer."""

from contextlib import closing
from pathlib import Path

import pytest

from drivers.base import BusyError, ConnectionLostError, NotFoundError, SettingsError
from drivers.setup import Shared
from tests.drivers.modbus_bench import WAYS, make, peer_of
from tests.drivers.modbus_peers import RtuPeer, Unit
from tests.drivers.session import Session, nothing_left
from tests.drivers.test_port_names import plug
from tests.support import until


def ports(folder: Path, *numbers: int) -> list[RtuPeer]:
    """Peers at ports of their own."""
    for number in numbers:
        (folder / str(number)).mkdir()
    return [RtuPeer(folder / str(number), Unit(7, [number] * 9), Unit(8, [number + 1] * 9)) for number in numbers]


@pytest.mark.parametrize("by_number", [True, False])
async def test_an_adapter_that_is_plugged_in_again_under_another_name_is_found(
    tmp_path: Path, *, by_number: bool
) -> None:
    first, second = ports(tmp_path, 1, 2)
    with closing(first), closing(second):
        there = [plug(first.address)]
        driver = make("usb:A1" if by_number else first.address, lister=lambda: there)
        session = Session(driver)
        await session.until(lambda: session.readings, "reading")
        first.lose()
        there.clear()
        assert isinstance(await session.failure(), ConnectionLostError)
        error = await Session(driver).failure()
        assert isinstance(error, NotFoundError)
        assert str(error).startswith(f"{driver.name}: its adapter (A1) is away")
        first.bring_back()
        there += [plug(first.address, "B2"), plug(second.address)]
        again = Session(driver)
        await again.until(lambda: again.readings, "reading")
        await again.cancel()
        assert {reading.value for reading in again.readings} == {2.0 * 65536 + 2}
        assert driver.facts()["port"] == second.address


async def test_an_adapter_that_another_took_the_name_of_while_it_was_opened_is_closed_again(tmp_path: Path) -> None:
    (peer,) = ports(tmp_path, 1)
    with closing(peer):
        there = [plug(peer.address)]
        driver = make(peer.address, lister=lambda: [there.pop() if len(there) > 1 else there[0]])
        session = Session(driver)
        await session.until(lambda: session.readings, "reading")
        await session.cancel()
        there[:] = [plug(peer.address, "B2"), plug(peer.address)]
        with nothing_left():
            error = await Session(driver).failure()
        assert isinstance(error, NotFoundError)
        assert "another adapter" in str(error)


async def test_two_units_at_the_address_of_one_adapter_share_its_line(tmp_path: Path) -> None:
    (peer,) = ports(tmp_path, 1)
    with closing(peer):
        shared = Shared()
        sessions = [
            Session(make("usb:A1", number, name=f"unit {number}", shared=shared, lister=lambda: [plug(peer.address)]))
            for number in (7, 8)
        ]
        for session in sessions:
            await session.until(lambda: session.readings, "reading")  # noqa: B023
        for session in sessions:
            await session.cancel()
    assert [session.readings[0].value for session in sessions] == [65537.0, 2 * 65537.0]


async def test_one_port_under_two_names_is_told_with_who_holds_it(tmp_path: Path) -> None:
    (peer,) = ports(tmp_path, 1)
    with closing(peer):
        shared = Shared()
        there = [plug(peer.address)]
        session = Session(make("usb:A1", 7, name="unit 7", shared=shared, lister=lambda: there))
        await session.until(lambda: session.readings, "reading")
        other = make(peer.address, 8, name="unit 8", shared=shared, lister=lambda: there)
        error = await Session(other).failure()
        assert isinstance(error, BusyError)
        assert f"'unit 7' is at {peer.address} already" in str(error)
        assert "the same address" in error.hint
        await session.cancel()
        again = Session(other)
        await again.until(lambda: again.readings, "reading, once it is free")
        await again.cancel()


async def test_an_adapter_with_two_ports_is_told_in_the_name_of_the_instrument() -> None:
    there = [plug("/dev/ttyUSB0"), plug("/dev/ttyUSB1", location="1-1:1.1")]
    driver = make("usb:A1", lister=lambda: there)
    error = await Session(driver).failure()
    assert isinstance(error, SettingsError)
    assert str(error).startswith(f"{driver.name}: the adapter A1 has 2 ports")


@WAYS
async def test_a_line_that_goes_while_an_answer_is_waited_for_is_told_at_once(way: str, tmp_path: Path) -> None:
    with closing(peer_of(way, tmp_path, Unit(7, [1] * 9))) as peer:
        driver = make(peer.address, within=20.0)
        session = Session(driver)
        await session.until(lambda: session.readings, "reading")
        peer.thread.do(lambda: setattr(peer.tap, "on_demand", 4))
        await until(lambda: peer.tap.questions > len(peer.tap.answers), what="a question that waits")
        with nothing_left():
            peer.lose()
            assert isinstance(await session.failure(), ConnectionLostError)
        peer.bring_back()
        peer.thread.do(lambda: setattr(peer.tap, "on_demand", None))
        again = Session(driver)
        await again.until(lambda: again.readings, "reading")
        await again.cancel()
