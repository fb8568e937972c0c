"""The codec of BTHome against the published examples, an encoder of its own for encrypted messages, and bad bytes."""

import math

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESCCM
from hypothesis import given
from hypothesis import strategies as some

from drivers.codecs import bthome
from drivers.codecs.bthome import BthomeDecoder, Packet, key_of, read
from drivers.profile import Condition, Role, Value
from tests.drivers.fuzz import survives

KEY = key_of("231d39c1d7cc1ab1aee224cd096db932")
ADDRESS = "54:48:E6:8F:80:A5"
SEALED = bytes.fromhex("41a47266c95f730011223378237214")

# bthome.io, Format, table of sensor data (columns example and result), each behind the first byte 0x40 of version 2
PUBLISHED = [
    ("0161", "battery", 97.0),
    ("12E204", "carbon_dioxide", 1250.0),
    ("0960", "count", 96.0),
    ("3D0960", "count", 24585.0),
    ("3E2A2C0960", "count", 1611213866.0),
    ("59EA", "count", -22.0),
    ("434E34", "current", 13.39),
    ("5D02EA", "current", -5.63),
    ("08CA06", "dew_point", 17.38),
    ("4d12138a14", "energy", 344593.170),
    ("0A138A14", "energy", 1346.067),
    ("03BF13", "humidity", 50.55),
    ("2E23", "humidity", 35.0),
    ("14020C", "moisture", 30.74),
    ("2F23", "moisture", 35.0),
    ("0D120C", "pm25", 3090.0),
    ("0E021C", "pm10", 7170.0),
    ("0B021B00", "power", 69.14),
    ("04138A01", "pressure", 1008.83),
    ("02CA09", "temperature", 25.06),
    ("451101", "temperature", 27.3),  # from memory
    ("0C020C", "voltage", 3.074),  # from memory
    ("4A020C", "voltage", 307.4),  # from memory
    ("44 4E 34", "speed", 133.90),  # from memory
    ("1501", "low_battery", 1.0),  # binary sensors: 1 is low, on, open; from memory
    ("1001", "power_on", 1.0),
    ("1100", "opening", 0.0),
]


@pytest.mark.parametrize(("data", "name", "expected"), PUBLISHED)
def test_the_published_examples(data: str, name: str, expected: float) -> None:
    packet = read(b"\x40" + bytes.fromhex(data))
    assert packet == Packet({name: pytest.approx(expected, rel=1e-12)})  # type: ignore[dict-item]


def test_the_published_encrypted_example() -> None:
    """bthome.io, Encryption: key, address, counter and message of the example; 25.06 degC and 50.55 %."""
    packet = read(SEALED, key=KEY, address=ADDRESS)
    assert packet.values == {"temperature": 25.06, "humidity": 50.55}
    assert packet.counter == 0x33221100
    assert not packet.reason


def sealed(payload: bytes, counter: int) -> bytes:
    """A message sealed as bthome.io, Encryption, says: AES-CCM, its nonce of address, UUID, first byte and counter."""
    count = counter.to_bytes(4, "little")
    nonce = bytes.fromhex(ADDRESS.replace(":", "")) + b"\xd2\xfc\x41" + count
    closed = AESCCM(KEY, tag_length=4).encrypt(nonce, payload, None)
    return b"\x41" + closed[:-4] + count + closed[-4:]


def test_our_own_encoder_makes_the_published_message() -> None:
    assert sealed(bytes.fromhex("02CA0903BF13"), 0x33221100) == SEALED


@given(some.integers(-27315, 32767), some.integers(0, 10000), some.integers(0, 2**32 - 1))
def test_what_was_sealed_is_opened(temperature: int, humidity: int, counter: int) -> None:
    payload = b"\x02" + temperature.to_bytes(2, "little", signed=True) + b"\x03" + humidity.to_bytes(2, "little")
    packet = read(sealed(payload, counter), key=KEY, address=ADDRESS)
    assert packet.values == {"temperature": pytest.approx(temperature / 100), "humidity": pytest.approx(humidity / 100)}
    assert packet.counter == counter


