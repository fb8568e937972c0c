"""The values of a profile: read, or refused with a sentence that says what was expected."""

import re
from collections.abc import Mapping

from analysis.units import UnitError, parse
from collector import job_values as given
from collector.job_values import shown
from drivers.profile import Condition

_UUID = re.compile(r"[0-9a-f]{4}|[0-9a-f]{8}|[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_HEX = re.compile(r"(?:[0-9A-Fa-f]{2}\s*)*")
_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")


def value_name(value: object) -> str:
    """Name of a value: a word of small letters, digits and underscores."""
    if not isinstance(value, str) or not _NAME.fullmatch(value):
        raise ValueError(f"{shown(value)} is not a name; use small letters, digits and _, such as 'pressure'")
    return value


def value_names(value: object) -> tuple[str, ...]:
    """Names of values in brackets, or one alone."""
    return tuple(value_name(one) for one in (value if isinstance(value, list) else [value]))


def number(value: object) -> float:
    """Finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e300:
        raise ValueError(f"{shown(value)} is not a number")
    return float(value)


def factor(value: object) -> float:
    """Finite number other than 0."""
    if (result := number(value)) == 0:
        raise ValueError("a scale of 0 would make every value 0")
    return result


def numbers(value: object) -> tuple[float, ...]:
    """Numbers in brackets, or one alone."""
    return tuple(number(one) for one in (value if isinstance(value, list) else [value]))


def unit(value: object) -> str:
    """A unit that is known."""
    text = given.free_text(value)
    try:
        parse(f"1 {text}", text or "1", difference=True)
    except (UnitError, ValueError) as error:
        raise ValueError(f"{shown(value)} is not a unit; write for example 'inH2O', 'degF', '%' or 'ppm'") from error
    return text


def unit_names(value: object) -> dict[str, str]:
    """What the instrument calls its units, and which each is."""
    if not isinstance(value, dict):
        raise ValueError("expected a table such as { 'inWC' = 'inH2O', 'PA' = 'Pa' }")
    return {str(name).strip(): unit(one) for name, one in value.items()}


def condition(value: object) -> Condition:
    """What an instrument says of itself."""
    return Condition(str(given.choice(value, *(str(one) for one in Condition))))


def conditions(value: object) -> tuple[Condition, ...]:
    """Several of them in brackets."""
    return tuple(condition(one) for one in (value if isinstance(value, list) else [value]))


def words(value: object) -> dict[str, Condition]:
    """Texts in a message and what they say."""
    if not isinstance(value, dict):
        raise ValueError("expected a table such as { 'OL' = 'over_range' }")
    return {str(text).strip(): condition(one) for text, one in value.items()}


def states(value: object) -> dict[str, float]:
    """Texts in a message and the numbers that they stand for."""
    if not isinstance(value, dict):
        raise ValueError("expected a table such as { 'CLOSED' = 1, 'OPEN' = 0 }")
    return {str(text).strip(): number(one) for text, one in value.items()}


def topic(value: object) -> str:
    """Topic of messages below that of the instrument, or nothing."""
    text = given.free_text(value)
    if any(sign in text for sign in "+#\0") or text.startswith("/") or len(text) > 1000:
        raise ValueError(f"{shown(value)} is not one topic; write for example 'room/temperature', without + and #")
    return text


def path(value: object) -> str:
    """JSON path that leads to one place."""
    from drivers.codecs.json_values import json_path  # noqa: PLC0415 - few profiles have any

    text = given.free_text(value)
    json_path(text)
    return text


def bits(value: object) -> dict[int, Condition]:
    """Bits and what they say."""
    if not isinstance(value, dict):
        raise ValueError("expected a table such as { 0 = 'over_range', 3 = 'low_battery' }")
    for bit in value:
        if not str(bit).isdecimal() or int(bit) > 63:
            raise ValueError(f"{shown(bit)} is not a bit; count from 0, the lowest, to 63")
    return {int(bit): condition(one) for bit, one in value.items()}


def columns(value: object) -> tuple[int, int]:
    """First and last column, counted from 1."""
    if (
        not isinstance(value, list)
        or len(value) != 2
        or not all(type(one) is int and 1 <= one <= 512 for one in value)
        or value[0] > value[1]
    ):
        raise ValueError("expected the first and the last column, counted from 1, such as [3, 9]")
    return value[0], value[1]


def field(value: object) -> str | int:
    """A column counted from 1, or its heading."""
    if isinstance(value, str) and value:
        return value
    return given.whole(value, 1, 200)


def uuid(value: object) -> str:
    """UUID of a service or characteristic in small letters, short or long."""
    text = value.strip().lower() if isinstance(value, str) else ""
    if not _UUID.fullmatch(text):
        raise ValueError(f"{shown(value)} is not a UUID; write 4 or 8 hexadecimal digits, or its long form")
    return text


def data(value: object) -> bytes:
    """Bytes as hexadecimal digits."""
    if not isinstance(value, str) or not _HEX.fullmatch(value.strip()):
        raise ValueError(f"{shown(value)} is not bytes; write pairs of hexadecimal digits such as 'AA 55 01'")
    return bytes.fromhex(value)


def expected(value: object) -> dict[str, float]:
    """Values that an example gives."""
    if not isinstance(value, dict):
        raise ValueError("expected a table such as { pressure = 0.52 }")
    return {str(name): float("nan") if one == "none" else _limit(one) for name, one in value.items()}


def _limit(value: object) -> float:
    """A number; infinite where the instrument is beyond its range."""
    return float(value) if isinstance(value, float) and abs(value) == float("inf") else number(value)


def text_by_name(value: object) -> Mapping[str, str]:
    """Texts by name."""
    if not isinstance(value, dict) or not all(isinstance(one, str) for one in value.values()):
        raise ValueError("expected a table such as { pressure = 'inH2O' }")
    return dict(value)
