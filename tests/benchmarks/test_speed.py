"""How fast the spine is: ratios from one run are checked, absolute figures are printed with the machine."""

import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from analysis.model import Channel, Plate, Reading
from collector.clock import Clock
from collector.collector import Collector
from collector.rules import default_rules
from collector.store import Store
from tests.benchmarks.table import row, say

CHANNELS = [Channel("draft_collector", f"meter {n}", "inH2O") for n in range(16)]
BATCHES = int(os.environ.get("LIGHTOFF_BATCHES", "1500"))
A_BATCH = 16
"""Readings of 16 channels at 10 Hz in 100 ms, as the recorder writes them."""


def took(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def batch(number: int) -> list[Reading]:
    return [Reading(CHANNELS[i % 16].key, number * A_BATCH + i, -1.25 + i / 1000) for i in range(A_BATCH)]


def test_append_against_plain_sqlite(tmp_path: Path):
    """The same rows and syncs in plain `executemany`, in turns; append may take twice as long, sealing in it."""
    batches = [batch(number) for number in range(BATCHES)]
    ids = {channel.key: number for number, channel in enumerate(CHANNELS)}
    plain = sqlite3.connect(tmp_path / "plain.db", isolation_level=None)
    plain.executescript(
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; CREATE TABLE reading (channel INTEGER NOT NULL,"
        " time INTEGER NOT NULL, value, quality INTEGER NOT NULL, PRIMARY KEY (channel, time)) WITHOUT ROWID;"
    )

    def plainly(readings: list[Reading]) -> None:
        plain.execute("BEGIN")
        rows = [(ids[r.channel], r.time, r.value, 0) for r in readings]
        plain.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)", rows)
        plain.execute("COMMIT")

    ours = theirs = 0.0
    with Store(tmp_path / "call.lightoff", sealed_after=256) as store:  # each channel is sealed, 16 times as often
        store.append(CHANNELS)
        for readings in batches:
            ours += took(partial(store.append, readings))
            theirs += took(partial(plainly, readings))
    plain.close()
    rate = BATCHES * A_BATCH / ours
    say(f"append, synced, {A_BATCH} readings a batch: {rate:,.0f} readings/s, {theirs / ours:.2f} x plain executemany")
    row("append, batches of 100 ms, 16 channels", f"{theirs / ours:.2f} x plain executemany", "at least 0.5 x")
    assert ours < 2 * theirs


def test_ingest(tmp_path: Path):
    """One reading through normalize, derived quantities, alarms and fan-out, against normalize alone."""
    with Store(tmp_path / "call.lightoff") as store:
        plate = Plate(switch_close=(200.0,), switch_open=(170.0,), rise=(20.0, 36.0))
        collector = Collector(store, plate=plate, rules=default_rules(plate), clock=Clock())
        for channel in CHANNELS:
            collector.ingest(channel)
        readings = [reading for number in range(2000) for reading in batch(number)]

        def ingest() -> None:
            for reading in readings:
                collector.ingest(reading)

        seconds = took(ingest)
    say(f"ingest: {len(readings) / seconds:,.0f} readings/s, {1e6 * seconds / len(readings):.1f} us a reading")
    assert collector.readings == len(readings)


def test_start_up_of_the_command():
    """`lightoff --help` against an empty Python; the wish is 0.3 s in all."""
    empty = min(took(lambda: subprocess.run([sys.executable, "-c", ""], check=True)) for _ in range(3))
    command = [sys.executable, "-m", "collector", "--help"]
    help_ = min(took(lambda: subprocess.run(command, check=True, capture_output=True)) for _ in range(3))
    say(f"start-up of lightoff --help: {help_:.2f} s (an empty Python: {empty:.2f} s)")
    assert help_ < 40 * empty
