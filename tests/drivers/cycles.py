"""A peer that goes and comes again, many times and at any moment: nothing is left, and each gap is a gap.

CYCLES of them for each driver in `make test`; `LIGHTOFF_CYCLES=500` is the long form.
"""

import asyncio
import gc
import logging
import os
import random
import time
import tracemalloc
from contextlib import suppress
from pathlib import Path

from analysis.model import Event, EventKind, Reading
from collector.supervisor import State, Supervisor
from drivers.base import Driver, Emission
from tests.drivers.bench import Bench
from tests.support import until

CYCLES = int(os.environ.get("LIGHTOFF_CYCLES", "50"))
"""Times that the peer of each driver goes and returns. [1]"""
GROWTH = 400_000
"""What may be held more at the end than after the first few cycles. [bytes]"""
SETTLED = 5
"""Cycles after which nothing may grow any more. [1]"""


async def go_and_return(bench: Bench, driver: Driver, *, cycles: int = CYCLES, within: float = 10.0) -> None:
    """Lose the peer and bring it back so many times; AssertionError where something grows or a gap is not told.

    How much it says and how long it is away is random, from a fixed seed.
    """
    chance = random.Random(20260114)
    emitted: list[Emission] = []
    readings = 0

    def take(emission: Emission) -> None:
        nonlocal readings
        readings += isinstance(emission, Reading)
        if not isinstance(emission, Reading):
            emitted.append(emission)
            del emitted[:-500]

    async def brief(seconds: float) -> None:
        await asyncio.sleep(min(seconds, 0.02))

    supervisor = Supervisor(driver, take, now=time.time_ns, sleep=brief)
    task = asyncio.create_task(supervisor.run(), name="supervisor")
    gaps, descriptors, tasks, held = 0, 0, 0, 0
    logging.disable(logging.WARNING)  # what is captured of them would be held
    tracemalloc.start()
    try:
        for cycle in range(cycles + 1):
            await until(lambda: bench.listening(emitted), within=within, what=f"listening, cycle {cycle}")
            emitted.clear()
            said = chance.randint(1, 3)
            wanted = readings + said
            bench.say(said)
            await until(lambda: readings >= wanted, within=within, what=f"reading, cycle {cycle}")  # noqa: B023
            gaps += sum(isinstance(item, Event) and item.kind is EventKind.GAP for item in emitted)
            if cycle == cycles:
                break
            if cycle == min(SETTLED, cycles - 1):
                gc.collect()
                descriptors, tasks = _descriptors(), len(asyncio.all_tasks())
                held = tracemalloc.get_traced_memory()[0]
            bench.lose()
            await until(
                lambda: supervisor.status.state is not State.READING, within=within, what=f"lost, cycle {cycle}"
            )
            emitted.clear()
            await asyncio.sleep(chance.choice((0.0, 0.0, 0.01, 0.05)))
            bench.bring_back()
        gc.collect()
        growth = tracemalloc.get_traced_memory()[0] - held
        assert _descriptors() <= descriptors, f"{_descriptors() - descriptors} descriptors more"
        assert len(asyncio.all_tasks()) <= tasks, f"{sorted(one.get_name() for one in asyncio.all_tasks())}"
        assert growth < GROWTH, f"{growth} bytes more are held"
    finally:
        tracemalloc.stop()
        logging.disable(logging.NOTSET)
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task
    assert gaps == cycles, f"{gaps} gaps told of {cycles}"


def _descriptors() -> int:
    table = Path("/proc/self/fd")
    return len(os.listdir(table)) if table.exists() else 0  # noqa: PTH208
