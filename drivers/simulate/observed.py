"""What goes into meters and what comes out of them: a block of what was true, and of what was shown."""

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Event, Reading
from drivers.base import Emission

Array = NDArray[np.float64]
Times = NDArray[np.int64]


class Block(Protocol):
    """What was true over a span."""

    @property
    def time(self) -> Array:
        """(n,) evenly spaced, going on where the last block ended. [s]"""
        ...

    @property
    def values(self) -> Mapping[str, Array]:
        """(n,) by point, NaN where there is no such thing. [inside units]"""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """What one channel showed in a block."""

    channel: Channel
    time: Times
    """(n,) by the meter's clock, from the plant's second zero, strictly increasing. [ns]"""
    value: Array
    """(n,) [native unit]"""


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """What all meters showed in a block."""

    begun: tuple[Channel, ...]
    """Channels that have their first reading in it."""
    readings: tuple[Readings, ...]
    events: tuple[Event, ...]
    """Times count from the plant's second zero. [ns]"""

    def timed(self, start: int = 0) -> Iterator[tuple[int, Emission]]:
        """Everything in the order of its time, `start` [ns] added: a channel before its first reading."""
        begun = {channel.key: channel for channel in self.begun}
        events = deque(sorted(self.events, key=lambda event: event.time))
        keys = [readings.channel.key for readings in self.readings]
        times = np.concatenate([np.empty(0, np.int64), *(readings.time for readings in self.readings)])
        values = np.concatenate([np.empty(0), *(readings.value for readings in self.readings)])
        owners = np.repeat(np.arange(len(keys)), [readings.time.size for readings in self.readings])
        order = np.argsort(times, kind="stable")
        rows = zip(times[order].tolist(), values[order].tolist(), owners[order].tolist(), strict=True)
        for time, value, owner in rows:
            while events and events[0].time <= time:
                yield _shifted(events.popleft(), start)
            key = keys[owner]
            if key in begun:
                yield time + start, begun.pop(key)
            yield time + start, Reading(key, time + start, value)
        for event in events:
            yield _shifted(event, start)


def _shifted(event: Event, start: int) -> tuple[int, Event]:
    return event.time + start, replace(event, time=event.time + start)
