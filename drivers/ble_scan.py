"""Looking for instruments with Bluetooth Low Energy: who is heard, and what each can measure."""

import asyncio

from drivers.codecs import bthome, environmental
from drivers.codecs.characteristics import short_uuid
from drivers.found import Found, Measured
from drivers.radio import Heard, Radio
from drivers.registry import Tell

NAME = "Bluetooth"
"""Who it is that an error is about."""
LOUDER = 6
"""Change of the signal from which a device is told again. [dB]"""
MOST = 500
"""Devices that are kept; further ones are not told. [1]"""


async def scan(seconds: float, tell: Tell, *, radio: Radio | None = None) -> None:
    """Listen for so long [s] and tell each device that may be an instrument; DriverError where that is not possible.

    One without a name is told only when it advertises a service that is known here.
    """
    told: dict[str, Found] = {}

    def hear(heard: Heard) -> None:
        before = told.get(heard.address)
        if before is None and len(told) >= MOST:
            return
        found = _found(heard, before)
        if found and (before is None or _differs(found, before)):
            told[heard.address] = found
            tell(found)

    async with (radio or Radio()).listen(NAME, hear):
        await asyncio.sleep(seconds)


def _found(heard: Heard, before: Found | None) -> Found | None:
    name = heard.name or (before.name if before else "")
    measures: tuple[Measured, ...] = ()
    profile, note = None, ""
    if (data := heard.data.get(bthome.SERVICE)) is not None:
        profile = "bthome"
        packet = bthome.read(data)
        measures = tuple(
            Measured(name=one, unit=bthome.UNITS[_stem(one)], value=value)
            for one, value in packet.values.items()
            if one != "packet_id"
        ) or (before.measures if before else ())
        if packet.reason == bthome.NO_KEY:
            note = "its messages are encrypted: the job has to name its key (secret)"
    elif environmental.SERVICE in heard.services:
        profile, note = "environmental-sensing", "what it measures is known when it is connected"
    elif not name:
        return None
    services = ", ".join(short_uuid(uuid) for uuid in heard.services)
    return Found(
        driver="ble",
        address=heard.address,
        name=name,
        signal=heard.signal,
        profile=profile,
        measures=measures,
        note=note,
        facts={"services": services} if services else {},
    )


def _stem(name: str) -> str:
    stem, _, number = name.rpartition("_")
    return stem if number.isdecimal() and stem in bthome.UNITS else name


def _differs(found: Found, before: Found) -> bool:
    louder = abs((found.signal or 0) - (before.signal or 0)) >= LOUDER
    same = (found.name, found.measures, found.profile, found.note, found.facts) == (
        before.name, before.measures, before.profile, before.note, before.facts,
    )  # fmt: skip
    return louder or not same
