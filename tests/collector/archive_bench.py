"""A real time-series server on a loopback port, killed and started again; a gate before it that answers as told."""

import json
import shutil
import subprocess
import threading
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from gzip import decompress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from collector.recording import Recording
from tests.ports import free_port

PROGRAM = shutil.which("victoria-metrics")
Known = dict[tuple[str, str], list[tuple[int, float]]]
"""Values by point and instrument: time [ms] and value [native unit], NaN where there was none."""


def need_server() -> None:
    """Skip where there is no server to start."""
    if PROGRAM is None:
        pytest.skip("victoria-metrics is not installed: apt-get install victoria-metrics")


class Server:
    """A server that can be killed at any time and started again on the same port and data."""

    def __init__(self, folder: Path) -> None:
        need_server()
        self.port = free_port()
        self._folder = folder / "server"
        self._process: subprocess.Popen[bytes] | None = None
        self.start()

    @property
    def url(self) -> str:
        """Its address."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def number(self) -> int:
        """Of its process."""
        assert self._process
        return self._process.pid

    def start(self, *, within: float = 20.0) -> None:
        """Return when it answers."""
        assert PROGRAM
        options = {
            "httpListenAddr": f"127.0.0.1:{self.port}",
            "storageDataPath": str(self._folder),
            "retentionPeriod": "100y",  # recordings of the tests are older than the month that is usual
            "dedup.minScrapeInterval": "1ms",
            "loggerLevel": "FATAL",
        }
        command = [PROGRAM, *(f"-{name}={value}" for name, value in options.items())]
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + within
        while True:
            with suppress(OSError):
                self.get("/health")
                return
            assert self._process.poll() is None, f"the server ended with {self._process.returncode}"
            assert time.monotonic() < deadline, "the server does not start"
            time.sleep(0.01)

    def kill(self) -> None:
        """It is gone at once, with whatever it had not written."""
        if self._process:
            self._process.kill()
            self._process.wait(10)
            self._process = None

    def stop(self) -> None:
        """It ends in good order, with everything written."""
        if self._process:
            self._process.terminate()
            self._process.wait(60)
            self._process = None

    def get(self, path: str, **query: str) -> str:
        """Answer to a question."""
        asked = f"{self.url}{path}?{urllib.parse.urlencode(query)}"
        with urllib.request.urlopen(asked, timeout=20) as answer:
            return str(answer.read().decode())

    def series(self, name: str = "lightoff_(value|missing)") -> list[tuple[dict[str, str], list[int], list[float]]]:
        """Everything it has of these names: tags, times [ms] and values."""
        self.get("/internal/force_flush")
        wanted = {"match[]": f'{{__name__=~"{name}"}}', "start": "0"}
        lines = self.get("/api/v1/export", **wanted).splitlines()
        return [(one["metric"], one["timestamps"], one["values"]) for one in map(json.loads, lines)]

    def holds(self) -> Known:
        """Every reading it has."""
        found: Known = {}
        for tags, times, values in self.series():
            missing = tags["__name__"].endswith("missing")
            rows = ((at, float("nan") if missing else value) for at, value in zip(times, values, strict=True))
            found.setdefault((tags["point"], tags["instrument"]), []).extend(rows)
        return {place: sorted(rows, key=lambda row: row[0]) for place, rows in found.items()}

    def until_it_holds(self, wanted: Known, *, within: float = 20.0) -> None:
        """It has these readings and no others; what it answered for may be a moment from being found."""
        deadline = time.monotonic() + within
        while not same(found := self.holds(), wanted):
            if time.monotonic() > deadline:
                counts = {place: (len(rows), len(wanted.get(place, ()))) for place, rows in found.items()}
                raise AssertionError(f"it holds something else (found, wanted): {counts}")
            time.sleep(0.05)


@contextmanager
def serving(folder: Path) -> Iterator[Server]:
    """A server while the block runs."""
    server = Server(folder)
    try:
        yield server
    finally:
        server.kill()


def stored(recording: Path) -> Known:
    """Every reading of a recording, as a server of milliseconds would have it."""
    found: Known = {}
    with Recording(recording) as opened:
        for channel in opened.channels:
            rows = opened.read(channel.key)
            known = list(zip((rows.time // 1_000_000).tolist(), rows.value.tolist(), strict=True))
            if known:
                found[channel.point, channel.instrument] = known
    return found


def same(one: Known, other: Known) -> bool:
    """Whether both have the same readings, none of them twice; NaN is NaN."""
    if one.keys() != other.keys() or any(len(one[place]) != len(other[place]) for place in one):
        return False
    return all(np.array_equal(one[place], other[place], equal_nan=True) for place in one)


Answer = tuple[int, dict[str, str]]
"""Status and headers."""


class Gate:
    """Takes line protocol and hands it on to a server, or answers by itself what `decide` says of the lines."""

    def __init__(self, behind: Server | None, *, keep_alive: bool = True) -> None:
        self.behind = behind
        self.decide: Callable[[list[str]], Answer | None] = lambda _: None
        self.body = b'{"message": "as the test told"}'
        """Of what is no success."""
        self.lines: list[str] = []
        """Lines that were taken."""
        self.asked: list[tuple[float, int]] = []
        """When each message came, and how many lines it had."""
        self.headers: list[dict[str, str]] = []
        gate = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1" if keep_alive else "HTTP/1.0"
            disable_nagle_algorithm = True

            def do_POST(self) -> None:
                gate.answer(self)

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.01})
        self._thread.start()

    @property
    def url(self) -> str:
        """Its address."""
        return f"http://127.0.0.1:{self._server.server_address[1]}"

    def answer(self, request: BaseHTTPRequestHandler) -> None:
        """One message."""
        body = request.rfile.read(int(request.headers["Content-Length"]))
        lines = decompress(body).decode().splitlines()
        self.asked.append((time.monotonic(), len(lines)))
        self.headers.append(dict(request.headers.items()))
        status, headers = self.decide(lines) or (204, {})
        if status == 204:
            self.lines += lines
            if self.behind:
                self._hand_on("\n".join(lines).encode(), request.path)
        text = b"" if status == 204 else self.body
        request.send_response(status)
        for name, value in {"Content-Length": str(len(text)), **headers}.items():
            request.send_header(name, value)
        request.end_headers()
        request.wfile.write(text)

    def _hand_on(self, body: bytes, path: str) -> None:
        assert self.behind
        asked = urllib.request.Request(f"{self.behind.url}{path}", data=body, method="POST")
        urllib.request.urlopen(asked, timeout=20).close()

    def close(self) -> None:
        """It is gone."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


@contextmanager
def gate(behind: Server | None = None, *, keep_alive: bool = True) -> Iterator[Gate]:
    """A gate while the block runs."""
    made = Gate(behind, keep_alive=keep_alive)
    try:
        yield made
    finally:
        made.close()


class Pace:
    """Time that only moves when told, or when somebody waits: for the clock of the wall and the monotonic one."""

    def __init__(self, start: int) -> None:
        self.start, self.passed = start, 0.0

    def now(self) -> int:
        """[ns]"""
        return self.start + round(self.passed * 1e9)

    def monotonic(self) -> float:
        """[s]"""
        return self.passed

    def sleep(self, seconds: float) -> None:
        """Time passes. [s]"""
        self.passed += seconds
