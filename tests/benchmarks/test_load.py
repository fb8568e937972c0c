"""Nineteen instruments on one core, one of which floods: nothing of the others is lost or late.

Delays are printed; `make test` holds them to a generous bound only, since its machine is shared.
"""

import json
import os
import subprocess
import sys
import tty
from pathlib import Path
from typing import Any

import pytest

from collector.recording import Recording

SECONDS = float(os.environ.get("LIGHTOFF_LOAD_SECONDS", "5"))
"""How long they talk. [s]"""
BOUND = 500.0
"""From writing a line to its being taken in, for 99 of 100; 50 is the aim. [ms]"""

STEADY = {**{f"meter {number}": 0.1 for number in range(16)}, "quick": 0.01, "fast": 0.001}
"""Instruments that say a line every so often. [s]"""


def started(module: str, settings: dict[str, Any], pass_fds: tuple[int, ...] = ()) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", f"tests.benchmarks.{module}", json.dumps(settings)]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, pass_fds=pass_fds)


def said_by(process: subprocess.Popen[str]) -> dict[str, Any]:
    out, _ = process.communicate(timeout=SECONDS + 60)
    assert process.returncode == 0, out
    result: dict[str, Any] = json.loads(out.splitlines()[-1])
    return result


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")
@pytest.mark.timeout(int(SECONDS) + 120)
def test_nothing_is_lost_or_late_beside_an_instrument_that_floods(tmp_path: Path) -> None:
    ends = {name: os.openpty() for name in (*STEADY, "flood")}
    for _, slave in ends.values():
        tty.setraw(slave)
    cores = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else [0]
    recording = tmp_path / "load.lightoff"
    ports = {name: os.ttyname(slave) for name, (_, slave) in ends.items()}
    collector = started("load_child", {"recording": str(recording), "ports": ports, "core": cores[0]})
    masters = tuple(master for master, _ in ends.values())
    rest = cores[1:] or cores
    try:
        assert collector.stdout is not None
        assert collector.stdout.readline() == "ready\n"
        steady = {name: {"end": ends[name][0], "every": every, "lines": 1} for name, every in STEADY.items()}
        flood = {"flood": {"end": ends["flood"][0], "every": 0.01, "lines": 500}}
        talkers = [
            started("load_talker", {"instruments": one, "seconds": SECONDS, "cores": rest}, masters)
            for one in (steady, flood)
        ]
        talk, flooding = (said_by(talker) for talker in talkers)
        measured = said_by(collector)
    finally:
        if collector.poll() is None:
            collector.kill()
            collector.communicate()
        for pair in ends.values():
            for end in pair:
                os.close(end)

    taken = json.loads(recording.with_suffix(".json").read_text())
    whole = sorted(
        (when - said) / 1e6 for name in STEADY for said, when in zip(talk["times"][name], taken[name], strict=True)
    )
    p50, p99 = (whole[int(share * len(whole))] for share in (0.5, 0.99))
    rate = flooding["said"]["flood"] / flooding["took"]
    print(f"\nfrom arrival to taken in, ms: {measured['steady']}; of 1,000 lines/s {measured['fast']}")  # noqa: T201
    print(f"from writing to taken in, ms: p50 {p50:.2f}, p99 {p99:.2f}, max {whole[-1]:.2f}")  # noqa: T201
    print(f"flood {rate:.0f} lines/s: {measured['flood']}, {measured['losses']}")  # noqa: T201
    print(f"talker late by {1000 * talk['late']:.0f} ms at most; collector used {measured['used']:.1f} s of its core")  # noqa: T201

    with Recording(recording) as kept:
        for channel in kept.channels:
            if channel.instrument in STEADY:
                numbers = kept.read(channel.key).value.tolist()
                said = talk["said"][channel.instrument]
                assert sorted(numbers) == list(range(said)), f"{channel.instrument}: {said} said, {len(numbers)} kept"
        events = [event for event in kept.events() if event.subject == "flood" and event.data.get("cause") == "flood"]
    assert talk["said"]["fast"] > 900 * SECONDS, "the talker itself could not keep the pace"
    assert rate > 25_000, "the talker itself could not flood"

    counts = measured["statistics"]["flood"]
    lost = counts["flood_lines"] + counts["cut_lines"] + counts["dropped_lines"]
    assert counts["messages"] + lost == pytest.approx(flooding["said"]["flood"], abs=1), "not counted to the last"
    assert counts["messages"] < 2_000 * (flooding["took"] + 2), "the flood was not limited"
    assert any("says too much" in words for words in measured["losses"]), "it is not shown"
    assert 1 <= len(events) <= 2 + SECONDS / 10, "told once, then summed up"
    assert sum(int(str(event.data["lines"])) for event in events) == counts["flood_lines"]
    assert measured["steady"]["p99"] < BOUND
    assert p99 < BOUND
