"""What many tests share: waiting for a condition, a clock that only moves when told."""

import asyncio
import time
from collections.abc import Callable

from analysis.model import NANOSECONDS


async def until(condition: Callable[[], object], *, within: float = 10.0, what: str = "condition") -> None:
    """Wait until the condition holds; AssertionError naming it after `within` [s]."""
    deadline = time.monotonic() + within
    while not condition():
        if time.monotonic() > deadline:
            raise AssertionError(f"not within {within} s: {what}")
        await asyncio.sleep(0.005)


class StillClock:
    """Recording time that only moves when told."""

    def __init__(self, start: float = 1_768_372_280.0) -> None:
        self.time = round(start * NANOSECONDS)

    def __call__(self) -> int:
        """Now, UTC since 1970. [ns]"""
        return self.time

    def advance(self, seconds: float) -> None:
        """Move on by `seconds` [s]."""
        self.time += round(seconds * NANOSECONDS)