@pytest.mark.parametrize(
    ("data", "key", "reason"),
    [
        (SEALED, None, bthome.NO_KEY),
        (SEALED[:-1] + b"\0", KEY, bthome.WRONG_KEY),
        (SEALED, bytes(16), bthome.WRONG_KEY),
        (bytes.fromhex("4002CA09"), KEY, bthome.NOT_ENCRYPTED),
        (bytes.fromhex("41020304"), KEY, bthome.TOO_SHORT),
        (bytes.fromhex("2002CA09"), None, bthome.NOT_VERSION_2),
        (b"", None, bthome.NOT_VERSION_2),
        (bytes.fromhex("4002CA"), None, bthome.TOO_SHORT),
        (bytes.fromhex("40"), None, bthome.TOO_SHORT),
        (bytes.fromhex("40EF00"), None, bthome.UNKNOWN_OBJECT),
    ],
)
def test_what_cannot_be_read_says_why(data: bytes, key: bytes | None, reason: str) -> None:
    packet = read(data, key=key, address=ADDRESS)
    assert packet.reason == reason
    assert not packet.values


def test_what_stands_before_something_unknown_is_read_and_said() -> None:
    packet = read(bytes.fromhex("4002CA09EF00"))
    assert packet.values == {"temperature": 25.06}
    assert packet.reason == bthome.UNKNOWN_OBJECT


VALUES = (
    Value(name="temperature", unit="degC"),
    Value(name="temperature_2", unit="degC"),
    Value(name="pressure", unit="hPa"),
    Value(name="battery", unit="%", role=Role.BATTERY),
    Value(name="low_battery", role=Role.STATUS, bits={0: Condition.LOW_BATTERY}),
    Value(name="packet_id", role=Role.COUNTER),
)


def test_a_message_in_the_words_of_a_profile() -> None:
    sample, reason = BthomeDecoder(VALUES).decode(bytes.fromhex("40000901611501 02CA09 02E803"))
    assert not reason
    assert sample
    assert sample.counter == 9
    assert sample.battery == 0.97
    assert sample.conditions == {Condition.LOW_BATTERY}
    assert dict(sample.values) == {"temperature": 25.06, "temperature_2": 10.0}


def test_nothing_is_left_over_from_the_message_before() -> None:
    decoder = BthomeDecoder(VALUES)
    assert decoder.decode(bytes.fromhex("40000102CA09")).sample
    second = decoder.decode(bytes.fromhex("4000010161")).sample
    assert second
    assert not second.values


def test_an_encrypted_message_without_a_number_has_that_of_its_seal() -> None:
    decoder = BthomeDecoder(VALUES, key=KEY, address=ADDRESS)
    sample = decoder.decode(sealed(bytes.fromhex("02CA09"), 0x1FF)).sample
    assert sample
    assert sample.counter == 0xFF
    own = decoder.decode(sealed(bytes.fromhex("000702CA09"), 0x1FF)).sample
    assert own
    assert own.counter == 7


def test_a_message_without_any_value_of_the_profile_says_so() -> None:
    assert BthomeDecoder((Value(name="voltage", unit="V"),)).decode(bytes.fromhex("4002CA09")).reason == (
        bthome.NOTHING_WANTED
    )


@pytest.mark.parametrize(
    ("name", "unit", "why"),
    [
        ("temprature", "degC", "nearest known: temperature"),
        ("temperature", "degF", "unit = 'degC'"),
        ("carbon_monoxide", "1", "no value of BTHome"),
        ("distance", "m", "no value of BTHome"),
    ],
)
def test_a_value_that_bthome_does_not_give_is_refused(name: str, unit: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        BthomeDecoder((Value(name=name, unit=unit),))


def test_a_sign_of_carbon_monoxide_is_never_a_number() -> None:
    """0x17 is found or not found; as a number it would look like clean air, or like pure gas."""
    assert read(bytes.fromhex("401700")).values == {}
    assert read(bytes.fromhex("401701")).values == {}


@pytest.mark.parametrize("secret", ["", "231d", "zz" * 16, "00" * 17])
def test_a_key_of_another_length_is_refused(secret: str) -> None:
    with pytest.raises(ValueError, match="32 hexadecimal digits"):
        key_of(secret)


def test_bad_bytes_never_escape() -> None:
    decoder = BthomeDecoder(VALUES)
    seeds = [b"\x40" + bytes.fromhex(data) for data, _, _ in PUBLISHED] + [SEALED]
    assert survives(decoder.decode, seeds) > 100


def test_bad_sealed_bytes_never_escape() -> None:
    decoder = BthomeDecoder(VALUES, key=KEY, address=ADDRESS)
    assert survives(decoder.decode, [SEALED, sealed(bytes.fromhex("000902CA09"), 7)]) > 100


def test_no_number_is_infinite() -> None:
    assert all(
        math.isfinite(value) for data, _, _ in PUBLISHED for value in read(bytes.fromhex(f"40{data}")).values.values()
    )
