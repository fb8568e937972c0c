"""The way to a server: when it answered last, and whether it may be another one than that which answered before."""

from collections.abc import Callable, Sequence

from collector.sinks.sink import Sink

HANGS_UP = 3
"""A server that so many times in turn had hung up after its answer does so always; that says nothing about it. [1]"""


class Way:
    """Sends lines; `changed` is called when it may have been another server that answered, before that counts."""

    def __init__(self, sink: Sink, monotonic: Callable[[], float], changed: Callable[[], None]) -> None:
        self._sink, self._monotonic, self._changed = sink, monotonic, changed
        self._opened = sink.opened
        self._fresh = 0
        self._through: int | None = None
        self.contact: float | None = None
        """When it answered last, None where it never did. [s, monotonic]"""

    def begin(self) -> None:
        """What is sent from now on belongs together."""
        self._through = None

    @property
    def one(self) -> bool:
        """Whether all that belongs together went over one connection."""
        return self._through in (None, self._opened)

    def send(self, lines: Sequence[str]) -> None:
        """Hand lines over; on return the server has answered for them. SinkError: it has not."""
        self._sink.send(lines)
        if self._sink.opened != self._opened:
            self._opened, self._fresh = self._sink.opened, self._fresh + 1
            if self._fresh < HANGS_UP:
                self._changed()
        else:
            self._fresh = 0
        if self._through is None or self._fresh >= HANGS_UP:
            self._through = self._opened
        self.contact = self._monotonic()
