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

ROUNDS, SECONDS = (3, 20.0) if LONG else (1, 5.0)
"""How often each way has its turn, and for how long. [1, s]"""
SETTLED = 2.0
"""From when every way has begun until it is measured. [s]"""
TARGETS = {"tiles": 150.0, "trends": 250.0}
"""Wished for at the 99th percentile; printed, since a busy machine misses them whatever the page does. [ms]"""

OTHER = (sys.executable, "-m", "tests.benchmarks.other_ways")
WAYS = {"page": own_page(), "interval": (*OTHER, "interval"), "push": (*OTHER, "push")}


def one_turn(folder: Path, way: str) -> Ages:
    """One way with a recorder and a page of its own."""
    settings = Settings(str(folder / "call.lightoff"), WAYS[way], POINTS, seconds=SECONDS + 60)
    past(settings, 300.0)
    with recorder(settings) as running:
        running.go()
        viewers = Viewers(running.address, 4)
        with viewers.looking():
            return looked_at(running.address, SETTLED, SECONDS)


@pytest.mark.timeout(600)
def test_the_page_shows_a_sample_no_later_than_other_ways(tmp_path: Path):
    ages: dict[str, Ages] = {way: {"tiles": [], "trends": [], "longest": []} for way in WAYS}
    for turn in range(ROUNDS):
        for way in WAYS:
            folder = tmp_path / f"{way}-{turn}"
            folder.mkdir()
            for name, new in one_turn(folder, way).items():
                ages[way][name] += new
    said(ages)
    worst = {way: {name: spread_of(ages[way][name]) for name in TARGETS} for way in WAYS}
    for name in TARGETS:
        assert len(ages["page"][name]) > SECONDS, f"{name}: hardly ever painted"
        assert worst["page"][name] < 1.25 * worst["interval"][name] + 50, name
        assert worst["page"][name] < 1.25 * worst["push"][name] + 50, name


def spread_of(ages: list[float]) -> float:
    """The 99th percentile; a way that never painted is later than any. [ms]"""
    return spread([age / 1000 for age in ages])["p99"] if ages else float("inf")


def said(ages: dict[str, Ages]) -> None:
    """Print the figures, the wishes and the machine."""
    print(f"\n[{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}]")  # noqa: T201
    print(f"age at the paint, p50 / p99 ms; wished for: {TARGETS}; turns {ROUNDS} x {SECONDS:g} s")  # noqa: T201
    for way, found in ages.items():
        parts = []
        for name in TARGETS:
            figures = spread([age / 1000 for age in found[name]])
            text = (
                f"{figures['p50']:.0f} / {figures['p99']:.0f} ({figures['count']} paints)"
                if figures
                else "never: the tab hung"
            )
            parts.append(f"{name} {text}")
        pause = max(found["longest"], default=float("nan"))
        print(f"{way:>9}: {', '.join(parts)}, longest between two trends {pause:.0f} ms")  # noqa: T201
