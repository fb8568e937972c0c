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


def _serial(setup: Setup) -> Driver:
    from drivers.serial_line import SerialLine  # noqa: PLC0415

    return SerialLine(setup)


def _text(profile: Profile) -> Decoder:
    from drivers.codecs.text import text_decoder  # noqa: PLC0415

    return text_decoder(profile)


def _modbus(setup: Setup) -> Driver:
    from drivers.modbus import Modbus  # noqa: PLC0415

    return Modbus(setup)


def _registers(profile: Profile) -> Decoder:
    from drivers.codecs.registers import registers_decoder  # noqa: PLC0415

    return registers_decoder(profile)


KINDS: Mapping[str, Kind] = {
    "serial": Kind(_serial, _text, None, "/dev/ttyUSB0"),
    "modbus": Kind(_modbus, _registers, None, "tcp://192.0.2.5:502"),
}
"""By the name in the job file."""
