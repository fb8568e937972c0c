"""A real collector on one core with meters on serial ports: `python -m tests.benchmarks.load_child SETTINGS`.

It says `ready` when all ports are open, records until its input ends, and says how late readings were taken in.
"""

import asyncio
import json
import os
import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

from analysis.model import Channel, Plate, Reading
from collector.clock import Clock
from collector.collector import Collector
from collector.losses import losses
from collector.rules import default_rules
from collector.store import Store
from collector.supervisor import Status
from drivers.base import Emission
from drivers.port import WAIT
from drivers.profile import Profile, SerialSection, Value
from drivers.registry import KINDS
from drivers.serial_line import SerialLine
from drivers.setup import Setup, Shared

POINTS = (
    "draft_collector",
    "draft_vent",
    "draft_switch",
    "static_return",
    "static_supply",
    "gas_inlet",
    "gas_manifold",
)


class Watched(Collector):
    """A collector that notes how long after its arrival in the reader thread each reading is taken in."""

    late: dict[str, list[int]]
    """By channel, in the order in which they were taken in. [ns]"""
    taken: dict[str, list[int]]
    """When, by the clock that all programs share. [ns]"""
    closed: set[str]
    """Channels whose ports are not open yet."""
    ready: asyncio.Event

    def watch(self) -> None:
        """From now on; the channels are known, and come again when their ports are open."""
        self.late, self.taken, self.ready = defaultdict(list), defaultdict(list), asyncio.Event()
        self.closed = {channel.key for channel in self.channels}

    def ingest(self, item: Emission) -> None:
        """As always, and note it."""
        super().ingest(item)
        if isinstance(item, Reading):
            self.late[item.channel].append(self.clock() - item.time)
            self.taken[item.channel].append(time.monotonic_ns())
        elif isinstance(item, Channel) and hasattr(self, "closed"):
            self.closed.discard(item.key)
            if not self.closed:
                self.ready.set()


def meters(ports: dict[str, str], clock: Clock) -> list[SerialLine]:
    shared = Shared()
    made = []
    for number, (name, port) in enumerate(ports.items()):
        profile = Profile(
            name="line",
            driver="serial",
            values=(Value(name="pressure", unit="Pa"),),
            serial=SerialSection(baud=115_200, pattern=r"P=\s*(?P<pressure>[-+.\w]+)\s*Pa"),
        )
        channels = {"pressure": POINTS[number % len(POINTS)]}
        setup = Setup(name=name, profile=profile, address=port, channels=channels, now=clock, shared=shared)
        driver = KINDS["serial"].make(setup)
        assert isinstance(driver, SerialLine)
        made.append(driver)
    return made


async def record(recording: Path, ports: dict[str, str]) -> dict[str, object]:
    clock = Clock()
    drivers = meters(ports, clock)
    with Store(recording) as store:
        plate = Plate()
        collector = Watched(store, plate=plate, rules=default_rules(plate), clock=clock)
        for driver in drivers:
            collector.add(driver)
        collector.watch()
        running = asyncio.create_task(collector.run())
        await collector.ready.wait()
        await asyncio.sleep(2 * WAIT)  # what comes after a pause begins with a whole line
        print("ready", flush=True)  # noqa: T201
        await asyncio.to_thread(sys.stdin.read)
        running.cancel()
        await asyncio.wait([running])
    flooding = drivers[-1]
    names = {channel.key: channel.instrument for channel in collector.channels}
    late = {names[key]: np.asarray(one) / 1e6 for key, one in collector.late.items()}
    steady = np.concatenate([one for name, one in late.items() if name != flooding.name])
    taken = {names[key]: one for key, one in collector.taken.items() if names[key] != flooding.name}
    recording.with_suffix(".json").write_text(json.dumps(taken))
    return {
        "steady": quantiles(steady),
        "fast": quantiles(late["fast"]),
        "flood": quantiles(late[flooding.name]),
        "statistics": {driver.name: driver.statistics() for driver in drivers},
        "losses": losses(Status(flooding.name), flooding.statistics()),
        "used": sum(os.times()[:2]),
    }


def quantiles(late: np.ndarray) -> dict[str, float]:
    """[ms]"""
    p50, p99 = np.quantile(late, [0.5, 0.99])
    return {"p50": float(p50), "p99": float(p99), "max": float(late.max()), "count": len(late)}


if __name__ == "__main__":
    settings = json.loads(sys.argv[1])
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {settings["core"]})
    print(json.dumps(asyncio.run(record(Path(settings["recording"]), settings["ports"]))))  # noqa: T201
