"""Many technicians at one broker, and 1, 2 and 3 workers of the archive: rate and delay.

With `LIGHTOFF_BENCH=1` 200 technicians of 160 readings a second each (32,000/s), for 10 s; else 20 of them for 2 s. All
of it, those who talk too, shares the cores of this machine. Held: nothing is lost, however many workers there are.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks.table import row, say
from tests.benchmarks.test_archive_speed import processor
from tests.collector.archive_bench import Server, serving
from tests.collector.fleet_bench import Archiver, archiving
from tests.drivers.brokers import Broker

BENCH = os.environ.get("LIGHTOFF_BENCH") == "1"
TECHNICIANS, SECONDS = (200, 10.0) if BENCH else (20, 2.0)
WORKERS = (1, 2, 3) if BENCH else (1,)


@contextmanager
def talking(broker: Broker) -> Iterator[subprocess.Popen[str]]:
    """Who talks, connected."""
    command = [sys.executable, "-m", "tests.benchmarks.fleet_talkers", str(broker.port), str(TECHNICIANS), str(SECONDS)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        assert process.stdout.readline().strip() == "talking"
        yield process
    finally:
        process.kill()
        process.communicate()


def count(server: Server) -> int:
    """Readings that it has."""
    server.get("/internal/force_flush")
    asked = {"query": 'sum(count_over_time(lightoff_value{company="north"}[1h]))', "time": str(time.time() + 60)}
    found: Any = json.loads(server.get("/api/v1/query", **asked))["data"]["result"]
    return int(float(found[0]["value"][1])) if found else 0


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("workers", WORKERS)
def test_many_technicians_through_one_broker(tmp_path: Path, workers: int):
    """Wished: 32,000 readings a second, each on the server within 2 s (99 %)."""
    settings = ("allow_anonymous true", "max_inflight_messages 0", "max_queued_messages 500000")
    with closing(Broker(tmp_path, *settings)) as broker, serving(tmp_path) as server, ExitStack() as stack:
        started = [stack.enter_context(archiving(broker.port, server.url)) for _ in range(workers)]
        for worker in started:
            worker.ready()
        with talking(broker) as talkers:
            used = {name: processor(number) for name, number in processes(broker, server, started).items()}
            out, _ = talkers.communicate("\n", timeout=SECONDS + 300)
            said = json.loads(out)
            deadline = time.monotonic() + 400
            while (found := count(server)) < said["kept"]:
                assert time.monotonic() < deadline, f"{found} of {said['kept']} readings"
                time.sleep(0.2)
            took = said["seconds"]
            cost = {
                name: (processor(number) - used[name]) / took
                for name, number in processes(broker, server, started).items()
            }
        done = [worker.stop() for worker in started]
    assert found == said["kept"] == said["said"]
    assert sum(one["readings"] for one in done) >= said["said"]
    assert not any(one["aside"] for one in done)
    p50, p99 = (max(one[name] or 0.0 for one in done) for name in ("delay_p50", "delay_p99"))
    rate = said["said"] / took
    shares = ", ".join(f"{name} {100 * share:.0f} %" for name, share in cost.items())
    say(
        f"{TECHNICIANS} technicians, {workers} workers: {rate:,.0f} readings/s in {rate / 16:,.0f} messages/s for"
        f" {took:.0f} s, on the server within {p50:.2f} s (half) and {p99:.2f} s (99 %); of a core: talkers"
        f" {100 * said['processor'] / took:.0f} % (up to {said['behind']:.2f} s late), {shares}"
    )
    wished = f"{TECHNICIANS * 160:,} readings/s, 2 s" if BENCH else ""
    row(
        f"{TECHNICIANS} technicians by a broker to the archive, workers: {workers}",
        f"{rate:,.0f} readings/s, 99 % within {p99:.2f} s",
        wished,
    )


def processes(broker: Broker, server: Server, workers: list[Archiver]) -> dict[str, int]:
    """Their numbers."""
    return {
        "broker": broker.number,
        "server": server.number,
        **{f"worker {place + 1}": worker.number for place, worker in enumerate(workers)},
    }
