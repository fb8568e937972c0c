"""Lines of text as instruments send them: bytes to lines, lines to numbers, and what could not be read."""

import math
import re
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field
from enum import StrEnum

from analysis.model import NANOSECONDS, Event, EventKind

INFINITY = 9.9e37
"""Magnitude from which a number means infinity (9.9E37) or not a number (9.91E37). Source: SCPI-99 volume 1, 7.2.1."""

SUMMARY = 10 * NANOSECONDS
"""Least time between two summaries of unreadable lines. [ns]"""

_LINE_END = re.compile(rb"\r\n|\r|\n")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_TOKEN = re.compile(
    r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|(?P<open>\()|(?P<close>\))"
    r"|(?P<repeat>(?:[*+]|\{\d*,(?P<most>\d*)\})(?P<mode>[?+]?))|.",
    re.DOTALL,
)
"""Pieces of a regular expression, as far as nested repeats need them."""


class Unreadable(StrEnum):
    """Why a line gives no number."""

    NOT_MATCHED = "does not fit the pattern"
    NOT_A_NUMBER = "has no number where one belongs"
    NOT_FINITE = "has a number that stands for overrange or no value"
    TOO_LONG = "is too long"


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
    and digits are ASCII, a comma in a number is its decimal sign, and a group that took no part is left out.
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
                "give the outer one a count such as {3} or make the inner one possessive such as \\d++"
            )
        self.unreadable: Counter[Unreadable] = Counter()
        """Lines per reason that were not read, or not in full."""
        self.reason: Unreadable | None = None
        """Why the last line was not read, or not in full."""
        self._fields = tuple(fields)
        self._longest = longest

    def texts(self, line: bytes) -> dict[str, str] | None:
        """Texts of the line by group that took part; None, counted by reason, where it does not fit."""
        self.reason = None
        if len(line) > self._longest:
            self._refuse(Unreadable.TOO_LONG)
            return None
        match = self._expression.fullmatch(line.decode("utf-8", errors="replace").strip())
        if match is None:
            self._refuse(Unreadable.NOT_MATCHED)
            return None
        return {field: match[field] for field in self._fields if match[field] is not None}

    def decode(self, line: bytes) -> dict[str, float] | None:
        """Numbers of the line by group; None, counted by reason, when there is none that can be read."""
        texts = self.texts(line)
        if texts is None:
            return None
        numbers = {field: number_in(text) for field, text in texts.items()}
        values = {field: number for field, number in numbers.items() if math.isfinite(number)}
        if len(values) < len(numbers) or not numbers:
            infinite = any(math.isinf(number) for number in numbers.values())
            self._refuse(Unreadable.NOT_FINITE if infinite else Unreadable.NOT_A_NUMBER)
        return values or None

    def _refuse(self, reason: Unreadable) -> None:
        self.reason = reason
        self.unreadable[reason] += 1


@dataclass(slots=True)
class Problems:
    """Tells the first unreadable line of a kind at once and sums up the others, at most every ten seconds."""

    name: str
    """The instrument's."""
    told: set[str] = field(default_factory=set)
    waiting: Counter[str] = field(default_factory=Counter)
    last: int = 0
    """When something was told. [ns]"""

    def add(self, kind: str, line: bytes, time: int) -> list[Event]:
        """Event with the line's text for the first of its kind, none for the others."""
        if kind in self.told:
            self.waiting[kind] += 1
            return []
        self.told.add(kind)
        self.last = time
        shown = repr(line.decode("utf-8", errors="backslashreplace"))[:80]
        text = f"{self.name}: a line {kind}: {shown}; further ones are counted"
        return [Event(time, EventKind.PROBLEM, text, self.name, {"kind": kind, "line": shown})]

    def summary(self, time: int, pause: int = SUMMARY) -> list[Event]:
        """Event with the counts since the last one, when there are any and `pause` [ns] passed."""
        if not self.waiting or 0 <= time - self.last < pause:
            return []
        self.last = time
        counts, self.waiting = dict(self.waiting), Counter()
        parts = ", ".join(f"{count} x {kind}" for kind, count in counts.items())
        text = f"{self.name}: further lines could not be read: {parts}"
        return [Event(time, EventKind.PROBLEM, text, self.name, {"counts": counts})]


def number_in(text: str) -> float:
    """Value of a decimal number; infinite beyond the range of values, NaN when the text is no number."""
    text = text.strip()
    if _NUMBER.fullmatch(text) is None:
        return math.nan
    value = float(text.replace(",", "."))
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
