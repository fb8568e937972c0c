"""The practice plant as a driver: it runs while one looks at it, and can be changed by hand meanwhile."""

import asyncio
import math
import time as wall
from bisect import bisect_right
from collections import deque
from collections.abc import Awaitable, Callable
from operator import itemgetter
from typing import Protocol

from analysis.model import NANOSECONDS, Channel, Event, EventKind, with_origin
from drivers.base import Emission, Emit, InputError, Now
from drivers.replay import FASTEST, SLOWEST
from drivers.simulate.instruments import Observer
from drivers.simulate.observed import Block

STEP = 0.1
"""The plant is run by multiples of this, and by each for this long where it is in time. [s of the plant, s]"""
LATE = 1.0
"""It has fallen behind when it is later than this. [s]"""
BY_HAND = "the practice plant was changed by hand"
"""All that is said of a change; what it was is for the trainee to find."""

_HURRY = 100
"""Steps at once when it goes as fast as it can. [1]"""
_BATCH = 500
"""Readings emitted between two looks at the loop. [1]"""


class Plant(Protocol):
    """What can be run and changed; its blocks may carry more, which nobody here looks at."""

    def advance(self, seconds: float) -> Block:
        """Run on for so long; what was true meanwhile."""
        ...

    def inject(self, cause: str, severity: float, course: str) -> None:
        """Something goes wrong from now on; InputError for what cannot be."""
        ...

    def repair(self, cause: str) -> None:
        """That is put right; InputError for what cannot be."""
        ...


class Simulated:
    """Runs a plant at a pace and emits what its meters show, in the order of time, each reading once.

    A session goes on where the last one ended. Times begin at `start` [ns] and pass with the plant; where no start is
    given each session begins now, never before what was emitted. `length` [s of the plant] ends it, else nothing does.
    Late, it runs up to twice as fast until it is in time, turn by turn with everybody else, and says once a session
    that it fell behind. A meter whose clock is behind holds everything back by so much. For use in the loop's thread.
    """

    def __init__(
        self,
        plant: Plant,
        observer: Observer,
        *,
        now: Now,
        name: str = "practice plant",
        start: int | None = None,
        speed: float = 1.0,
        as_fast_as_it_goes: bool = False,
        length: float = math.inf,
        monotonic: Callable[[], float] = wall.monotonic,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
        caught_up: Callable[[], Awaitable[None]] | None = None,
    ) -> None:
        self.name = with_origin("simulated", name)
        self._plant, self._observer = plant, observer
        self._wall, self._monotonic, self._sleep, self._caught_up = now, monotonic, sleep, caught_up
        self._given, self._start = start is not None, start or 0
        self._speed, self._hurry = _checked(speed), as_fast_as_it_goes
        self._most = length if math.isinf(length) else math.ceil(length / STEP - 1e-6)
        self._steps = 0
        """Run so far. [1]"""
        self._position = 0
        """Time of the plant since its first step here. [ns]"""
        self._origin: int | None = None
        """Time of the plant when it was given to this driver. [ns]"""
        self._anchor = (0.0, 0)
        """When the pace was set and the steps run by then: monotonic [s], [1]."""
        self._channels = {channel.key: channel for channel in observer.channels}
        self._held: list[tuple[int, Emission]] = []
        """What something earlier may still come before; no more than the slack of the clocks."""
        self._ready: deque[Emission] = deque()
        """What is emitted next; no more than a slice."""
        self._changed = False

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Channels of all meters, and those that moved ones have come to."""
        return tuple(self._channels.values())

    @property
    def speed(self) -> float:
        """How many seconds of the plant pass in one. [1]"""
        return self._speed

    def set_speed(self, speed: float) -> None:
        """Go on at another pace; InputError outside the bounds."""
        self._speed, self._hurry = _checked(speed), False
        self._anchor = (self._monotonic(), self._steps)

    def now(self) -> int:
        """Where the plant stands. [ns]"""
        return self._start + self._position

    def inject(self, cause: str, severity: float = 0.7, course: str = "constant") -> None:
        """Let something go wrong; the plant's error for what cannot be. The recording says only that it was changed."""
        self._plant.inject(cause, severity, course)
        self._changed = True

    def repair(self, cause: str) -> None:
        """Put something right; the plant's error for what cannot be. The recording says only that it was changed."""
        self._plant.repair(cause)
        self._changed = True

    async def run(self, emit: Emit) -> None:
        """Emit until the length is run, in slices between which everybody else has a turn."""
        if not self._given:
            self._start = max(self._start, self._wall() - self._position)
        self._anchor = (self._monotonic(), self._steps)
        told = False
        while True:
            await self._tell(emit)
            usual = _HURRY if self._hurry else max(1, round(self._speed))
            due = usual if self._hurry else self._due()
            if self._changed:
                self._changed = False
                self._held.append((self.now(), Event(self.now(), EventKind.MARK, f"{self.name}: {BY_HAND}", self.name)))
            if self._steps >= self._most:
                self._release(math.inf)
                await self._tell(emit)
                return
            if due < usual - 1e-6:
                await self._sleep(max((usual - due) * STEP / self._speed, 0.001))
                continue
            steps = int(min(due + 1e-6, 2 * usual, self._most - self._steps))
            late = (due - 2 * usual) * STEP / self._speed
            if late > LATE and not told:
                told = True
                text = f"{self.name}: this machine cannot keep up with {self._speed:g} times real time; it is late"
                self._held.append((self.now(), Event(self.now(), EventKind.INSTRUMENT, text, self.name)))
            self._advance(steps)

    def _due(self) -> float:
        """Steps that should have been run by now and have not. [1]"""
        began, steps = self._anchor
        return steps + (self._monotonic() - began) * self._speed / STEP - self._steps

    def _advance(self, steps: int) -> None:
        block = self._plant.advance(steps * STEP)
        self._steps += steps
        if not block.time.size:
            return
        end = float(block.time[-1])
        if self._origin is None:
            self._origin = round((end - steps * STEP) * NANOSECONDS)
        self._position = round(end * NANOSECONDS) - self._origin
        self._held += self._observer.observe(block).timed(self._start - self._origin)
        self._release(self.now() - self._observer.slack(end) * NANOSECONDS)

    def _release(self, time: float) -> None:
        """Make ready what lies at or before `time` [ns]."""
        self._held.sort(key=itemgetter(0))
        count = bisect_right(self._held, time, key=itemgetter(0))
        self._ready.extend(item for _, item in self._held[:count])
        del self._held[:count]

    async def _tell(self, emit: Emit) -> None:
        """Emit what is ready, with a turn for everybody else after each batch and at the end."""
        for count in range(1, len(self._ready) + 1):
            item = self._ready.popleft()
            if isinstance(item, Channel):
                self._channels[item.key] = item
            emit(item)
            if count % _BATCH == 0:
                await self._turn()
        await self._turn()

    async def _turn(self) -> None:
        await (self._caught_up() if self._hurry and self._caught_up else asyncio.sleep(0))


def _checked(speed: float) -> float:
    if not SLOWEST <= speed <= FASTEST:
        raise InputError(f"speed {speed:g} is outside {SLOWEST:g} to {FASTEST:g}", "choose a speed between them")
    return speed
