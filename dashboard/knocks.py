"""How often somebody may try a link: a few times a minute from one address, in a table of bounded size."""

import time
from collections import OrderedDict
from collections.abc import Callable

MINUTE = 60.0
"""[s]"""
OF_ONE = 10
"""Wrong links from one address in a minute; further ones are not looked at. [1]"""
OF_ALL = 300
"""Wrong links from all addresses together in a minute. [1]"""
ADDRESSES = 256
"""Addresses remembered; the one whose try is longest ago is forgotten for another. [1]"""


class Knocks:
    """Counts wrong tries in windows of a minute."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._tries: OrderedDict[str, tuple[float, int]] = OrderedDict()
        self._all = (0.0, 0)

    def too_many(self, address: str) -> bool:
        """Whether a try from this address is not to be looked at now."""
        return self._count(self._tries.get(address)) >= OF_ONE or self._count(self._all) >= OF_ALL

    def wrong(self, address: str) -> None:
        """Note a wrong try."""
        self._tries[address] = self._more(self._tries.pop(address, None))
        if len(self._tries) > ADDRESSES:
            self._tries.popitem(last=False)
        self._all = self._more(self._all)

    def __len__(self) -> int:
        """Addresses remembered. [1]"""
        return len(self._tries)

    def _count(self, tried: tuple[float, int] | None) -> int:
        return tried[1] if tried and self._monotonic() - tried[0] < MINUTE else 0

    def _more(self, tried: tuple[float, int] | None) -> tuple[float, int]:
        count = self._count(tried)
        return (tried[0], count + 1) if tried and count else (self._monotonic(), 1)
