"""Import and export of any length take the same memory: two recordings, one four times as long as the other."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from analysis.model import Channel
from collector.rows import Many, Rows
from collector.store import Store

RATE = 200
"""Readings of a channel in one second. [1/s]"""
SHORT = 1050
"""Length of the shorter one: longer than what is held at once, a row group of each channel at the most. [s]"""
MORE = 8.0
"""So much more the longer one may take; what it has more is 11 MB as bare arrays of readings. [MB]"""

pytestmark = pytest.mark.timeout(180)  # processes start slowly on a busy machine


def recorded(path: Path, seconds: int) -> Path:
    channels = [Channel("temp_supply", f"meter {number}", "degF") for number in range(1)]
    with Store(path) as store:
        store.append(channels)
        for begin in range(0, seconds, 150):
            time = (1_768_372_280 + begin) * 10**9 + np.arange(150 * RATE) * (10**9 // RATE)
            value = np.round(100 * np.sin(time / 1e12), 2)
            rows = Rows(time, value, np.zeros(time.size, np.int8))
            store.append([Many(channel.key, rows) for channel in channels])
    return path


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lengths")
    return [recorded(folder / f"{times}.lightoff", times * SHORT) for times in (1, 4)]


def largest(how: str, source: Path, target: Path) -> tuple[float, int]:
    """Most memory that a process of its own took [MB], and the readings that it passed on."""
    child = [sys.executable, "-m", "tests.collector.exchange_child", how, str(source), str(target)]
    told = json.loads(subprocess.run(child, check=True, stdout=subprocess.PIPE, text=True, timeout=90).stdout)
    return told["memory"], told["readings"]


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_memory_stays_flat_both_ways(both, form):
    out, back = [], []
    for source in both:
        file = source.with_suffix(f".{form}")
        out.append(largest(f"export {form}", source, file))
        back.append(largest(f"import {form}", file, source.with_suffix(f".{form}.lightoff")))
    for (short, few), (long, many) in (out, back):
        assert (few, many) == (RATE * SHORT, 4 * RATE * SHORT)
        assert long - short < MORE, f"{short:.0f} MB became {long:.0f} MB"
