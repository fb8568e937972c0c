"""Live listeners: each has a bounded queue of its own; one that is slow loses its oldest items, counted."""

import asyncio
from collections import deque
from collections.abc import Callable

from analysis.model import Event, Quality

QUEUE = 20_000
"""Items a listener may be behind before it loses the oldest: two minutes at 160 readings a second. [1]"""

Value = tuple[str, int, float, Quality]
"""Channel key or name of a derived quantity, time [ns], value [inside unit], quality."""

Item = Value | Event


class Listener:
    """One looker-on; take what there is with `take`, wait for more with `wait`."""

    def __init__(self, limit: int = QUEUE) -> None:
        self._items: deque[Item] = deque()
        self._limit = limit
        self._something = asyncio.Event()
        self.dropped = 0
        """Items lost because this listener was too slow. [1]"""

    def offer(self, item: Item) -> None:
        """Queue an item; the oldest is dropped and counted when the queue is full."""
        if len(self._items) >= self._limit:
            self._items.popleft()
            self.dropped += 1
        self._items.append(item)
        self._something.set()

    def take(self) -> list[Item]:
        """Everything queued, oldest first."""
        items = list(self._items)
        self._items.clear()
        self._something.clear()
        return items

    async def wait(self) -> None:
        """Return when something is queued."""
        await self._something.wait()


class FanOut:
    """Offers every item to all listeners; never waits for one."""

    def __init__(self) -> None:
        self._listeners: dict[int, Listener] = {}

    def listen(self, limit: int = QUEUE) -> tuple[Listener, Callable[[], None]]:
        """A new listener, and the function that ends it."""
        listener = Listener(limit)
        self._listeners[id(listener)] = listener

        def end() -> None:
            self._listeners.pop(id(listener), None)

        return listener, end

    def offer(self, item: Item) -> None:
        """Queue an item with every listener."""
        for listener in self._listeners.values():
            listener.offer(item)

    def __len__(self) -> int:
        """How many listen."""
        return len(self._listeners)
