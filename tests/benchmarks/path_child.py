"""The whole path on one core: `python -m tests.benchmarks.path_child SETTINGS`, and how long it took as JSON.

Readings are emitted, normalized, watched, stored and told to one that looks on, at a steady rate; each is followed
until the store has returned for it.
"""

import asyncio
import json
import os
import socket
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from analysis.model import Channel, Event, Plate, Reading
from collector.clock import Clock
from collector.collector import Collector
from collector.commands import Commands
from collector.feed import Feed
from collector.rules import default_rules
from collector.steady import be_steady
from collector.store import Store, Written
from drivers.base import Emit

POINTS = ("draft_collector", "draft_vent", "static_return", "static_supply", "gas_inlet", "gas_manifold", "temp_supply")
UNITS = {"temp_supply": "degF"}
CHANNELS = [Channel(point := POINTS[n % 7], f"meter {n}", UNITS.get(point, "inH2O")) for n in range(16)]
AT_ONCE = 0.005
"""Readings that fall due within this are emitted together. [s]"""


class Timed(Store):
    """A store that notes how old each reading is when `append` has returned."""

    late: list[np.ndarray]
    """[s]"""

    def append(self, batch: Sequence[Written], *, seal: bool = True) -> list[Event]:
        """As always, and note it."""
        conflicts = super().append(batch, seal=seal)
        times = np.array([item.time for item in batch if isinstance(item, Reading)], np.int64)
        self.late.append((clock() - times) / 1e9)
        return conflicts


class Meters:
    """Emits so many readings a second, each with the time at which it is emitted."""

    name = "meters"

    def __init__(self, rate: float, seconds: float) -> None:
        self._rate, self._seconds = rate, seconds
        self.channels = CHANNELS
        self.emitted = 0
        self.took = 0.0
        self.over = asyncio.Event()

    async def run(self, emit: Emit) -> None:
        """Emit what is due until the time is over."""
        began, used = time.monotonic(), 0
        while (now := time.monotonic() - began) < self._seconds:
            while self.emitted < now * self._rate:
                used = max(used + 1, clock())  # no two with one time
                number = self.emitted % len(CHANNELS)
                emit(Reading(CHANNELS[number].key, used, round(1.0 + (self.emitted % 997) / 1000, 3)))
                self.emitted += 1
            await asyncio.sleep(AT_ONCE)
        self.took = time.monotonic() - began
        self.over.set()
        await asyncio.Event().wait()


def look_on(host: str, port: int, token: str, heard: list[int]) -> None:
    with socket.create_connection((host, port)) as line:
        line.sendall(json.dumps({"type": "auth", "token": token}).encode() + b"\n")
        while piece := line.recv(1 << 16):
            heard[0] += len(piece)


async def measured(path: Path, rate: float, seconds: float) -> dict[str, float]:
    with Timed(path) as store:
        store.late = []
        plate = Plate()
        collector = Collector(store, plate=plate, rules=default_rules(plate), clock=clock)
        meters, heard = Meters(rate, seconds), [0]
        collector.add(meters)  # type: ignore[arg-type]
        feed = Feed(collector, Commands(collector), about=dict)
        async with feed.serve() as (host, port):
            threading.Thread(target=look_on, args=(host, port, feed.token, heard), daemon=True).start()
            running = asyncio.create_task(collector.run())
            await meters.over.wait()
            await collector.recorder.caught_up()
            running.cancel()
            await asyncio.wait([running])
        late = np.concatenate(store.late)
        p50, p99 = np.quantile(late, [0.5, 0.99])
        kept, lost = store.kept, collector.recorder.lost
    return {
        "emitted": meters.emitted,
        "kept": kept,
        "lost": lost,
        "rate": meters.emitted / meters.took,
        "p50": 1000 * float(p50),
        "p99": 1000 * float(p99),
        "most": 1000 * float(late.max()),
        "heard": heard[0],
        "used": sum(os.times()[:2]),
    }


if __name__ == "__main__":
    settings = json.loads(sys.argv[1])
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    clock = Clock()
    be_steady()  # as the command does
    print(json.dumps(asyncio.run(measured(Path(settings["path"]), settings["rate"], settings["seconds"]))))  # noqa: T201
