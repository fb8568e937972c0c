"""The codec of the standard service against the SIG's own definitions, and against bytes that are none."""

import math

import pytest

from drivers.codecs import environmental
from drivers.codecs.environmental import (
    MEASUREMENT,
    STANDARDS,
    VALID_RANGE,
    EnvironmentalDecoder,
    measurement,
    source_of,
    standard_of,
    valid_range,
)
from drivers.profile import Role, Value
from tests.drivers.fuzz import survives


def value(name: str, unit: str, role: Role = Role.MEASURE) -> Value:
    return Value(name=name, unit=unit, role=role)


ALL = tuple(value(one.name, one.unit) for one in STANDARDS.values())

# Format and exponent of the SIG's definition of each characteristic (XML of 2014-11-20, `Format`, `DecimalExponent`,
# `Unit`); pressure trend: enumeration of the same. Bytes are the number written as that format, lowest byte first.
DEFINITIONS = [
    ("2a6d", "cd750f00", "pressure", 101319.7),  # uint32, -1, pascal
    ("2a6d", "ffffffff", "pressure", 429496729.5),  # it has no code for `not known`
    ("2a6e", "6608", "temperature", 21.5),  # sint16, -2, degree Celsius
    ("2a6e", "4d95", "temperature", -273.15),  # GATT Specification Supplement 5, 3.204: least allowed
    ("2a6e", "ff7f", "temperature", 327.67),  # the same: largest allowed
    ("2a6e", "0080", "temperature", math.nan),  # the same: 0x8000, value is not known
    ("2a6f", "bf13", "humidity", 50.55),  # uint16, -2, percent
    ("2a6f", "1027", "humidity", 100.0),  # GATT Specification Supplement 5, 3.114: largest allowed
    ("2a6f", "ffff", "humidity", math.nan),  # the same: 0xFFFF, value is not known
    ("2a7b", "f4", "dew_point", -12.0),  # sint8, 0, degree Celsius
    ("2a7a", "29", "heat_index", 41.0),  # sint8, 0, degree Celsius
    ("2a79", "80", "wind_chill", -128.0),  # sint8, 0, degree Celsius; from memory that it has no code
    ("2a6c", "18fcff", "elevation", -10.0),  # sint24, -2, metre
    ("2a74", "0f", "gust_factor", 1.5),  # uint8, -1
    ("2a75", "40420f", "pollen_concentration", 1_000_000.0),  # uint24, 0, per cubic metre
    ("2a78", "0f00", "rainfall", 0.015),  # uint16, -3, metre
    ("2a77", "1027", "irradiance", 1000.0),  # uint16, -1, watt per square metre
    ("2a76", "0b", "uv_index", 11.0),  # uint8, 0
    ("2a73", "9f8c", "apparent_wind_direction", 359.99),  # uint16, -2, degree, largest
    ("2a72", "7b00", "apparent_wind_speed", 1.23),  # uint16, -2, metre per second
    ("2a71", "9f8c", "true_wind_direction", 359.99),
    ("2a70", "7b00", "true_wind_speed", 1.23),
    ("2a2c", "0100", "magnetic_declination", 0.01),  # uint16, -2, degree
    ("2aa3", "09", "pressure_trend", 9.0),  # uint8: steady
    ("2aa3", "00", "pressure_trend", math.nan),  # the same: unknown
    ("2a19", "61", "battery", 97.0),  # uint8, 0, percent (Battery Service 1.1, 3.1)
]


@pytest.mark.parametrize(("uuid", "data", "name", "expected"), DEFINITIONS)
def test_numbers_are_those_of_the_definitions(uuid: str, data: str, name: str, expected: float) -> None:
    sample, reason = EnvironmentalDecoder(ALL).decode(bytes.fromhex(data), uuid)
    assert not reason
    assert sample
    assert list(sample.values) == [name]
    assert sample.values[name] == expected or (math.isnan(expected) and math.isnan(sample.values[name]))


def test_every_number_of_the_table_is_checked_against_a_definition() -> None:
    assert {name for _, _, name, _ in DEFINITIONS} == set(STANDARDS)
    assert {uuid for uuid, _, _, _ in DEFINITIONS} == {one.uuid for one in STANDARDS.values()}


def test_the_range_of_the_published_example() -> None:
    """Example of the definition of the descriptor Valid Range (2013-11-22): sint16, exponent -1, -40 to 85."""
    from drivers.codecs.environmental import Standard

    tenths = Standard("example", "2a6e", "int16", -1, "degC")
    assert valid_range(tenths, bytes.fromhex("70fe5203")) == (-40.0, 85.0)
    assert valid_range(tenths, bytes.fromhex("70fe52")) is None
    assert valid_range(STANDARDS["temperature"], bytes.fromhex("60f03421")) == (-40.0, 85.0)


def test_how_a_value_is_measured() -> None:
    """Environmental Sensing Service 1.0, 3.1.2.1: flags, sampling, period, interval, application, uncertainty."""
    found = measurement(bytes.fromhex("0000 02 0a0000 3c0000 01 04".replace(" ", "")))
    assert found
    assert (found.sampling, found.period, found.interval) == ("arithmetic mean", 10, 60)
    assert found.uncertainty == pytest.approx(0.02)
    unknown = measurement(bytes.fromhex("0000000000000000000001ff"[:18] + "00ff"))
    assert unknown == environmental.Measurement(None, None, None, None)
    assert measurement(b"\0" * 10) is None
    assert VALID_RANGE.startswith("00002906-")
    assert MEASUREMENT.startswith("0000290c-")


def test_several_sensors_of_a_kind_are_told_apart() -> None:
    decoder = EnvironmentalDecoder((value("temperature", "degC"), value("temperature_2", "degC")))
    first, second = (decoder.decode(b"\x66\x08", source_of("2a6e", index)).sample for index in (0, 1))
    assert first
    assert second
    assert (dict(first.values), dict(second.values)) == ({"temperature": 21.5}, {"temperature_2": 21.5})
    assert standard_of("dew_point") == (STANDARDS["dew_point"], 0)


@pytest.mark.parametrize(
    ("name", "unit", "why"),
    [
        ("tempertaure", "degC", "nearest known: temperature"),
        ("temperature", "degF", "unit = 'degC'"),
        ("temperature_0", "degC", "no value"),
        ("draft", "Pa", "no value"),
    ],
)
def test_a_value_that_the_service_does_not_give_is_refused(name: str, unit: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        EnvironmentalDecoder((value(name, unit),))


def test_the_battery_is_no_reading() -> None:
    sample, _ = EnvironmentalDecoder((value("battery", "%", Role.BATTERY),)).decode(b"\x61", "2a19")
    assert sample
    assert sample.battery == 0.97
    assert not sample.values


@pytest.mark.parametrize(("data", "reason"), [("", "short"), ("66", "short"), ("660800", "longer")])
def test_what_is_no_number_of_its_characteristic_is_refused(data: str, reason: str) -> None:
    sample, why = EnvironmentalDecoder(ALL).decode(bytes.fromhex(data), "2a6e")
    assert sample is None
    assert reason in why


def test_bad_bytes_never_escape() -> None:
    decoder = EnvironmentalDecoder(ALL)
    sources = [one.uuid for one in STANDARDS.values()] + ["ffff"]
    turn = iter(range(10**9))
    seeds = [bytes.fromhex(data) for _, data, _, _ in DEFINITIONS]
    assert survives(lambda data: decoder.decode(data, sources[next(turn) % len(sources)]), seeds) > 100
