"""What goes between whoever looks on from elsewhere and whoever is at the unit: the way there, and what is said."""

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Protocol

from analysis.model import NANOSECONDS, Event, EventKind
from analysis.points import POINTS
from drivers.base import InputError

MOST_OPEN = 200
"""Notes and requests that wait for an answer; further ones are refused. [1]"""
ANSWERED = 200
"""Answered ones that are known by their identity, so that one sent twice is taken once; the oldest go first. [1]"""
TOLD = 20
"""Of those that wait, the newest, which the page is told; of all it is told how many. [1]"""
SHOWN = 12
"""Answered ones that the page is told. [1]"""
LONGEST = 500
"""A longer text is refused. [characters]"""
LONGEST_NAME = 60
"""Of who writes. [characters]"""
IDENTITY = re.compile(r"[\w.-]{1,60}")
"""Of a note or request; whoever writes it makes one that nobody else has."""
AHEAD = 60 * NANOSECONDS
"""No moment further ahead of the recording's time is meant. [ns]"""

REMOTE = frozenset({EventKind.REMOTE_NOTE, EventKind.REMOTE_REQUEST, EventKind.REMOTE_DONE})
"""Kinds of events that are followed here."""


class TalkBack(Protocol):
    """Takes a note or a request (`EventKind.REMOTE_NOTE`, `REMOTE_REQUEST`) to the recorder at the unit."""

    def __call__(self, event: Event, /) -> None:
        """Send it, or queue it for sending; LightoffError in one sentence when it cannot be: then it is not recorded.

        It is called once for each note or request; what is sent twice is taken once at the other end, by its `id`.
        """
        ...


@dataclass(frozen=True, slots=True)
class Said:
    """A note or a request."""

    id: str
    kind: str
    """`note` or `request`."""
    at: int
    """The moment that it is about. [ns]"""
    text: str
    author: str
    point: str | None
    came: int
    """[ns]"""
    answer: str = ""
    answered: int | None = None
    """[ns]"""


def in_a_replay() -> InputError:
    """Why nothing is written or answered in a replay."""
    return InputError("nothing can be written or answered here", "a replay plays what was recorded")


def asked(text: str, point: str) -> str:
    """A request in words."""
    if not point:
        return f"please measure: {text}"
    return f"please measure {POINTS[point].text}" + (f": {text}" if text else "")


def refuse_long(text: str, author: str) -> None:
    """InputError where a text or a name is too long."""
    if len(text) > LONGEST:
        raise InputError(f"the text has {len(text)} characters", f"write {LONGEST} at most")
    if len(author) > LONGEST_NAME:
        raise InputError(f"the name has {len(author)} characters", f"write {LONGEST_NAME} at most")


def checked(kind: EventKind, data: Mapping[str, object], point: str | None, now: int) -> Event:
    """An event of what came over a network; whoever sent it may send anything."""
    match data:
        case {"id": str(identity), "at": int(at), "text": str(text), **more}:
            author = more.get("author", "")
        case _:
            raise InputError("what came from elsewhere is no note, request or answer", "both need the same version")
    if kind not in REMOTE or not isinstance(author, str) or isinstance(at, bool):
        raise InputError("what came from elsewhere is no note, request or answer", "both need the same version")
    if not IDENTITY.fullmatch(identity) or (point is not None and point not in POINTS):
        raise InputError("what came from elsewhere is about nothing that is known here", "both need the same version")
    refuse_long(text, author)
    if not 0 <= at <= now + 24 * 3600 * NANOSECONDS:
        raise InputError("what came from elsewhere is about a moment that is none", "look at the clocks of both")
    kept = {"id": identity, "at": at, "text": readable(text), "author": readable(author)}
    return Event(now, kind, readable(text), point, kept)


def said_in(event: Event, identity: str) -> Said:
    """The note or request of an event."""
    at = event.data.get("at")
    return Said(
        id=identity,
        kind="request" if event.kind is EventKind.REMOTE_REQUEST else "note",
        at=at if isinstance(at, int) else event.time,
        text=str(event.data.get("text", event.text)),
        author=str(event.data.get("author", "")),
        point=event.subject,
        came=event.time,
    )


def row_of(said: Said) -> dict[str, object]:
    """As the page is told it."""
    return asdict(said)


def readable(text: str) -> str:
    """A text without halves of characters, which would stop whoever writes it."""
    return text.encode("utf-8", "replace").decode()
