"""What viewers cost the recording: the recorder's loop with none, with five and a hanging one, with a stopped page.

What is recorded has to be the same bit for bit; how late the loop was is compared within one run.
"""

import os
import platform
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from tests.benchmarks.live_bench import (
    LONG,
    Measured,
    Recorder,
    Viewer,
    Viewers,
    differences,
    emitted,
    own_page,
    recorder,
    until_so,
)
from tests.benchmarks.live_recorder import CHANNELS, Settings, spread
from tests.system.programs import page_process

SECONDS = 20.0 if LONG else 3.0
"""How long each case reads. [s]"""
STOPPED = 10.0 if LONG else 1.5
"""How long the page stands still. [s]"""
FLOOD = 120_000
"""Readings at once, more than a browser that does not read is given time for. [1]"""
FLOOR = 25.0
"""A loop may be this late whatever is looked at: on a busy machine an idle one is. [ms]"""
MOST = 3.0
"""The loop may be so many times as late as without a viewer. [1]"""

POINTS = ("draft_collector",) * CHANNELS
"""Nothing is derived from these: a viewer's readings can be counted against those that were emitted."""


def settings(folder: Path, *, rate: float, page: bool, flood: int = 0) -> Settings:
    folder.mkdir()
    program = own_page() if page else ()
    own = Settings(str(folder / "call.lightoff"), program, POINTS, rate=rate, seconds=SECONDS, flood=flood)
    return replace(own, kept=str(folder / "emitted.npz"))


def without_viewers(folder: Path, rate: float) -> Measured:
    alone = settings(folder, rate=rate, page=False)
    with recorder(alone) as running:
        running.go()
        measured = running.result()
    assert differences(alone) == 0
    return measured


def given(made: Settings) -> int:
    """Readings that were emitted. [1]"""
    return sum(times.size for times, _ in emitted(made).values())


def complete(viewer: Viewer, count: int) -> bool:
    """Whether a viewer was told of every reading: shown, or counted as lost."""
    return len(viewer.seen) + viewer.lost == count


@contextmanager
def stopped(process: int) -> Iterator[None]:
    """A process that stands still while the block runs."""
    os.kill(process, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(process, signal.SIGCONT)


def compared(case: str, alone: Measured, watched: Measured) -> None:
    """Print how late the loop was in both cases and hold the second to the first."""
    print(f"\n{case} [{platform.machine()}, {os.cpu_count()} cores]; p50 / p99 / most ms")  # noqa: T201
    for name, text in (("overshoot", "a sleep of 5 ms was late by"), ("late", "a due reading was taken in after")):
        few, many = alone[name], watched[name]
        figures = [f"{one['p50']:.2f} / {one['p99']:.2f} / {one['max']:.1f}" for one in (few, many)]
        ratio = many["p99"] / few["p99"]
        print(f"  {text} {figures[0]} without, {figures[1]} with: {ratio:.2f} x at the 99th percentile")  # noqa: T201
        assert many["p99"] < max(MOST * few["p99"], FLOOR), name


@pytest.mark.timeout(240)
@pytest.mark.parametrize(("rate", "flood"), [(100.0, FLOOD), *([(10.0, 0)] if LONG else [])])
def test_viewers_leave_the_recording_as_it_is(tmp_path: Path, rate: float, flood: int):
    """Five that read and one that never does: the loop is in time, the recording whole, what was missed counted."""
    alone = without_viewers(tmp_path / "alone", rate)
    made = settings(tmp_path / "watched", rate=rate, page=True, flood=flood)
    with recorder(made) as running:
        viewers = Viewers(running.address, 5, hanging=True)
        with viewers.looking():
            running.go()
            watched = running.result()
            count = given(made)
            assert count == round(SECONDS * rate) * CHANNELS + flood
            until_so(lambda: all(complete(viewer, count) for viewer in viewers.reading), "every viewer is told")
            hanging = viewers.hanging
            assert hanging is not None
            assert hanging.messages == 0
            viewers.release()
            until_so(lambda: complete(hanging, count), "the hanging viewer is told what it missed")
    assert hanging.lost > 0 or not flood, "nothing was lost: it did not hang long enough to show anything"
    assert differences(made) == 0
    ages = spread(viewers.reading[0].ages[: round(SECONDS * rate) * CHANNELS])
    compared(f"{rate:g} Hz, five viewers and a hanging one", alone, watched)
    print(f"  reading to viewer: p50 {ages['p50']:.0f}, p99 {ages['p99']:.0f} ms; the hanging one lost {hanging.lost}")  # noqa: T201


@pytest.mark.timeout(240)
def test_a_page_that_stands_still_delays_nothing_and_loses_nothing(tmp_path: Path):
    """The page's process is stopped for a while; afterwards its viewers are told everything."""
    alone = without_viewers(tmp_path / "alone", 10.0)
    made = settings(tmp_path / "watched", rate=10.0, page=True)
    with recorder(made) as running:
        viewers = Viewers(running.address, 5)
        with viewers.looking():
            running.go()
            until_so(lambda: viewers.reading[0].seen, "readings come")
            with stopped(page_process(running.process.pid)):
                rest(running, STOPPED)
            watched = running.result()
            count = given(made)
            until_so(lambda: all(complete(viewer, count) for viewer in viewers.reading), "every viewer is told")
    assert [viewer.lost for viewer in viewers.reading] == [0] * 5
    assert differences(made) == 0
    assert max(viewers.reading[0].ages) > STOPPED / 2, "the page did not stand still"
    compared(f"10 Hz, the page stopped for {STOPPED:g} s", alone, watched)


def rest(running: Recorder, seconds: float) -> None:
    """Let a recorder that must not end go on for some time [s]."""
    with pytest.raises(subprocess.TimeoutExpired):
        running.process.wait(seconds)
