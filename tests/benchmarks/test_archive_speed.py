"""How fast a recording goes to a time-series server, and what a day of it costs there and here.

Ratios of one run are checked, absolute figures are printed with the machine. `LIGHTOFF_HOURS=24` and
`LIGHTOFF_BENCH=1` make the recording a day long and, where it is installed, fill influxd as a second server.
"""

import os
import subprocess
import time
import urllib.parse
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from collector.forward import BATCH, Forwarder
from collector.forward_kept import Kept
from collector.forward_marks import within_minutes
from collector.recording import Recording
from collector.rows import Many, Rows
from collector.sinks.influx import InfluxSink
from collector.sinks.lines import Writer
from collector.sinks.sink import Target
from collector.store import Store
from tests.benchmarks.archive_day import (
    INFLUXD,
    START,
    add_round,
    begun,
    one_round,
    other_server,
    post,
    read_lines,
    size,
)
from tests.benchmarks.table import row, say
from tests.collector.archive_bench import Server, gate, serving
from tests.system.programs import lightoff

HOURS = float(os.environ.get("LIGHTOFF_HOURS", "0.5"))
BENCH = os.environ.get("LIGHTOFF_BENCH") == "1"
ROUND = 1200.0
"""Of the simulated call and its rest. [s]"""
CHANNEL = "draft_switch@simulated: switch manometer"
TURN = 0.1
"""Between two batches of live readings. [s]"""


def took(work: Callable[[], Any]) -> tuple[float, Any]:
    began = time.perf_counter()
    found = work()
    return time.perf_counter() - began, found


def least(work: Callable[[], Any], times: int = 3) -> float:
    return min(took(work)[0] for _ in range(times))


def sent(recording: Path, server: Server, *, each: Callable[[Forwarder], None] = lambda _: None) -> int:
    """Readings that the server took."""
    target = Target(server.url)
    sink = InfluxSink(target)
    with Kept(recording, target.identity) as kept:
        forwarder = Forwarder(recording, sink, kept)
        while not forwarder.sent:
            forwarder.step()
            each(forwarder)
        sink.close()
        assert forwarder.status.failures == 0
        return forwarder.status.sent


def simply(recording: Path, server: Server) -> None:
    """Read each channel as a whole, make its lines and send them, with no account of what arrived."""
    sink = InfluxSink(Target(server.url))
    with Recording(recording) as opened:
        for channel in opened.channels:
            lines = Writer(channel, {"call": "simply"}).lines(opened.read(channel.key)).text
            for place in range(0, len(lines), BATCH):
                sink.send(lines[place : place + BATCH])
    sink.close()


class Live:
    """A recorder that goes on while older readings are caught up with: ten readings a second of each channel."""

    def __init__(self, store: Store, begin: float) -> None:
        self._store, self._channels = store, list(one_round(ROUND))
        self._time = START + round(begin * 1e9)
        self._next = time.perf_counter()
        self._recorded: float | None = None
        self.ages: list[float] = []
        """From the commit until the server had answered. [s]"""
        self.readings = 0

    def __call__(self, forwarder: Forwarder) -> None:
        """Called after each step."""
        now = time.perf_counter()
        if self._recorded is not None and not forwarder.marks:
            self.ages.append(now - self._recorded)
            self._recorded = None
        if now < self._next or forwarder.share >= 1.0:
            return
        self._next = now + TURN
        self._time += round(TURN * 1e9)
        for channel in self._channels:
            rows = Rows(np.array([self._time]), np.array([0.5]), np.zeros(1, np.int8))
            self._store.append([Many(channel.key, rows)])
            forwarder.marks.add(within_minutes(channel.key, self._time, self._time))
        self.readings += len(self._channels)
        self._recorded = self._recorded or now


@pytest.mark.timeout(300)
def test_catching_up_with_live_readings_first(tmp_path: Path) -> None:
    """Wished: 50,000 readings a second. Held: at least a third of sending without any account."""
    rounds = 6 if BENCH else 2
    recording = tmp_path / "call.lightoff"
    with serving(tmp_path) as server, Store(recording) as store:
        begun(store, ROUND)
        count = sum(add_round(store, number, ROUND) for number in range(rounds))
        bare, _ = took(lambda: simply(recording, server))
        live = Live(store, rounds * ROUND)
        seconds, taken = took(lambda: sent(recording, server, each=live))
        assert count + live.readings <= taken < 1.01 * count, "live readings are met a second time at the most"
    worst = max(live.ages)
    say(
        f"catching up: {taken / seconds:,.0f} readings/s, without an account {count / bare:,.0f}/s; live meanwhile:"
        f" {len(live.ages)} batches, answered for within {np.median(live.ages):.3f} s, at the most {worst:.3f} s"
    )
    row("line-protocol catch-up, live readings first", f"{taken / seconds:,.0f} readings/s", "50,000 readings/s")
    assert taken / seconds > count / bare / 3
    assert len(live.ages) > 3
    assert worst < seconds / 2


