"""Ignition attempts of recordings, found once by another process and remembered; who asks never waits."""

import json
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

MOST_KEPT, MOST_BYTES = 400, 20_000_000
"""Recordings whose attempts are remembered, and what they may take together; those asked for longest ago go."""
MOST_WAITING = 400
"""Recordings that wait their turn; who asked longest ago is dropped, and waits again once asked for again. [1]"""
PATIENCE = 120.0
"""A recording that takes longer is given up. [s]"""
FAILED = json.dumps({"problem": "the search for attempts failed or took too long"})
WORKER = (sys.executable, "-P", "-m", "collector.attempts_worker")

Found = dict[str, Any]
Key = tuple[str, tuple[int, ...]]


class FoundAttempts:
    """Remembers what was found, and has the rest looked for while anything waits. For use from any thread."""

    def __init__(self, worker: Sequence[str] = WORKER, patience: float = PATIENCE) -> None:
        self._worker, self._patience = worker, patience
        self._known: OrderedDict[Key, str] = OrderedDict()
        self._bytes = 0
        self._waiting: OrderedDict[Key, None] = OrderedDict()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def of(self, path: Path, *, urgent: bool = False) -> Found | None:
        """`text`, `attempts` and `more`, or a `problem`; None while it is looked for, next of all where `urgent`."""
        stamp = stamp_of(path)
        if stamp is None:
            return {"problem": "the file is not there any more"}
        key = (str(path), stamp)
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                found: Found = json.loads(self._known[key])
                return found
            self._waiting[key] = None
            if urgent:
                self._waiting.move_to_end(key, last=False)
            while len(self._waiting) > MOST_WAITING:
                self._waiting.popitem(last=False)
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="attempts of recordings", daemon=True)
                self._thread.start()
        return None

    def _next(self) -> Key | None:
        """What waits longest; None ends the thread, and the next one who asks begins another."""
        with self._lock:
            if not self._waiting:
                self._thread = None
                return None
            key, _ = self._waiting.popitem(last=False)
            return key

    def _work(self) -> None:
        process: subprocess.Popen[str] | None = None
        try:
            while (key := self._next()) is not None:
                if process is None:
                    process = self._started()
                answer = self._asked(process, key[0]) if process else ""
                if process and not answer:
                    _ended(process)
                    process = None
                self._remember(key, answer or FAILED)
        finally:
            if process is not None:
                _ended(process)

    def _started(self) -> "subprocess.Popen[str] | None":
        try:
            return subprocess.Popen(self._worker, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        except OSError:
            return None

    def _asked(self, process: "subprocess.Popen[str]", path: str) -> str:
        """The line that it answers, empty where it ended or was ended."""
        assert process.stdin is not None
        assert process.stdout is not None
        timer = threading.Timer(self._patience, process.kill)
        timer.daemon = True
        timer.start()
        try:
            process.stdin.write(json.dumps(path) + "\n")
            process.stdin.flush()
            line = process.stdout.readline()
        except OSError:
            return ""
        finally:
            timer.cancel()
        return line.strip() if line.endswith("\n") else ""

    def _remember(self, key: Key, answer: str) -> None:
        with self._lock:
            self._waiting.pop(key, None)
            self._known[key] = answer
            self._bytes += len(answer)
            while len(self._known) > 1 and (len(self._known) > MOST_KEPT or self._bytes > MOST_BYTES):
                self._bytes -= len(self._known.popitem(last=False)[1])


def stamp_of(path: Path) -> tuple[int, ...] | None:
    """What changes when a recording or the log beside it does; None where it is not there."""
    found: list[int] = []
    try:
        for one in (path, path.with_name(f"{path.name}-wal")):
            if one.exists():
                state = one.stat()
                found += [state.st_mtime_ns, state.st_size]
    except OSError:
        return None
    return tuple(found) or None


def _ended(process: "subprocess.Popen[str]") -> None:
    """End it and wait for its end; what it does is worth nothing any more."""
    process.kill()
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            try:
                stream.close()
            except OSError:
                continue  # what was not yet written has nobody to read it
    process.wait()
