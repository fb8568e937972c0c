"""How the readings of a channel arrive: how many, how long ago, how often."""

HALF_LIFE = 2.0
"""Time in which the smoothed rate goes half the way to a new one. [s]"""


class Arrivals:
    """Arrivals of one channel; times are monotonic."""

    def __init__(self) -> None:
        self.count = 0
        """Readings that came. [1]"""
        self.last: float | None = None
        """When the last one came. [s]"""
        self.rate = 0.0
        """Smoothed. [1/s]"""

    def arrive(self, now: float) -> None:
        """A reading came at `now` [s]."""
        self.count += 1
        if self.last is not None:
            spacing = max(now - self.last, 1e-6)
            self.rate += (1 - 2.0 ** (-spacing / HALF_LIFE)) * (1 / spacing - self.rate)
        self.last = now

    def age(self, now: float) -> float | None:
        """Time since the last reading, None when there was none. [s]"""
        return None if self.last is None else now - self.last
