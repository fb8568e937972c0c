"""How fast a CSV file opens: ratios from one run are checked, absolute figures are printed with the machine.

`LIGHTOFF_HOURS=24` makes the file that is opened in a process of its own a day long; what is promised holds for any.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from collector.opened import open_data
from drivers.csv_file import open_csv
from tests.benchmarks.opening import CHANNELS, RATE, day_like
from tests.benchmarks.table import say

HOURS = float(os.environ.get("LIGHTOFF_HOURS", "0.5"))


def used(work: Callable[[], object], times: int = 1) -> float:
    """Time of the processor, the least of so many; other programs beside cost less of it than of the clock. [s]"""
    least = float("inf")
    for _ in range(times):
        began = time.process_time()
        work()
        least = min(least, time.process_time() - began)
    return least


def measured(path: Path) -> dict[str, float]:
    """What a process of its own says of opening a file."""
    command = [sys.executable, "-m", "tests.benchmarks.opening", str(path)]
    found: dict[str, float] = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
    return found


def test_opening_against_the_reader_of_single_lines(tmp_path):
    """The same file: opened with every series in its inside unit, at least four times as fast as only read by lines."""
    path = day_like(tmp_path / "call.csv", 0.5)
    open_data(path)  # libraries are loaded at the first time

    def by_lines() -> None:
        with open_csv(path) as reader:
            assert sum(1 for _ in reader) == 1800 * RATE * CHANNELS

    lines, ours = used(by_lines), used(lambda: open_data(path), 3)
    say(
        f"half an hour of {CHANNELS} channels at {RATE} Hz: {ours:.3f} s, read by lines {lines:.2f} s,"
        f" {lines / ours:.1f} x"
    )
    assert lines > 4 * ours


def test_four_times_as_long_takes_four_times_as_long_and_little_more_memory_than_its_readings_need(tmp_path):
    """Linear: at most 1.6 times as much a row, and at most 45 bytes more for each further reading."""
    short, long = (day_like(tmp_path / f"{hours}.csv", hours) for hours in (1, 4))
    open_data(short)
    one, four = used(lambda: open_data(short), 3), used(lambda: open_data(long), 2)
    small, large = measured(short), measured(long)
    each = (large["memory"] - small["memory"]) * 1024**2 / (large["readings"] - small["readings"])
    say(
        f"one hour {one:.2f} s and {small['memory']:.0f} MB, four hours {four:.2f} s and {large['memory']:.0f} MB:"
        f" {four / one:.2f} x, {each:.0f} bytes a reading"
    )
    assert four < 1.6 * 4 * one
    assert each < 45


@pytest.mark.timeout(300)
def test_a_day_opens_in_time(tmp_path):
    """Promised: 24 hours in 4 s of one core and 700 MB, and a shorter file in its share of it beside a second."""
    path = day_like(tmp_path / "day.csv", HOURS)
    found = measured(path)
    say(
        f"{HOURS:g} h of {CHANNELS} channels at {RATE} Hz, {path.stat().st_size / 1e6:.0f} MB: {found['wall']:.2f} s,"
        f" {found['processor']:.2f} s of the processor, {found['memory']:.0f} MB at the most"
    )
    assert found["rows"] == HOURS * 3600 * RATE
    assert found["processor"] < 1 + 3 * HOURS / 24
    assert found["memory"] < 250 + 450 * HOURS / 24
