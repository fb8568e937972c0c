"""Readings as lines of line protocol: which tags they have, and which of them can be written at all.

A line is checked before it is sent: a server may answer success to a line that it could not read.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

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
        known = np.isnan(rows.value) | (np.abs(rows.value) <= LARGEST)
        time, value, quality = rows.time[known], rows.value[known], rows.quality[known]
        text = [
            f"{self._head(q)}value={v!r} {t}" if not math.isnan(v) else f"{self._head(q)}missing=1 {t}"
            for t, v, q in zip(time.tolist(), value.tolist(), quality.tolist(), strict=True)
        ]
        shared = np.flatnonzero(np.diff(rows.time[known] // MILLISECOND) == 0) + 1
        for place in shared.tolist():
            at, field = int(time[place]), text[place].rpartition(" ")[0].rpartition(" ")[2]
            own = {**self._tags, "quality": QUALITY[int(quality[place])], "ns": str(at % MILLISECOND)}
            text[place] = f"{head(MEASUREMENT, own)}{field} {at}"
        return Lines(text, time, rows.time[~known], len(shared))

    def _head(self, quality: int) -> str:
        found = self._heads.get(quality)
        if found is None:
            found = self._heads[quality] = head(MEASUREMENT, {**self._tags, "quality": QUALITY[quality]})
        return found


def sender(about: Mapping[str, str], time: int, *, behind: float, aside: int) -> str:
    """What a sender says of itself: how far behind it is [s], and how many readings were set aside."""
    own = {name: tag(text) for name, text in about.items()}
    return f"{head(SENDER, own)}behind={float(behind)!r},aside={float(aside)!r} {time}"
