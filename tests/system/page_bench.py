"""The page as a process of its own behind a feed that says what the test wants it to say."""

import asyncio
import json
import subprocess
import sys
import threading
from collections.abc import Coroutine, Iterator, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from analysis.points import measure_of
from collector.store import Store
from tests.dashboard.feed_server import TOKEN, FeedServer

Message = dict[str, Any]

START = 1_768_372_280 * 10**9
"""2026-01-14T06:31:20Z. [ns]"""


class PageBench:
    """A feed in a thread of its own, the page that listens to it, and the recorder's state as the test sets it.

    Of the instruments only the names are given to `channels`; readings come at the time of the recording, `now`.
    """

    def __init__(self, recording: Path) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="feed of the test")
        self.recording = recording
        self._keys: dict[str, list[str]] = {}
        self.address = ""
        self.server = FeedServer()
        self.now = START
        """Time of the recording. [ns]"""
        self.hello: Message = {"recording": str(recording), "job": None, "plate": {}, "limits": []}
        self.status: Message = {
            "making": None,
            "alarms": [],
            "flood": False,
            "recorder": {"state": "recording", "text": "", "lost": 0, "queued": 0},
            "replay": None,
        }
        self.rows: dict[str, Message] = {}
        """What differs from an instrument that reads, by its name."""

    @contextmanager
    def running(self) -> Iterator["PageBench"]:
        """Feed and page while the block runs."""
        self._thread.start()
        self._run(self.server.start())
        settings = {"feed_host": "127.0.0.1", "feed_port": self.server.port, "token": TOKEN}
        page = subprocess.Popen([sys.executable, "-m", "dashboard"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        assert page.stdin is not None
        assert page.stdout is not None
        try:
            places = {"recording": str(self.recording), "library": str(self.recording.parent)}
            page.stdin.write(json.dumps({**settings, **places, "port": 0}).encode() + b"\n")
            page.stdin.flush()
            self.address = json.loads(page.stdout.readline())["address"]
            yield self
        finally:
            page.stdin.close()
            page.wait(20)
            page.stdout.close()
            self.cut()
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join()
            self._loop.close()

    def _run(self, work: Coroutine[Any, Any, None]) -> None:
        done: Future[None] = asyncio.run_coroutine_threadsafe(work, self._loop)
        done.result(10)

    def cut(self) -> None:
        """End the feed's connections and refuse new ones."""
        self._run(self.server.stop())

    def greet(self, *keys: str) -> None:
        """Say from now on to every page: these channels, `point@instrument`, and the state; and say it now."""
        self._keys = {}
        for key in keys:
            self._keys.setdefault(key.partition("@")[2], []).append(key)
        self.server.greeting = [{"type": "hello", **self.hello}, self._channels(keys), self._status()]
        self._say(*self.server.greeting)

    def tell(self, *rows: tuple[str, float | None], quality: int = 0, before: float = 0.0, **changed: Any) -> None:
        """Readings [inside units] of `before` [s] ago, then the state with what is changed in it."""
        self.status |= changed
        time = self.now - round(before * 1e9)
        readings = [[key, time, value, quality] for key, value in rows]
        self._say({"type": "readings", "readings": readings}, self._status())

    def attempts(self, *rows: Message, whole: bool = False, first: int = 1) -> None:
        """Attempts that are new or changed."""
        self._say({"type": "attempts", "whole": whole, "first": first, "attempts": list(rows)})

    def event(self, text: str) -> None:
        """A note at this moment."""
        self._say({"type": "event", "time": self.now, "kind": "note", "text": text, "subject": None})

    def commands(self) -> Sequence[Message]:
        """What the page asked for."""
        return self.server.received

    def _say(self, *messages: Message) -> None:
        self._loop.call_soon_threadsafe(lambda: self.server.say(*messages))

    def _channels(self, keys: Sequence[str]) -> Message:
        channels = []
        for key in keys:
            point, _, instrument = key.partition("@")
            unit = measure_of(point).trade
            channels.append({"key": key, "point": point, "instrument": instrument, "unit": unit})
        return {"type": "channels", "channels": channels}

    def _status(self) -> Message:
        instruments: list[Message] = [
            {
                "name": name,
                "origin": name.partition(": ")[0] if ": " in name else None,
                "state": "reading",
                "since": self.now,
                "text": "",
                "next_try": None,
                "readings": 1,
                "age": 0.0,
                "rate": 1.0,
                "channels": keys,
                "losses": [],
                "last_error": None,
                "errors": 0,
                "lost_since": None,
            }
            | self.rows.get(name, {})
            for name, keys in self._keys.items()
        ]
        return {"type": "status", "now": self.now, "instruments": instruments, **self.status}


@contextmanager
def empty_bench(folder: Path) -> Iterator[PageBench]:
    """A bench on a recording without a reading, running while the block does."""
    path = folder / "call.lightoff"
    with Store(path):
        pass
    with PageBench(path).running() as bench:
        yield bench


def alarm(name: str, point: str, priority: str, limit: float, **changed: Any) -> Message:
    """An active alarm that nobody has acknowledged, as the recorder tells it."""
    return {
        "name": name,
        "point": point,
        "text": name.replace("_", " "),
        "priority": priority,
        "state": "unacknowledged",
        "since": START,
        "ended": None,
        "value": limit,
        "limit": limit,
        "first_out": False,
        "shelved_until": None,
        "count": 1,
        "chattering": 0,
        "action": f"what to do for {name}",
        "can_be_muted": True,
        "takes_over": priority == "safety",
    } | changed
