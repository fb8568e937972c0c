"""Where a Modbus instrument can be, and what a job says of several of them."""

import termios
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from collector.instruments import build
from collector.job import parse
from drivers.base import (
    InputError,
    SettingsError,
)
from drivers.profile import ModbusSection, Profile, Value
from drivers.setup import Shared
from tests.drivers.modbus_bench import make
from tests.drivers.modbus_peers import RtuPeer, Unit
from tests.drivers.session import Session


@pytest.mark.parametrize(
    ("address", "device", "words"),
    [
        ("/dev/ttyUSB0", None, "has no 'device'"),
        ("COM3", 0, "device 0 cannot be"),
        ("/dev/ttyUSB0", 248, "device 248 cannot be"),
        ("tcp://192.0.2.5", 250, "device 250 cannot be"),
        ("192.0.2.5", 1, "is no address of a Modbus line; write for example tcp://192.0.2.5:502"),
        ("192.0.2.5:502", 1, "is no address of a Modbus line"),
        ("meter.example:502", 1, "is no address of a Modbus line"),
        ("tcp:192.0.2.5", 1, "is no address of a Modbus line"),
        ("usb: ", 1, "is no address of a Modbus line"),
        ("", 1, "is no address of a Modbus line"),
        ("http://192.0.2.5", 1, "is no address of a Modbus server"),
        ("socket://192.0.2.5:502", 1, "is no address of a Modbus server"),
        ("tcp://192.0.2.5:99999", 1, "is no address of a Modbus server"),
        ("tcp://192.0.2.5/path", 1, "is no address of a Modbus server"),
        ("tcp://", 1, "is no address of a Modbus server"),
    ],
)
def test_settings_that_cannot_work_are_refused_at_once(address: str, device: int | None, words: str) -> None:
    with pytest.raises(SettingsError, match=words) as refused:
        make(address, device)
    assert refused.value.hint


def test_addresses_that_can_work_are_taken() -> None:
    for address, device in (
        ("COM3", 247),
        ("tcp://192.0.2.5", None),
        ("tcp://[2001:db8::1]:1502", 255),
        ("/dev/x", 1),
        ("usb:A1", 1),
    ):
        make(address, device)


METER = """
[[instrument]]
name = "{name}"
driver = "modbus"
profile = "modbus-float"
address = "{address}"
{device}
channels = {{ pressure = "{point}" }}
"""


LINE = """
[[instrument]]
name = "lines"
driver = "serial"
address = "/dev/ttyUSB0"
line = '(?P<value>\\\\S+)'
channels = { value = "draft_vent" }
units = { value = "Pa" }
"""


def meter(name: str, address: str, device: str = "", point: str = "draft_collector") -> str:
    return METER.format(name=name, address=address, device=device, point=point)


def test_a_job_may_have_several_units_on_a_line_and_not_one_twice() -> None:
    on_line = meter("a", "/dev/ttyUSB0", "device = 1") + meter("b", "/dev/ttyUSB0", "device = 2", "draft_vent")
    assert len(build(parse(on_line).instruments, lambda: 0)) == 2
    twice = meter("a", "tcp://192.0.2.5:502") + meter("b", "tcp://192.0.2.5:502", "device = 1", "draft_vent")
    with pytest.raises(InputError, match="'a' and 'b' are both at"):
        build(parse(twice).instruments, lambda: 0)


def test_a_port_serves_one_kind_of_instrument() -> None:
    with pytest.raises(InputError, match=r"'a' \(modbus\) and 'lines' \(serial\) are both at /dev/ttyUSB0"):
        build(parse(meter("a", "/dev/ttyUSB0", "device = 1") + LINE).instruments, lambda: 0)


def at(baud: int) -> Callable[[str], Profile]:
    """The profile of an instrument by its name, which ends with how many times this baud rate it is set to."""
    return lambda name: Profile(
        name=name,
        driver="modbus",
        values=(Value(name="pressure", unit="Pa", first_register=0, order="big"),),
        modbus=ModbusSection(baud=baud * int(name.rpartition("-")[2])),
    )


def set_to(times: int, number: int) -> str:
    entry = meter(f"m{number}", "/dev/ttyUSB0", f"device = {number}", ("draft_collector", "draft_vent")[number - 1])
    return entry.replace("modbus-float", f"mine-{times}")


def test_a_line_has_one_setting_among_the_instruments_of_a_job() -> None:
    profiles = at(9600)
    assert len(build(parse(set_to(1, 1) + set_to(1, 2)).instruments, lambda: 0, profiles=profiles)) == 2
    words = "'m1' and 'm2' are both at /dev/ttyUSB0, at 9600 baud, .* and at 19200 baud, parity none and 1 stop bits"
    with pytest.raises(InputError, match=words):
        build(parse(set_to(1, 1) + set_to(2, 2)).instruments, lambda: 0, profiles=profiles)


def test_the_same_instrument_may_be_set_anew_in_a_running_call() -> None:
    shared = Shared()
    for times in (1, 2, 1):
        build(parse(set_to(times, 1)).instruments, lambda: 0, profiles=at(9600), shared=shared)


async def test_a_line_is_opened_as_it_is_set_now(tmp_path: Path) -> None:
    with closing(RtuPeer(tmp_path, Unit(7, [1] * 9))) as peer:
        shared = Shared()
        drivers = [make(peer.address, shared=shared, baud=baud) for baud in (9600, 19200)]
        for driver, speed in zip(drivers, (termios.B9600, termios.B19200), strict=True):
            session = Session(driver)
            await session.until(lambda: session.readings, "reading")  # noqa: B023
            assert peer.port.speed == speed
            await session.cancel()
