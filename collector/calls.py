"""The calls of a company that run now, as their technicians' programs say: one retained status each.

What comes from a broker is somebody else's word: whatever is not of its kind counts as not said, and texts are cut.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from analysis.model import ORIGINS
from collector.alarm_rule import PRIORITIES
from drivers.base import InputError
from drivers.share_topics import STATUS, CallTopics, topics_of

MOST = 2000
"""Calls that are listed; of more, those that were begun first are left out, the ended ones before all. [1]"""
LONGEST = 200
"""Of a text. [characters]"""
SILENT = 30.0
"""A call that said nothing for so long is silent, whatever it said of being there. [s]"""

Read = Callable[[bytes], Mapping[str, Any]]
"""A status as plain values; InputError where it is none."""


@dataclass(frozen=True, slots=True)
class Call:
    """How one call stands."""

    topics: CallTopics
    name: str
    """Of the site, or of the recording."""
    origin: str
    """Where its readings come from; empty where all are of live instruments, `unknown` where it does not say."""
    begun: int
    """UTC since 1970, by the technician's clock; 0 where it does not say. [ns]"""
    phase: str
    """What the unit does, in words."""
    outcome: str
    """How the attempt ended, once that is decided."""
    alarm: str
    """The worst alarm, empty without one."""
    priority: str
    """Of that alarm; one of `PRIORITIES`, else empty."""
    online: bool
    heard: float
    """When it last said something. [s, monotonic]"""

    def told(self, now: float) -> dict[str, Any]:
        """Plain JSON values at a time. [s, monotonic]"""
        names = ("name", "origin", "phase", "outcome", "alarm", "priority")
        return {
            "technician": self.topics.technician,
            "call": self.topics.call,
            **{name: getattr(self, name) for name in names},
            "begun": self.begun // 1_000_000,
            "state": self.state(now),
            "age": max(0.0, now - self.heard),
        }

    def state(self, now: float) -> str:
        """`running`, `silent` (it says it runs and says nothing), or `ended`."""
        if not self.online:
            return "ended"
        return "silent" if now - self.heard > SILENT else "running"


class Calls:
    """Fed with messages of the topics `.../status`; the worst first."""

    def __init__(self, read: Read, monotonic: Callable[[], float], most: int = MOST) -> None:
        self._read, self._monotonic, self._most = read, monotonic, most
        self._calls: dict[CallTopics, Call] = {}
        self.version = 0
        """Changes with whatever is told. [1]"""
        self.unreadable = 0
        """Messages that are no status. [1]"""
        self.left_out = 0
        """Calls that were too many. [1]"""

    def take(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """A message; an empty one takes the call off the list."""
        found = topics_of(topic)
        if found is None or found[1] != STATUS:
            return
        topics, _ = found
        self.version += 1
        if not payload:
            self._calls.pop(topics, None)
            return
        try:
            said = self._read(payload)
        except InputError:
            self.unreadable += 1
            return
        heard = self._monotonic()
        if retained and topics not in self._calls:
            heard -= SILENT  # when it was said is not known: silent until it says more
        self._calls[topics] = _call(topics, said, heard)
        if len(self._calls) > self._most:
            del self._calls[min(self._calls.values(), key=lambda one: (one.online, one.begun)).topics]
            self.left_out += 1

    def rows(self) -> list[dict[str, Any]]:
        """Every call: running ones with the worst alarm first, then by when they were begun, the newest first."""
        now = self._monotonic()
        calls = sorted(self._calls.values(), key=lambda one: (one.state(now) == "ended", _rank(one), -one.begun))
        return [one.told(now) for one in calls]

    def topics(self, technician: str, call: str) -> CallTopics:
        """Of a call on the list; InputError where it is not."""
        for topics in self._calls:
            if (topics.technician, topics.call) == (technician, call):
                return topics
        raise InputError("this call is not on the list any more", "look at the list again")


def _rank(call: Call) -> int:
    return PRIORITIES.index(call.priority) if call.priority in PRIORITIES else len(PRIORITIES)


def _call(topics: CallTopics, said: Mapping[str, Any], heard: float) -> Call:
    phase, alarm = _map(said, "phase"), _map(said, "alarm")
    priority = _text(alarm, "priority")
    begun = said.get("begun")
    return Call(
        topics=topics,
        name=_text(said, "name") or topics.call,
        origin=_origin(said.get("origin")),
        begun=begun if type(begun) is int and 0 < begun < 2**63 else 0,
        phase=_text(phase, "text"),
        outcome=_text(phase, "outcome_text"),
        alarm=_text(alarm, "text"),
        priority=priority if priority in PRIORITIES else "",
        online=said.get("online") is True,
        heard=heard,
    )


def _origin(said: object) -> str:
    """Only what is known of origins is passed on as one: a simulated unit must never pass for a live one."""
    if said == "":
        return ""
    words = [word.strip() for word in said.split(",")] if isinstance(said, str) else []
    return ", ".join(words) if words and all(word in ORIGINS for word in words) else "unknown"


def _map(said: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = said.get(name)
    return found if isinstance(found, dict) else {}


def _text(said: Mapping[str, Any], name: str) -> str:
    found = said.get(name)
    text = "".join(sign if sign.isprintable() else " " for sign in found) if isinstance(found, str) else ""
    return text[:LONGEST].strip()
