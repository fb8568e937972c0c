"""How an analysis is set for people: lines of one width, times from the first row, attempts counted."""

import math
import textwrap
from collections import Counter
from collections.abc import Sequence

from analysis.sequence.attempts import Attempt
from collector.sequence_words import OUTCOME_WORDS

WIDTH = 100
"""Longest line. [characters]"""
KEEP = "\u00a0"
"""Between words that stay on one line."""


def tally(found: Sequence[Attempt]) -> str:
    """Attempts by outcome, the most first: `7 attempts: 6 draft lost, 1 heated`."""
    if not found:
        return "no attempt"
    count = Counter(attempt.outcome for attempt in found)
    order = sorted(count, key=lambda outcome: (-count[outcome], list(OUTCOME_WORDS).index(outcome)))
    total = f"{len(found)} attempt{'s' if len(found) > 1 else ''}"
    return f"{total}: {', '.join(f'{count[outcome]} {OUTCOME_WORDS[outcome].short}' for outcome in order)}"


def moment(time: float) -> str:
    """A time from the first row, to a tenth: `6:13.4`, `1:02:13.4`. [s]"""
    if not math.isfinite(time):
        return "-"
    tenths = round(abs(time) * 10)
    hours, minutes, left = tenths // 36000, tenths // 600 % 60, tenths % 600 / 10
    sign = "-" if time < 0 and tenths else ""
    return f"{sign}{hours}:{minutes:02d}:{left:04.1f}" if hours else f"{sign}{minutes}:{left:04.1f}"


def wrapped(text: str, indent: int, *, first: int | None = None) -> list[str]:
    """A text on lines of `WIDTH`; what a no-break space holds together stays together."""
    rows = textwrap.wrap(
        text,
        WIDTH,
        initial_indent=" " * (indent if first is None else first),
        subsequent_indent=" " * indent,
        break_on_hyphens=False,
    )
    return [row.replace(KEEP, " ") for row in rows]


def lasted(seconds: float) -> str:
    """How long something took."""
    return f"{seconds:.1f}{KEEP}s" if seconds < 60 else moment(seconds)


def timed(time: float, u: float) -> str:
    """A moment with twice its standard uncertainty, both [s]."""
    if not math.isfinite(time):
        return "-"
    return f"{moment(time)} ± {max(2 * u, 0.1):.1f}" if math.isfinite(u) else moment(time)
