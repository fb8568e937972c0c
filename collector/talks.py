"""Notes and requests of whoever looks on from elsewhere, and the answers of whoever is at the unit."""

import secrets
from collections.abc import Iterable, Mapping
from dataclasses import replace

from analysis.model import Event, EventKind, origin_of
from analysis.points import POINTS
from collector.arguments import Command, Given, text_in
from collector.collector import Collector
from collector.talking import (
    AHEAD,
    ANSWERED,
    MOST_OPEN,
    REMOTE,
    SHOWN,
    TOLD,
    Said,
    asked,
    checked,
    in_a_replay,
    refuse_long,
    row_of,
    said_in,
)
from drivers.base import InputError
from drivers.share_messages import REFUSED


class Talking:
    """What is asked and noted from elsewhere; follows every such event that the collector takes in.

    Where the unit is watched from here (`collector.talk_back`, or an instrument that is shared) notes and requests are
    written here and answered there; where the unit is, they are heard and answered here.
    """

    def __init__(self, collector: Collector, *, recorded: Iterable[Event] = (), replaying: bool = False) -> None:
        self._collector = collector
        self._replaying = replaying
        self._open: dict[str, Said] = {}
        self._answered: dict[str, Said] = {}
        self._heard: set[str] = set()
        """Of those that wait, the ones that were sent here: of a replay that is shared they are no part."""
        for event in () if replaying else recorded:
            self.follow(event)
        collector.followers.append(self.follow)

    @property
    def watching(self) -> bool:
        """Whether the unit is elsewhere."""
        shared = any(origin_of(one.driver.name) == "shared" for one in self._collector.supervisors)
        return shared or self._collector.talk_back is not None

    def commands(self) -> Mapping[str, Command]:
        """What the page may do, by name."""

        def at(given: Given) -> int | None:
            value = given.get("at")
            if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
                raise InputError("'at' must be a moment", "send it again with one, or with none for now")
            return None if value is None else round(value)

        def author(given: Given) -> str:
            return text_in(given, "author", default="")

        return {
            "remote_note": lambda given: self.remote_note(text_in(given, "text"), at(given), author(given)),
            "remote_request": lambda given: self.remote_request(
                text_in(given, "text", default=""), text_in(given, "point", default=""), at(given), author(given)
            ),
            "remote_done": lambda given: self.remote_done(
                text_in(given, "id"), text_in(given, "text", default=""), author(given)
            ),
        }

    def remote_note(self, text: str, at: int | None = None, author: str = "") -> str:
        """Send a note about a moment [ns], by default now, to whoever is at the unit, and keep it here too."""
        if not text:
            raise InputError("the note is empty", "write something and send it again")
        self._send(EventKind.REMOTE_NOTE, text, None, at, author)
        return "sent; it shows here when it was seen"

    def remote_request(self, text: str, point: str = "", at: int | None = None, author: str = "") -> str:
        """Ask whoever is at the unit to measure a point of the table, or what `text` says."""
        if point and point not in POINTS:
            raise InputError(f"there is no point '{point[:40]}'", "choose one of the list, or write what is meant")
        if not point and not text:
            raise InputError("it is not said what to measure", "choose a point, or write it")
        self._send(EventKind.REMOTE_REQUEST, asked(text, point), point or None, at, author)
        return "sent; it shows here when it was done"

    def remote_done(self, identity: str, text: str = "", author: str = "") -> str:
        """Answer a note or a request, by default that it was seen or done."""
        if self._replaying and identity not in self._heard:
            raise in_a_replay()
        if self.watching:
            raise InputError("it is answered by whoever is at the unit", "wait for the answer, or ask once more")
        said = self._open.get(identity)
        if said is None:
            raise InputError(f"nothing with the identity '{identity[:40]}' waits for an answer", "look at the list")
        refuse_long(text, author)
        answer = text or ("done" if said.kind == "request" else "seen")
        now = self._collector.now()
        data = {"id": identity, "at": now, "text": answer, "author": author}
        told = f"{answer}: {said.text}"
        self._collector.ingest(Event(now, EventKind.REMOTE_DONE, told, said.point, data))
        return f"answered: {answer}"

    def hear(self, kind: EventKind, data: Mapping[str, object], point: str | None = None) -> bool:
        """Take in what was sent from elsewhere; False where it is known already. InputError where it cannot be taken.

        At the unit notes and requests come this way, and at whoever looks on the answers.
        """
        event = checked(kind, data, point, self._collector.now())
        identity = str(event.data["id"])
        if kind is EventKind.REMOTE_DONE:
            if identity not in self._open:
                return False
        elif identity in self._open or identity in self._answered:
            return False
        else:
            self._refuse_when_full()
            self._heard.add(identity)
        self._collector.ingest(event)
        return True

    def take(self, event: Event) -> None:
        """Take what the broker brought; InputError where it cannot be taken: nothing is changed then."""
        self.hear(event.kind, {**event.data, "text": event.text}, event.subject)

    def follow(self, event: Event) -> None:
        """Take note of what is asked, noted and answered, and of a replay that begins again."""
        if self._replaying and event.kind is EventKind.REPLAY and event.data.get("what") == "loop":
            self._open.clear()
            self._answered.clear()
        if event.kind not in REMOTE:
            return
        identity = str(event.data.get("id"))
        if event.kind is EventKind.REMOTE_DONE:
            if said := self._open.pop(identity, None):
                self._close(replace(said, answer=str(event.data.get("text", "")), answered=event.time))
        elif event.data.get("state") == REFUSED:
            if said := self._open.pop(identity, None):
                self._close(replace(said, answer=f"not taken: {event.data.get('why', '')}", answered=event.time))
        elif identity not in self._answered and (len(self._open) < MOST_OPEN or identity in self._open):
            self._open[identity] = said_in(event, identity)

    def _close(self, said: Said) -> None:
        self._answered[said.id] = said
        self._heard.discard(said.id)
        if len(self._answered) > ANSWERED:
            del self._answered[next(iter(self._answered))]

    def status(self) -> dict[str, object]:
        """What waits for an answer and what was answered last, for the page; of a replay what had come by then."""
        now = self._collector.now() if self._replaying else None
        came = [one for one in self._open.values() if now is None or one.came <= now]
        answered = [one for one in self._answered.values() if now is None or (one.answered or 0) <= now]
        if now is not None:
            came += [one for one in self._answered.values() if one.came <= now < (one.answered or 0)]
        return {
            "watching": self.watching,
            "way": self._collector.talk_back is not None,
            "waiting": len(came),
            "open": [row_of(one) for one in came[-TOLD:]],
            "answered": [row_of(one) for one in answered[-SHOWN:]],
        }

    def _send(self, kind: EventKind, text: str, point: str | None, at: int | None, author: str) -> None:
        if self._replaying:
            raise in_a_replay()
        if self._collector.talk_back is None:
            what = "there is no way to whoever is at the unit"
            raise InputError(what, "write a note of your own, or call them" if not self.watching else "try again")
        refuse_long(text, author)
        self._refuse_when_full()
        now = self._collector.now()
        moment = self._present() if at is None else at
        if not 0 <= moment <= max(now, self._present()) + AHEAD:
            raise InputError("that moment is not in this recording", "choose one in the trends, or none for now")
        data = {"id": secrets.token_hex(8), "at": moment, "text": text, "author": author}
        event = Event(now, kind, text, point, data)
        self._collector.talk_back(event)
        self._collector.ingest(event)

    def _present(self) -> int:
        """Time of the newest reading: clocks there and here may differ. [ns]"""
        return max((one[1] for one in self._collector.latest.values()), default=self._collector.now())

    def _refuse_when_full(self) -> None:
        if len(self._open) >= MOST_OPEN:
            raise InputError(f"{MOST_OPEN} notes and requests wait for an answer already", "have some answered first")
