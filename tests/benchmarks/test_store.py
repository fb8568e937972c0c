"""How fast and how small recordings are: ratios from one run are checked, absolute times are printed with the machine.

LIGHTOFF_STORE_HOURS is how long the recording is (1; 24 with LIGHTOFF_BENCH=1), LIGHTOFF_PATH_SECONDS how long the
whole path is under load.
"""

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from collector.opened import open_data
from collector.opened_recording import read_recording
from collector.recording import Recording
from collector.rows import Many
from collector.store import Store
from tests.benchmarks.signals import CHANNELS, MINUTES, course, record, signals
from tests.benchmarks.table import row, say

FULL = os.environ.get("LIGHTOFF_BENCH") == "1"
HOURS = float(os.environ.get("LIGHTOFF_STORE_HOURS", "24" if FULL else "1"))
SECONDS = float(os.environ.get("LIGHTOFF_PATH_SECONDS", "30" if FULL else "3"))
RATE = 20_000
"""Wanted of the whole path. [readings/s]"""

pytestmark = pytest.mark.timeout(1200 if FULL or HOURS > 2 else 120)


def least(work: Callable[[], object], times: int = 7) -> float:
    """The shortest of so many runs: other programs beside only make it longer. [s]"""
    found = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        found.append(time.perf_counter() - began)
    return min(found)


@pytest.fixture(scope="module")
def long(tmp_path_factory) -> Path:
    path: Path = tmp_path_factory.mktemp("long") / "call.lightoff"
    record(path, HOURS)
    return path


def test_a_reading_takes_two_bytes(tmp_path):
    """A simulated call as its instruments give it, and the parts of it at 10 Hz; of the file as a whole, closed."""
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        for channel, rows in course():
            store.append([channel, Many(channel.key, rows)])
    with Recording(path) as recording:
        counts = recording.counts()
        fast = [number for key, number in recording.numbers().items() if counts[key] > MINUTES * 60 * 8]
        marks = ",".join("?" for _ in fast)
        query = "SELECT sum(length(time) + length(value) + length(quality)), sum(count) FROM block WHERE channel IN"
        size, count = recording.db.execute(f"{query} ({marks})", fast).fetchone()
        query = f"SELECT sum(length(content)) FROM overview WHERE channel IN ({marks})"
        (more,) = recording.db.execute(query, fast).fetchone()
    say(
        f"simulated call: {size / count:.2f} bytes a reading at 10 Hz and {more / count:.2f} for their overview;"
        f" the whole file {path.stat().st_size / sum(counts.values()):.2f} a reading of any rate"
    )
    row(
        "size sealed, a simulated call, channels at 10 Hz",
        f"{(size + more) / count:.2f} bytes a reading",
        "at most 2.0",
    )
    assert (size + more) / count <= 2.0


def test_a_long_recording_takes_two_bytes_a_reading_all_in_all(long):
    each = long.stat().st_size / (HOURS * 36_000 * CHANNELS)
    say(f"{HOURS:g} h of {CHANNELS} channels at 10 Hz: {each:.2f} bytes a reading, the file as a whole")
    row(f"size sealed, {HOURS:g} h x {CHANNELS} channels", f"{each:.2f} bytes a reading", "at most 2.0")
    assert each <= 2.0 + 0.1 / HOURS


def test_one_channel_against_duckdb(long, tmp_path):
    """The same channel from a file of DuckDB, which keeps all channels in one table in their order; a thread each."""
    import duckdb

    other = tmp_path / "other.duckdb"
    db = duckdb.connect(str(other))
    db.execute("CREATE TABLE reading (channel SMALLINT, time BIGINT, value DOUBLE, quality TINYINT)")
    for number, (_, rows) in enumerate(signals(HOURS)):
        columns = {"time": rows.time, "value": rows.value, "quality": rows.quality}
        db.register("arrays", columns)
        db.execute(f"INSERT INTO reading SELECT {number}, time, value, quality FROM arrays")
    db.close()
    key, query = "", "SELECT time, value, quality FROM reading WHERE channel=3 ORDER BY time"
    with Recording(long) as recording:
        key = recording.channels[3].key

    def ours() -> Any:
        with Recording(long) as recording:
            return recording.read(key)

    def theirs() -> Any:
        with duckdb.connect(str(other), read_only=True, config={"threads": 1}) as db:
            return db.execute(query).fetchnumpy()

    assert np.array_equal(ours().time, theirs()["time"])
    assert np.array_equal(ours().value, theirs()["value"])
    took, took_there = least(ours), least(theirs)
    say(
        f"{HOURS * 36_000:,.0f} readings of one channel: {1000 * took:.1f} ms, DuckDB {1000 * took_there:.1f} ms"
        f" ({took_there / took:.1f} x)"
    )
    reached = f"{1000 * took:.0f} ms, DuckDB on one thread takes {took_there / took:.1f} times as long"
    row(f"one channel of {HOURS:g} h at 10 Hz as arrays", reached, "24 h under 60 ms, 5 x faster")
    assert took_there > 5 * took


