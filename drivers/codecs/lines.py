"""Lines of text as instruments send them: bytes to lines, lines to numbers, and what could not be read."""

import math
import re
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field
from enum import StrEnum

from analysis.model import NANOSECONDS, Event, EventKind

INFINITY = 9.9e37
"""Magnitude from which a number means infinity. Source: SCPI-99 volume 1, 7.2.1.4."""
NO_NUMBER = 9.91e37
"""What an instrument writes where it has no value. Source: SCPI-99 volume 1, 7.2.1.5."""

SUMMARY = 10 * NANOSECONDS
"""Least time between two summaries of unreadable lines. [ns]"""

_LINE_END = re.compile(rb"\r\n|\r|\n")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_AMBIGUOUS = re.compile(r"[+-]?\d+,\d{3}", re.ASCII)
_BASED = re.compile(r"#(?:H(?P<h>[0-9A-F]{1,16})|Q(?P<q>[0-7]{1,21})|B(?P<b>[01]{1,64}))", re.IGNORECASE)
"""Hexadecimal, octal and binary response data of IEEE 488.2."""
_BASES = {"h": 16, "q": 8, "b": 2}
_TOKEN = re.compile(
    r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|(?P<open>\()|(?P<close>\))"
    r"|(?P<repeat>(?:[*+]|\{\d*,(?P<most>\d*)\})(?P<mode>[?+]?))|.",
    re.DOTALL,
)
"""Pieces of a regular expression, as far as nested repeats need them."""


class Unreadable(StrEnum):
    """Why a line gives no value, or not all of them."""

    NOT_MATCHED = "does not fit the pattern"
    NOT_A_NUMBER = "has no number where one belongs"
    AMBIGUOUS = "has a number such as 1,234, whose comma may be a decimal sign or not (say decimal in its profile)"
    TOO_LONG = "is too long"
    TOO_FEW = "has fewer columns than its profile says"
    TOO_SHORT = "ends before its columns"
    NO_HEADINGS = "comes before the line with its headings"
    NOT_ASKED = "belongs to no question of its profile"


class LineFramer:
    """Cuts a stream of bytes at LF, CR or CRLF and holds at most `limit` [bytes] of an unfinished line.

    A longer run is discarded up to the next line end and counted.
    """

    def __init__(self, limit: int = 4096) -> None:
        if limit < 1:
            raise ValueError(f"a line cannot be limited to {limit} bytes")
        self.discarded_bytes = 0
        """Bytes of lines that were not handed out, line ends not counted."""
        self.overlong_lines = 0
        self.cut_lines = 0
        """Lines discarded because their beginning was missing."""
        self._limit = limit
        self._told = 0
        self._partial = bytearray()
        self._skipping = False
        self._cut = False
        self._after_return = False

    def feed(self, chunk: bytes) -> list[bytes]:
        """Lines completed by this chunk, without their ends; blank lines too."""
        if not chunk:
            return []
        if self._after_return and chunk.startswith(b"\n"):
            chunk = chunk[1:]
        self._after_return = chunk.endswith(b"\r")
        *pieces, rest = _LINE_END.split(chunk)
        lines = [line for piece in pieces if (line := self._complete(piece)) is not None]
        self._hold(rest)
        return lines

    def cut(self) -> None:
        """Bytes are missing here: the unfinished line and all up to the next line end are discarded."""
        self.clear()
        self._skipping = self._cut = True

    def timed(self, chunk: bytes, time: int) -> list[tuple[bytes, int]]:
        """As `feed`, each line with the time of its end, which is that of the chunk. [ns]"""
        return [(line, time) for line in self.feed(chunk)]

    def refusals(self) -> list[tuple[str, bytes]]:
        """What was too long since the last call: why, and as much of it as there is to show."""
        count, self._told = self.overlong_lines - self._told, self.overlong_lines
        return [(f"has no end within {self._limit} bytes", b"")] * count

    def counts(self) -> dict[str, int]:
        """What was lost. [1]"""
        return {"discarded_bytes": self.discarded_bytes, "cut_lines": self.cut_lines}

    @staticmethod
    def messages_in(data: bytes) -> int:
        """Lines that end in these bytes. [1]"""
        return data.count(b"\n") + data.count(b"\r") - data.count(b"\r\n")

    @property
    def unfinished(self) -> bool:
        """Whether it holds a line without its end."""
        return bool(self._partial)

    def clear(self) -> None:
        """The stream begins anew: the unfinished line is discarded."""
        self._discard(b"")
        self._skipping = self._cut = self._after_return = False

    def _complete(self, piece: bytes) -> bytes | None:
        if self._skipping:
            self._discard(piece)
            self.cut_lines += self._cut
            self._skipping = self._cut = False
            return None
        if len(self._partial) + len(piece) > self._limit:
            self._discard(piece)
            self.overlong_lines += 1
            return None
        line = bytes(self._partial) + piece
        self._partial.clear()
        return line

    def _hold(self, rest: bytes) -> None:
        if self._skipping:
            self._discard(rest)
        elif len(self._partial) + len(rest) > self._limit:
            self._discard(rest)
            self.overlong_lines += 1
            self._skipping = True
        else:
            self._partial += rest

    def _discard(self, rest: bytes) -> None:
        self.discarded_bytes += len(self._partial) + len(rest)
        self._partial.clear()


