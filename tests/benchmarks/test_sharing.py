"""What sharing a call costs: bytes a reading on the way, how late five watchers see one, how fast one catches up.

Sizes are checked, since they do not depend on the machine; times are printed with it. LIGHTOFF_SHARE_SECONDS is how
long the watchers look on (3; 60 with LIGHTOFF_BENCH=1).
"""

import asyncio
import os
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from analysis.model import Channel, Plate, Reading
from collector.clock import Clock
from collector.collector import Collector
from collector.job import parse
from collector.rows import Many
from collector.share_target import share_secrets
from collector.sharing import TURN, sharing_of
from collector.store import Store
from collector.watching import held
from drivers.base import Emission, Past
from drivers.codecs.senml import Block, decode, encode
from drivers.share import Share, Viewing
from drivers.share_topics import shared_call
from tests.benchmarks.signals import signals
from tests.benchmarks.table import row, say
from tests.collector.share_bench import here, job_text, url
from tests.drivers.brokers import Broker
from tests.support import until

FULL = os.environ.get("LIGHTOFF_BENCH") == "1"
SECONDS = float(os.environ.get("LIGHTOFF_SHARE_SECONDS", "60" if FULL else "3"))
WATCHERS, CHANNELS, RATE = 5, 16, 10
WISHED = 12.0
"""[bytes]"""
TOPIC = "lightoff/1/cold company/Ann/2026-01-14/readings"
AROUND = 2 + 1 + 2 + 2 + 2 + 1 + 3 + 23 + 3
"""Of an MQTT 5 message: head, lengths, number, and the property with the media type. [bytes]"""
pytestmark = pytest.mark.timeout(900 if FULL else 180)


def test_a_reading_of_sixteen_channels_at_ten_hertz_takes_twelve_bytes_at_the_most():
    """Simulated signals (invented), in live packs and as a viewer who was late gets them; all of a message counts."""
    data = list(signals(0.02, CHANNELS))
    begin, end = min(rows.time[0] for _, rows in data), max(rows.time[-1] for _, rows in data)
    sizes = {}
    for period in (TURN, 25.0):
        size = count = 0
        for start in range(int(begin), int(end), int(period * 1e9)):
            blocks = []
            for number, (channel, rows) in enumerate(data):
                part = rows.part(start, start + int(period * 1e9) - 1)
                blocks.append(Block(f"lightoff:3f0c7a1e/{number}", channel.unit, part.time, part.value, part.quality))
            message = encode(blocks)
            found = {block.name: block for block in decode(message).blocks}
            assert all(found[one.name].value.tobytes() == one.value.tobytes() for one in blocks if one.time.size)
            size += len(message) + len(TOPIC) + AROUND
            count += sum(one.time.size for one in blocks)
        sizes[period] = size / count
    say(f"a shared reading takes {sizes[TURN]:.1f} bytes live, with its message, and {sizes[25.0]:.1f} when asked for")
    row("a shared reading, live, with its message", f"{sizes[TURN]:.1f} bytes", f"{WISHED:g} bytes")
    assert sizes[TURN] < WISHED
    assert sizes[25.0] < sizes[TURN] / 1.5


async def test_how_late_five_watchers_are(tmp_path: Path):
    """From the emission of a reading to the watcher's driver that emits it."""
    path, late = tmp_path / "call.lightoff", [list[int]() for _ in range(WATCHERS)]
    with closing(Broker(tmp_path)) as broker, Store(path) as store:
        collector = Collector(store, plate=Plate(), rules=(), clock=Clock())
        job = parse(job_text(broker.port))
        sharing = sharing_of(path, share_secrets(tmp_path), collector, lambda: job)
        assert sharing
        channels = [Channel("temp_room", f"meter {number}", "degC") for number in range(CHANNELS)]
        for channel in channels:
            collector.ingest(channel)
        task = asyncio.create_task(collector.run(), name="collector")
        watching = []
        try:
            async with sharing.sending():
                watching = [asyncio.create_task(watcher(path, broker.port, found), name="watcher") for found in late]
                await until(lambda: _speaks(collector, channels) or all(late), within=120, what="all watch")
                for found in late:
                    found.clear()
                ending = time.monotonic() + SECONDS
                while time.monotonic() < ending:
                    _speaks(collector, channels)
                    await asyncio.sleep(1 / RATE)
        finally:
            for one in (*watching, task):
                one.cancel()
            await asyncio.wait([*watching, task])
    lags = np.concatenate([np.array(found) for found in late]) / 1e6
    median, worst = np.percentile(lags, [50, 99])
    text = f"{median:.0f}/{worst:.0f} ms"
    say(f"{WATCHERS} watchers see {lags.size} readings of {CHANNELS} channels after p50/p99 {text}")
    row(f"a shared reading at {WATCHERS} watchers (p50/p99)", text, "p99 500 ms")
    assert lags.size > WATCHERS * CHANNELS


_spoken = [0.0]


def _speaks(collector: Collector, channels: list[Channel]) -> bool:
    if time.monotonic() - _spoken[0] >= 0.9 / RATE:
        _spoken[0] = time.monotonic()
        for channel in channels:
            collector.ingest(Reading(channel.key, collector.now(), round(20 + time.monotonic() % 7, 2)))
    return False


async def watcher(path: Path, port: int, found: list[int]) -> None:
    """One who watches and lacks nothing: his recording is the call's own."""

    def emit(item: Emission) -> None:
        if isinstance(item, Reading):
            found.append(time.time_ns() - item.time)

    def nothing(_: Past) -> None:
        pass

    async def soon() -> None:
        await asyncio.sleep(0)

    viewing = Viewing(
        call=shared_call(url(port)),
        held=lambda key, start, end: held(path, key.replace("shared: ", ""), start, end),
        past=nothing,
        caught_up=soon,
    )
    await Share(viewing).run(emit)


async def test_how_fast_one_who_is_late_catches_up(tmp_path: Path):
    """Five minutes of sixteen channels at 10 Hz that were recorded before anybody watched."""
    path, other = tmp_path / "call.lightoff", tmp_path / "here.lightoff"
    minutes = 30 if FULL else 5
    count = minutes * 60 * RATE * CHANNELS
    with closing(Broker(tmp_path)) as broker, Store(path) as store:
        collector = Collector(store, plate=Plate(), rules=(), clock=Clock())
        for channel, rows in signals(minutes / 60, CHANNELS):
            store.append([channel, Many(channel.key, rows)])
        job = parse(job_text(broker.port))
        sharing = sharing_of(path, share_secrets(tmp_path), collector, lambda: job)
        assert sharing
        task = asyncio.create_task(collector.run(), name="collector")
        try:
            async with sharing.sending():
                await until(lambda: (sharing.status() or {}).get("state") == "sharing", within=120, what="sharing")
                async with here(other, url(broker.port)) as viewer:
                    await until(lambda: viewer.share.standing()["lacking"], within=60, what="what is lacking")
                    began = time.perf_counter()
                    got = viewer.collector.recorder
                    await until(
                        lambda: got.written >= 16 and not viewer.share.standing()["lacking"], within=120, what="all"
                    )
                    took = time.perf_counter() - began
                    await viewer.collector.recorder.caught_up()
                with Store(other) as _:
                    pass
        finally:
            task.cancel()
            await asyncio.wait([task])
    times = minutes * 60 / took
    say(f"a viewer who is late gets {count} readings in {took:.2f} s, {times:.0f} times as fast as they were made")
    row("a late viewer, beside real time", f"{times:.0f} times", "100 times")
