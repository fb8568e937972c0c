"""What a viewer lacks of a shared call, told by counts of readings in each minute of a channel."""

from collections.abc import Callable, Iterator, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

MINUTE: Final = 60_000_000_000
"""[ns]"""
LONGEST: Final = 10
"""Minutes of one span. [1]"""

Held = Callable[[str, int, int], NDArray[np.int64]]
"""Times of the readings that are recorded here, of a channel from a time to a time. [ns]"""
Span = tuple[int, int, int]
"""Number of a channel, first and last time. [ns]"""


def lacking(keys: Mapping[int, str], counts: Mapping[int, Mapping[int, int]], until: int, held: Held) -> list[Span]:
    """Spans in which the other side has more readings up to a time [ns], the newest first."""
    found = []
    for number, theirs in counts.items():
        if (key := keys.get(number)) is None or not theirs:
            continue
        time = held(key, min(theirs) * MINUTE, until)
        minutes, many = np.unique(time // MINUTE, return_counts=True)
        ours = dict(zip(minutes.tolist(), many.tolist(), strict=True))
        lacks = sorted(minute for minute, count in theirs.items() if ours.get(minute, 0) < count)
        found += [(number, first * MINUTE, min((last + 1) * MINUTE - 1, until)) for first, last in _runs(lacks)]
    return sorted(found, key=lambda span: -span[2])


def _runs(minutes: list[int]) -> Iterator[tuple[int, int]]:
    """Minutes that follow each other, as first and last."""
    first = last = None
    for minute in minutes:
        if first is None or last is None:
            first = last = minute
        elif minute == last + 1 and minute - first < LONGEST:
            last = minute
        else:
            yield first, last
            first = last = minute
    if first is not None and last is not None:
        yield first, last
