"""Recordings of a simulated unit, sixteen channels read ten times a second, as long as wanted; and servers to compare.

One call and the rest after it are simulated, with the digits and the noise of the meters, and follow each other again
and again.
"""

import json
import shutil
import subprocess
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Channel, Event, EventKind
from collector.rows import Many, Rows
from collector.store import Store
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import standard_meters
from drivers.simulate.scenario import prepared
from drivers.simulate.unit import random_unit
from tests.ports import free_port
from tests.sequence.long_runs import RATE, SIXTEEN

START = 1_768_372_280 * NANOSECONDS
SEED = 4
INFLUXD = shutil.which("influxd")


@cache
def one_round(seconds: float) -> Mapping[Channel, tuple[NDArray[np.int64], NDArray[np.float64]]]:
    """Times from its beginning [ns] and values [native unit] of each channel."""
    plant = prepared(random_unit(SEED), (), seed=SEED, minutes=seconds / 60.0)
    meters = tuple(
        replace(meter, rate=RATE, inputs=tuple(entry for entry in meter.inputs if entry.point in SIXTEEN))
        for meter in standard_meters(plant.points)
        if any(entry.point in SIXTEEN for entry in meter.inputs)
    )
    observer = Observer(meters, SEED)
    found: dict[Channel, tuple[list[NDArray[np.int64]], list[NDArray[np.float64]]]] = {}
    for _ in range(round(seconds / 60.0)):
        for one in observer.observe(plant.advance(60.0)).readings:
            times, values = found.setdefault(one.channel, ([], []))
            times.append(one.time)
            values.append(one.value)
    plant.finish()
    assert len(found) == len(SIXTEEN)
    return {channel: (np.concatenate(times), np.concatenate(values)) for channel, (times, values) in found.items()}


def begun(store: Store, seconds: float) -> None:
    """Channels, and the event that a recording begins with."""
    store.append([Event(START, EventKind.RECORDER, "recording started", None, {"wall": START}), *one_round(seconds)])


def add_round(store: Store, number: int, seconds: float) -> int:
    """Record one round more; readings. [1]"""
    count = 0
    shift = START + round(number * seconds * NANOSECONDS)
    for channel, (times, values) in one_round(seconds).items():
        rows = Rows(times + shift, values, np.zeros(len(times), np.int8))
        store.append([Many(channel.key, rows)])
        count += len(times)
    return count


def size(folder: Path) -> int:
    """Of everything in a folder or file. [bytes]"""
    if folder.is_file():
        return folder.stat().st_size
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


@contextmanager
def other_server(folder: Path) -> Iterator[tuple[str, Path]]:
    """Address and data of the other server with line protocol that the system carries, while the block runs."""
    assert INFLUXD
    port, rpc, data = free_port(), free_port(), folder / "other"
    text = (
        f'bind-address = "127.0.0.1:{rpc}"\nreporting-disabled = true\n[meta]\ndir = "{data}/meta"\n'
        f'[data]\ndir = "{data}/data"\nwal-dir = "{data}/wal"\n[http]\nbind-address = "127.0.0.1:{port}"\n'
        "log-enabled = false\nmax-row-limit = 0\n[monitor]\nstore-enabled = false\n"
    )
    data.mkdir()
    (data / "configuration").write_text(text)
    command = [INFLUXD, "-config", str(data / "configuration")]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    url = f"http://127.0.0.1:{port}"
    try:
        deadline = time.monotonic() + 30
        while True:
            with suppress(OSError):
                post(f"{url}/query", urllib.parse.urlencode({"q": "CREATE DATABASE lightoff"}).encode())
                break
            assert time.monotonic() < deadline, "the other server does not start"
            time.sleep(0.05)
        yield url, data / "data"
    finally:
        process.terminate()
        process.wait(60)


def post(url: str, body: bytes) -> bytes:
    """Answer to a message."""
    with urllib.request.urlopen(urllib.request.Request(url, data=body, method="POST"), timeout=600) as answer:
        return bytes(answer.read())


def read_lines(text: str) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Times [ms] and values of an export."""
    parts = [json.loads(line) for line in text.splitlines()] or [{"timestamps": (), "values": ()}]
    times = np.concatenate([np.array(part["timestamps"], np.int64) for part in parts])
    values = np.concatenate([np.array(part["values"], np.float64) for part in parts])
    order = np.argsort(times)
    return times[order], values[order]
