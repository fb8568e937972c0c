"""Characteristics that a profile describes: literal bytes of a made-up meter, UUIDs, and bad bytes."""

import math
import struct

import pytest

from collector.profiles import named
from drivers.codecs.characteristics import CharacteristicsDecoder, full_uuid, short_uuid
from drivers.profile import Condition, Value
from tests.drivers.fuzz import survives

OWN = "00000001-1111-4222-8333-00005e005301"


def test_uuids_are_written_short_and_long() -> None:
    """Core Specification 5.4, volume 3, part B, 2.5.1: 16-bit and 32-bit values stand in the base UUID."""
    assert full_uuid("2A6E") == "00002a6e-0000-1000-8000-00805f9b34fb"
    assert full_uuid("12345678") == "12345678-0000-1000-8000-00805f9b34fb"
    assert full_uuid(OWN.upper()) == OWN
    assert short_uuid(full_uuid("2a6e")) == "2a6e"
    assert short_uuid(full_uuid("12345678")) == "12345678"
    assert short_uuid(OWN) == OWN


@pytest.mark.parametrize(
    ("data", "expected", "counter", "conditions"),
    [
        ("cef3ffff0007", -312.2, 7, set()),
        ("00000000 02ff", 0.0, 255, {Condition.HOLD}),
        ("ffffff7f0008", math.inf, 8, set()),
        ("000000800009", math.nan, 9, set()),
        ("00000000040a", math.nan, 10, {Condition.FAULT}),
    ],
)
def test_the_shipped_example(data: str, expected: float, counter: int, conditions: set[Condition]) -> None:
    decoder = CharacteristicsDecoder(named("characteristic-pressure").values)
    sample, reason = decoder.decode(bytes.fromhex(data), OWN.upper())
    assert not reason
    assert sample
    found = sample.values["pressure"]
    assert found == pytest.approx(expected) or (math.isnan(found) and math.isnan(expected))
    assert sample.counter == counter
    assert sample.conditions == conditions


def test_each_characteristic_has_its_own_values() -> None:
    decoder = CharacteristicsDecoder(
        (
            Value(name="supply", unit="degC", characteristic="ff01", type="float32", order="big"),
            Value(name="back", unit="degC", characteristic="ff01", type="int16", at=4, scale=0.1),
            Value(name="room", unit="degC", characteristic="ff02", type="uint8"),
        )
    )
    first = decoder.decode(struct.pack(">f", 48.5) + struct.pack("<h", 205), full_uuid("ff01")).sample
    assert first
    assert dict(first.values) == {"supply": 48.5, "back": pytest.approx(20.5)}
    second = decoder.decode(b"\x15", "FF02").sample
    assert second
    assert dict(second.values) == {"room": 21.0}
    assert decoder.decode(b"\x15", "ff03").reason == "comes from a characteristic that the profile does not name"


def test_one_characteristic_has_one_pace() -> None:
    with pytest.raises(ValueError, match="'every' has to be the same"):
        CharacteristicsDecoder(
            (
                Value(name="supply", unit="degC", characteristic="ff01", type="int16", every=1.0),
                Value(name="back", unit="degC", characteristic="ff01", type="int16", at=2),
            )
        )


def test_bad_bytes_never_escape() -> None:
    decoder = CharacteristicsDecoder(named("characteristic-pressure").values)
    assert survives(lambda data: decoder.decode(data, OWN), [bytes.fromhex("cef3ffff0007")]) > 100
