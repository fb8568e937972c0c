"""Readings typed in: which of a channel's stands for now when one is dated back, and when one is withdrawn."""

from collections import deque
from functools import lru_cache

from analysis.model import Reading, origin_of

KEPT = 100
"""Entries of a channel that are remembered; of the older ones only the recording knows. [1]"""


@lru_cache(4096)
def is_typed(instrument: str) -> bool:
    """Whether an instrument's readings were typed in, now, in what is replayed, or on another machine."""
    return origin_of(instrument.removeprefix("shared: ").removeprefix("replay: ")) == "by hand"


class Typed:
    """The last entries of each channel, and what was withdrawn."""

    def __init__(self) -> None:
        self._entries: dict[str, deque[Reading]] = {}
        self._withdrawn: dict[str, set[int]] = {}

    def take(self, reading: Reading) -> bool:
        """Remember an entry; whether it is what the meter shows now: neither withdrawn, nor older than another."""
        if reading.time in self._withdrawn.get(reading.channel, ()):
            return False
        entries = self._entries.setdefault(reading.channel, deque(maxlen=KEPT))
        newest = max((one.time for one in entries), default=reading.time)
        entries.append(reading)
        return reading.time >= newest

    def withdraw(self, channel: str, at: int) -> bool:
        """Forget an entry; whether it was the newest of its channel."""
        self._withdrawn.setdefault(channel, set()).add(at)
        entries = self._entries.get(channel, deque())
        newest = self.newest(channel)
        kept = [one for one in entries if one.time != at]
        entries.clear()
        entries.extend(kept)
        return newest is not None and newest.time == at

    def newest(self, channel: str) -> Reading | None:
        """The entry that stands for now, None where there is none."""
        return max(self._entries.get(channel, ()), key=lambda one: one.time, default=None)

    def moved(self) -> None:
        """A replay was moved: what was entered at other times says nothing of now."""
        self._entries.clear()
