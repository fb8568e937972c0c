"""BTHome version 2: values in advertisements, also encrypted ones. Source: bthome.io, Format and Encryption."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from bthome_ble.const import MEAS_TYPES
from bthome_ble.parser import BTHomeBluetoothDeviceData
from habluetooth import BluetoothServiceInfoBleak

from analysis.points import nearest
from analysis.units import UnitError, conversion
from drivers.codecs.characteristics import full_uuid
from drivers.codecs.sample import Decoded, Interpreter
from drivers.profile import Role, Value

SERVICE = full_uuid("fcd2")
KEY = 16
"""Length of a key. [bytes]"""

ENCRYPTED = 0x01
WITH_ADDRESS = 0x02
"""Bits of the first byte."""
TAIL = 8
"""Counter and check of an encrypted message. [bytes]"""

NO_KEY = "is encrypted and the job names no key"
WRONG_KEY = "cannot be opened with the key that the job names"
NOT_ENCRYPTED = "is not encrypted, although the job names a key"
NOT_VERSION_2 = "is not of BTHome version 2"
NOTHING_WANTED = "holds none of the values of the profile"
UNKNOWN_OBJECT = "holds an object that is not known, and what follows it is not read"
TOO_SHORT = "is too short for its values"

UNITS: dict[str, str] = {
    "temperature": "degC",
    "humidity": "%",
    "pressure": "mbar",
    "dew_point": "degC",
    "voltage": "V",
    "current": "A",
    "power": "W",
    "energy": "kW*hour",
    "carbon_dioxide": "ppm",
    "pm10": "ug/m**3",
    "pm25": "ug/m**3",
    "volatile_organic_compounds": "ug/m**3",
    "moisture": "%",
    "speed": "m/s",
    "rotational_speed": "rpm",
    "volume_flow_rate": "m**3/hour",
    "battery": "%",
    "packet_id": "1",
    "count": "1",
    "opening": "1",
    "door": "1",
    "window": "1",
    "power_on": "1",
    "running": "1",
    "heat": "1",
    "cold": "1",
    "moving": "1",
    "vibration": "1",
    "low_battery": "1",
    "problem": "1",
    "generic": "1",
}
"""Names of values, and the unit in which each comes. A contact or sign is 1 (on, open, found) or 0.

