"""One supervisor an instrument: starts sessions, and decides alone whether and when there is another.

How long to wait before another try is decided here too for whatever else is tried again.
"""

import asyncio
import logging
import random
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from enum import StrEnum

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Reading
from collector.latency import Latency
from drivers.base import Driver, DriverError, Emission, Emit, LightoffError, Now

FIRST_WAIT = 0.25
LONGEST_WAIT = 3.0
"""The wait before a new session grows from the first to the longest, with jitter. [s]"""

log = logging.getLogger(__name__)


class State(StrEnum):
    """What an instrument is doing."""

    CONNECTING = "connecting"
    READING = "reading"
    WAITING = "trying again"
    STOPPED = "stopped"
    ENDED = "ended"
    REMOVED = "removed"


class IngestError(Exception):
    """A defect in what takes the readings; it stops the program, not the instrument."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """An error of an instrument."""

    time: int
    """When it was last met. [ns]"""
    text: str
    """In plain words."""


@dataclass(slots=True)
class Status:
    """An instrument as its supervisor sees it."""

    name: str
    state: State = State.CONNECTING
    since: int = 0
    """[ns]"""
    text: str = ""
    """Last error in plain words."""
    next_try: int | None = None
    """[ns]"""
    readings: int = 0
    sessions: int = 0
    last_error: Trouble | None = None
    """Kept after the instrument reads again."""
    errors: int = 0
    """Sessions that ended with an error. [1]"""
    lost: int = 0
    """How often it was lost after it had read. [1]"""
    lost_since: int | None = None
    """Since when it has been lost, None while it reads or never read. [ns]"""
    away: float = 0.0
    """Time altogether from a loss until it read again. [s]"""


class Backoff:
    """How long to wait before the next try: longer with each failure up to a longest wait, with jitter."""

    def __init__(
        self,
        first: float = FIRST_WAIT,
        longest: float = LONGEST_WAIT,
        jitter: Callable[[float, float], float] = random.uniform,
    ) -> None:
        self._first, self._longest, self._jitter = first, longest, jitter
        self._failures = 0

    def failed(self) -> float:
        """Count a failure; the wait until the next try. [s]"""
        ceiling = min(self._longest, self._first * 2.0**self._failures)
        self._failures = min(self._failures + 1, 10)
        return self._jitter(ceiling / 2, ceiling)

    def succeeded(self) -> None:
        """What fails next has not failed before."""
        self._failures = 0


class Supervisor:
    """Runs the sessions of one driver until it ends, is stopped by a permanent error, or is cancelled."""

    def __init__(
        self,
        driver: Driver,
        emit: Emit,
        *,
        now: Now,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
        jitter: Callable[[float, float], float] = random.uniform,
    ) -> None:
        self.driver = driver
        self.status = Status(driver.name, since=now())
        self.channels = {channel.key: channel for channel in driver.channels}
        """Channels the driver has announced."""
        self.latency = Latency()
        """From the arrival of a reading until it is taken in."""
        self._emit = emit
        self._now, self._sleep = now, sleep
        self._backoff = Backoff(jitter=jitter)
        self._closed = False

    async def run(self) -> None:
        """Session after session; an error of the instrument never escapes, a defect of `emit` does."""
        while True:
            self._enter(State.CONNECTING)
            self.status.sessions += 1
            try:
                await self.driver.run(self._take)
            except IngestError:
                raise
            except asyncio.CancelledError:
                if _cancelled():
                    raise
                await self._wait(f"{self.driver.name}: its session was broken off from within; it is begun anew")
            except DriverError as error:
                if not error.retry:
                    self._enter(State.STOPPED, str(error))
                    return
                await self._wait(str(error))
            except LightoffError as error:
                self._enter(State.STOPPED, str(error))
                return
            except Exception as error:
                log.exception("%s: a defect in its driver", self.driver.name)
                self._enter(State.STOPPED, f"{self.driver.name}: a defect in its driver ({error!r}); please report it")
                return
            else:
                self._enter(State.ENDED)
                return

    def leave(self) -> None:
        """The instrument is removed: what its last session still has is taken in, and changes its state no more."""
        self.status.state, self.status.since, self.status.next_try = State.REMOVED, self._now(), None

    def close(self) -> None:
        """Take nothing in any more."""
        self._closed = True

    def _take(self, item: Emission) -> None:
        if self._closed:
            return
        if isinstance(item, Reading):
            self.status.readings += 1
            if self.status.state not in (State.READING, State.REMOVED):
                self._backoff.succeeded()
                self._enter(State.READING)
        self._hand_on(item)
        if isinstance(item, Channel):
            self.channels[item.key] = item
        elif isinstance(item, Reading):
            self.latency.add(item.time, self._now())

    def _hand_on(self, item: Emission) -> None:
        """Emit; a defect of who takes it is no defect of the driver."""
        try:
            self._emit(item)
        except DriverError:
            raise
        except Exception as error:
            raise IngestError(f"{self.driver.name}: {item}") from error

    async def _wait(self, why: str) -> None:
        wait = self._backoff.failed()
        self.status.next_try = self._now() + round(wait * 1e9)
        self._enter(State.WAITING, why)
        await self._sleep(wait)
        self.status.next_try = None

    def _enter(self, state: State, text: str = "") -> None:
        """Change the state; a change worth knowing is an event of the recording."""
        before, lost_since = self.status, self.status.lost_since
        if before.state is State.REMOVED:
            return
        self._count(state, text)
        repeated = state is State.CONNECTING or (state is State.WAITING and text == before.text)
        if text or state is State.READING:
            before.text = text
        before.state, before.since = state, self._now()
        if not repeated:
            sentence = f"{self.driver.name}: {state}" + (f" ({text})" if text else "")
            data = {"state": str(state), "text": text}
            self._hand_on(Event(before.since, EventKind.INSTRUMENT, sentence, self.driver.name, data))
            if state in (State.WAITING, State.STOPPED):
                log.warning("%s", sentence)
        if state is State.READING and lost_since is not None:
            self._hand_on(self._gap(lost_since, before.since))

    def _gap(self, start: int, end: int) -> Event:
        """The span in which the instrument was lost, as it stands in the recording."""
        text = f"{self.driver.name}: lost, no readings for {(end - start) / NANOSECONDS:.1f} s"
        return Event(end, EventKind.GAP, text, self.driver.name, {"from": start, "to": end})

    def _count(self, state: State, text: str) -> None:
        """Keep what the page tells of losses; called before the state changes."""
        status, now = self.status, self._now()
        if state in (State.WAITING, State.STOPPED):
            status.errors += 1
            status.last_error = Trouble(now, text)
            if status.state is State.READING:
                status.lost += 1
                status.lost_since = now
        elif state is State.READING and status.lost_since is not None:
            status.away += (now - status.lost_since) / NANOSECONDS
            status.lost_since = None


def _cancelled() -> bool:
    """Whether somebody cancelled the task; a library that cancels a future of its own raises the same."""
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0
