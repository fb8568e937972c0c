"""Recording time: wall time anchored to the monotonic clock, so that a stepping wall clock never moves a recording."""

import time
from collections.abc import Callable

from analysis.model import NANOSECONDS

SLEPT = 2 * NANOSECONDS
"""A longer absence of the monotonic clock is taken for sleep. [ns]"""


def _since_boot() -> int:
    """A clock that goes on while the machine sleeps: Linux's, macOS's, else the monotonic one, which does elsewhere."""
    clock = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))
    return time.clock_gettime_ns(clock) if clock is not None else time.monotonic_ns()


class Clock:
    """Gives UTC [ns]; follows the monotonic clock, and is anchored to wall time anew only after the machine slept."""

    def __init__(
        self,
        *,
        wall: Callable[[], int] = time.time_ns,
        monotonic: Callable[[], int] = time.monotonic_ns,
        since_boot: Callable[[], int] = _since_boot,
    ) -> None:
        self._wall, self._monotonic, self._since_boot = wall, monotonic, since_boot
        self._anchor()

    def _anchor(self) -> None:
        self._offset = self._wall() - self._monotonic()
        self._asleep = self._since_boot() - self._monotonic()

    def __call__(self) -> int:
        """Now, UTC since 1970. [ns]"""
        return self._monotonic() + self._offset

    def woke(self) -> float:
        """Anchor anew when the machine slept since the last look; how long it slept, else 0. [s]"""
        slept = self._since_boot() - self._monotonic() - self._asleep
        if slept < SLEPT:
            return 0.0
        self._anchor()
        return slept / NANOSECONDS