Left out: what comes in several units under one name (distance, mass, volume), and signs of gas, carbon monoxide and
smoke, which somebody might take for a concentration: `0` would look like clean air.
"""

_SIGNS = {"power": "power_on", "battery": "low_battery"}
"""Names of ours for signs whose name in the library stands for a number too."""
_NUMBERS_ONLY = frozenset({"carbon_dioxide", "moisture"})


@dataclass(frozen=True, slots=True)
class Packet:
    """What one advertisement says."""

    values: dict[str, float]
    """By name, as many as `UNITS` has; several of one kind have `_1`, `_2` behind the name. [UNITS]"""
    counter: int | None = None
    """Counter of an encrypted message. [1]"""
    reason: str = ""
    """Why it could not be read, or not in full."""


def key_of(secret: str) -> bytes:
    """A key of 32 hexadecimal digits; ValueError in one sentence."""
    try:
        key = bytes.fromhex(secret.strip())
    except ValueError:
        key = b""
    if len(key) != KEY:
        raise ValueError(f"its key has to be {2 * KEY} hexadecimal digits")
    return key


def read(data: bytes, *, key: bytes | None = None, address: str = "") -> Packet:
    """What the service data of an advertisement says; `address` belongs to the key."""
    if reason := _unreadable(data, key):
        return Packet({}, reason=reason)
    encrypted = bool(data[0] & ENCRYPTED)
    payload = data[7:] if data[0] & WITH_ADDRESS else data[1:]
    parser = BTHomeBluetoothDeviceData(bindkey=key)  # anew each time: it would mix in what came before
    try:
        update = parser.update(_advertisement(data, address))
    except Exception:  # the library lets some through on bytes that are no BTHome
        return Packet({}, reason=TOO_SHORT)
    if encrypted and not parser.bindkey_verified:
        return Packet({}, reason=WRONG_KEY)
    values = {
        name: float(found.native_value)
        for device_key, found in update.entity_values.items()
        if isinstance(found.native_value, int | float) and (name := _name(device_key.key, signs=False)) is not None
    }
    signs = {
        name: float(found.native_value)
        for device_key, found in update.binary_entity_values.items()
        if found.native_value is not None and (name := _name(device_key.key, signs=True)) is not None
    }
    counter = int.from_bytes(payload[-TAIL:-4], "little") if encrypted else None
    return Packet(values | signs, counter, "" if encrypted else _rest(payload))


def _unreadable(data: bytes, key: bytes | None) -> str:
    """Why a message cannot be read by what it says of itself, nothing where it can."""
    if not data or data[0] >> 5 != 2:
        return NOT_VERSION_2
    if not data[0] & ENCRYPTED:
        return NOT_ENCRYPTED if key is not None else ""
    if key is None:
        return NO_KEY
    return TOO_SHORT if len(data) < (7 if data[0] & WITH_ADDRESS else 1) + TAIL + 2 else ""


class BthomeDecoder:
    """Advertisements of one instrument; ValueError in one sentence where the values are not BTHome's.

    Of several values of a kind the first has its name alone or with `_1`, further ones `_2`, `_3`. The counter is the
    packet's own number; where an encrypted message has none, the lowest byte of its counter.
    """

    def __init__(self, values: Sequence[Value], *, key: bytes | None = None, address: str = "") -> None:
        for value in values:
            _check(value)
        # what the library cannot read is told by the meter, with the instrument's name
        logging.getLogger("bthome_ble").setLevel(logging.CRITICAL)
        self._counters = [value.name for value in values if value.role is Role.COUNTER]
        self._names = {value.name for value in values}
        self._interpreter = Interpreter(values)
        self._key, self._address = key, address

    def decode(self, data: bytes, source: str = "") -> Decoded:  # noqa: ARG002 - an advertisement has one source
        """What the service data says."""
        packet = read(data, key=self._key, address=self._address)
        found = {stem: value for name, value in packet.values.items() if (stem := self._named(name)) is not None}
        if packet.counter is not None and self._counters and self._counters[0] not in found:
            found[self._counters[0]] = float(packet.counter & 0xFF)
        if not found:
            return Decoded(None, packet.reason or NOTHING_WANTED)
        sample, reason = self._interpreter.sample(found)
        return Decoded(sample, packet.reason or reason)

    def _named(self, name: str) -> str | None:
        if name in self._names:
            return name
        stem = name.removesuffix("_1")
        return stem if stem in self._names else None


def _check(value: Value) -> None:
    stem, _, number = value.name.rpartition("_")
    name = value.name if value.name in UNITS else stem if number.isdecimal() and stem in UNITS else None
    if name is None:
        raise ValueError(f"'{value.name}' is no value of BTHome{nearest(value.name, UNITS)}")
    try:
        same = value.role is not Role.MEASURE or tuple(conversion(value.unit, UNITS[name])) == (1.0, 0.0)
    except UnitError:
        same = False
    if not same:
        raise ValueError(f"BTHome gives '{value.name}' in {UNITS[name]}; write unit = '{UNITS[name]}'")


def _name(key: str, *, signs: bool) -> str | None:
    """Name of ours for one of the library's, with its number; None where it is none of ours."""
    stem, _, number = key.rpartition("_")
    if not number.isdecimal():
        stem, number = key, ""
    name = _SIGNS.get(stem, stem) if signs else stem
    if name not in UNITS or (signs and name in _NUMBERS_ONLY):
        return None
    return f"{name}_{number}" if number else name


def _rest(payload: bytes) -> str:
    """Why a payload is not read to its end, nothing where it is."""
    at = 0
    while at < len(payload):
        known = MEAS_TYPES.get(payload[at])
        if known is None:
            return UNKNOWN_OBJECT
        if known.data_format in ("raw", "string", "command"):
            if at + 1 >= len(payload):
                return TOO_SHORT
            at += 2 + (1 + (payload[at + 1] & 0x1F) if known.data_format == "command" else payload[at + 1])
        else:
            at += 1 + known.data_length
    return TOO_SHORT if at > len(payload) or not payload else ""


def _advertisement(data: bytes, address: str) -> BluetoothServiceInfoBleak:
    """As the library takes it."""
    nobody: Any = None
    return BluetoothServiceInfoBleak(
        name="", address=address or "00:00:00:00:00:00", rssi=0, manufacturer_data={}, service_data={SERVICE: data},
        service_uuids=[SERVICE], source="local", device=nobody, advertisement=nobody, connectable=False, time=0.0,
        tx_power=None,
    )  # fmt: skip
