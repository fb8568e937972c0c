"""A call that another machine shares over a broker: the driver of a viewer.

It takes what is sent as it is recorded, keeps the origin of every channel (`shared: replay: ...`), and asks for what it
lacks: late, after an interruption, or because something was lost on the way. What it lacks is told by counts of
readings in its own recording, so that nothing is believed that is not on the medium.
"""

import asyncio
import math
import time
from collections import Counter, OrderedDict
from collections.abc import Awaitable, Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Quality, Reading, with_origin
from drivers.base import DriverError, Emit, InputError, Past
from drivers.broker import LARGEST, Wanted, hang_up, listen
from drivers.codecs.cbor import UnreadableError
from drivers.codecs.senml import Block, decode
from drivers.inbox import Inbox, Message
from drivers.outgoing import Outgoing
from drivers.share_asking import Asking
from drivers.share_lacks import Held
from drivers.share_messages import (
    LONGEST_TEXT,
    NOTE,
    REFUSED,
    REQUEST,
    fresh_identity,
    is_pack,
    read_channels,
    read_event,
    read_map,
    read_status,
)
from drivers.share_topics import SharedCall

LIVE = 10 * NANOSECONDS
"""Readings older than this when they come are no present. [ns]"""
MOST_EVENTS = 20_000
"""Identities of events that are remembered. [1]"""
TOLD_THERE = {EventKind.ALARM, EventKind.INSTRUMENT, EventKind.RECORDER, EventKind.CLOCK, EventKind.PROBLEM}
"""Kinds of which this program has its own too: the other machine's are told as such."""
NOTHING = 20.0
"""So long after the broker has agreed it is said what may be wrong where nothing has come. [s]"""
REMOTE = {NOTE: EventKind.REMOTE_NOTE, REQUEST: EventKind.REMOTE_REQUEST}


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewing:
    """What a viewer has and wants."""

    call: SharedCall
    held: Held
    """Times of what is recorded here."""
    past: Callable[[Past], None]
    """Records readings that are no present."""
    caught_up: Callable[[], Awaitable[None]]
    """Returns when all that was given is recorded."""
    known: Iterable[Event] = ()
    """Events of the own recording, where it is continued."""
    secret: str | None = field(default=None, repr=False)
    certificate: str | None = None
    nothing: float = NOTHING
    """[s]"""
    start: int = 0
    """Time to begin with until the other side says its own; 0: this machine's. [ns]"""


