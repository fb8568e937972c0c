"""A page that is left open keeps its memory: what the browser holds for it, and what the page's process holds."""

import os
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean

import pytest
from playwright.sync_api import Browser, CDPSession

from tests.system.programs import browser, lightoff, looking, page_process

__all__ = ["browser"]

MINUTES = float(os.environ.get("LIGHTOFF_MEMORY_MINUTES", "1"))
"""How long it is looked at. [min]"""
WARM = 0.25
"""Part of the time in which the buffers fill. [1]"""
SAMPLES = 24
"""Looks at the memory over the whole time; each lets the browser put away what nothing holds. [1]"""
GROWTH = {"heap": 1.25, "nodes": 1.15, "listeners": 1.15, "process": 1.15}
"""The last third may be so many times the first; a leak of a reading each goes far beyond. [1]"""


@dataclass(frozen=True, slots=True)
class Held:
    """Memory at a moment."""

    heap: float
    """Of the page's scripts, after what nothing holds was put away. [MB]"""
    nodes: float
    """Of the document. [1]"""
    listeners: float
    """[1]"""
    process: float
    """Resident memory of the page's process. [MB]"""


def held(session: CDPSession, process: int) -> Held:
    session.send("HeapProfiler.collectGarbage")
    figures = {one["name"]: one["value"] for one in session.send("Performance.getMetrics")["metrics"]}
    status = Path(f"/proc/{process}/status").read_text()
    resident = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))
    return Held(figures["JSHeapUsedSize"] / 1e6, figures["Nodes"], figures["JSEventListeners"], resident / 1e3)


@pytest.mark.timeout(MINUTES * 60 + 120)
def test_a_page_left_open_on_a_replay_keeps_its_memory(browser: Browser, tmp_path: Path):
    """The demo at twenty times its speed, from its beginning again when it ends: the first and last third compared."""
    with lightoff("demo", "--speed", "20", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        with looking(browser, demo.address) as look:
            look.page.wait_for_selector("#tile-draft_switch .tile-value")
            session = look.page.context.new_cdp_session(look.page)
            session.send("Performance.enable")
            process = page_process(demo.process.pid)
            began, seen = time.monotonic(), list[Held]()
            while (elapsed := time.monotonic() - began) < MINUTES * 60:
                if elapsed > WARM * MINUTES * 60:
                    seen.append(held(session, process))
                look.page.wait_for_timeout(MINUTES * 60_000 / SAMPLES)
            assert look.text("#page-state").startswith("connected")
    third = len(seen) // 3
    assert third >= 3, "too few looks to compare"
    for name, most in GROWTH.items():
        first, last = (fmean(getattr(one, name) for one in part) for part in (seen[:third], seen[-third:]))
        print(f"\n{name}: {first:.1f} in the first third, {last:.1f} in the last: {last / first:.3f} x")  # noqa: T201
        assert last < most * first, f"{name} grew: {[round(getattr(one, name), 1) for one in seen]}"