@pytest.mark.timeout(7200)
def test_what_a_day_costs_there_and_here(tmp_path: Path) -> None:
    """Bytes a reading, and the time to have one channel as arrays."""
    recording = tmp_path / "day.lightoff"
    rounds = max(1, round(HOURS * 3600 / ROUND))
    with Store(recording) as store:
        begun(store, ROUND)
        count = sum(add_round(store, number, ROUND) for number in range(rounds))
    with Recording(recording) as opened:
        rows = opened.read(CHANNEL)
        ours = least(lambda: opened.read(CHANNEL))
    words = [
        f"{rounds * ROUND / 3600:.1f} h of 16 channels at 10 Hz, {count:,} readings, one channel {len(rows.time):,}"
    ]
    words.append(f"here: {size(recording) / count:.2f} bytes a reading, channel in {ours:.3f} s")
    with serving(tmp_path) as server:
        assert sent(recording, server) == count
        server.get("/internal/force_merge")

        def exported() -> Any:
            return read_lines(server.get("/api/v1/export", **{"match[]": '{point="draft_switch"}', "start": "0"}))

        deadline = time.monotonic() + 60
        while len(exported()[0]) < len(rows.time):  # it may be a moment from being found
            assert time.monotonic() < deadline, "what it answered for is not found"
            server.get("/internal/force_flush")
        there = least(exported)
        times, values = exported()
        assert np.array_equal(times, rows.time // 1_000_000)
        assert np.array_equal(values, rows.value)
        server.stop()  # what it holds in memory is written
        bytes_there = size(tmp_path / "server" / "data")
    words.append(
        f"victoria-metrics: {bytes_there / count:.2f} bytes a reading, channel in {there:.3f} s"
        f" ({there / ours:.1f} x ours)"
    )
    size_here = f"{size(recording) / count:.2f} bytes a reading, channel in {1000 * ours:.0f} ms"
    row(f"the same {rounds * ROUND / 3600:.1f} h here", size_here, "smaller than both, 5 x faster")
    reached = f"{bytes_there / count:.2f} bytes a reading, channel in {there / ours:.1f} times ours"
    row("... in victoria-metrics (milliseconds, no quality)", reached, "")
    if BENCH and INFLUXD:
        words.append(_other(tmp_path, recording, count, ours))
    say("\n  ".join(words))
    assert ours < 6 * there


def _other(folder: Path, recording: Path, count: int, ours: float) -> str:
    with other_server(folder) as (url, data):
        began = time.perf_counter()
        with Recording(recording) as opened:
            for channel in opened.channels:
                writer, rows = Writer(channel, {"call": "day"}), opened.read(channel.key)
                for place in range(0, len(rows.time), BATCH):
                    part = slice(place, place + BATCH)
                    text = writer.lines(Rows(rows.time[part], rows.value[part], rows.quality[part])).text
                    post(f"{url}/write?db=lightoff&precision=ns", "\n".join(text).encode())
        filled = time.perf_counter() - began
        asked = {"db": "lightoff", "epoch": "ns", "q": "SELECT value FROM lightoff WHERE point='draft_switch'"}

        def queried() -> Any:
            import json

            answer = json.loads(post(f"{url}/query", urllib.parse.urlencode(asked).encode()))
            table = answer["results"][0]["series"][0]["values"]
            return np.array([row[0] for row in table], np.int64), np.array([row[1] for row in table], np.float64)

        there = least(queried)
        assert len(queried()[0]) > 0
        bytes_there = size(data)
    reached = f"{bytes_there / count:.2f} bytes a reading, channel in {there / ours:.1f} times ours"
    row("... in influxd 1.6", reached, "")
    return (
        f"influxd: {bytes_there / count:.2f} bytes a reading, channel in {there:.3f} s ({there / ours:.1f} x ours),"
        f" filled at {count / filled:,.0f} readings/s"
    )


@pytest.mark.timeout(300)
def test_what_one_technician_sends(tmp_path: Path) -> None:
    """Series, readings and bytes of one call with every meter of the simulated unit, and what sending them takes."""
    seconds = 60 if BENCH else 6
    with gate() as server:
        job = f'archive.url = "{server.url}"\narchive.technician = "van 7"\n'
        unit = '[[instrument]]\nname = "unit"\ndriver = "simulate"\naddress = "seed=7"\n'
        (tmp_path / "job.toml").write_text(job + unit)
        command = ("record", "--job", "job.toml", "-o", "call.lightoff", "--port", "0", "--no-browser")
        with lightoff(*command, folder=tmp_path) as recorder:
            deadline = time.monotonic() + 60
            while not server.asked:
                assert time.monotonic() < deadline, "nothing arrives"
                time.sleep(0.01)
            began, first, asked = time.monotonic(), len(server.lines), len(server.asked)
            used = processor(sender_of(recorder.process.pid))
            while time.monotonic() - began < seconds:
                time.sleep(0.05)
            used = processor(sender_of(recorder.process.pid)) - used
            took_ = time.monotonic() - began
            lines, messages = server.lines[first:], server.headers[asked:]
    wire, plain = sum(int(one["Content-Length"]) for one in messages), sum(len(line) + 1 for line in lines)
    readings = [line for line in lines if line.startswith("lightoff,")]
    own = sum("value=" in line or "missing=" in line for line in lines)
    series = {line.rsplit(" ", 2)[0] for line in readings}
    assert own == len(readings)
    say(
        f"one technician: {len(series)} series, {len(readings) / took_:.0f} readings/s,"
        f" {wire / took_ / 1000:.1f} kB/s in {len(messages) / took_:.1f} messages/s ({wire / len(readings):.1f} bytes a"
        f" reading, {plain / wire:.0f} x less than without compression), {100 * used / took_:.1f} % of a core"
    )
    assert wire < plain / 5


def sender_of(recorder: int) -> int:
    """Number of the process that sends, by that of the recorder's."""
    command = ["ps", "--no-headers", "-o", "pid,args", "--ppid", str(recorder)]
    children = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    (found,) = [int(line.split()[0]) for line in children if "forward_worker" in line]
    return found


def processor(process: int) -> float:
    """Time of the processor that a process has used. [s]"""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
