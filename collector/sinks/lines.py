"""Readings as lines of line protocol: which tags they have, and which of them can be written at all.

A line is checked before it is sent: a server may answer success to a line that it could not read.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Quality, origin_of
from collector.rows import Rows
from collector.sinks.influx import head

MEASUREMENT, SENDER = "lightoff", "lightoff_sender"
"""Of readings, and of what the sender says of itself."""
MILLISECOND = 1_000_000
"""Servers may keep no finer time. [ns]"""
LARGEST = 1e12
"""A server may keep a block of values as integers with one common exponent: a huge one would take the digits of the
others. [native unit]"""
QUALITY = {int(Quality.GOOD): "good", int(Quality.SUSPECT): "suspect", int(Quality.BAD): "bad"}
NO_NUMBER = f"no number that a server keeps beside others (not finite, or above {LARGEST:g})"

_UNSAFE = re.compile(r"[\x00-\x1f\x7f\\]|%(?=[0-9A-F]{2})")


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Lines of one channel."""

    text: list[str]
    time: NDArray[np.int64]
    """(n,) of the reading of each line. [ns]"""
    refused: NDArray[np.int64]
    """(m,) of readings of which no line can be made. [ns]"""
    shared: int
    """Lines whose millisecond has an earlier reading too. [1]"""


def tag(text: str) -> str:
    """A name as a tag: what the protocol has no sign for, and whatever looks like it, is written as in a URL."""
    return _UNSAFE.sub(lambda found: f"%{ord(found[0]):02X}", text)


def tags_of(channel: Channel, about: Mapping[str, str]) -> dict[str, str]:
    """Tags of a channel's readings but the quality; `about` are those of the call."""
    own = {
        "point": channel.point,
        "instrument": channel.instrument,
        "unit": channel.unit,
        "origin": origin_of(channel.instrument) or "live",
    }
    return {name: tag(text) for name, text in {**about, **own}.items()}


class Writer:
    """Makes the lines of one channel."""

    def __init__(self, channel: Channel, about: Mapping[str, str]) -> None:
        self._tags = tags_of(channel, about)
        self._heads: dict[int, str] = {}

    def lines(self, rows: Rows) -> Lines:
        """A line each reading, in the order of time.

        Readings without a value have the field `missing` instead. The second and further readings of one millisecond
        have the rest of their time as the tag `ns`, so that a server that keeps milliseconds keeps them all.
        """
        text: list[str] = []
        times: list[int] = []
        refused: list[int] = []
        shared, last = 0, None
        # a plain loop: most calls are for a few readings, for which arrays cost more than they save
        for at, value, quality in zip(rows.time.tolist(), rows.value.tolist(), rows.quality.tolist(), strict=True):
            if isnan(value):
                field = "missing=1"
            elif -LARGEST <= value <= LARGEST:
                field = f"value={value!r}"
            else:
                refused.append(at)
                continue
            millisecond = at // MILLISECOND
            if millisecond == last:
                shared += 1
                begin = self._beginning(quality, at % MILLISECOND)
            else:
                begin = self._heads.get(quality) or self._head(quality)
            last = millisecond
            text.append(f"{begin}{field} {at}")
            times.append(at)
        return Lines(text, np.array(times, np.int64), np.array(refused, np.int64), shared)

    def _beginning(self, quality: int, rest: int) -> str:
        return head(MEASUREMENT, {**self._tags, "quality": QUALITY[quality], "ns": str(rest)})

    def _head(self, quality: int) -> str:
        found = self._heads[quality] = head(MEASUREMENT, {**self._tags, "quality": QUALITY[quality]})
        return found


def sender(about: Mapping[str, str], time: int, *, behind: float, aside: int) -> str:
    """What a sender says of itself: how far behind it is [s], and how many readings were set aside."""
    own = {name: tag(text) for name, text in about.items()}
    return f"{head(SENDER, own)}behind={float(behind)!r},aside={float(aside)!r} {time}"
