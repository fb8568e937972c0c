"""The live recorder as a child, and viewers in a thread of their own that read everything, or nothing until the end."""

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed
from websockets.typing import Origin

from analysis.model import Reading
from collector.page import program
from collector.recording import Recording
from collector.store import Store
from tests.benchmarks.live_recorder import CHANNELS, Settings, as_argument, channels, shown
from tests.support import until

LONG = os.environ.get("LIGHTOFF_BENCH") == "1"
"""Whether the figures are wanted, not only the order of things."""

ROOT = Path(__file__).parents[2]

Measured = dict[str, dict[str, float]]


class Recorder:
    """A running live recorder."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        command = [sys.executable, "-m", "tests.benchmarks.live_recorder", as_argument(settings)]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT, start_new_session=True
        )
        self.address = ""

    def says(self, start: str, *, within: float = 30.0) -> str:
        """The rest of the next line that begins so; a recorder that does not say it is killed: AssertionError."""
        assert self.process.stdout is not None
        enough = threading.Timer(within, self.process.kill)
        enough.start()
        try:
            for line in self.process.stdout:
                if line.startswith(start):
                    return line.removeprefix(start).strip()
        finally:
            enough.cancel()
            enough.join()
        raise AssertionError(f"the recorder did not say '{start}' within {within} s")

    def go(self) -> None:
        """Let its meters read."""
        assert self.process.stdin is not None
        self.process.stdin.write("go\n")
        self.process.stdin.flush()

    def result(self) -> Measured:
        """How late it was, when its time is over. [ms]"""
        measured: Measured = json.loads(self.says("result:", within=self.settings.seconds + 30))
        return measured


@contextmanager
def recorder(settings: Settings) -> Iterator[Recorder]:
    """A live recorder while the block runs, its page's address known where it has one; it has to stop well."""
    running = Recorder(settings)
    try:
        running.says("started")
        if settings.page:
            running.address = running.says("page:")
        yield running
    finally:
        running.process.send_signal(signal.SIGTERM)
        assert running.process.stdin is not None
        assert running.process.stdout is not None
        running.process.stdin.close()
        running.process.stdout.read()
        status = running.process.wait(20)
        running.process.stdout.close()
    assert status == 0, "the recorder did not stop well"


class Viewer:
    """A websocket of the page: the readings of channels that it was told, and the losses that it was told of."""

    def __init__(self) -> None:
        self.seen: set[tuple[str, int]] = set()
        self.lost = 0
        self.messages = 0
        self.ages: list[float] = []
        """Of each reading when it came here. [s]"""

    def hear(self, text: str | bytes) -> None:
        """Take one websocket message in."""
        self.messages += 1
        now = time.time_ns()
        for message in json.loads(text):
            if message["type"] == "readings":
                rows = [(key, when) for key, when, _, _ in message["readings"] if "@" in key]
                self.seen.update(rows)
                self.ages += [(now - when) / 1e9 for _, when in rows]
            elif message["type"] in ("behind", "dropped"):
                self.lost += message["count"]


class Viewers:
    """Some viewers that read at once, and perhaps one that hangs until it is let go."""

    def __init__(self, address: str, reading: int, *, hanging: bool = False) -> None:
        self._address = address.rstrip("/")
        self.reading = [Viewer() for _ in range(reading)]
        self.hanging = Viewer() if hanging else None
        self._loop = asyncio.new_event_loop()
        self._released = asyncio.Event()
        self._thread = threading.Thread(target=self._loop.run_forever, name="viewers")

    @contextmanager
    def looking(self) -> Iterator["Viewers"]:
        """All connected while the block runs."""
        self._thread.start()
        looks: list[Future[None]] = []
        try:
            for viewer in (*self.reading, *([self.hanging] if self.hanging else [])):
                connected = threading.Event()
                looks.append(asyncio.run_coroutine_threadsafe(self._look(viewer, connected), self._loop))
                assert connected.wait(20), f"a viewer did not connect: {looks[-1]}"
            yield self
        finally:
            for look in looks:
                look.cancel()
            asyncio.run_coroutine_threadsafe(_all_ended(), self._loop).result(20)
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join()
            self._loop.close()

    def release(self) -> None:
        """Let the hanging one read."""
        self._loop.call_soon_threadsafe(self._released.set)

    async def _look(self, viewer: Viewer, connected: threading.Event) -> None:
        hangs = viewer is self.hanging
        host, port = self._address.removeprefix("http://").split(":")
        stream = socket.socket()
        if hangs:
            stream.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        stream.setblocking(False)
        await self._loop.sock_connect(stream, (host, int(port)))
        async with connect(
            f"ws://{host}:{port}/live",
            origin=Origin(self._address),
            sock=stream,
            max_size=None,
            max_queue=1 if hangs else None,
            ping_interval=None,
        ) as websocket:
            connected.set()
            if hangs:
                await self._released.wait()
            with suppress(ConnectionClosed):
                async for text in websocket:
                    viewer.hear(text)


async def _all_ended() -> None:
    others = asyncio.all_tasks() - {asyncio.current_task()}
    await asyncio.gather(*others, return_exceptions=True)


def until_so(condition: Callable[[], object], what: str, *, within: float = 30.0) -> None:
    """Wait until a condition holds that another thread brings about; AssertionError naming it."""
    asyncio.run(until(condition, within=within, what=what))


def own_page() -> tuple[str, ...]:
    """The project's own page."""
    return program()


def past(settings: Settings, seconds: float) -> None:
    """Give the recording `seconds` [s] of what the meters showed until now, before it is opened."""
    told = channels(settings.points)
    count = round(seconds * settings.rate)
    with Store(Path(settings.recording)) as store:
        store.append(list(told))
        now = time.time_ns()
        for place, channel in enumerate(told):
            times = now - np.arange(count, 0, -1) * round(1e9 / settings.rate) + place
            store.append(
                [
                    Reading(channel.key, int(t), shown(channel, place, n / settings.rate, n * CHANNELS))
                    for n, t in enumerate(times)
                ]
            )


def emitted(settings: Settings) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Times [ns] and values of every reading that the meters gave, by channel."""
    with np.load(settings.kept) as kept:
        return {
            channel.key: (kept[f"time{place}"], kept[f"value{place}"])
            for place, channel in enumerate(channels(settings.points))
        }


def differences(settings: Settings) -> int:
    """Readings that are not in the recording as they were emitted, bit for bit, or that are there and were not."""
    wrong = 0
    with Recording(Path(settings.recording)) as recording:
        for key, (times, values) in emitted(settings).items():
            rows = recording.read(key)
            there = set(zip(rows.time.tolist(), rows.value.view(np.int64).tolist(), strict=True))
            given = set(zip(times.tolist(), values.view(np.int64).tolist(), strict=True))
            wrong += len(there ^ given)
    return wrong
