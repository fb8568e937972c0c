"""Leading causes of the call that is recorded: looked for by another process now and then, and remembered meanwhile."""

import json
import sys
import time
from pathlib import Path

from fastapi import FastAPI, Request

from dashboard.found_attempts import Found, FoundAttempts, Key, stamp_of
from dashboard.guests import VIEWER

WORKER = (sys.executable, "-P", "-m", "collector.causes_worker")
EVERY = 45.0
"""A call is looked at anew no sooner than this after it was asked to. [s]"""


class FoundCauses(FoundAttempts):
    """What was found last of a recording, however old; a new look begins where the last is old and there is more."""

    def __init__(self, worker: tuple[str, ...] = WORKER, every: float = EVERY) -> None:
        super().__init__(worker)
        self._every = every
        self._last: tuple[str, str] = ("", "")
        """Path and answer: of one recording, the one that was looked at last."""
        self._asked_at = -every
        self._stamp: tuple[int, ...] | None = None

    def latest(self, path: Path) -> Found | None:
        """The last answer; None until there is one. Never waits."""
        stamp, now = stamp_of(path), time.monotonic()
        if stamp is not None and stamp != self._stamp and now - self._asked_at >= self._every:
            self._asked_at, self._stamp = now, stamp
            self.of(path)
        known, answer = self._last
        found: Found | None = json.loads(answer) if known == str(path) else None
        return found

    def wait(self) -> None:
        """Until nothing is looked for any more."""
        thread = self._thread
        if thread is not None:
            thread.join()

    def _remember(self, key: Key, answer: str) -> None:
        super()._remember(key, answer)
        self._last = (key[0], answer)


def add_causes(server: FastAPI, recording: Path, found: FoundCauses) -> None:
    """`GET /causes`: what may be wrong, as far as it was found; null while the first look is under way.

    Guests may ask too: that begins no more looks than `EVERY` allows anyway.
    """

    async def causes(request: Request) -> Found | None:
        latest = found.latest(recording)
        if VIEWER in request.scope and latest is not None and "problem" in latest:
            return None  # why nothing can be said may name a file, and guests are told none
        return latest

    server.add_api_route("/causes", causes)
