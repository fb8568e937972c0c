"""Between `ingest` and the store: gathers batches, writes them in a thread of its own, and outlives a full disk."""

import asyncio
import logging
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from typing import TypeVar

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Reading
from collector.attachments import LARGEST, Attachment, Piece, pieces
from collector.database import RecordingError
from collector.rows import Many
from collector.store import Store, Written
from drivers.base import InputError, Now

PERIOD = 0.1
"""From the beginning of a batch to that of the next: no reading waits longer before its own is written. [s]"""
ENOUGH = 1_000
"""So many items do not wait for that: a batch of them takes long enough by itself. [1]"""
RETRY = 1.0
"""Time between two tries while the store cannot write. [s]"""
PATIENCE = 600.0
"""How long readings are kept while the store cannot write; older ones are dropped and counted. [s]"""
MOST_WAITING = 1_000_000
"""Items kept at the most while the store cannot write. [1]"""
MOST_AT_ONCE = 20_000
"""Items in a batch at the most: a try while the store cannot write costs the live page nothing. [1]"""
MOST_ATTACHED = 2 * LARGEST
"""Of attachments kept until they are written; a further one is refused. [bytes]"""

Done = Callable[[], None]
Item = Channel | Reading | Event | Many
Gap = tuple[int, int, int]
"""First and last time of what was lost [ns], and how much [1]."""

T = TypeVar("T")

log = logging.getLogger(__name__)


