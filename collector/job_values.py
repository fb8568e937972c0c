"""The values of a job file: read into inside units, or refused with a sentence that says what was expected."""

import re
import warnings
from collections.abc import Mapping
from datetime import date
from typing import NamedTuple
from urllib.parse import urlsplit

from analysis import units
from analysis.model import origin_of
from analysis.points import DERIVED, MEASURES, Measure, Point, measure_of, nearest
from analysis.uncertainty import Accuracy

KEEP_OUT = 'keep the password out of the job file; for an instrument write secret = "env:NAME"'
SECRET_NAME = r"(?:p|pwd?|[^=&]*(?:passw|secret|token|api_?key)[^=&]*)"
"""Regular expression of what a password is called, without regard to case."""

_NUMBER_ALONE = re.compile(r"[-+−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)  # noqa: RUF001
_WITH_UNIT = re.compile(r"[-+−A-Za-z0-9_ .%/°µμ]{1,60}")  # noqa: RUF001
"""Without powers: a unit such as `9**9**9**9` would be worked out for ever."""
_SECRET_IN_URL = re.compile(rf"//[^/?#]*:(?:[^/?#]*|[^0-9]\S*)@|[?&]{SECRET_NAME}=", re.IGNORECASE)
_LOGIN = re.compile(r"//\S*@")


class Kind(NamedTuple):
    """What a value measures, in words and units."""

    words: str
    inside: str
    example: str
    difference: bool = False


def kind_of(measure: Measure, number: str = "10") -> Kind:
    """Kind of a measure; `number` makes the example in its messages."""
    return Kind(measure.name.replace("_", " "), measure.inside, f"{number} {measure.trade}", measure.difference)


PRESSURE = kind_of(MEASURES["pressure"], "0.50")
TEMPERATURE = kind_of(MEASURES["temperature"], "170")
DIFFERENCE = kind_of(MEASURES["temperature_difference"], "35")
FLAME_CURRENT = kind_of(MEASURES["flame_current"], "1.0")
POWER = Kind("power", "W", "80 kBtu/hr")
LENGTH = Kind("length", "m", "2600 ft")
DURATION = Kind("duration", "s", "30 s")


def shown(value: object) -> str:
    """A value from the file as a message repeats it: on one line, and not long."""
    if isinstance(value, list | dict):
        return "a list" if isinstance(value, list) else "a table"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and value.bit_length() > 200:
        return "a number of more than 60 digits"
    text = "".join(character if character.isprintable() else "?" for character in str(value)[:2000])
    text = _LOGIN.sub("//", text)  # whatever is wrong with an address, its password is not repeated
    text = text if len(text) <= 60 else f"{text[:57]}..."
    return f"'{text}'" if isinstance(value, str) else text


def quantity(value: object, kind: Kind) -> float:
    """Number with its unit as the file gives it, in the inside unit."""
    text = value.strip() if isinstance(value, str) else shown(value)
    expected = f"expected a {kind.words} such as '{kind.example}'"
    if _NUMBER_ALONE.fullmatch(text):
        example = kind.example if kind.inside == "1" else f"{text[:40]} {kind.example.partition(' ')[2]}"
        raise ValueError(f"{shown(value)} has no unit; write for example '{example}'")
    if not isinstance(value, str) or not _WITH_UNIT.fullmatch(text):
        raise ValueError(f"{shown(value)} is not a number with a unit; {expected}")
    try:
        return units.parse(text, kind.inside, difference=kind.difference)
    except units.UnitError as error:
        raise ValueError(f"{error}; {expected}") from error
    except Exception as error:  # pint's own, for units such as mdegC
        raise ValueError(f"the unit in {shown(value)} cannot be used; {expected}") from error


def native_unit(unit: str, point: str) -> str:
    """Unit of readings at a point."""
    kind = kind_of(measure_of(point), "1")
    try:
        quantity(f"1 {unit.strip() or '1'}", kind)
    except ValueError as error:
        raise ValueError(f"{shown(unit)} is no unit of {kind.words}; write for example '{kind.example[2:]}'") from error
    return unit


def bounded(value: object, kind: Kind, low: str, high: str) -> float:
    """Number with its unit that lies where every real one does, in the inside unit."""
    result = quantity(value, kind)
    if not quantity(low, kind) <= result <= quantity(high, kind):
        raise ValueError(f"{shown(value)} is outside {low} to {high}, where every real one lies")
    return result


def window(value: object, kind: Kind, low: str, high: str) -> tuple[float, float]:
    """Lowest and highest of a list of two."""
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError(f"expected a list of two, the lowest and the highest {kind.words}, such as '{kind.example}'")
    bottom, top = (bounded(element, kind, low, high) for element in value)
    if not bottom < top:
        raise ValueError(f"expected the lower first, but {shown(value[0])} is not below {shown(value[1])}")
    return bottom, top


def per_stage(value: object, kind: Kind, low: str, high: str) -> tuple[float, ...]:
    """Numbers with their units, one for each stage and the high one first; a single one needs no list."""
    elements = value if isinstance(value, list) else [value]
    if not 1 <= len(elements) <= 8:
        raise ValueError(f"expected one {kind.words} per stage, such as '{kind.example}'")
    stages = tuple(bounded(element, kind, low, high) for element in elements)
    for index in range(1, len(stages)):
        if stages[index] > stages[index - 1]:
            raise ValueError(f"high stage first: {shown(elements[index])} stands after {shown(elements[index - 1])}")
    return stages


def fraction(value: object) -> float:
    """Number from 0 to 1, or a percentage."""
    if isinstance(value, str) and not _NUMBER_ALONE.fullmatch(value.strip()):
        return bounded(value, Kind("fraction", "1", "95 %"), "0 %", "100 %")
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
        raise ValueError(f"{shown(value)} is not a fraction from 0 to 1; write for example 0.95 or '95 %'")
    return float(value)


def whole(value: object, low: int, high: int) -> int:
    """Whole number within bounds."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise ValueError(f"{shown(value)} is not a whole number from {low} to {high}")
    return value


def unit_number(value: object) -> int:
    """Number of a Modbus unit. Source: MODBUS over Serial Line V1.02, 2.2; Messaging on TCP/IP V1.0b, 4.4.1.1."""
    if isinstance(value, bool) or not isinstance(value, int) or not (1 <= value <= 247 or value in (0, 255)):
        raise ValueError(f"{shown(value)} is not the number of a unit, 1 to 247, or 0 or 255 at a server on a network")
    return value


def seconds(value: object) -> float:
    """Number in seconds, or a duration with its unit. [s]"""
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = f"{shown(value)} s"
    return bounded(value, DURATION, "0 s", "1 h")


def at_point(value: object, point: str, *, difference: bool) -> float:
    """Value at a point or derived quantity, or a difference of two such values, in its inside unit."""
    kind = kind_of(measure_of(point))
    if kind.inside == "1":
        return fraction(value) if kind.words == "contact" else bounded(value, kind, "0 %", "100 %")
    result = quantity(value, kind._replace(difference=kind.difference or difference))
    if difference and result < 0:
        raise ValueError(f"{shown(value)} is negative; expected how far the value must come back")
    return result


def known_point(value: object, known: Mapping[str, Point]) -> str:
    """Name of a point."""
    if not isinstance(value, str) or value not in known:
        if value in [*DERIVED]:
            raise ValueError(f"{shown(value)} is worked out from other points, never read from an instrument")
        raise ValueError(f"{shown(value)} is not a point{nearest(shown(value).strip(chr(39)), known)}")
    return value


def entries(value: object, name: str) -> object:
    """Tables of a section that may be there more than once."""
    if not isinstance(value, list):
        raise ValueError(f"expected [[{name}]] with two brackets on each side, once for every {name}")
    return value


def choice(value: object, *options: str | int) -> object:
    """One of the options."""
    if isinstance(value, bool | float) or value not in options:
        near = nearest(shown(value).strip("'"), options)
        raise ValueError(f"{shown(value)} is not one of {', '.join(str(option) for option in options)}{near}")
    return value


def free_text(value: object) -> str:
    """Text in quotes; a whole number or a date without them is welcome, for a serial number or a day."""
    if isinstance(value, date) or (type(value) is int and value.bit_length() < 200):
        return str(value)
    if not isinstance(value, str) or len(value) > 4000:
        raise ValueError("expected text in quotes, of at most 4000 characters")
    return value.strip()


def accuracy(value: object, point: str = "") -> str:
    """Accuracy statement of an instrument, as its sheet gives it; it fits the point's measure where one is given."""
    text = free_text(value)
    Accuracy.parse(text, measure_of(point).name if point else "")
    return text


def plain_name(value: object) -> str:
    """Name for people, without an origin before it: the program itself writes that."""
    name = value.strip() if isinstance(value, str) else ""
    if not name or not name.isprintable() or len(name) > 100:
        raise ValueError("expected a name in quotes, of 1 to 100 characters on one line")
    if origin := origin_of(name):
        raise ValueError(f"{shown(name)} begins with '{origin}:', which only the program itself writes")
    return name


def address(value: object) -> str:
    """Text that may be a URL, and then has no password in it; the message never repeats it."""
    text = free_text(value)
    if _SECRET_IN_URL.search(text):
        raise ValueError(KEEP_OUT)
    return text


def url(value: object, *schemes: str) -> str:
    """Address with a host and one of the schemes."""
    text = address(value)
    try:
        parts = urlsplit(text)
        usable = parts.scheme in schemes and bool(parts.hostname) and parts.port != 0
    except ValueError:
        usable = False
    if not usable:
        raise ValueError(f"expected an address that begins with {' or '.join(f'{scheme}://' for scheme in schemes)}")
    return text


def expression(value: object) -> str:
    """Regular expression with named groups."""
    if not isinstance(value, str) or len(value) > 1000:
        raise ValueError("expected a regular expression in quotes, of at most 1000 characters")
    try:
        named = groups(value)
    except (re.error, ValueError, OverflowError, RecursionError) as error:
        raise ValueError(f"this is not a regular expression ({error})") from error
    if not named:
        raise ValueError(r"expected a named group for each value, such as '(?P<pressure>[-+.\d]+)'")
    return value


def groups(line: str) -> list[str]:
    """Named groups of a regular expression."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return [*re.compile(line).groupindex]


def as_written(value: object) -> str:
    """Text in quotes, blanks and line ends kept."""
    if not isinstance(value, str) or len(value) > 4000:
        raise ValueError("expected text in quotes, of at most 4000 characters")
    return value


def separator(value: object) -> str:
    """What stands between values: one to four characters."""
    text = as_written(value)
    if not 1 <= len(text) <= 4:
        raise ValueError("expected what stands between two values, such as ',' or '\\t'")
    return text


def secret_place(value: object) -> str:
    """Where a password or key is kept, never itself: `env:NAME` or `file:PATH`."""
    text = free_text(value)
    if not re.fullmatch(r"env:[A-Za-z_][A-Za-z0-9_]*|file:.+", text):
        raise ValueError("expected where it is kept, 'env:NAME' for the environment or 'file:PATH', and not itself")
    return text
