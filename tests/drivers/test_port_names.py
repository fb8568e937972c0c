"""An adapter is found again under another name, and another one with its old name is never taken for it."""

from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from drivers.base import BusyError, ConnectionLostError, NotFoundError, SettingsError
from drivers.port_names import Plug, Whereabouts
from drivers.setup import Shared
from tests.drivers.ptys import NAME, PtyPort, line, listening, make
from tests.drivers.session import Session, nothing_left

FIRST, SECOND = "/dev/ttyUSB0", "/dev/ttyUSB1"


def plug(device: str, serial_number: str | None = "A1", *, location: str = "1-1:1.0", product: int = 1) -> Plug:
    return Plug(device=device, serial_number=serial_number, vendor=7, product=product, location=location)


def opened(address: str, *before: Plug) -> tuple[Whereabouts, list[Plug]]:
    """Of an instrument that was opened once, and the plugs that there are from now on."""
    there = list(before)
    whereabouts = Whereabouts(NAME, address, lambda: there)
    whereabouts.confirm(whereabouts.find())
    there.clear()
    return whereabouts, there


def test_the_same_adapter_under_another_name_is_found() -> None:
    for address in (FIRST, "usb:A1"):
        whereabouts, there = opened(address, plug(FIRST))
        there += [plug(SECOND), plug(FIRST, "B2")]
        assert whereabouts.find() == SECOND


def test_another_adapter_with_the_old_name_is_not_taken() -> None:
    whereabouts, there = opened(FIRST, plug(FIRST))
    there.append(plug(FIRST, "B2"))
    with pytest.raises(NotFoundError, match=f"another adapter is at {FIRST}"):
        whereabouts.find()
    there[:] = [plug(FIRST, None)]
    with pytest.raises(NotFoundError, match="another adapter"):
        whereabouts.find()
    there.clear()
    with pytest.raises(NotFoundError, match=r"A1.*is away"):
        whereabouts.find()


def test_an_adapter_that_took_the_name_while_it_was_opened_is_not_kept() -> None:
    whereabouts, there = opened(FIRST, plug(FIRST))
    there.append(plug(FIRST))
    device = whereabouts.find()
    there[:] = [plug(FIRST, "B2")]
    with pytest.raises(NotFoundError, match="another adapter"):
        whereabouts.confirm(device)


def test_the_ports_of_one_adapter_are_told_apart() -> None:
    whereabouts, there = opened(FIRST, plug(FIRST), plug(SECOND, location="1-1:1.1"))
    there += [plug("/dev/ttyUSB4", location="1-2:1.1"), plug("/dev/ttyUSB5", location="1-2:1.0")]
    assert whereabouts.find() == "/dev/ttyUSB5"
    several = Whereabouts(NAME, "usb:A1", lambda: there)
    with pytest.raises(SettingsError) as refused:
        several.find()
    assert str(refused.value) == (
        f"{NAME}: the adapter A1 has 2 ports; write in place of usb:A1 the name of the port that it is at:"
        " /dev/ttyUSB4 or /dev/ttyUSB5"
    )


def test_the_second_port_of_an_adapter_that_comes_while_the_first_is_opened_is_noticed() -> None:
    there = [plug(FIRST)]
    whereabouts = Whereabouts(NAME, "usb:A1", lambda: there)
    device = whereabouts.find()
    there.append(plug(SECOND, location="1-1:1.1"))
    with pytest.raises(SettingsError, match="has 2 ports"):
        whereabouts.confirm(device)
    there.pop()
    whereabouts.confirm(device)
    there.append(plug(SECOND, location="1-1:1.1"))
    assert whereabouts.find() == FIRST, "which one it is was certain when it was opened"


def test_without_a_serial_number_model_and_socket_count() -> None:
    whereabouts, there = opened(FIRST, plug(FIRST, None))
    there.append(plug(SECOND, None))
    assert whereabouts.find() == SECOND, "the same model in the same socket"
    there[:] = [plug(FIRST, None, location="1-9:1.0")]
    assert whereabouts.find() == FIRST, "the only one of its model, at the name that the job says"
    there.append(plug(SECOND, None, location="1-8:1.0"))
    with pytest.raises(NotFoundError):
        whereabouts.find()
    there[:] = [plug(FIRST, None, product=2)]
    with pytest.raises(NotFoundError, match="another adapter"):
        whereabouts.find()


