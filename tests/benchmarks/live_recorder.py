"""A real recorder with meters that read on time: `python -m tests.benchmarks.live_recorder`, settings as one argument.

It says its page's address, begins to read when it is told `go`, says how late it was when the time is over, and
records on until it is stopped.
"""

import asyncio
import json
import math
import random
import sys
import time
from array import array
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from analysis.model import Channel, Reading
from collector import session
from collector.job import parse
from drivers.base import Emit, Now

CHANNELS = 16
WATCH = 0.005
"""The loop is looked at this often. [s]"""
AT_ONCE = 200
"""Readings of a flood between two turns of the loop. [1]"""


@dataclass(frozen=True, slots=True)
class Settings:
    """What is to be recorded."""

    recording: str
    page: tuple[str, ...]
    """The page's program, or empty for none."""
    points: tuple[str, ...]
    """Of the sixteen channels, in order."""
    rate: float = 10.0
    """Of each channel. [Hz]"""
    seconds: float = 5.0
    """How long it reads. [s]"""
    flood: int = 0
    """Readings that come at once when the time is over. [1]"""
    kept: str = ""
    """File for every reading that was emitted; empty for none."""


class Meters:
    """Sixteen meters, each with its own phase; emits each reading when it is due, and notes how late that was."""

    name = "meters"

    def __init__(self, settings: Settings, now: Now) -> None:
        self._settings, self._now = settings, now
        self.channels = channels(settings.points)
        self.emitted = {channel.key: (array("q"), array("d")) for channel in self.channels}
        self.late: list[float] = []
        """Between the time a reading was due and its being taken in. [s]"""
        self.overshoot: list[float] = []
        """Of a task of the loop that sleeps for `WATCH`. [s]"""

    async def run(self, emit: Emit) -> None:
        """Wait for the word, read for the time that is set, tell how it went, then rest."""
        await asyncio.to_thread(sys.stdin.readline)
        watching = asyncio.create_task(self._watch(), name="watch over the loop")
        try:
            await self._read(emit)
        finally:
            watching.cancel()
            await asyncio.gather(watching, return_exceptions=True)
        await self._flood(emit)
        if self._settings.kept:
            self._keep(Path(self._settings.kept))
        print("result:", json.dumps({"late": spread(self.late), "overshoot": spread(self.overshoot)}), flush=True)  # noqa: T201
        await asyncio.Event().wait()

    async def _read(self, emit: Emit) -> None:
        period = 1 / self._settings.rate
        start = time.monotonic()
        for number in range(round(self._settings.seconds * self._settings.rate) * CHANNELS):
            due = start + number / CHANNELS * period
            if (rest := due - time.monotonic()) > 0:
                await asyncio.sleep(rest)
            place = number % CHANNELS
            self._emit(
                emit, self.channels[place], shown(self.channels[place], place, number * period / CHANNELS, number)
            )
            self.late.append(time.monotonic() - due)

    async def _flood(self, emit: Emit) -> None:
        for number in range(self._settings.flood):
            self._emit(emit, self.channels[0], shown(self.channels[0], 0, 0.0, -number))
            if number % AT_ONCE == 0:
                await asyncio.sleep(0)

    def _emit(self, emit: Emit, channel: Channel, native: float) -> None:
        when = self._now()
        emit(Reading(channel.key, when, native))
        times, values = self.emitted[channel.key]
        times.append(when)
        values.append(native)

    async def _watch(self) -> None:
        while True:
            began = time.monotonic()
            await asyncio.sleep(WATCH)
            self.overshoot.append(time.monotonic() - began - WATCH)

    def _keep(self, path: Path) -> None:
        columns = {}
        for place, channel in enumerate(self.channels):
            columns[f"time{place}"], columns[f"value{place}"] = (np.array(one) for one in self.emitted[channel.key])
        np.savez(path, **columns)  # type: ignore[arg-type]  # its other arguments have other types


UNITS = {"temp": "degC", "humidity": "1", "flame": "A", "draft": "Pa", "gas": "Pa", "static": "Pa"}
"""Native unit by the first word of a point."""
SHOWN = {"degC": (30.0, 4.0), "1": (0.5, 0.1), "A": (4e-6, 1e-6), "Pa": (-300.0, 60.0)}
"""Middle and swing of what a meter shows, by its unit: the text of a tile changes with each reading. [unit]"""


def channels(points: tuple[str, ...]) -> tuple[Channel, ...]:
    """The sixteen channels, each with an instrument of its own."""
    return tuple(Channel(point, f"meter {place}", UNITS[point.partition("_")[0]]) for place, point in enumerate(points))


def shown(channel: Channel, place: int, elapsed: float, number: int) -> float:
    """What a meter shows: a slow swing over time [s], and a scatter by which it differs from its last. [native unit]"""
    middle, swing = SHOWN[channel.unit]
    return middle + swing * (math.sin(elapsed / 7 + place) * 0.7 + random.Random(number).uniform(-0.3, 0.3))


def spread(seconds: list[float]) -> dict[str, float]:
    """Median, 99th percentile and the largest of some times. [ms]"""
    if not seconds:
        return {}
    milliseconds = np.array(seconds) * 1000
    p50, p99 = np.percentile(milliseconds, (50, 99))
    return {"p50": float(p50), "p99": float(p99), "max": float(milliseconds.max()), "count": len(seconds)}


def main() -> None:
    """Record until stopped."""
    given = json.loads(sys.argv[1])
    settings = Settings(**{**given, "page": tuple(given["page"]), "points": tuple(given["points"])})
    plan = session.Plan(
        recording=Path(settings.recording),
        job=parse("", "none"),
        page=settings.page,
        port=0,
        drivers=lambda clock: [Meters(settings, clock)],
    )

    def say(address: str) -> None:
        print("page:", address, flush=True)  # noqa: T201

    asyncio.run(session.run(plan, on_address=say, on_start=lambda: print("started", flush=True)))  # noqa: T201


def as_argument(settings: Settings) -> str:
    """Settings in the form that `main` takes."""
    return json.dumps(asdict(settings))


if __name__ == "__main__":
    main()
