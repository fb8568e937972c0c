"""Every kind of instrument: how its driver and codec are made, how it is looked for; libraries load when needed."""

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass

from drivers.base import Driver
from drivers.codecs.sample import Decoder
from drivers.found import Found
from drivers.profile import Profile
from drivers.setup import Setup

Tell = Callable[[Found], None]


@dataclass(frozen=True, slots=True)
class Kind:
    """One way to reach instruments."""

    make: Callable[[Setup], Driver]
    """SettingsError where the settings cannot work."""
    decoder: Callable[[Profile], Decoder]
    """ValueError in one sentence where the profile cannot work."""
    scan: Callable[[float, Tell], Awaitable[None]] | None
    """Look for so long [s] and tell each instrument when it is found and when more is known of it.

    DriverError in one sentence where it cannot be looked for. None: it cannot be found.
    """
    needs_address: str
    """What an address of it looks like, for people."""
    probe: Callable[[str, float, Tell], Awaitable[None]] | None = None
    """Ask at an address for so long [s] and tell as `scan` does, for what answers only where it is asked.

    DriverError in one sentence where it cannot be asked. None: there is nothing to ask.
    """


def _serial(setup: Setup) -> Driver:
    if setup.profile.serial.format == "query":
        from drivers.serial_query import SerialQuery  # noqa: PLC0415

        return SerialQuery(setup)
    from drivers.serial_line import SerialLine  # noqa: PLC0415

    return SerialLine(setup)


def _serial_decoder(profile: Profile) -> Decoder:
    if profile.serial.format == "frame":
        from drivers.codecs.frames import FrameDecoder  # noqa: PLC0415

        return FrameDecoder(profile)
    from drivers.codecs.text import text_decoder  # noqa: PLC0415

    return text_decoder(profile)


def _mqtt(setup: Setup) -> Driver:
    from drivers.mqtt import Mqtt  # noqa: PLC0415

    return Mqtt(setup)


def _json(profile: Profile) -> Decoder:
    from drivers.codecs.json_values import json_decoder  # noqa: PLC0415

    return json_decoder(profile)


async def _topics(address: str, seconds: float, tell: Tell) -> None:
    from drivers.mqtt_probe import probe  # noqa: PLC0415

    await probe(address, seconds, tell)


def _ble(setup: Setup) -> Driver:
    from drivers.ble import ble  # noqa: PLC0415

    return ble(setup)


def _ble_decoder(profile: Profile) -> Decoder:
    if profile.ble.format == "bthome":
        from drivers.codecs.bthome import BthomeDecoder  # noqa: PLC0415

        return BthomeDecoder(profile.values)
    from drivers.ble_sources import decoder_of  # noqa: PLC0415

    return decoder_of(profile)


async def _ble_scan(seconds: float, tell: Tell) -> None:
    from drivers.ble_scan import scan  # noqa: PLC0415

    await scan(seconds, tell)


async def _serial_scan(seconds: float, tell: Tell) -> None:
    from drivers.port_scan import scan  # noqa: PLC0415

    await scan(seconds, tell)


def _modbus(setup: Setup) -> Driver:
    from drivers.modbus import Modbus  # noqa: PLC0415

    return Modbus(setup)


def _registers(profile: Profile) -> Decoder:
    from drivers.codecs.registers import registers_decoder  # noqa: PLC0415

    return registers_decoder(profile)


async def _units(address: str, seconds: float, tell: Tell) -> None:
    from drivers.modbus_probe import probe_for  # noqa: PLC0415

    await probe_for(address, seconds, tell)


KINDS: Mapping[str, Kind] = {
    "ble": Kind(_ble, _ble_decoder, _ble_scan, "00:00:5E:00:53:01"),
    "serial": Kind(_serial, _serial_decoder, _serial_scan, "/dev/ttyUSB0"),
    "mqtt": Kind(_mqtt, _json, None, "mqtt://192.0.2.10:1883", probe=_topics),
    "modbus": Kind(_modbus, _registers, None, "tcp://192.0.2.5:502", probe=_units),
}
"""By the name in the job file."""
