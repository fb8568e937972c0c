"""The text of a job file as its author sees it: the lines that its keys stand in, and the mistakes."""

import pathlib
import re
import tomllib
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from analysis.points import nearest
from collector.job_values import KEEP_OUT, SECRET_NAME, shown
from drivers.base import InputError

MAX_BYTES = 200_000
"""Largest job file that is read; a usual one has a few thousand bytes."""
TOO_LARGE = f"is larger than {MAX_BYTES // 1000} kB; a job file is not, choose another file"

Path = tuple[str | int, ...]
"""A place in the file: names of tables and keys, and indices from 0 in arrays."""

ARRAYS = ("instrument", "limit")
"""Sections of a job file that may be there more than once."""

REPEATED = (*ARRAYS, "value", "example")
"""Those of a profile too."""

_PLAIN_KEY = re.compile(r"[A-Za-z0-9_-]{1,60}")
_SECRET = re.compile(SECRET_NAME, re.IGNORECASE)
_AT_LINE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)")

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^,\]}\n#]*")
STRING = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'', re.DOTALL)


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

    def __init__(self, what: str, hint: str = "", *, where: str = "", mistakes: tuple[Mistake, ...] = ()) -> None:
        super().__init__(what, hint)
        self.where = where
        """Name of the file."""
        self.mistakes = mistakes


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
        return tomllib.loads(text), Scan(text).run()
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
        f"[[{name}]]" if name in REPEATED else f"[{name}]" for name, keys in sections.items() if name and key in keys
    ]
    if places:
        return f"unknown key {shown(key)} here; it belongs in {' or '.join(places)}"
    keys = sections[section]
    return f"unknown key {shown(key)}{nearest(key[:60], keys) or '; known here are ' + ', '.join(keys)}"


class Pair(NamedTuple):
    """A key with its value on lines of their own; offsets into the text."""

    path: Path
    table: Path
    """Path of the header that it stands under."""
    start: int
    end: int


class Scan:
    """One pass over a valid text: it looks at structure only, so it needs no checks of its own."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.headers: list[Pair] = []
        """[table] and [[entry]], in their order; path and table are the same."""
        self.pairs: list[Pair] = []
        """Keys under them, without those inside inline tables."""
        self.values: dict[Path, tuple[int, int]] = {}
        """Where each value and each element of an array begins and ends."""
        self.at = 0
        self.newlines = [match.start() for match in re.finditer("\n", text)]
        self.lines: dict[Path, int] = {}
        self.last: dict[Path, int] = {}
        """Index of the newest element of each array of tables."""

    def run(self) -> dict[Path, int]:
        """Line of each table, key and array element, counted from 1; the rest is then known too."""
        table: Path = ()
        while self._skip() < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                start = self.at
                path = self._pair(table)
                self.pairs.append(Pair(path, table, start, self.values[path][1]))
        return self.lines

    def _line(self) -> int:
        return bisect_right(self.newlines, self.at - 1) + 1

    def _skip(self, what: re.Pattern[str] = _BLANK) -> int:
        """Pass over what stands here, and say where that leads."""
        match = what.match(self.text, self.at)
        self.at = match.end() if match else self.at
        return self.at

    def _header(self) -> Path:
        line, start = self._line(), self.at
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
        self.headers.append(Pair(path, path, start, self.at))
        self.lines[path] = line  # also over what [furnace.timing] said about [furnace] before
        return path

    def _names(self) -> list[str]:
        """Parts of a dotted key; stops at what follows it."""
        names = []
        while True:
            start = self._skip()
            if self.text[start] in "\"'":
                names.append(str(tomllib.loads(f"key = {self.text[start : self._skip(STRING)]}")["key"]))
            else:
                names.append(self.text[start : self._skip(_BARE_KEY)])
            if self.text[self._skip()] != ".":
                return names
            self.at += 1

    def _pair(self, table: Path) -> Path:
        line = self._line()
        path = table
        for name in self._names():
            path += (name,)
            self.lines.setdefault(path, line)
        self.at += 1
        self._value(path)
        return path

    def _value(self, path: Path) -> None:
        start = self._skip()
        opening = self.text[start]
        if opening in "[{":
            self._items(path)
        else:
            self._skip(STRING if opening in "\"'" else _BARE_VALUE)
        self.values[path] = (start, start + len(self.text[start : self.at].rstrip()))

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
