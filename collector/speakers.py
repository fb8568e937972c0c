"""Which instrument stands for a point that several read: what is derived must never mix two of them."""

from functools import lru_cache

from analysis.model import NANOSECONDS, Quality
from collector.typed import is_typed

HOLD = 10 * NANOSECONDS
SPACINGS = 3
"""An instrument silent for longer than this, and than so many of its usual spacings, gives way to another. [ns] [1]"""


class Speakers:
    """For each point the channel that stands for it.

    One that is measured before one typed in, a live one before a silent one, a good one before a bad one, and else the
    one that was first.
    """

    def __init__(self) -> None:
        self.of: dict[str, str] = {}
        """Point to the key of the channel that stands for it."""
        self._last: dict[str, tuple[int, int, Quality]] = {}

    def hear(self, point: str, key: str, time: int, quality: Quality) -> bool:
        """A reading of a point by a channel at `time` [ns]: whether it stands for the point."""
        before = self._last.get(key)
        interval = time - before[0] if before else 0
        self._last[key] = (time, max(0, interval), quality)
        current = self.of.setdefault(point, key)
        if current != key and self._gives_way(current, key, time, quality):
            self.of[point] = current = key
        return current == key

    def change_over(self, point: str, before: str, after: str) -> None:
        """One meter goes on as another channel, in another unit: that stands where the first one did."""
        if before in self._last:
            self._last[after] = self._last.pop(before)
        if self.of.get(point) == before and after in self._last:
            self.of[point] = after

    def forget(self, point: str, key: str) -> bool:
        """A channel is gone: whether it stood for its point; whoever is read next stands for it then."""
        self._last.pop(key, None)
        if self.of.get(point) != key:
            return False
        del self.of[point]
        return True

    def _gives_way(self, current: str, key: str, time: int, quality: Quality) -> bool:
        if _typed_in(current) != _typed_in(key):
            return _typed_in(current) or self._silent(current, time)
        last = self._last[current]
        return self._silent(current, time) or (last[2] is Quality.BAD and quality is not Quality.BAD)

    def _silent(self, key: str, time: int) -> bool:
        last, interval, _ = self._last[key]
        return time - last > max(HOLD, SPACINGS * interval)


@lru_cache(4096)
def _typed_in(key: str) -> bool:
    return is_typed(key.partition("@")[2])
