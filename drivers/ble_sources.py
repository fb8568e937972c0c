"""Which characteristics of an instrument a profile and a job want, and what else it says of itself."""

from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from drivers.base import DriverError, SettingsError
from drivers.codecs import environmental
from drivers.codecs.characteristics import CharacteristicsDecoder, full_uuid, short_uuid
from drivers.codecs.sample import Decoder
from drivers.profile import Profile, Role, Value
from drivers.radio_link import Characteristic, Link

POLL = 1.0
"""How often a characteristic of the standard service is read that does not notify. [s]"""
POLL_BATTERY = 60.0
"""How often the battery is read where it does not notify. [s]"""
LONGEST = 64
"""Longest text of an instrument about itself that is kept. [characters]"""

_ABOUT = {
    "2a29": "manufacturer",
    "2a24": "model",
    "2a25": "serial",
    "2a26": "firmware",
    "2a27": "hardware",
    "2a28": "software",
}
"""Characteristics of the Device Information Service 1.1, section 3; UUIDs of the Assigned Numbers."""


@dataclass(slots=True)
class Source:
    """A characteristic that is listened to."""

    name: str
    """As the decoder takes it."""
    uuid: str
    index: int = 0
    """Which one, where there are several of the UUID."""
    every: float | None = None
    """Read so often; None: it notifies. [s]"""
    values: list[Value] = field(default_factory=list)
    needed: bool = False
    """Whether the job records one of its values."""

    @property
    def measures(self) -> bool:
        """Whether it holds something measured."""
        return any(value.role is Role.MEASURE for value in self.values)


def decoder_of(profile: Profile) -> Decoder:
    """The codec of a profile with connection; ValueError in one sentence where the profile cannot work."""
    if profile.ble.format == "environmental":
        return environmental.EnvironmentalDecoder(profile.values)
    return CharacteristicsDecoder(profile.values)


def services_of(profile: Profile) -> tuple[str, ...]:
    """Services of which such an instrument has one, long; empty where the profile names none."""
    standard = (environmental.SERVICE,) if profile.ble.format == "environmental" else ()
    return (full_uuid(profile.ble.service),) if profile.ble.service else standard


def sources(profile: Profile, chosen: Collection[str]) -> tuple[Source, ...]:
    """Characteristics to listen to: those of recorded values, and those that say how the instrument is."""
    found: dict[str, Source] = {}
    for value in profile.values:
        if profile.ble.format == "environmental":
            standard, index = environmental.standard_of(value.name)
            name, uuid = environmental.source_of(standard.uuid, index), full_uuid(standard.uuid)
        else:
            name, uuid, index = full_uuid(value.characteristic or ""), full_uuid(value.characteristic or ""), 0
        source = found.setdefault(name, Source(name, uuid, index, value.every))
        source.values.append(value)
        source.needed |= value.name in chosen
    return tuple(one for one in found.values() if one.needed or not one.measures)


def way(source: Source, link: Link, profile: Profile, instrument: str) -> tuple[Characteristic, float | None] | None:
    """The characteristic of a source and how often it is read, None where it notifies; None where it is left out.

    SettingsError where the instrument does not have what the job wants, or does not do what the profile says.
    """
    characteristic = link.find(source.uuid, source.index)
    names = " and ".join(value.name for value in source.values)
    if characteristic is None:
        if not source.needed:
            return None
        has = ", ".join(dict.fromkeys(short_uuid(one.uuid) for one in link.characteristics)) or "none"
        what = f"it has no characteristic {short_uuid(source.uuid)} for {names}, only {has}"
        raise SettingsError(instrument, what, "choose another profile, or correct it")
    every = source.every
    if every is None and not characteristic.notifies and profile.ble.format == "environmental":
        every = POLL if source.measures else POLL_BATTERY
    if every is None and not characteristic.notifies:
        what = f"characteristic {short_uuid(source.uuid)} for {names} does not notify"
        raise SettingsError(instrument, what, "say in the profile how often to read it, such as every = '1 s'")
    if every is not None and not characteristic.answers:
        what = f"characteristic {short_uuid(source.uuid)} for {names} cannot be read"
        raise SettingsError(instrument, what, "leave 'every' out of the profile, so that it notifies")
    return characteristic, every


async def about(link: Link, wanted: Collection[Source]) -> dict[str, Any]:
    """What the instrument says of itself: maker's data, ranges, how it measures; what it refuses is left out."""
    facts: dict[str, Any] = {}
    for uuid, name in _ABOUT.items():
        if (one := link.find(uuid)) and one.answers:
            with suppress(DriverError):
                facts |= _text(name, await link.read(one))
    for source in wanted:
        one = link.find(source.uuid, source.index)
        name = source.values[0].name
        if one is None or name not in environmental.STANDARDS:
            continue
        for uuid, read in ((environmental.VALID_RANGE, _range), (environmental.MEASUREMENT, _measurement)):
            if uuid in one.descriptors:
                with suppress(DriverError):
                    facts |= read(name, await link.read_descriptor(one, uuid))
    return facts


def _text(name: str, data: bytes) -> dict[str, str]:
    text = data.decode("utf-8", errors="replace").strip("\0 ")[:LONGEST]
    return {name: text} if text.isprintable() and text else {}


def _range(name: str, data: bytes) -> dict[str, Any]:
    found = environmental.valid_range(environmental.STANDARDS[name], data)
    return {f"{name} range": list(found)} if found else {}


def _measurement(name: str, data: bytes) -> dict[str, Any]:
    found = environmental.measurement(data)
    said = {
        "sampling": found and found.sampling,
        "period": found and found.period,
        "interval": found and found.interval,
        "uncertainty": found and found.uncertainty,
    }
    return {f"{name} {key}": value for key, value in said.items() if value is not None}