class Recorder:
    """Writes what it is given, in order, one batch a transaction; its buffer is bounded and counts what it drops."""

    def __init__(
        self,
        store: Store,
        *,
        now: Now,
        announce: Callable[[Event], None],
        monotonic: Callable[[], float] = time.monotonic,
        most_waiting: int = MOST_WAITING,
        patience: float = PATIENCE,
        retry: float = RETRY,
    ) -> None:
        self._store = store
        self._now = now
        self._announce = announce
        self._monotonic = monotonic
        self._most_waiting, self._patience, self._retry = most_waiting, patience, retry
        self._waiting: deque[tuple[float, Item]] = deque()
        self._attaching: deque[Piece | tuple[Attachment, Done]] = deque()
        self._wake = asyncio.Event()
        self._idle = asyncio.Event()
        self._idle.set()
        self._stopping = False
        self._gap: Gap | None = None
        self.committed: list[Callable[[Sequence[Written]], None]] = []
        """Told of every batch that is durable; must neither wait nor fail."""
        self.failure: str | None = None
        """Why the store cannot write now, or None while it can."""
        self.lost = 0
        """Readings (and, where there are none, events) dropped because the store could not write for too long. [1]"""
        self.written = 0
        """Items the store has returned for. [1]"""

    @property
    def queued(self) -> int:
        """Items that wait for the store. [1]"""
        return len(self._waiting)

    def put(self, item: Item) -> None:
        """Queue an item for the next batch; never waits."""
        self._waiting.append((self._monotonic(), item))
        self._idle.clear()
        if len(self._waiting) == ENOUGH:
            self._wake.set()
        if len(self._waiting) > self._most_waiting:
            self._drop_oldest()

    def attach(self, attachment: Attachment, content: bytes, done: Done) -> None:
        """Queue a file: one piece goes with each batch, and `done` is called when all of it is durable.

        InputError when too much of earlier ones waits.
        """
        waiting = sum(len(item.content) for item in self._attaching if isinstance(item, Piece))
        if waiting + len(content) > MOST_ATTACHED:
            raise InputError(f"{waiting / 1e6:.0f} MB of photographs wait to be written", "try again in a moment")
        self._attaching.extend((*pieces(attachment, content), (attachment, done)))
        self._idle.clear()

    async def caught_up(self) -> None:
        """Return when everything queued so far is durable."""
        self._wake.set()
        await self._idle.wait()

    async def run(self) -> None:
        """Write until `stop`, then what is left, and return; any error but a store that cannot write is a defect."""
        clock = asyncio.get_running_loop().time
        with ThreadPoolExecutor(1, "recorder") as thread:
            began = clock()
            while not (self._stopping and not self._waiting and not self._attaching):
                if not self._stopping:
                    await self._pause(self._retry if self.failure else max(0.0, began + PERIOD - clock()))
                began = clock()
                await self._write(thread)
                if self._stopping and self.failure:
                    self.lost += sum(_readings_in(item) for _, item in self._waiting)
                    log.error("%s: %d readings could not be written: %s", self._store.path, self.lost, self.failure)
                    return

    async def _pause(self, seconds: float) -> None:
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._wake.wait()
        self._wake.clear()

    def stop(self) -> None:
        """Ask `run` to write what is left and return."""
        self._stopping = True
        self._wake.set()

    async def _write(self, thread: ThreadPoolExecutor) -> None:
        batch = [self._waiting.popleft() for _ in range(min(len(self._waiting), MOST_AT_ONCE))]
        attaching = self._next_piece()
        items: list[Written] = [item for _, item in batch]
        items += [item[0] if isinstance(item, tuple) else item for item in attaching]
        if not items:
            self._idle.set()
            return
        gap, self._gap = self._gap, None  # what is dropped while this batch is written goes with the next
        told = [self._gap_event(gap)] if gap else []
        items += told
        try:
            conflicts = await self._in(thread, partial(self._store.append, items, seal=False))
        except RecordingError as error:
            self._waiting.extendleft(reversed(batch))
            self._attaching.extendleft(reversed(attaching))
            self._gap = _both(gap, self._gap)
            self._failed(str(error))
            return
        self.written += len(items)
        for tell in self.committed:
            tell(items)
        for item in attaching:
            if isinstance(item, tuple):
                item[1]()
        for event in (*told, *conflicts):
            self._announce(event)
        self._recovered()
        if not self._waiting and not self._attaching:
            self._idle.set()
        await self._seal(thread)

    async def _seal(self, thread: ThreadPoolExecutor) -> None:
        """Between two batches: who waits for a batch to be durable must not wait for this."""
        try:
            await self._in(thread, self._store.seal)
        except RecordingError as error:
            log.warning("readings stay unsealed for now, which costs room: %s", error)

    async def _in(self, thread: ThreadPoolExecutor, work: Callable[[], T]) -> T:
        doing = asyncio.get_running_loop().run_in_executor(thread, work)
        try:
            return await asyncio.shield(doing)
        except asyncio.CancelledError:
            await asyncio.wait([doing])  # a batch in the writer's hands is never left half known
            raise

    def _next_piece(self) -> list[Piece | tuple[Attachment, Done]]:
        """What of the attachments goes with the next batch: one piece, and what ends it."""
        taken: list[Piece | tuple[Attachment, Done]] = []
        while self._attaching and not (taken and isinstance(self._attaching[0], Piece)):
            taken.append(self._attaching.popleft())
        return taken

    def _failed(self, why: str) -> None:
        if self.failure is None:
            log.error("recording stands still: %s", why)
            self._announce(Event(self._now(), EventKind.RECORDER, f"recording stands still: {why}", None, {}))
        self.failure = why
        self._give_up_old(self._monotonic() - self._patience)
        while len(self._waiting) > self._most_waiting and self._drop_oldest():  # what came while the batch was tried
            pass

    def _give_up_old(self, limit: float) -> None:
        """Drop the readings that wait since before `limit` [s]; events and channels stay, and attachments wait on."""
        kept = []
        while self._waiting and self._waiting[0][0] < limit:
            first = self._waiting.popleft()
            if isinstance(first[1], Reading):
                self._lose(first[1])
            else:
                kept.append(first)
        self._waiting.extendleft(reversed(kept))

    def _recovered(self) -> None:
        if self.failure is None:
            return
        self.failure = None
        log.warning("recording goes on: %s", self._store.path)
        event = Event(self._now(), EventKind.RECORDER, f"recording goes on; {self.lost} readings were lost", None, {})
        self._announce(event)
        self.put(event)

    def _drop_oldest(self) -> bool:
        """Drop the oldest reading; where there is none, the oldest event. Channels stay. Whether there was one."""
        for kind in (Reading, Event):
            for place, (_, item) in enumerate(self._waiting):
                if isinstance(item, kind):
                    del self._waiting[place]
                    self._lose(item)
                    return True
        return False

    def _lose(self, item: Reading | Event) -> None:
        """Count it and widen the gap."""
        self.lost += 1
        self._gap = _both(self._gap, (item.time, item.time, 1))

    def _gap_event(self, gap: Gap) -> Event:
        first, last, count = gap
        why = self.failure or "the medium took too long"
        text = f"{count} readings of {(last - first) / NANOSECONDS:.0f} s were lost: {why}"
        return Event(first, EventKind.GAP, text, None, {"from": first, "to": last, "count": count})


def _readings_in(item: Item) -> int:
    return item.rows.time.size if isinstance(item, Many) else int(isinstance(item, Reading))


def _both(one: Gap | None, other: Gap | None) -> Gap | None:
    """One gap over both."""
    if one is None or other is None:
        return one or other
    return min(one[0], other[0]), max(one[1], other[1]), one[2] + other[2]
