"""From a sample to the eye: the page against two other ways of bringing readings into a browser, in one run.

Each way gets the same: sixteen channels at 10 Hz from a real recorder, a browser that draws, four further viewers. What
is measured is the age of the newest reading that a paint shows. The ways take turns, so that a busy machine is
busy for each of them; only how they stand to each other is checked, since what else runs here is not known. Dash's own
websocket begins 3 s after the page was drawn, and still hangs the tab where the machine has other work.
"""

import os
import platform
import sys
from pathlib import Path

import pytest

from tests.benchmarks.live_bench import LONG, Viewers, own_page, past, recorder
from tests.benchmarks.live_recorder import Settings, spread
from tests.benchmarks.look import Ages, looked_at
from tests.benchmarks.other_ways import POINTS

ROUNDS, SECONDS = (3, 20.0) if LONG else (1, 4.0)
"""How often each way has its turn, and for how long. [1, s]"""
SETTLED = 2.0 if LONG else 1.0
"""From when every way has begun until it is measured. [s]"""
TARGETS = {"tiles": 150.0, "trends": 250.0}
"""Wished for at the 99th percentile; printed, since a busy machine misses them whatever the page does. [ms]"""

OTHER = (sys.executable, "-m", "tests.benchmarks.other_ways")
WAYS = {"page": own_page(), "interval": (*OTHER, "interval")} | ({"push": (*OTHER, "push")} if LONG else {})
"""Programs of the ways; the last one hangs on a busy machine, and only the long form has the time for that."""


def one_turn(folder: Path, way: str) -> Ages:
    """One way with a recorder and a page of its own."""
    settings = Settings(str(folder / "call.lightoff"), WAYS[way], POINTS, seconds=SECONDS + 60)
    past(settings, 300.0)
    with recorder(settings) as running:
        running.go()
        viewers = Viewers(running.address, 4)
        with viewers.looking():
            return looked_at(running.address, SETTLED, SECONDS, begins=way == "push")


@pytest.mark.timeout(900)
def test_the_page_shows_a_sample_no_later_than_other_ways(tmp_path: Path):
    turns: dict[str, list[Ages]] = {way: [] for way in WAYS}
    for turn in range(ROUNDS):
        for way in WAYS:
            folder = tmp_path / f"{way}-{turn}"
            folder.mkdir()
            turns[way].append(one_turn(folder, way))
    said(turns)
    for name in TARGETS:
        painted = len(together(turns["page"], name))
        assert painted > ROUNDS * SECONDS, f"{name}: hardly ever painted"
        late = {way: late_by(together(found, name)) for way, found in turns.items()}
        for way, other in late.items():
            assert late["page"] < 1.25 * other + 50, f"{name}, beside {way}"


def together(found: list[Ages], name: str) -> list[float]:
    """Ages of all turns of a way. [ms]"""
    return [age for turn in found for age in turn[name]]


def late_by(ages: list[float], percentile: str = "p99") -> float:
    """A percentile of ages; a way that never painted is later than any. [ms]"""
    return spread([age / 1000 for age in ages])[percentile] if ages else float("inf")


def said(turns: dict[str, list[Ages]]) -> None:
    """Print the figures, the wishes and the machine; infinite where a tab hung."""
    print(f"\n[{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}]")  # noqa: T201
    print(f"age at the paint, p50 / p99 ms; wished for: {TARGETS}; turns {ROUNDS} x {SECONDS:g} s")  # noqa: T201
    for way, found in turns.items():
        for name in TARGETS:
            ages = together(found, name)
            each = ", ".join(f"{late_by(turn[name]):.0f}" for turn in found)
            middle, late = late_by(ages, "p50"), late_by(ages)
            print(f"{way:>9} {name:>6}: {middle:.0f} / {late:.0f}, p99 by turn {each}; {len(ages)} paints")  # noqa: T201
        pause = max(together(found, "longest"), default=float("inf"))
        print(f"{way:>9}: longest between two paints of trends {pause:.0f} ms")  # noqa: T201
