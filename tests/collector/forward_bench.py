"""A recording that is being made, and a cursor over it whose time only moves when there is nothing to do."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.model import Channel, Event, EventKind
from collector.archive_command import forward_all
from collector.forward import Forwarder
from collector.forward_kept import Kept
from collector.forward_marks import within_minutes
from collector.rows import Many, Rows
from collector.sinks.influx import InfluxSink
from collector.sinks.sink import Target
from collector.store import Store
from collector.supervisor import Backoff
from tests.collector.archive_bench import Pace
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, SWITCH, T0

STARTED = Event(T0, EventKind.RECORDER, "recording started", None, {"wall": T0})
CHANNELS = (DRAFT, SUPPLY, SWITCH)
TENTH = SECOND // 10


@dataclass
class Call:
    """A recording that is being made, and what is told of it to a cursor."""

    path: Path
    store: Store
    pace: Pace
    said: int = 0

    def record(self, seconds: float, *forwarders: Forwarder) -> None:
        """All channels talk ten times a second; time passes."""
        count = round(seconds * 10)
        for channel in CHANNELS:
            time = T0 + (self.said + np.arange(count)) * TENTH
            value = np.round(np.sin((self.said + np.arange(count)) / 70), 3)
            self.add(channel, time, value, *forwarders)
        self.said += count
        self.pace.passed = max(self.pace.passed, self.said / 10)

    def add(self, channel: Channel, time: np.ndarray, value: np.ndarray, *forwarders: Forwarder) -> None:
        """Record, and tell the cursors."""
        self.store.append([Many(channel.key, Rows(time, value, np.zeros(len(time), np.int8)))])
        for forwarder in forwarders:
            forwarder.marks.add(within_minutes(channel.key, int(time.min()), int(time.max())))

    def late(self, seconds: float, *forwarders: Forwarder) -> None:
        """A reading that comes long after its time."""
        at = np.array([T0 + round(seconds * SECOND) + 7_000_000])
        self.add(SUPPLY, at, np.array([70.5]), *forwarders)


@contextmanager
def recording_call(folder: Path) -> Iterator[Call]:
    """A recording that has begun."""
    with Store(folder / "call.lightoff") as store:
        store.append([STARTED, *CHANNELS])
        yield Call(store.path, store, Pace(T0))


@contextmanager
def forwarding(call: Call, url: str, **more: float) -> Iterator[Forwarder]:
    """A cursor over the call, whose time is the call's."""
    target = Target(url)
    sink = InfluxSink(target)
    with Kept(call.path, target.identity) as kept:
        pace = call.pace
        backoff = Backoff(1.0, 60.0, jitter=lambda _, high: high)
        try:
            yield Forwarder(call.path, sink, kept, now=pace.now, monotonic=pace.monotonic, backoff=backoff, **more)
        finally:
            sink.close()


def until_sent(forwarder: Forwarder, pace: Pace, most: int = 20_000) -> None:
    """Step until the server has answered for everything; time passes only while there is nothing to do."""
    for _ in range(most):
        wait = forwarder.step()
        if forwarder.sent:
            return
        pace.sleep(wait)
    raise AssertionError(f"not sent: {forwarder.status}")


def until_kept(forwarder: Forwarder, pace: Pace) -> None:
    """Step until the server has everything for sure."""
    assert forward_all(forwarder, patience=1e9, sleep=pace.sleep)


def readings(lines: list[str]) -> set[str]:
    """Different lines of readings among those that a server took."""
    return {line for line in lines if line.startswith("lightoff,")}