def test_a_port_without_an_adapter_goes_by_its_name() -> None:
    built_in = Plug(device="/dev/ttyS0")
    whereabouts, there = opened("/dev/ttyS0", built_in)
    assert whereabouts.find() == "/dev/ttyS0"
    there.append(plug(FIRST))
    assert whereabouts.find() == "/dev/ttyS0"


def test_a_name_that_leads_to_the_port_is_kept(tmp_path: Path) -> None:
    (tmp_path / "real").touch()
    (tmp_path / "by-id").symlink_to(tmp_path / "real")
    whereabouts, there = opened(str(tmp_path / "by-id"), plug(str(tmp_path / "real")))
    there.append(plug(str(tmp_path / "real")))
    assert whereabouts.find() == str(tmp_path / "by-id")


def test_a_serial_number_that_is_not_there_or_not_given() -> None:
    with pytest.raises(NotFoundError, match="serial number A1"):
        Whereabouts(NAME, "usb:A1", lambda: [plug(FIRST, "B2")]).find()
    with pytest.raises(SettingsError, match="no serial number"):
        Whereabouts(NAME, "usb: ", list)


def two_ports(folder: Path) -> tuple[PtyPort, PtyPort]:
    for name in ("a", "b"):
        (folder / name).mkdir()
    return PtyPort(folder / "a"), PtyPort(folder / "b")


@pytest.mark.parametrize("address", [lambda port: str(port.path), lambda port: "usb:A1"], ids=["by name", "by number"])
async def test_unplugged_and_back_on_another_name_while_another_adapter_has_the_old_one(
    tmp_path: Path, address: Callable[[PtyPort], str]
) -> None:
    first, second = two_ports(tmp_path)
    with closing(first), closing(second):
        there = [plug(str(first.path))]
        driver = make(address(first), lister=lambda: there)
        session = Session(driver)
        await session.until(lambda: listening(session.emitted), "open port")
        first.say(b"\n" + line(1))
        await session.until(lambda: session.readings, "reading")
        first.unplug()
        there.clear()
        assert isinstance(await session.failure(), ConnectionLostError)
        first.plug_in()
        there.append(plug(str(first.path), "B2"))
        with nothing_left():
            assert isinstance(await Session(driver).failure(), NotFoundError)
        there.append(plug(str(second.path)))
        again = Session(driver)
        await again.until(lambda: listening(again.emitted), "open port")
        first.say(b"\n" + line(9))
        second.say(b"\n" + line(2))
        await again.until(lambda: again.readings, "reading")
        await again.cancel()
        assert [reading.value for reading in (*session.readings, *again.readings)] == [1, 2]
        assert driver.facts()["port"] == str(second.path)


async def test_two_instruments_of_a_call_at_one_port_are_told_which_holds_it(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path)) as port:
        shared = Shared()
        session = Session(make(port.path, shared=shared))
        await session.until(lambda: listening(session.emitted), "open port")
        error = await Session(make(port.device, shared=shared, name="duct thermometer")).failure()
        assert isinstance(error, BusyError)
        assert f"'{NAME}' is at" in str(error)
        await session.cancel()
        again = Session(make(port.device, shared=shared, name="duct thermometer"))
        await again.until(lambda: listening(again.emitted), "open port")
        await again.cancel()


async def test_two_instruments_of_a_call_at_one_adapter_are_told_which_holds_it(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path)) as port:
        shared = Shared()
        there = [plug(str(port.path))]
        session = Session(make("usb:A1", shared=shared, lister=lambda: there))
        await session.until(lambda: listening(session.emitted), "open port")
        error = await Session(make("usb:A1", shared=shared, name="duct thermometer", lister=lambda: there)).failure()
        assert isinstance(error, BusyError)
        assert f"'{NAME}' is at {port.device} already" in str(error)
        await session.cancel()
