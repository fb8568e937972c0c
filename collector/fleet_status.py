"""What a worker of the archive has done and how far it is behind."""

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np

FINEST, STEP, STEPS = 0.001, 1.1, 160
"""Delays are counted in steps of a tenth, from a millisecond to about an hour. [s], [1], [1]"""
MOST_REASONS = 20
"""Reasons why something was set aside; further ones are counted together. [1]"""


class Delays:
    """How many messages took how long; of any number of them the same small table."""

    def __init__(self) -> None:
        self._counts = np.zeros(STEPS, np.int64)

    def add(self, seconds: float, count: int = 1) -> None:
        """So many took so long. [s]"""
        step = math.log(max(seconds, FINEST) / FINEST) / math.log(STEP)
        self._counts[min(round(step), STEPS - 1)] += count

    def share(self, part: float) -> float | None:
        """What a part of them took at the most, within 5 %; None where there are none. [s]"""
        total = int(self._counts.sum())
        if not total:
            return None
        step = int(np.searchsorted(np.cumsum(self._counts), math.ceil(part * total)))
        return float(FINEST * STEP**step)


@dataclass(slots=True)
class WorkerStatus:
    """Counts since the worker began."""

    readings: int = 0
    """That the server has answered for, those that came twice counted twice. [1]"""
    messages: int = 0
    """That were acknowledged to the broker. [1]"""
    repeated: int = 0
    """Messages that the broker had sent before, to a worker that did not acknowledge them. [1]"""
    again: int = 0
    """Messages sent to the server a second time, since it may have been started anew. [1]"""
    uncovered: int = 0
    """Messages forgotten before the server had them for sure: there were too many. [1]"""
    aside: Counter[str] = field(default_factory=Counter)
    """Readings, and messages that cannot be read, which the archive does not have, by the reason. [1]"""
    taken_over: int = 0
    """Sessions of other workers that this one emptied and ended. [1]"""
    forgotten: int = 0
    """Sessions that the broker no longer had: what waited in them is only in the recordings. [1]"""
    calls: int = 0
    """Whose channels are known. [1]"""
    connections: int = 0
    """To the broker. [1]"""
    text: str = ""
    """Why it waits, in one sentence."""
    delays: Delays = field(default_factory=Delays)
    """From the newest reading of a message until the server had answered for it."""

    def set_aside(self, why: str, count: int = 1) -> None:
        """The archive does not have these."""
        if why not in self.aside and len(self.aside) >= MOST_REASONS:
            why = "further reasons"
        self.aside[why] += count

    def told(self) -> dict[str, Any]:
        """Plain JSON values."""
        plain = {name: getattr(self, name) for name in self.__dataclass_fields__ if name not in ("aside", "delays")}
        p50, p99 = self.delays.share(0.5), self.delays.share(0.99)
        return {**plain, "aside": dict(self.aside), "delay_p50": p50, "delay_p99": p99}
