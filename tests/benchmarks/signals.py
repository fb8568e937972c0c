"""Signals for what measures stores: simulated ignition sequences (invented), 10 Hz, times true to the millisecond.

`python -m tests.benchmarks.signals HOURS FILE` makes a recording of them, for a comparison outside of this program.
"""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np

from analysis.model import Channel
from collector.recording import Recording
from collector.rows import Many, Rows
from collector.store import Store

SECOND = 1_000_000_000
START = 1_768_372_200 * SECOND
CHANNELS = 16
MINUTES = 12
"""Length of the simulated course, which is repeated. [min]"""
AT_ONCE = 36_000
"""Readings that are recorded together. [1]"""


@cache
def course() -> tuple[tuple[Channel, Rows], ...]:
    """Every channel of a simulated course with several ignition attempts, as its instruments give it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "course.lightoff"
        simulated(path)
        with Recording(path) as recording:
            return tuple((channel, recording.read(channel.key)) for channel in recording.channels)


def simulated(path: Path, minutes: float = MINUTES) -> None:
    """A recording of a simulated course."""
    what = ("--cause", "drain_blocked", "--severity", "0.6", "--seed", "5", "--minutes", str(minutes))
    command = [sys.executable, "-m", "collector", "simulate", *what, "-o", str(path)]
    subprocess.run(command, check=True, capture_output=True)


def signals(hours: float, channels: int = CHANNELS) -> Iterator[tuple[Channel, Rows]]:
    """So many channels at 10 Hz over so many hours: the fast channels of the course again and again, moved in time."""
    count = round(hours * 36_000)
    fast = [(channel, rows) for channel, rows in course() if rows.time.size > MINUTES * 60 * 8]
    for number in range(channels):
        channel, rows = fast[number % len(fast)]
        chance = np.random.default_rng(number)
        late = chance.integers(-20, 21, count)  # [ms]; the clock of a meter is never quite regular
        time = START + (np.arange(count, dtype=np.int64) * 100 + late) * 1_000_000
        value = rows.value[(np.arange(count) + 977 * number) % rows.value.size]
        yield Channel(channel.point, f"meter {number}", channel.unit), Rows(time, value, np.zeros(count, np.int8))


def record(path: Path, hours: float, channels: int = CHANNELS) -> list[str]:
    """A finished recording of the signals; keys of its channels."""
    keys = []
    with Store(path) as store:
        for channel, rows in signals(hours, channels):
            keys.append(channel.key)
            store.append([channel])
            for begin in range(0, rows.time.size, AT_ONCE):
                store.append([Many(channel.key, rows.at(slice(begin, begin + AT_ONCE)))])
    return keys


if __name__ == "__main__":
    record(Path(sys.argv[2]), float(sys.argv[1]))