class LinePattern:
    """A whole line as a regular expression with a named group per number.

    `fields` are the groups that hold numbers (a mapping by group will do). Blanks around the line are ignored, letters
    and digits are ASCII, and a group that took no part is left out.
    Lines beyond `longest` [bytes] are not tried, and a repeat without bound around another one is refused: the usual
    cause of a match that takes for ever. ValueError in one sentence when the pattern cannot work.
    """

    def __init__(self, pattern: str, fields: Collection[str], *, longest: int = 512) -> None:
        try:
            self._expression = re.compile(pattern, re.ASCII)
        except (re.error, ValueError, OverflowError, RecursionError) as error:
            raise ValueError(f"pattern '{pattern}' is not a regular expression: {error}") from error
        groups = self._expression.groupindex
        missing = [field for field in fields if field not in groups]
        if missing or not fields:
            wanted = ", ".join(f"(?P<{field}>...)" for field in missing) or "(?P<name>...)"
            raise ValueError(f"pattern '{pattern}' has no group {wanted}; its groups: {', '.join(groups) or 'none'}")
        if _repeats_a_repeat(pattern):
            raise ValueError(
                f"pattern '{pattern}' repeats a part that repeats itself and may take for ever; "
                "write \\* or \\+ where the message itself has that character, else give the outer one a count such as "
                "{3} or make the inner one possessive such as \\d++"
            )
        self._fields = tuple(fields)
        self._longest = longest

    def texts(self, line: bytes) -> dict[str, str] | Unreadable:
        """Texts of the line by group that took part, or why it is not read."""
        if len(line) > self._longest:
            return Unreadable.TOO_LONG
        match = self._expression.fullmatch(line.decode("utf-8", errors="replace").strip())
        if match is None:
            return Unreadable.NOT_MATCHED
        return {field: match[field] for field in self._fields if match[field] is not None}


@dataclass(slots=True)
class Problems:
    """Tells the first unreadable message of a kind at once and sums up the others, at most every ten seconds."""

    name: str
    """The instrument's."""
    thing: str = "line"
    """What it sends: lines, or messages."""
    told: set[str] = field(default_factory=set)
    waiting: Counter[str] = field(default_factory=Counter)
    last: int = 0
    """When something was told. [ns]"""

    def add(self, kind: str, message: bytes, time: int) -> list[Event]:
        """Event with the text of the message for the first of its kind, none for the others."""
        if kind in self.told:
            self.waiting[kind] += 1
            return []
        self.told.add(kind)
        self.last = time
        shown = repr(message.decode("utf-8", errors="backslashreplace"))[:80]
        text = f"{self.name}: a {self.thing} {kind}: {shown}; further ones are counted"
        return [Event(time, EventKind.PROBLEM, text, self.name, {"kind": kind, "line": shown})]

    def summary(self, time: int, pause: int = SUMMARY) -> list[Event]:
        """Event with the counts since the last one, when there are any and `pause` [ns] passed."""
        if not self.waiting or 0 <= time - self.last < pause:
            return []
        self.last = time
        counts, self.waiting = dict(self.waiting), Counter()
        parts = ", ".join(f"{count} x {kind}" for kind, count in counts.items())
        text = f"{self.name}: further {self.thing}s could not be read: {parts}"
        return [Event(time, EventKind.PROBLEM, text, self.name, {"counts": counts})]


def is_ambiguous(text: str) -> bool:
    """Whether a comma stands in a number where one between thousands would."""
    return _AMBIGUOUS.fullmatch(text.strip()) is not None


def number_in(text: str, decimal: str | None = None) -> float | None:
    """Number of a text: infinite beyond the range of values, NaN where it says that it has none.

    None where it is no number at all. Decimal numbers, a comma may be their sign (NR1, NR2 and NR3 of IEEE 488.2 among
    them), and `#H`, `#Q`, `#B`. `decimal` is the only sign that is taken, None: both, but not an ambiguous one.
    """
    text = text.strip()
    if is_ambiguous(text) if decimal is None else {",": ".", ".": ","}[decimal] in text:
        return None
    if _NUMBER.fullmatch(text) is None:
        based = _BASED.fullmatch(text)
        return float(int(based[based.lastgroup], _BASES[based.lastgroup])) if based and based.lastgroup else None
    value = float(text.replace(",", "."))
    if math.isclose(value, NO_NUMBER, rel_tol=1e-5):
        return math.nan
    return value if abs(value) < INFINITY else math.copysign(math.inf, value)


def _repeats_a_repeat(pattern: str) -> bool:
    """Whether a repeat without bound stands around another repeat, both able to give back what they took."""
    repeats = [False]
    just_closed = False
    for token in _TOKEN.finditer(pattern):
        around, just_closed = just_closed, False
        if token["open"]:
            repeats.append(False)
        elif token["close"]:
            just_closed = repeats.pop()
            repeats[-1] |= just_closed
        elif token["repeat"] and token["mode"] != "+":
            if around and not token["most"]:
                return True
            repeats[-1] = True
    return False