def overviews(path: Path, points: int = 2000) -> None:
    with Recording(path) as recording:
        for channel in recording.channels[:6]:
            assert 0 < recording.overview(channel.key, points=points).time.size <= points


def test_an_overview_does_not_grow_with_the_length(long, tmp_path):
    """Six channels, so few points that slots are read for both: eight times as long, and about as fast."""
    short = tmp_path / "short.lightoff"
    record(short, HOURS / 8, channels=6)
    points = max(24, round(80 * HOURS / 24 * 2))
    one, eight = (least(partial(overviews, path, points)) for path in (short, long))
    whole = least(partial(overviews, long))
    say(
        f"overview of six channels: {HOURS / 8:g} h {1000 * one:.1f} ms, {HOURS:g} h {1000 * eight:.1f} ms at {points}"
        f" points; {1000 * whole:.1f} ms at 2,000"
    )
    reached = f"{1000 * whole:.0f} ms; {eight / one:.2f} times as long for 8 times the length"
    row(f"overview of six channels, {HOURS:g} h, 2,000 points", reached, "under 60 ms, growing as log at most")
    assert eight < 2 * one


def opened(path: Path) -> None:
    """What the page asks of a recording that it opens."""
    with Recording(path) as recording:
        assert len(recording.channels) == len(recording.latest()) == len(recording.counts())
        assert recording.span() is not None
        assert recording.events() == []
        assert recording.doubtful() == 0


def test_a_long_recording_opens_as_fast_as_a_short_one_and_in_no_more_memory(long, tmp_path):
    short = tmp_path / "short.lightoff"
    record(short, HOURS / 8)
    opened(short)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    one, eight = least(partial(opened, short)), least(partial(opened, long))
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    say(f"opened: {HOURS / 8:g} h {1000 * one:.1f} ms, {HOURS:g} h {1000 * eight:.1f} ms, {grown:.1f} MB more")
    reached = f"{1000 * eight:.0f} ms, {grown:.1f} MB more"
    row(f"opening {HOURS:g} h, {CHANNELS} channels at 10 Hz", reached, "under 300 ms, memory flat")
    assert eight < 3 * one
    assert grown < 10


def test_analysis_reads_a_recording_as_fast_as_a_table(long, tmp_path):
    """The same readings from CSV: at most as long."""
    hours = min(HOURS, 2)
    path, table = tmp_path / "call.lightoff", tmp_path / "call.csv"
    record(path, hours)
    subprocess.run([sys.executable, "-m", "collector", "export", str(path), "-o", str(table)], check=True)
    ours = least(partial(read_recording, path, lambda channel: channel), 3)
    theirs = least(partial(open_data, table), 3)
    whole = least(partial(read_recording, long, lambda channel: channel), 2)
    say(f"for analysis, {hours:g} h: {ours:.2f} s, as CSV {theirs:.2f} s; {HOURS:g} h: {whole:.2f} s")
    assert ours < theirs


def test_the_whole_path_at_twenty_thousand_readings_a_second(tmp_path):
    """From emit to durable, with normalizing, alarms and one that looks on, on one core: nothing is lost."""
    settings = {"path": str(tmp_path / "call.lightoff"), "rate": RATE, "seconds": SECONDS}
    command = [sys.executable, "-m", "tests.benchmarks.path_child", json.dumps(settings)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found = json.loads(done.stdout)
    say(
        f"whole path: {found['rate']:,.0f} readings/s for {SECONDS:g} s, emit to durable p50 {found['p50']:.0f} ms,"
        f" p99 {found['p99']:.0f} ms, at most {found['most']:.0f} ms; {found['used']:.1f} s of one core"
    )
    reached = f"{found['rate']:,.0f} readings/s, p50 {found['p50']:.0f} ms, p99 {found['p99']:.0f} ms"
    row("whole path, emit to durable, one core", reached, "20,000 readings/s, p99 under 150 ms")
    assert found["lost"] == 0
    assert found["kept"] == found["emitted"]
    assert found["heard"] > 0
