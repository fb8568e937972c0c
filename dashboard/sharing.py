"""Who looks on in the same building: the link that holds now, the viewers it let in, and how they are cut off."""

import asyncio
import hashlib
import hmac
import re
import secrets
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

from collector.building import TOKEN_BYTES, Share
from collector.qr import as_picture
from dashboard.knocks import Knocks

MOST_VIEWERS = 20
"""Viewers at a time; who has been away longest makes room for another. [1]"""
MOST_CONNECTIONS = 4
"""Windows that one viewer may have open. [1]"""

GONE = (
    "refused: this link does not hold here; it was for another call, has ended or was replaced: "
    "ask the technician for a new one"
)
TOO_MANY_TRIES = "refused: too many wrong links from there; wait a minute and open the link that you were given"
FULL = f"refused: {MOST_VIEWERS} others look on already; ask the technician to cut one off"
TOO_MANY_WINDOWS = f"refused: {MOST_CONNECTIONS} windows of yours show this page already; close one of them"


class Refused(Exception):  # noqa: N818 - not an error of the program
    """A guest is not let in: one sentence, and the status of the answer."""

    def __init__(self, text: str, status: int = 403) -> None:
        super().__init__(text)
        self.status = status


@dataclass(eq=False, slots=True)
class Viewer:
    """Somebody who looks on; nothing is known of them but this."""

    number: int
    since: float
    """Wall time. [s since 1970]"""
    device: str
    ended: asyncio.Event = field(default_factory=asyncio.Event)
    """Set when they are cut off."""
    why: str = ""
    """In one sentence, when they are."""
    connections: int = 0
    """Windows open now. [1]"""
    seen: int = 0
    """Counts up over all viewers with each window that is opened or closed. [1]"""


class Sharing:
    """The link and the viewers of one call; not shared until `begin`. `changed` is called whenever something is."""

    def __init__(self, *, now: Callable[[], float] = time.time, knocks: Knocks | None = None) -> None:
        self._now = now
        self._knocks = Knocks() if knocks is None else knocks
        self._viewers: dict[bytes, Viewer] = {}
        """By the hash of what their browser keeps."""
        self._numbers = 0
        self._seen = 0
        self.share: Share | None = None
        """As it is shared now, None while it is not."""
        self.changed: Callable[[], None] = lambda: None

    def begin(self, share: Share) -> None:
        """Share by this link from now on."""
        self.share = share
        self.changed()

    def end(self, why: str = "the technician ended the sharing of this page") -> None:
        """Cut everybody off at once; the link no longer holds."""
        self.share = None
        self._drop(tuple(self._viewers), why)
        self.changed()

    def tick(self) -> None:
        """End it when its time is over."""
        if self.share and not self._holds():
            self.end("the time for which this page was shared is over: ask the technician for a new link")

    def cut(self, number: int) -> bool:
        """Cut one viewer off, and let nobody in by the old link any more, who has it too; whether there was one."""
        keys = [key for key, viewer in self._viewers.items() if viewer.number == number]
        if not keys or self.share is None:
            return False
        self._drop(keys, "the technician cut you off: ask for a new link")
        self.share = replace(self.share, token=secrets.token_urlsafe(TOKEN_BYTES))
        self.changed()
        return True

    def admit(self, token: str, address: str, device: str) -> str:
        """Let somebody in who has the link: what their browser has to keep. Refused in one sentence otherwise."""
        if self._knocks.too_many(address):
            raise Refused(TOO_MANY_TRIES, 429)
        share = self.share
        if share is None or not hmac.compare_digest(token.encode(), share.token.encode()) or not self._holds():
            self._knocks.wrong(address)
            raise Refused(GONE)
        self._make_room()
        self._numbers += 1
        kept = secrets.token_urlsafe(TOKEN_BYTES)
        self._viewers[_hash(kept)] = Viewer(self._numbers, self._now(), device, seen=self._next())
        self.changed()
        return kept

    def viewer(self, kept: str | None) -> Viewer | None:
        """Who keeps this, None where nobody does or the time is over."""
        if not kept or not self._holds():
            return None
        return self._viewers.get(_hash(kept))

    @contextmanager
    def watching(self, viewer: Viewer) -> Iterator[None]:
        """A window of a viewer while it is open; Refused when there are too many."""
        if viewer.connections >= MOST_CONNECTIONS:
            raise Refused(TOO_MANY_WINDOWS)
        viewer.connections += 1
        viewer.seen = self._next()
        self.changed()
        try:
            yield
        finally:
            viewer.connections -= 1
            viewer.seen = self._next()
            self.changed()

    def left(self) -> float:
        """Time that the link still holds. [s]"""
        return max(0.0, self.share.until - self._now()) if self.share else 0.0

    def told(self) -> dict[str, Any]:
        """All of it, for the technician's page alone: the links are in it."""
        share = self.share
        links = share.links() if share and share.port else ()
        return {
            "type": "sharing",
            "on": share is not None,
            "until": share.until if share else None,
            "links": [{"link": link, "code": as_picture(link)} for link in links],
            "viewers": [
                {"number": one.number, "since": one.since, "device": one.device, "watching": one.connections > 0}
                for one in self._viewers.values()
            ],
        }

    def _holds(self) -> bool:
        return self.share is not None and self._now() < self.share.until

    def _next(self) -> int:
        self._seen += 1
        return self._seen

    def _make_room(self) -> None:
        if len(self._viewers) < MOST_VIEWERS:
            return
        away = [(viewer.seen, key) for key, viewer in self._viewers.items() if not viewer.connections]
        if not away:
            raise Refused(FULL, 503)
        self._drop([min(away)[1]], "others look on now: open the link again")

    def _drop(self, keys: Iterable[bytes], why: str) -> None:
        for key in keys:
            viewer = self._viewers.pop(key)
            viewer.why = why
            viewer.ended.set()


def device_of(agent: str) -> str:
    """What kind of device a browser says it runs on; nothing else of what it says is kept."""
    if re.search(r"iPad|Tablet|Android(?!.*Mobile)", agent):
        return "tablet"
    if "Mobi" in agent:
        return "telephone"
    return "computer" if "Mozilla/" in agent else "device"


def _hash(kept: str) -> bytes:
    return hashlib.sha256(kept.encode()).digest()
