"""A plant of waves that runs live, and a time that moves when told."""

import asyncio
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Event, Reading
from analysis.points import POINTS, measure_of
from drivers.base import Driver, Emission, InputError
from drivers.simulate.instruments import Observer
from drivers.simulate.live import Simulated
from drivers.simulate.meters import Meter, MeterClock
from tests.drivers.bench import Failure
from tests.drivers.simulate.meter_bench import PLAIN, Truth, grid, one
from tests.support import StillClock

START = 1_768_372_280 * NANOSECONDS
SECRET = "drain_blocked"


@dataclass
class Span(Truth):
    """A block that knows more than a recording may say."""

    events: Sequence[tuple[float, str]] = ()


class Waves:
    """A plant whose every point is a wave; each call of it may take time."""

    def __init__(self, clock: "Pace | None" = None, takes: float = 0.0, begin: float = 0.0) -> None:
        self.asked: list[float] = []
        self.changes: list[tuple[str, ...]] = []
        self._row = round(begin * 10)
        self._clock, self._takes = clock, takes

    def advance(self, seconds: float) -> Span:
        self.asked.append(round(seconds, 9))
        first = 0 if self._row == 0 else 1
        clock = grid((self._row + round(seconds / 0.1)) / 10)[self._row + first :]
        self._row += round(seconds / 0.1)
        if self._clock:
            self._clock.time += self._takes * seconds
        return Span(clock, wave(clock), [(float(clock[0]), f"{SECRET} began")])

    def inject(self, cause: str, severity: float, course: str) -> None:
        if cause not in (SECRET, "none"):
            raise InputError(f"unknown cause '{cause}'", "name another")
        self.changes.append(("inject", cause, f"{severity:g}", course))

    def repair(self, cause: str) -> None:
        self.changes.append(("repair", cause))


def wave(clock: NDArray[np.float64]) -> Mapping[str, NDArray[np.float64]]:
    return {
        point: (np.sin(clock / (3 + n)) > 0).astype(float) if measure_of(point).name == "contact" else np.sin(clock + n)
        for n, point in enumerate(POINTS)
    }


class Pace:
    """Monotonic time that moves when told, or, `rushing`, whenever somebody waits for it."""

    def __init__(self, *, rushing: bool = False) -> None:
        self.time = 5000.0
        self.waiting = False
        self.rushing = rushing
        self.slept: list[float] = []
        self._moved = asyncio.Event()

    def __call__(self) -> float:
        return self.time

    def move(self, seconds: float) -> None:
        self.time += seconds
        self.waiting = False
        self._moved.set()

    async def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        if self.rushing:
            self.time += seconds
            await asyncio.sleep(0)
            return
        wake = self.time + seconds
        try:
            while self.time < wake - 1e-9:
                self.waiting = True
                self._moved.clear()
                await self._moved.wait()
        finally:
            self.waiting = False


def live(plant: Waves, meters: Sequence[Meter], pace: Pace | None = None, **more: Any) -> Simulated:
    pace = pace or Pace(rushing=True)
    given: dict[str, Any] = {"now": StillClock(1_768_458_680.0), "monotonic": pace, "sleep": pace.sleep, **more}
    return Simulated(plant, Observer(meters, 5), **given)


async def taken(driver: Simulated) -> list[Emission]:
    items: list[Emission] = []
    await driver.run(items.append)
    return items


def readings(items: Sequence[Emission]) -> list[Reading]:
    return [item for item in items if isinstance(item, Reading)]


def events(items: Sequence[Emission]) -> list[Event]:
    return [item for item in items if isinstance(item, Event)]


class SimulatedBench:
    """A plant at real time in a time that moves when it is asked to say something: one reading each 0.1 s."""

    def __init__(self) -> None:
        self.pace = Pace()
        self.driver = live(Waves(), [one(PLAIN, clock=MeterClock())], self.pace)

    def make(self, *, patience: float = 30.0) -> Driver:
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        return self.pace.waiting

    def say(self, count: int) -> None:
        self.pace.move(0.1 * count)

    def failures(self) -> Sequence[Failure]:
        return ()

    def lose(self) -> None:
        raise AssertionError("a plant that is computed does not vanish")

    def bring_back(self) -> None:
        raise AssertionError("a plant that is computed does not vanish")

    def flood(self) -> int:
        raise AssertionError("it runs no faster than it is taken")

    def flooding(self) -> AbstractContextManager[object]:
        raise AssertionError("it runs no faster than it is taken")

    def lost(self) -> int:
        raise AssertionError("it loses nothing")

    def nonsense(self) -> None:
        raise AssertionError("it reads nothing")

    def unreadable(self) -> int:
        raise AssertionError("it reads nothing")

    def close(self) -> None:
        """Nothing to take down."""
