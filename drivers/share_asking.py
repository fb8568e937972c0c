"""A viewer's questions: what it lacks of a shared call, the newest first, one question at a time."""

import asyncio
from collections.abc import Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from analysis.model import NANOSECONDS, Event
from drivers.codecs.cbor import UnreadableError
from drivers.outgoing import Outgoing, Parcel
from drivers.share_lacks import MINUTE, lacking
from drivers.share_messages import (
    COUNTS,
    DONE,
    EVENTS,
    MOST_MINUTES,
    REFUSED,
    SPANS,
    Ask,
    fresh_identity,
    read_counts,
)

if TYPE_CHECKING:
    from drivers.share import Share, Viewing

PATIENCE = 10.0
"""How long a question is waited for without a word; then it is put anew. [s]"""
ROUND, LONG_ROUND = 5.0, 120.0
"""Between two looks at the last minutes, and at all. [s]"""
RECENT = 3
"""Minutes of a short look. [1]"""
LIFE = 30 * NANOSECONDS
"""How long a question is good. [ns]"""
AT_ONCE = 64
"""Spans of one question. [1]"""
RESEND, LONGEST_RESEND = 5.0, 300.0
"""Until a note that is not acknowledged is sent again, at first, and after it was sent over and over. [s]"""


class Asking:
    """The questions of one session."""

    def __init__(self, share: "Share", viewing: "Viewing", outgoing: Outgoing) -> None:
        self._share, self._viewing, self._outgoing = share, viewing, outgoing
        self._answer: asyncio.Future[Mapping[str, Any]] | None = None
        self._asked = ""
        self._heard = asyncio.Event()
        self._hurry = asyncio.Event()
        self._events_told = -1
        self._note_due: dict[str, tuple[float, float]] = {}
        """When each is sent again, and how long that was waited for. [s]"""
        self._note_asks: dict[str, str] = {}
        """Identities of notes by those of the questions that brought them last."""
        self.lacking = 0
        """Spans that are still to be asked for. [1]"""
        self.refused = ""
        """Why the last question was refused."""

    def hurry(self) -> None:
        """There is something to say: at once, also while an answer is waited for."""
        if self._ready:
            self._say_notes(asyncio.get_running_loop().time())
        self._hurry.set()

    def heard(self, said: Mapping[str, Any] | None) -> None:
        """An answer came; None for readings."""
        self._heard.set()
        final = said is not None and said.get("kind") == REFUSED and said.get("final") is True
        if said is not None and final and (note := self._note_asks.pop(str(said.get("id")), "")):
            self._share.refused(note, str(said.get("why", ""))[:200])
        last = said is not None and said.get("id") == self._asked and said.get("kind") in (COUNTS, DONE, REFUSED)
        if said is not None and last and self._answer and not self._answer.done():
            self._answer.set_result(said)

    async def run(self) -> None:
        """Ask until cancelled."""
        clock = asyncio.get_running_loop().time
        whole = -float("inf")
        while True:
            if self._ready:
                self._say_notes(clock())
                everything = clock() - whole >= LONG_ROUND
                with suppress(UnreadableError):
                    if await self._readings(everything=everything) and everything:
                        whole = clock()
                await self._events()
            with suppress(TimeoutError):
                async with asyncio.timeout(ROUND if whole > 0 else 0.2):
                    await self._hurry.wait()
            self._hurry.clear()

    @property
    def _ready(self) -> bool:
        """Whether somebody is there who understands."""
        return bool(self._share.status.get("online") and self._share.keys)

    async def _readings(self, *, everything: bool) -> bool:
        """Look what is lacking and ask for it; whether all was answered."""
        span = self._share.status.get("span")
        if not span:
            return True
        last = max(span[1], self._share.now()) // MINUTE
        last = min(last, span[1] // MINUTE + 1)
        first = span[0] // MINUTE if everything else max(span[0] // MINUTE, last - RECENT + 1)
        for end in range(last, first - 1, -MOST_MINUTES):
            begin = max(first, end - MOST_MINUTES + 1)
            said = await self._ask(COUNTS, minutes=(begin, end))
            if said is None:
                return False
            until, counts = read_counts(said)
            await self._viewing.caught_up()
            spans = lacking(self._share.keys, counts, until, self._viewing.held)
            self.lacking = len(spans)
            for place in range(0, len(spans), AT_ONCE):
                some = spans[place : place + AT_ONCE]
                if await self._ask(SPANS, spans=tuple(some)) is None:
                    return False
                await self._viewing.caught_up()
                self.lacking -= len(some)
        return True

    async def _events(self) -> None:
        """Ask for the events where there are more of them than are known."""
        told = int(self._share.status.get("events", 0))
        if told > self._share.known_events and told != self._events_told and await self._ask(EVENTS) is not None:
            self._events_told = told

    async def _ask(self, kind: str, **more: Any) -> Mapping[str, Any] | None:
        """The last message of an answer, None where there was none."""
        self._asked, self._answer = fresh_identity(), asyncio.get_running_loop().create_future()
        self._put(Ask(self._asked, self._share.viewer, kind, self._share.now() + LIFE, **more))
        while True:
            self._heard.clear()
            try:
                async with asyncio.timeout(PATIENCE):
                    await self._heard.wait()
            except TimeoutError:
                return None
            if self._answer.done():
                break
        said = self._answer.result()
        self.refused = str(said.get("why", ""))[:200] if said.get("kind") == REFUSED else ""
        return None if self.refused else said

    def _say_notes(self, now: float) -> None:
        unsent = self._share.unsent
        self._note_asks = {ask: note for ask, note in self._note_asks.items() if note in {one[1] for one in unsent}}
        for kind, identity, event in unsent:
            due, wait = self._note_due.get(identity, (now, RESEND))
            if now >= due:
                self._note_due[identity] = (now + wait, min(2 * wait, LONGEST_RESEND))
                ask = self._note(kind, identity, event)
                self._note_asks[ask.id] = identity
                self._put(ask)

    def _note(self, kind: str, identity: str, event: Event) -> Ask:
        at, author = event.data.get("at"), str(event.data.get("author", ""))
        return Ask(
            fresh_identity(), self._share.viewer, kind, self._share.now() + LIFE, note=identity,
            at=at if isinstance(at, int) else event.time, text=event.text, author=author, point=event.subject or "",
        )  # fmt: skip

    def _put(self, ask: Ask) -> None:
        self._outgoing.put(Parcel(self._viewing.call.topics.ask, ask.packed(), content_type="application/cbor"))
