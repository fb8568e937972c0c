"""Readings of a recording as arrays in the order in which the live page would have taken them in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Quality, Series
from collector.speakers import HOLD, Speakers
from collector.typed import is_typed

Times = NDArray[np.int64]
TICK = 1_000_000
"""Seconds since 1970 in a float are exact to a quarter of this: times are taken to it, so that delays fit. [1/s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """Readings of one source of a point or derived quantity."""

    source: str
    """Key of the channel, or name of the derived quantity."""
    time: Times
    """(n,) from the first reading of the recording. [ns]"""
    value: NDArray[np.float64]
    """(n,) NaN where there is none. [inside unit]"""
    suspect: NDArray[np.bool_] | None
    """(n,) whether the value is not to be trusted; None where all are."""
    order: int | NDArray[np.int64]
    """() or (n,) place among readings of the same time."""
    typed: bool = False

    def quality(self, place: int) -> Quality:
        """Of a reading; BAD where it has no value."""
        if self.value[place] != self.value[place]:
            return Quality.BAD
        return Quality.SUSPECT if self.suspect is not None and self.suspect[place] else Quality.GOOD

    def orders(self) -> NDArray[np.int64]:
        """(n,) place of each."""
        return np.broadcast_to(np.asarray(self.order, np.int64), self.time.shape)

    def only(self, kept: NDArray[np.bool_]) -> "Stream":
        """Those readings alone."""
        order = self.order if isinstance(self.order, int) else self.order[kept]
        suspect = None if self.suspect is None else self.suspect[kept]
        return replace(self, time=self.time[kept], value=self.value[kept], suspect=suspect, order=order)


def streams_of(
    series: Sequence[Series], doubtful: Mapping[str, NDArray[np.float64]]
) -> tuple[float, dict[str, list[Stream]]]:
    """First time [s], and the readings of each point; `doubtful` has the times of suspect ones by key [s]."""
    firsts = [float(one.time[0]) for one in series if one.time.size]
    start = min(firsts, default=0.0)
    base = round(start * TICK)
    found: dict[str, list[Stream]] = {}
    for order, one in enumerate(series):
        if not one.time.size:
            continue
        time = (np.rint(one.time * TICK).astype(np.int64) - base) * (NANOSECONDS // TICK)
        suspect = None
        if (doubts := doubtful.get(one.channel.key)) is not None and len(doubts):
            suspect = np.isin(np.rint(one.time * TICK), np.rint(np.asarray(doubts) * TICK))
        stream = Stream(one.channel.key, time, one.value, suspect, order, is_typed(one.channel.instrument))
        found.setdefault(one.channel.point, []).append(stream)
    return base / TICK, found


def joined(streams: Sequence[Stream]) -> Stream:
    """Streams as one, in the order in which their readings came."""
    if len(streams) == 1:
        return streams[0]
    place = in_order(streams)
    suspect = None
    if any(one.suspect is not None for one in streams):
        none = [np.zeros(one.time.size, np.bool_) if one.suspect is None else one.suspect for one in streams]
        suspect = np.concatenate(none)[place]
    order = np.concatenate([one.orders() for one in streams])[place]
    time, value = (np.concatenate([getattr(one, name) for one in streams])[place] for name in ("time", "value"))
    return Stream(streams[0].source, time, value, suspect, order)


def in_order(streams: Sequence[Stream]) -> NDArray[np.int64]:
    """Places in the streams laid end to end, in the order in which the readings came."""
    time = np.concatenate([one.time for one in streams])
    if all(isinstance(one.order, int) for one in streams):
        orders = [int(one.order) for one in streams if isinstance(one.order, int)]
        if orders == sorted(orders):
            return np.argsort(time, kind="stable")
    return np.lexsort((np.concatenate([one.orders() for one in streams]), time))


def speaking(streams: Sequence[Stream]) -> Stream:
    """What stands for a point that several instruments read, as `Speakers` chooses them."""
    if len(streams) == 1:
        return streams[0]
    first = min(streams, key=lambda one: (one.time[0], np.min(one.orders())))
    last = max(int(one.time[-1]) for one in streams)
    hole = int(np.max(np.diff(np.append(first.time, last)), initial=0))
    if not first.typed and hole <= HOLD and not np.isnan(first.value).any():
        return first
    speakers, mixed = Speakers(), joined(streams)
    number = np.concatenate([np.full(one.time.size, index) for index, one in enumerate(streams)])[in_order(streams)]
    kept = np.zeros(mixed.time.size, np.bool_)
    for place, (time, index) in enumerate(zip(mixed.time.tolist(), number.tolist(), strict=True)):
        kept[place] = speakers.hear("", streams[index].source, time, mixed.quality(place))
    return mixed.only(kept)
