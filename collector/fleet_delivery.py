"""Batches of messages to a server: what it refuses is found, what it may still lose is kept for a while and sent again.

A message counts as done with when the server has answered for it. That is not durable: a server that is killed some
seconds later may have lost it. So messages of the last minute are kept in memory, and are sent again when the
connection to the server changes. Where worker and server die within the same minute, the recordings remain.
"""

import logging
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from collector.fleet_messages import Parts, Place, written
from collector.fleet_status import WorkerStatus
from collector.forward import BATCH, BEAT, CALM_BEAT, SETTLE, TRIES
from collector.forward_refused import refused_of
from collector.forward_way import Way
from collector.sinks.lines import NO_NUMBER, sender
from collector.sinks.sink import AwayError, ClosedError, RefusedError, Sink
from drivers.base import Now

MOST_KEPT = 64_000_000
"""Of messages that the server may still lose; beyond it the oldest are forgotten and counted. [bytes]"""

log = logging.getLogger(__name__)


@dataclass(slots=True, eq=False)
class Taken:
    """A message on its way to the server."""

    place: Place
    payload: bytes
    parts: Parts
    done: Callable[[], None] = lambda: None
    """Acknowledges it."""


class _Kept(NamedTuple):
    at: float
    """When it was answered. [s, monotonic]"""
    place: Place
    payload: bytes


class Delivery:
    """Hands batches to a server; on the thread of whoever calls it."""

    def __init__(
        self,
        sink: Sink,
        about: Mapping[str, str],
        status: WorkerStatus,
        *,
        settle: float = SETTLE,
        most_kept: int = MOST_KEPT,
        now: Now = time.time_ns,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._way = Way(sink, monotonic, self._doubt)
        self._about, self._status = dict(about), status
        self._settle_after, self._most_kept = settle, most_kept
        self._now, self._monotonic = now, monotonic
        self._kept: deque[_Kept] = deque()
        self._held = 0
        self._doubtful: list[_Kept] = []
        self._beaten = -float("inf")

    @property
    def unsure(self) -> int:
        """Messages that the server has answered for, not yet for long enough. [1]"""
        return len(self._kept)

    def doubtful(self) -> list[tuple[Place, bytes]]:
        """Give away what has to be sent again: it may have been another server that answered for it."""
        found = [(one.place, one.payload) for one in self._doubtful]
        self._doubtful.clear()
        return found

    def deliver(self, batch: Sequence[Taken]) -> None:
        """Send, then acknowledge; SinkError: nothing is acknowledged, and all of it is to be delivered again."""
        lines = written(part for one in batch for part in one.parts)
        self._way.begin()
        refused: dict[str, int] = {}
        try:
            for begin in range(0, len(lines.text), BATCH):
                self._way.send(lines.text[begin : begin + BATCH])
        except RefusedError:
            self.beat(behind=0.0)  # refused too, nothing of ours is wanted here, and no line is to blame
            refused = self._one_by_one(batch)
        if not self._way.one:
            raise AwayError("the connection to the server changed within a batch", "it is sent again", met=True)
        if lines.refused:
            refused[NO_NUMBER] = lines.refused
        for why, count in refused.items():
            if why not in self._status.aside:
                log.warning("%d readings are set aside: %s", count, why)
            self._status.set_aside(why, count)
        self._status.readings += len(lines.text) - sum(refused.values()) + lines.refused
        now = self._now()
        for one in batch:
            if one.parts:
                newest = max((int(rows.time.max()) for _, rows in one.parts if rows.time.size), default=now)
                self._status.delays.add((now - newest) / 1e9)
        self._keep(batch)

    def beat_is_due(self) -> bool:
        """Whether the server should hear of us, so that we know whether it is the same still."""
        if self._way.contact is None:
            return True
        now = self._monotonic()
        if self._kept and now - self._way.contact >= min(BEAT, self._settle_after / 4):
            return True
        return now - self._beaten >= CALM_BEAT

    def beat(self, *, behind: float) -> None:
        """Say something of ourselves; SinkError where nothing is taken."""
        line = sender(self._about, self._now(), behind=behind, aside=sum(self._status.aside.values()))
        try:
            self._way.send([line])
        except RefusedError as error:
            raise ClosedError(error.what, "nothing is taken: check address, bucket and org", met=True) from error
        self._beaten = self._monotonic()
        self._settle()

    def _one_by_one(self, batch: Sequence[Taken]) -> dict[str, int]:
        """Readings that are refused, by the reason: no message is blamed for another's."""
        refused: dict[str, int] = {}
        for one in batch:
            text = written(one.parts).text
            for why in refused_of(text, self._send_some, most=TRIES).values() if text else ():
                refused[why] = refused.get(why, 0) + 1
        return refused

    def _send_some(self, lines: Sequence[str]) -> None:
        self._way.send(lines)

    def _keep(self, batch: Sequence[Taken]) -> None:
        assert self._way.contact is not None or not any(one.parts for one in batch)
        for one in batch:
            one.done()
            if one.parts and self._way.contact is not None:
                self._kept.append(_Kept(self._way.contact, one.place, one.payload))
                self._held += len(one.payload)
        self._settle()

    def _settle(self) -> None:
        """Forget what the server had long enough before its last answer, and the oldest where there is too much."""
        limit = (self._way.contact or -float("inf")) - self._settle_after
        while self._kept and (self._kept[0].at <= limit or self._held > self._most_kept):
            one = self._kept.popleft()
            self._held -= len(one.payload)
            self._status.uncovered += one.at > limit

    def _doubt(self) -> None:
        """It may be another server than before: what it has not for sure is sent again."""
        if self._kept:
            log.info("what was answered last is sent again: %d messages", len(self._kept))
        self._status.again += len(self._kept)
        self._doubtful += self._kept
        self._kept.clear()
        self._held = 0
