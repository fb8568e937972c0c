"""Values of the Environmental Sensing Service of the Bluetooth SIG, and of the Battery Service beside it.

Sources: Environmental Sensing Service 1.0, section 3.1 (which characteristics it may have) and 3.1.2.1 (the descriptor
of a measurement); the SIG's definitions of the characteristics of 2014-11-20 (format, unit, exponent); GATT
Specification Supplement 5, sections 2.1 (represented values), 3.114 Humidity and 3.204 Temperature (codes for `value is
not known`). A characteristic without a code here has none in these sources.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.points import nearest
from drivers.codecs.binary import TOO_SHORT, TYPES, number_at
from drivers.codecs.characteristics import full_uuid
from drivers.codecs.sample import Decoded, Interpreter
from drivers.profile import Value

SERVICE = full_uuid("181a")
VALID_RANGE = full_uuid("2906")
MEASUREMENT = full_uuid("290c")

TOO_LONG = "is longer than its characteristic"


@dataclass(frozen=True, slots=True)
class Standard:
    """A characteristic that holds one number."""

    name: str
    """Of the value in a profile."""
    uuid: str
    """Short."""
    type: str
    """A name of `drivers.codecs.binary.TYPES`."""
    exponent: int
    """`value = number * 10 ** exponent`."""
    unit: str
    unknown: int | None = None
    """The number that means: value is not known."""

    def value(self, data: bytes, at: int = 0) -> float | None:
        """Value at an offset, NaN where it is not known, None where the bytes end before. [unit]"""
        number = number_at(data, at, self.type, "little")
        if number is None:
            return None
        if number == self.unknown:
            return math.nan
        return number / 10.0**-self.exponent  # divided, not multiplied: 2150 hundredths are 21.5 and not a hair more


STANDARDS: dict[str, Standard] = {
    standard.name: standard
    for standard in (
        Standard("pressure", "2a6d", "uint32", -1, "Pa"),
        Standard("temperature", "2a6e", "int16", -2, "degC", -0x8000),
        Standard("humidity", "2a6f", "uint16", -2, "%", 0xFFFF),
        Standard("dew_point", "2a7b", "int8", 0, "degC"),
        Standard("heat_index", "2a7a", "int8", 0, "degC"),
        Standard("wind_chill", "2a79", "int8", 0, "degC"),
        Standard("elevation", "2a6c", "int24", -2, "m"),
        Standard("gust_factor", "2a74", "uint8", -1, "1"),
        Standard("pollen_concentration", "2a75", "uint24", 0, "1/m**3"),
        Standard("rainfall", "2a78", "uint16", -3, "m"),
        Standard("irradiance", "2a77", "uint16", -1, "W/m**2"),
        Standard("uv_index", "2a76", "uint8", 0, "1"),
        Standard("apparent_wind_direction", "2a73", "uint16", -2, "degree"),
        Standard("apparent_wind_speed", "2a72", "uint16", -2, "m/s"),
        Standard("true_wind_direction", "2a71", "uint16", -2, "degree"),
        Standard("true_wind_speed", "2a70", "uint16", -2, "m/s"),
        Standard("magnetic_declination", "2a2c", "uint16", -2, "degree"),
        Standard("pressure_trend", "2aa3", "uint8", 0, "1", 0),
        Standard("battery", "2a19", "uint8", 0, "%"),
    )
}
"""By the name of the value. Magnetic flux density is left out: it holds two or three numbers."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """How a value is measured, as the instrument says; None where it does not."""

    sampling: str | None
    period: int | None
    """Time over which it is sampled. [s]"""
    interval: int | None
    """Time from one new value to the next. [s]"""
    uncertainty: float | None
    """[1]"""


_SAMPLING = {
    1: "instantaneous",
    2: "arithmetic mean",
    3: "root mean square",
    4: "maximum",
    5: "minimum",
    6: "accumulated",
    7: "count",
}


def standard_of(name: str) -> tuple[Standard, int]:
    """The standard's value of a name, and which of several it is: `temperature_2` is the second, counted from 0.

    ValueError in one sentence where there is none.
    """
    if name in STANDARDS:
        return STANDARDS[name], 0
    stem, _, number = name.rpartition("_")
    if stem in STANDARDS and number.isdecimal() and int(number) > 1:
        return STANDARDS[stem], int(number) - 1
    raise ValueError(f"'{name}' is no value of the Environmental Sensing Service{nearest(name, STANDARDS)}")


def source_of(uuid: str, index: int = 0) -> str:
    """Source of messages of the characteristic of a UUID, the one at `index` where there are several of it."""
    return f"{full_uuid(uuid)} {index + 1}" if index else full_uuid(uuid)


def measurement(data: bytes) -> Measurement | None:
    """What the descriptor Environmental Sensing Measurement says; None where it is not whole."""
    if len(data) < 11:
        return None
    period, interval = int.from_bytes(data[3:6], "little"), int.from_bytes(data[6:9], "little")
    uncertainty = None if data[10] == 0xFF else data[10] * 0.5 / 100
    return Measurement(_SAMPLING.get(data[2]), period or None, interval or None, uncertainty)


def valid_range(standard: Standard, data: bytes) -> tuple[float, float] | None:
    """Smallest and largest value of the descriptor Valid Range; None where it is not whole. [unit]"""
    low, high = standard.value(data), standard.value(data, TYPES[standard.type])
    return None if low is None or high is None or not low < high else (low, high)


class EnvironmentalDecoder:
    """Messages of the service's characteristics; ValueError in one sentence where the values are not its own."""

    def __init__(self, values: Sequence[Value]) -> None:
        self._sources: dict[str, tuple[str, Standard]] = {}
        for value in values:
            standard, index = standard_of(value.name)
            if value.unit != standard.unit:
                raise ValueError(
                    f"the standard gives '{value.name}' in {standard.unit}; write unit = '{standard.unit}'"
                )
            self._sources[source_of(standard.uuid, index)] = value.name, standard
        self._interpreter = Interpreter(values)

    def decode(self, data: bytes, source: str = "") -> Decoded:
        """What a message says; `source` is the UUID of its characteristic, as `source_of` writes it."""
        uuid, _, number = source.partition(" ")
        found = self._sources.get(source_of(uuid, int(number or 1) - 1))
        if found is None:
            return Decoded(None, "comes from a characteristic that the profile does not name")
        name, standard = found
        value = standard.value(data)
        if value is None:
            return Decoded(None, TOO_SHORT)
        if len(data) > TYPES[standard.type]:
            return Decoded(None, TOO_LONG)
        return self._interpreter.sample({name: value})
