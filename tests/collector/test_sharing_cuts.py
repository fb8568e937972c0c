"""A shared call whose network is cut for an hour, and one whose laptop, or the viewer's, falls asleep.

LIGHTOFF_SHARE_CUT_RATE is how often each channel speaks in the hour (1; 10 in `make soak`) [Hz], LIGHTOFF_SHARE_SLEEPS
how often each machine falls asleep (1; 10).
"""

import asyncio
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import asynccontextmanager, closing
from pathlib import Path

import pytest

from collector.clock import Clock
from collector.database import RecordingError
from tests.benchmarks.table import row, say
from tests.collector.share_bench import CHANNELS, differences, here, job_text, same, there, together, url
from tests.collector.test_sharing import speak
from tests.drivers.brokers import Broker
from tests.support import until

LONG = 300.0
"""Where a machine is loaded, a program takes a minute to begin. [s]"""
RATE = int(os.environ.get("LIGHTOFF_SHARE_CUT_RATE", "1"))
SLEEPS = int(os.environ.get("LIGHTOFF_SHARE_SLEEPS", "1"))
HOUR = 3600
SECOND = 1_000_000_000
pytestmark = pytest.mark.timeout(900 + 120 * SLEEPS)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with closing(Broker(tmp_path)) as broker:
        yield broker


async def test_an_hour_without_a_network_is_caught_up_while_what_is_said_now_goes_first(tmp_path: Path, broker: Broker):
    """The hour is one of the recording's own time, which goes faster meanwhile."""
    ahead, lags = 0, list[float]()

    def fast() -> int:
        return time.monotonic_ns() + ahead

    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    clock = Clock(monotonic=fast, since_boot=fast)
    async with there(one, job_text(broker.port), clock) as technician, here(other, url(broker.port)) as viewer:
        await together(technician, viewer, within=LONG)
        broker.kill()
        await until(lambda: technician.state == "waiting", within=LONG, what="that the broker is missed")
        for number in range(HOUR * RATE):
            ahead += SECOND // RATE
            technician.say()
            if number % 100 == 0:
                await asyncio.sleep(0)
        await technician.collector.recorder.caught_up()
        before = technician.last
        broker.start()
        began = time.monotonic()

        def all_of_it() -> bool:
            newest = max(at for _, at, *_ in viewer.collector.latest.values())
            if newest > before:
                lags.append((technician.collector.now() - newest) / SECOND)
            return whole()

        speaking, whole = asyncio.create_task(speak(technician), name="speaking"), same_up_to(one, other, before)
        try:
            await until(all_of_it, within=LONG, what="the hour")
            took = time.monotonic() - began
        finally:
            speaking.cancel()
            await asyncio.wait([speaking])
        await until(same(one, other), within=LONG, what="the rest")
        assert viewer.share.statistics()["unreadable"] == 0
    assert differences(one, other) == []
    count, times = HOUR * RATE * len(CHANNELS), HOUR / took
    say(f"an hour that was cut off, {count} readings: all there {took:.1f} s after the broker ({times:.0f} times)")
    say(f"what was said meanwhile was seen after {max(lags, default=0):.2f} s at the most, in {len(lags)} looks")
    row("an hour that was cut off, beside real time", f"{times:.0f} times", "100 times")
    row("what was said while it was caught up, at the latest", f"{max(lags, default=0):.2f} s", "2 s")
    assert lags, "what is said now goes first"


def same_up_to(one: Path, other: Path, last: int) -> Callable[[], bool]:
    """A condition to wait for: everything up to a time [ns] is at both ends."""
    looked = -float("inf")

    def found() -> bool:
        nonlocal looked
        if time.monotonic() - looked < 1.0:
            return False
        equal = not differences(one, other, last)
        looked = time.monotonic()
        return equal

    return found


@asynccontextmanager
async def program(path: Path, what: str):
    """Who records, or watches, as a program of its own."""
    command = [sys.executable, "-m", "tests.collector.share_child", str(path), what]
    child = await asyncio.create_subprocess_exec(*command)
    try:
        yield child.pid
    finally:
        for one in family(child.pid):
            os.kill(one, signal.SIGCONT)
        child.kill()
        await child.wait()


def family(number: int) -> list[int]:
    """A process and those that it started."""
    command = ["ps", "--no-headers", "-o", "pid", "--ppid", str(number)]
    found = subprocess.run(command, capture_output=True, text=True, check=False).stdout.split()
    return [number, *map(int, found)]


def connections(port: int) -> int:
    """How many the broker has, whoever holds the other end; of Linux."""
    rows = [line.split() for line in Path("/proc/net/tcp").read_text(encoding="ascii").splitlines()[1:]]
    return sum(1 for fields in rows if fields[3] == "01" and int(fields[1].rpartition(":")[2], 16) == port)


async def asleep(number: int, broker: Broker, noticed: Callable[[], bool] = lambda: True) -> None:
    """Stop a machine's programs until the broker has given them up, and whoever else is to notice it has."""
    before, stopped = connections(broker.port), family(number)
    for one in stopped:
        os.kill(one, signal.SIGSTOP)
    await until(lambda: connections(broker.port) < before, within=LONG, what="that the broker gives it up")
    await until(noticed, within=LONG, what="that it is noticed")
    for one in reversed(stopped):
        os.kill(one, signal.SIGCONT)


async def test_a_technicians_laptop_falls_asleep_and_nothing_is_lost(tmp_path: Path, broker: Broker):
    one, other, job = tmp_path / "there.lightoff", tmp_path / "here.lightoff", tmp_path / "job.toml"
    job.write_text(job_text(broker.port))
    async with here(other, url(broker.port)) as viewer:
        async with program(one, str(job)) as number:
            await until(lambda: viewer.collector.readings > 30, within=LONG, what="readings")
            for _ in range(SLEEPS):
                await asleep(number, broker, lambda: viewer.state == "offline")
                seen = viewer.collector.readings
                await until(
                    lambda: viewer.state == "live" and viewer.collector.readings > seen + 30,  # noqa: B023
                    within=LONG,
                    what="it wakes up",
                )
        async with there(one, job.read_text()):
            await until(same(one, other), within=LONG, what="all of it")
    assert differences(one, other) == []


async def test_a_viewers_laptop_falls_asleep_and_nothing_is_missing(tmp_path: Path, broker: Broker):
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    async with there(one, job_text(broker.port)) as technician, program(other, url(broker.port)) as number:
        speaking = asyncio.create_task(speak(technician), name="speaking")
        try:
            await until(lambda: not same_names(one, other), within=LONG, what="it watches")
            both = connections(broker.port)
            for _ in range(SLEEPS):
                await until(lambda: connections(broker.port) >= both, within=LONG, what="it is there again")
                await asleep(number, broker)
        finally:
            speaking.cancel()
            await asyncio.wait([speaking])
        await until(same(one, other), within=LONG, what="all of it")
    assert differences(one, other) == []


def same_names(one: Path, other: Path) -> list[str]:
    """Channels that one end lacks."""
    try:
        found = differences(one, other)
    except RecordingError:
        return ["the recording is being made"]
    return [text for text in found if text.endswith("not there") or text.startswith("nothing")]
