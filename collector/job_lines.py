"""The text of a job file as its author sees it: values with their units, mistakes, and the lines they stand in."""

import pathlib
import re
import tomllib
import warnings
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple
from urllib.parse import urlsplit

from analysis import units
from analysis.model import origin_of
from analysis.points import MEASURES, Measure, measure_of, nearest
from drivers.base import InputError

MAX_BYTES = 200_000
"""Largest job file that is read; a usual one has a few thousand bytes."""
TOO_LARGE = f"is larger than {MAX_BYTES // 1000} kB; a job file is not, choose another file"
KEEP_OUT = "keep the password out of the job file; use the environment"

Path = tuple[str | int, ...]
"""A place in the file: names of tables and keys, and indices from 0 in arrays."""

ARRAYS = ("instrument", "limit")
"""Sections that may be there more than once."""

_PLAIN_KEY = re.compile(r"[A-Za-z0-9_-]{1,60}")
_NUMBER_ALONE = re.compile(r"[-+−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)  # noqa: RUF001
_WITH_UNIT = re.compile(r"[-+−A-Za-z0-9_ .%/°µμ]{1,60}")  # noqa: RUF001
"""Without powers: a unit such as `9**9**9**9` would be worked out for ever."""
_SECRET_NAME = r"(?:p|pwd?|[^=&]*(?:passw|secret|token|api_?key)[^=&]*)"
_SECRET = re.compile(_SECRET_NAME, re.IGNORECASE)
_SECRET_IN_URL = re.compile(rf"//[^/?#]*:(?:[^/?#]*|[^0-9]\S*)@|[?&]{_SECRET_NAME}=", re.IGNORECASE)
_LOGIN = re.compile(r"//\S*@")
_AT_LINE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)")

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^,\]}\n#]*")
_STRING = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'', re.DOTALL)


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing wrong in a job file."""

    line: int
    """Counted from 1; 0 if unknown."""
    key: str
    """Such as `furnace.rise` or `limit[2].above`, entries counted from 1; empty when it is about the whole file."""
    text: str
    """One sentence: what is wrong and what was expected."""

    def __str__(self) -> str:
        where = ", ".join(part for part in (f"line {self.line}" if self.line else "", self.key) if part)
        return f"{where}: {self.text}" if where else self.text


class JobError(InputError):
    """A job file that cannot be used; without mistakes when it could not be read at all."""

    def __init__(self, what: str, hint: str = "", *, mistakes: tuple[Mistake, ...] = ()) -> None:
        super().__init__(what, hint)
        self.mistakes = mistakes


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


def read_text(path: pathlib.Path) -> str:
    """Text of a job file; JobError when it cannot be read or is too large to be one."""
    where = str(path).encode("utf-8", "replace").decode()
    try:
        if path.is_dir():
            raise JobError(f"{where} is a folder", "name the job file in it")
        with path.open("rb") as file:
            content = file.read(MAX_BYTES + 1)
        if len(content) > MAX_BYTES:
            raise JobError(f"{where} {TOO_LARGE}")
        return content.decode("utf-8-sig")
    except FileNotFoundError:
        raise JobError(f"{where} is not there", "check the file's name and folder") from None
    except PermissionError:
        raise JobError(f"{where} may not be read by this user", "change the file's permissions") from None
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise JobError(f"{where} is not UTF-8 text in line {line}", "save it as UTF-8 in the editor") from error
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        reason = getattr(error, "strerror", None) or error
        raise JobError(f"{where} cannot be read: {reason}", "check the file's name") from error


def read_tables(text: str) -> tuple[dict[str, Any], dict[Path, int]] | Mistake:
    """Tables of a TOML text and the line, counted from 1, of each table, key and array element in it."""
    try:
        if len(text.encode()) > MAX_BYTES:
            return Mistake(0, "", f"the text {TOO_LARGE}")
        text = text.removeprefix("\ufeff")
        return tomllib.loads(text), _Scan(text).run()
    except RecursionError:
        return Mistake(0, "", "the text has too many brackets in each other; expected TOML with few")
    except UnicodeEncodeError:
        return Mistake(0, "", "the text is not Unicode; save it as UTF-8 in the editor")
    except ValueError as error:
        place = _AT_LINE.search(str(error))
        line = int(place.group(1) or text.rstrip().count("\n") + 1) if place else 0
        reason = _AT_LINE.sub("", str(error))[:200]
        return Mistake(line, "", f"this is not TOML ({reason}); expected lines such as key = 'text'")


def line_of(lines: Mapping[Path, int], path: Path) -> int:
    """Line of a path; of the table it would stand in when it is not in the file; 0 when that is not there either."""
    return next((lines[path[:length]] for length in range(len(path), 0, -1) if path[:length] in lines), 0)


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


def shown_key(path: Path) -> str:
    """Key of a path as people read it: `limit[2].above`, entries counted from 1."""
    parts = (part if isinstance(part, int) or _PLAIN_KEY.fullmatch(part) else shown(part) for part in path)
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in parts).removeprefix(".")


def unknown_key(path: Path, sections: Mapping[str, list[str]]) -> str:
    """What to say of a key that its section does not have: where it belongs, or what is near; `""` is the top."""
    key = str(path[-1])
    if _SECRET.fullmatch(key):
        return f"unknown key {shown(key)}; {KEEP_OUT}"
    section = ".".join(part for part in path[:-1] if isinstance(part, str))
    places = [
        f"[[{name}]]" if name in ARRAYS else f"[{name}]" for name, keys in sections.items() if name and key in keys
    ]
    if places:
        return f"unknown key {shown(key)} here; it belongs in {' or '.join(places)}"
    keys = sections[section]
    return f"unknown key {shown(key)}{nearest(key[:60], keys) or '; known here are ' + ', '.join(keys)}"


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


class _Scan:
    """One pass over a valid text: it looks at structure only, so it needs no checks of its own."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.newlines = [match.start() for match in re.finditer("\n", text)]
        self.lines: dict[Path, int] = {}
        self.last: dict[Path, int] = {}
        """Index of the newest element of each array of tables."""

    def run(self) -> dict[Path, int]:
        table: Path = ()
        while self._skip() < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
        return self.lines

    def _line(self) -> int:
        return bisect_right(self.newlines, self.at - 1) + 1

    def _skip(self, what: re.Pattern[str] = _BLANK) -> int:
        """Pass over what stands here, and say where that leads."""
        match = what.match(self.text, self.at)
        self.at = match.end() if match else self.at
        return self.at

    def _header(self) -> Path:
        line = self._line()
        brackets = 2 if self.text.startswith("[[", self.at) else 1
        self.at += brackets
        names = self._names()
        self.at += brackets
        path: Path = ()
        for depth, name in enumerate(names, start=1):
            path += (name,)
            self.lines.setdefault(path, line)
            if brackets == 2 and depth == len(names):
                self.last[path] = self.last.get(path, -1) + 1
            if path in self.last:
                path += (self.last[path],)
        self.lines[path] = line  # also over what [furnace.timing] said about [furnace] before
        return path

    def _names(self) -> list[str]:
        """Parts of a dotted key; stops at what follows it."""
        names = []
        while True:
            start = self._skip()
            if self.text[start] in "\"'":
                names.append(str(tomllib.loads(f"key = {self.text[start : self._skip(_STRING)]}")["key"]))
            else:
                names.append(self.text[start : self._skip(_BARE_KEY)])
            if self.text[self._skip()] != ".":
                return names
            self.at += 1

    def _pair(self, table: Path) -> None:
        line = self._line()
        path = table
        for name in self._names():
            path += (name,)
            self.lines.setdefault(path, line)
        self.at += 1
        self._value(path)

    def _value(self, path: Path) -> None:
        opening = self.text[self._skip()]
        if opening in "[{":
            self._items(path)
        else:
            self._skip(_STRING if opening in "\"'" else _BARE_VALUE)

    def _items(self, path: Path) -> None:
        """Elements of an array or pairs of an inline table."""
        array = self.text[self.at] == "["
        self.at += 1
        index = 0
        while self.text[self._skip()] not in "]}":
            if self.text[self.at] == ",":
                self.at += 1
            elif array:
                self.lines[(*path, index)] = self._line()
                self._value((*path, index))
                index += 1
            else:
                self._pair(path)
        self.at += 1
