"""`python -m collector.forward_worker` sends a recording to a server; it ends when its input does.

A process of its own, so that neither a slow server nor the work of catching up delays a reading. It gets one line of
settings on standard input, then a line for each second with what was recorded; it says its status on standard output.
"""

import contextlib
import json
import logging
import sys
import threading
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TextIO

from collector.forward import SETTLE, Forwarder
from collector.forward_kept import Kept
from collector.forward_marks import GRACE, TELLING, within_minutes
from collector.sinks.influx import InfluxSink
from collector.sinks.sink import Target


class Worker:
    """Turns the cursor until the input ends."""

    def __init__(self, settings: Mapping[str, Any], given: TextIO, told: TextIO) -> None:
        recording = Path(settings["recording"])
        target = Target(settings["url"], settings["bucket"], settings["org"], settings["secret"])
        self._sink = InfluxSink(target)
        self._kept = Kept(recording, target.identity)
        settle = float(settings.get("settle", SETTLE))
        self.forwarder = Forwarder(recording, self._sink, self._kept, settle=settle)
        self._given, self._told = given, told
        self._grace = float(settings.get("grace", GRACE))
        self._woken = threading.Event()
        self._ended: float | None = None
        self._told_at = 0.0

    def run(self) -> None:
        """Send until the input has ended and everything is sent, or the time for that is over."""
        threading.Thread(target=self._listen, name="standard input", daemon=True).start()
        try:
            while not self._over():
                wait = self.forwarder.step()
                self._tell()
                if wait:
                    self._woken.wait(min(wait, TELLING))
                    self._woken.clear()
            self._tell(now=True)
        finally:
            self._kept.close()
            self._sink.close()

    def _over(self) -> bool:
        if self._ended is None:
            return False
        return self.forwarder.sent or time.monotonic() - self._ended > self._grace

    def _listen(self) -> None:
        try:
            for line in self._given:
                said = json.loads(line)
                self.forwarder.marks.add(mark for span in said["touched"] for mark in within_minutes(*span))
                if said["anew"]:
                    self.forwarder.compare_anew()
                self._woken.set()
        finally:
            self._ended = time.monotonic()
            self._woken.set()

    def _tell(self, *, now: bool = False) -> None:
        if now or time.monotonic() - self._told_at >= TELLING:
            self._told_at = time.monotonic()
            status = {**self.forwarder.status.told(), "sent_all": self.forwarder.sent}
            self._told.write(json.dumps(status) + "\n")
            self._told.flush()


def main() -> None:
    """Read the settings and work; a recorder that is gone is no error."""
    logging.basicConfig(level=logging.WARNING, format="lightoff: %(message)s")
    with contextlib.suppress(BrokenPipeError, KeyboardInterrupt):
        Worker(json.loads(sys.stdin.readline()), sys.stdin, sys.stdout).run()


if __name__ == "__main__":
    main()
