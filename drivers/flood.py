"""How much an instrument may say, so that one that says too much does not keep the others from being heard."""

from collections.abc import Callable
from dataclasses import dataclass, field
from time import monotonic

MOST = 2_000.0
"""Messages that an instrument may hand over; what 115,200 baud can carry is less. [1/s]"""
BURST = 1_000.0
"""Messages that it may hand over at once after a rest. [1]"""
WEIGHT = 100
"""A message counts once for each so many bytes, so that noise without an end of line is limited too. [bytes]"""


@dataclass(slots=True)
class Limit:
    """A store of permissions that fills at a steady rate; a chunk takes from it, and into debt, while there are any."""

    rate: float = MOST
    """[1/s]"""
    burst: float = BURST
    """[1]"""
    clock: Callable[[], float] = monotonic
    """[s]"""
    left: float = field(init=False)
    last: float = field(init=False)

    def __post_init__(self) -> None:
        """Full at the start."""
        self.left, self.last = self.burst, self.clock()

    def allows(self, messages: int, size: int) -> bool:
        """Take a chunk with so many messages [1] and of this size [bytes] where that is within the limit."""
        now = self.clock()
        self.left = min(self.burst, self.left + (now - self.last) * self.rate)
        self.last = now
        if self.left <= 0:
            return False
        self.left -= max(messages, size / WEIGHT)
        return True
