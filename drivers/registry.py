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


async def _serial_scan(seconds: float, tell: Tell) -> None:
    from drivers.port_scan import scan  # noqa: PLC0415

    await scan(seconds, tell)


KINDS: Mapping[str, Kind] = {
    "serial": Kind(_serial, _serial_decoder, _serial_scan, "/dev/ttyUSB0"),
}
"""By the name in the job file."""