class Share:
    """Driver of a shared call; its time is that of the machine that shares."""

    def __init__(self, viewing: Viewing) -> None:
        self._viewing = viewing
        self.name = with_origin("shared", str(viewing.call.topics))
        self.viewer = fresh_identity()
        """Under which answers come."""
        self.status: Mapping[str, Any] = {}
        """What the other side said last of how the call stands."""
        self._offset = (viewing.start or time.time_ns()) - time.monotonic_ns()
        self._channels: dict[int, Channel] = {}
        self._renamed: dict[str, str] = {}
        self._newest: dict[str, int] = {}
        self._counts = Counter(unreadable=0, unknown_channels=0, dropped_messages=0)
        self._seen: OrderedDict[str, None] = OrderedDict()
        self._notes: dict[str, Event] = {}
        """Sent and not acknowledged."""
        self._mine: set[str] = set()
        for event in viewing.known:
            self._remember(event)
        self._asking: Asking | None = None
        self._emit: Emit | None = None
        self.trouble = ""
        """The last thing that could not be read, or why nothing comes."""

    @property
    def channels(self) -> tuple[Channel, ...]:
        """As the other side named them, with their origin."""
        return tuple(self._channels.values())

    def statistics(self) -> dict[str, int]:
        """Counts since the driver was made, over all sessions. [1]"""
        return dict(self._counts)

    def now(self) -> int:
        """The time of whoever shares, as it was said last and goes on since. [ns]"""
        return time.monotonic_ns() + self._offset

    def behind(self) -> float | None:
        """How far the newest reading is behind the time of whoever shares, None where there is none. [s]"""
        return max(0.0, (self.now() - max(self._newest.values())) / NANOSECONDS) if self._newest else None

    def standing(self) -> dict[str, Any]:
        """Where the readings come from and how far they are behind, for the page."""
        state = "no word yet" if not self.status else "live" if self.status["online"] else "offline"
        if state == "live" and self.status["paused"]:  # a replay that stands still there is nothing stale
            state = "paused there"
        return {
            "server": str(self._viewing.call),
            "name": self.status.get("name", ""),
            "origin": self.status.get("origin", ""),
            "state": state,
            "behind": self.behind(),
            "lacking": self._asking.lacking if self._asking else 0,
            "unsent": len(self._notes),
            "text": self.trouble,
        }

    def say(self, kind: str, text: str, *, at: int, author: str) -> str:
        """Send a `note` or a `request` about a time [ns]; its identity. It is sent until it is acknowledged."""
        if kind not in REMOTE or not text.strip() or len(text) > LONGEST_TEXT or self._emit is None:
            raise InputError("this cannot be said to the technician", f"write 1 to {LONGEST_TEXT} characters")
        identity = fresh_identity()
        data = {"id": identity, "at": at, "author": author[:100], "state": "sent"}
        event = Event(self.now(), REMOTE[kind], text, None, data)
        self._remember(event)
        self._emit(event)
        if self._asking:
            self._asking.hurry()
        return identity

    def send(self, event: Event) -> None:
        """Send a note or a request that the recording here has or gets; it is sent until it is acknowledged."""
        if event.kind not in REMOTE.values() or len(event.text) > LONGEST_TEXT:
            raise InputError("this cannot be said to the technician", f"write 1 to {LONGEST_TEXT} characters")
        self._remember(event)
        if self._asking:
            self._asking.hurry()

    async def run(self, emit: Emit) -> None:
        """One session; ends only by DriverError, by cancelling, or by what `emit` raises."""
        viewing, inbox, outgoing = self._viewing, Inbox(), Outgoing()
        topics = viewing.call.topics
        wanted = Wanted(
            instrument=self.name,
            broker=viewing.call.broker,
            topics=(topics.status, topics.channels, topics.readings, topics.events, topics.answer(self.viewer)),
            now=time.time_ns,
            secret=viewing.secret,
            longest=LARGEST,
            outgoing=outgoing,
            certificate=viewing.certificate,
        )
        self._emit = emit
        self._asking = asking = Asking(self, viewing, outgoing)
        thread = listen(wanted, inbox)
        asks = asyncio.create_task(asking.run(), name=f"{self.name}: asking")
        try:
            await self._pass_on(inbox, asks, emit)
        finally:
            asks.cancel()
            await asyncio.gather(asks, return_exceptions=True)
            self._asking = None
            await hang_up(thread, inbox)

    @property
    def keys(self) -> dict[int, str]:
        """Keys of the channels here by their numbers."""
        return {number: channel.key for number, channel in self._channels.items()}

    @property
    def known_events(self) -> int:
        """Events of the other side that are here. [1]"""
        return len(self._seen)

    @property
    def unsent(self) -> list[tuple[str, str, Event]]:
        """Kind, identity and event of what is not acknowledged."""
        words = {kind: word for word, kind in REMOTE.items()}
        return [(words[event.kind], identity, event) for identity, event in self._notes.items()]

    async def _pass_on(self, inbox: Inbox, asks: "asyncio.Task[None]", emit: Emit) -> None:
        opened = math.inf
        while True:
            opened = min(opened, time.monotonic()) if inbox.opened else opened
            if not self.status and time.monotonic() - opened > self._viewing.nothing:
                opened = math.inf
                self._say_nothing_came(emit)
            failure, taken = inbox.failure, inbox.take()
            if taken:
                dropped, message = taken
                if dropped:
                    self._counts["dropped_messages"] += dropped.count
                self._take(message, emit)
                await asyncio.sleep(0)
                continue
            if failure:
                raise failure
            if asks.done():
                asks.result()
            await inbox.arrival(within=1.0)

    def _say_nothing_came(self, emit: Emit) -> None:
        """A broker that does not let somebody read says nothing of it, and neither does one where nobody shares."""
        call, user = self._viewing.call, self._viewing.call.broker.user
        who = f"the user '{user}'" if user else "somebody without a user name"
        trouble = (
            f"nothing has come of the call '{call.topics}' yet: nobody has shared one of that name, or the broker does "
            f"not let {who} read it, of which it says nothing; compare the name with that on the technician's page, "
            "and have its owner look at the rights"
        )
        if trouble != self.trouble:
            self.trouble = trouble
            emit(Event(self.now(), EventKind.PROBLEM, f"{self.name}: {trouble}", self.name, {}))

    def _take(self, message: Message, emit: Emit) -> None:
        """Take a message in; one that cannot be read is counted and told once."""
        try:
            self._understand(message, emit)
        except UnreadableError as error:
            self._counts["unreadable"] += 1
            if str(error) != self.trouble:
                self.trouble = str(error)
                emit(Event(self.now(), EventKind.PROBLEM, f"{self.name}: {error}", self.name, {}))

    def _understand(self, message: Message, emit: Emit) -> None:
        topics, data = self._viewing.call.topics, message.data
        if message.source == topics.status:
            self.trouble = self.trouble if self.status else ""
            self.status = read_status(data)
            if not message.retained and self.status["now"]:
                self._offset = self.status["now"] - time.monotonic_ns()
        elif message.source == topics.channels:
            self._take_channels(data, emit)
        elif is_pack(data):
            for block in decode(data).blocks:
                self._take_block(block, emit)
            if self._asking and message.source != topics.readings:
                self._asking.heard(None)
        elif message.source == topics.events:
            said = read_map(data)
            self._take_events(said, emit)
            if isinstance(identity := said.get("ack"), str):
                self._settled(identity, emit, state="arrived")
            if isinstance(identity := said.get("refused"), str):
                self._settled(identity, emit, state=REFUSED, why=str(said.get("why", ""))[:200])
        elif self._asking:
            said = read_map(data)
            self._take_events(said, emit)
            self._asking.heard(said)

    def _take_channels(self, data: bytes, emit: Emit) -> None:
        found, _ = read_channels(data)
        for number, channel in found.items():
            ours = replace(channel, instrument=with_origin("shared", channel.instrument))
            self._renamed[channel.key] = ours.key
            if self._channels.get(number) != ours:
                with suppress(DriverError):  # of a unit that this program does not know: its readings are not taken
                    emit(ours)
                    self._channels[number] = ours

    def _take_block(self, block: Block, emit: Emit) -> None:
        number = block.name.rpartition("/")[2]
        channel = self._channels.get(int(number)) if number.isdecimal() and len(number) < 9 else None
        if channel is None:
            self._counts["unknown_channels"] += 1
            return
        key, order = channel.key, np.argsort(block.time, kind="stable")
        times, values, qualities = block.time[order], block.value[order], block.quality[order]
        newest = self._newest.get(key, self.now() - LIVE)
        first = int(np.searchsorted(times, max(newest, self.now() - LIVE), side="right"))
        if first:
            self._viewing.past(Past(key, times[:first], values[:first], qualities[:first]))
        for at, value, quality in zip(
            times[first:].tolist(), values[first:].tolist(), qualities[first:].tolist(), strict=True
        ):
            emit(Reading(key, at, value, Quality(quality)))
        self._newest[key] = max(self._newest.get(key, -(2**63)), int(times[-1]))

    def _take_events(self, said: Mapping[str, Any], emit: Emit) -> None:
        events = said.get("events", [])
        for row in events if isinstance(events, list) else ():
            identity, event = read_event(row)
            if identity in self._seen:
                continue
            self._seen[identity] = None
            remote = event.kind in REMOTE.values() and str(event.data.get("id")) in self._mine
            if not remote:
                emit(self._ours(identity, event))
            if event.kind is EventKind.REPLAY and event.data.get("what") == "seek":
                self._newest.clear()  # it was moved: what comes now is its present
        while len(self._seen) > MOST_EVENTS:
            self._seen.popitem(last=False)

    def _ours(self, identity: str, event: Event) -> Event:
        """An event of the other side as it stands here: its channels renamed, and said to be shared."""
        data = {**event.data, "shared": identity}
        for name in ("channel", "from", "to"):
            if (renamed := self._renamed.get(str(data.get(name)))) is not None:
                data[name] = renamed
        if "attachment" in data:  # its bytes are in the recording of the other side, and only there
            data["replayed"] = data.pop("attachment")
        if event.kind is not EventKind.REPLAY:
            data.pop("what", None)
        text = f"technician's side: {event.text}" if event.kind in TOLD_THERE else event.text
        kind = event.kind if _can_be_applied(event, data) else EventKind.NOTE
        return Event(event.time, kind, text, event.subject, data)

    def refused(self, identity: str, why: str) -> None:
        """A note or a request is not taken on the other side, and is sent no more."""
        if self._emit:
            self._settled(identity, self._emit, state=REFUSED, why=why)

    def _settled(self, identity: str, emit: Emit, **how: str) -> None:
        """What was said from here has arrived, or is refused: in the recording, and not sent again."""
        if (event := self._notes.pop(identity, None)) is not None:
            emit(Event(self.now(), event.kind, event.text, event.subject, {**event.data, **how}))

    def _remember(self, event: Event) -> None:
        """An event of the own recording: of the other side, or said from here."""
        if isinstance(identity := event.data.get("shared"), str):
            self._seen[identity] = None
        elif event.kind in REMOTE.values():
            identity = str(event.data.get("id"))
            self._mine.add(identity)
            if event.data.get("state") in ("arrived", REFUSED):
                self._notes.pop(identity, None)
            else:
                self._notes[identity] = event


def _can_be_applied(event: Event, data: Mapping[str, Any]) -> bool:
    """Whether what an event of this kind has to say is in it; else it is kept as a note."""
    if event.kind is EventKind.ZEROED:
        offset = data.get("offset")
        number = isinstance(offset, int | float) and not isinstance(offset, bool) and math.isfinite(offset)
        return number and isinstance(data.get("channel"), str)
    if event.kind in (EventKind.WITHDRAWN, EventKind.ENTRY):
        return isinstance(data.get("channel"), str) and isinstance(data.get("at"), int)
    if event.kind is EventKind.UNIT_CHANGED:
        return isinstance(data.get("from"), str) and isinstance(data.get("to"), str)
    return event.kind is not EventKind.JOB
