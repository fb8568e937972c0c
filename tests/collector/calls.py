"""A small call for tests: a collector on a real store, and drivers that say what they are told."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

from analysis.model import Channel, Plate, Reading
from collector.alarm_rule import AlarmRule
from collector.clock import Clock
from collector.collector import Collector
from collector.store import Store
from drivers.base import Driver, Emit

DRAFT = Channel("draft_switch", "draft meter", "inH2O")
CLOSED = Channel("switch_closed", "contact logger", "1")
SUPPLY = Channel("temp_supply", "duct thermometer", "degF")
RETURN = Channel("temp_return", "duct thermometer", "degF")
CO = Channel("room_co", "room CO meter", "ppm")
INCH = 249.08891
PLATE = Plate(switch_close=(0.95 * INCH, 0.50 * INCH), switch_open=(0.85 * INCH, 0.42 * INCH), rise=(19.4, 36.1))
SECOND = 1_000_000_000
T0 = 1_768_372_280 * SECOND


class Told:
    """A driver that emits what it is handed, and ends when it is handed None."""

    def __init__(self, name: str, *channels: Channel) -> None:
        self.name = name
        self.channels = channels
        self.items: asyncio.Queue[Reading | Exception | None] = asyncio.Queue()

    def say(self, channel: Channel, seconds: float, value: float) -> None:
        """Emit a reading `seconds` after the beginning."""
        self.items.put_nowait(Reading(channel.key, T0 + round(seconds * SECOND), value))

    async def run(self, emit: Emit) -> None:
        """Emit until told to end or to fail."""
        while (item := await self.items.get()) is not None:
            if isinstance(item, Exception):
                raise item
            emit(item)


@asynccontextmanager
async def call(path: Path, *drivers: Driver, rules: Sequence[AlarmRule] = ()) -> AsyncIterator[Collector]:
    """A collector that runs while the block does; on leaving everything is durable."""
    with Store(path) as store:
        collector = Collector(store, plate=PLATE, rules=rules, clock=Clock())
        for driver in drivers:
            collector.add(driver)
        task = asyncio.create_task(collector.run(), name="collector")
        try:
            yield collector
        finally:
            task.cancel()
            await asyncio.wait([task])
            if not task.cancelled() and (error := task.exception()):
                raise error
