"""What viewers ask of a shared call, answered from its recording: a little at a time, live readings go first.

A question is refused in one sentence when it is malformed, too large, expired, or was put before; it is logged, and
nothing of the recording is changed by any.
"""

import hashlib
import logging
from collections import OrderedDict, deque
from collections.abc import Iterator

import numpy as np

from collector.forward_marks import MINUTE
from collector.recording import Recording
from collector.rows import Rows
from drivers.base import LightoffError, Now
from drivers.codecs.cbor import UnreadableError
from drivers.codecs.senml import CONTENT_TYPE, Block, encode
from drivers.outgoing import Parcel
from drivers.share_messages import (
    COUNTS,
    DONE,
    EVENTS,
    LONGEST_LIFE,
    NOTE,
    PRIVATE,
    REFUSED,
    REQUEST,
    SPANS,
    Ask,
    answer_map,
    asked_by,
    counts_map,
    event_map,
    read_ask,
)
from drivers.share_topics import CallTopics

MOST_WAITING = 32
"""Questions that wait for their answer; a further one is refused. [1]"""
REMEMBERED = 10_000
"""Identities of questions; each is refused a second time until it has expired. [1]"""
AT_ONCE = 4000
"""Readings of one answer. [1]"""
WINDOW = 10 * MINUTE
"""How much of a channel is read at a time. [ns]"""
SETTLED = 1_000_000_000
"""Readings of the last moment are still on their way to viewers and are not counted. [ns]"""
EVENTS_AT_ONCE = 100
"""Events of one answer. [1]"""
TOLD = 20
"""Refusals that are logged one by one; of further ones only every hundredth is. [1]"""
LIFE = 60
"""How long a broker keeps an answer for a viewer who is away. [s]"""

log = logging.getLogger(__name__)


def base_of(topics: CallTopics) -> str:
    """What the names of a call's channels in packs begin with: letters and digits, however the call is called."""
    return f"lightoff:{hashlib.sha256(topics.root.encode()).hexdigest()[:8]}/"


class Answers:
    """Questions in their order; `step` gives the next piece of an answer."""

    def __init__(self, topics: CallTopics, now: Now) -> None:
        self._topics, self._now = topics, now
        self._base = base_of(topics)
        self._waiting: deque[Ask] = deque()
        self._seen: OrderedDict[str, int] = OrderedDict()
        self._refusals: deque[Parcel] = deque(maxlen=MOST_WAITING)
        self._under_way: Iterator[Parcel] | None = None
        self._answering: Ask | None = None
        self._recording: Recording | None = None
        self.notes: deque[Ask] = deque(maxlen=MOST_WAITING)
        """Notes and requests that came; whoever takes them answers for them."""
        self.refused = 0
        """Questions refused. [1]"""

    @property
    def busy(self) -> bool:
        """Whether there is something to answer."""
        return bool(self._refusals or self._waiting or self._under_way)

    def take(self, data: bytes) -> None:
        """A question came."""
        try:
            ask = read_ask(data)
        except UnreadableError as error:
            self._refuse(None, str(error))
            if whose := asked_by(data):  # what is wrong with it stays wrong: it is not to be put again
                identity, viewer = whose
                refusal = answer_map(identity, REFUSED, why=str(error), final=True)
                self._refusals.append(self._parcel(viewer, refusal))
            return
        now = self._now()
        if ask.expires < now:
            self._refuse(ask, "the question has expired; put it again")
        elif ask.expires > now + LONGEST_LIFE:
            self._refuse(ask, "the question would be good for longer than two minutes; set both clocks right")
        elif ask.id in self._seen:
            self._refuse(ask, "the question was put before; put a new one")
        elif len(self._waiting) >= MOST_WAITING or (ask.kind in (NOTE, REQUEST) and len(self.notes) >= MOST_WAITING):
            self._refuse(ask, "too many questions wait; put it again in a moment")
        else:
            self._remember(ask, now)
            (self.notes if ask.kind in (NOTE, REQUEST) else self._waiting).append(ask)

    def step(self, recording: Recording) -> Parcel | None:
        """The next piece of an answer, None where there is none to give."""
        if self._refusals:
            return self._refusals.popleft()
        self._recording = recording
        if self._under_way is None:
            if not self._waiting:
                return None
            self._answering = self._waiting.popleft()
            self._under_way = self._answer(self._answering)
        try:
            parcel = next(self._under_way, None)
        except LightoffError as error:
            parcel, self._under_way = None, None
            assert self._answering is not None
            self._refuse(self._answering, str(error))
        if parcel is None:
            self._under_way = None
        return parcel

    def _remember(self, ask: Ask, now: int) -> None:
        self._seen[ask.id] = ask.expires
        while self._seen and (len(self._seen) > REMEMBERED or next(iter(self._seen.values())) < now):
            self._seen.popitem(last=False)

    def _refuse(self, ask: Ask | None, why: str) -> None:
        self.refused += 1
        if self.refused <= TOLD or self.refused % 100 == 0:
            whose = f" of {ask.viewer[:12]}" if ask else ""
            log.warning(
                "shared call %s: a question%s is refused (number %d): %s", self._topics, whose, self.refused, why
            )
        if ask:
            self._refusals.append(self._parcel(ask.viewer, answer_map(ask.id, REFUSED, why=why)))

    def _parcel(self, viewer: str, data: bytes, content_type: str = "application/cbor") -> Parcel:
        return Parcel(self._topics.answer(viewer), data, content_type=content_type, expires=LIFE)

    def _answer(self, ask: Ask) -> Iterator[Parcel]:
        if ask.kind == COUNTS:
            yield self._counts(ask)
        elif ask.kind == EVENTS:
            yield from self._events(ask)
        elif ask.kind == SPANS:
            yield from self._spans(ask)

    @property
    def _read(self) -> Recording:
        assert self._recording is not None
        return self._recording

    def _counts(self, ask: Ask) -> Parcel:
        recording, (first, last) = self._read, ask.minutes
        until = min(self._now() - SETTLED, (last + 1) * MINUTE - 1)
        counts = []
        for key, number in recording.numbers().items():
            time = recording.read(key, first * MINUTE, until).time if until >= first * MINUTE else np.zeros(0, np.int64)
            minutes, many = np.unique(time // MINUTE, return_counts=True)
            counts.append((number, np.stack((minutes, many), axis=1).ravel().tolist()))
        return self._parcel(ask.viewer, counts_map(ask.id, until, counts))

    def _events(self, ask: Ask) -> Iterator[Parcel]:
        told = [event_map(event) for event in self._read.events() if event.kind not in PRIVATE]
        for begin in range(0, len(told), EVENTS_AT_ONCE):
            part = told[begin : begin + EVENTS_AT_ONCE]
            yield self._parcel(ask.viewer, answer_map(ask.id, EVENTS, events=part))
        yield self._parcel(ask.viewer, answer_map(ask.id, DONE))

    def _spans(self, ask: Ask) -> Iterator[Parcel]:
        blocks: list[Block] = []
        keys = {number: key for key, number in self._read.numbers().items()}
        for number, start, end in ask.spans:
            if (key := keys.get(number)) is None:
                continue
            for begin in range(start, end + 1, WINDOW) if end - start < 2000 * WINDOW else ():
                for block in self._blocks(number, self._read.read(key, begin, min(end, begin + WINDOW - 1))):
                    if sum(one.time.size for one in blocks) + block.time.size > AT_ONCE:
                        yield self._parcel(ask.viewer, encode(blocks), CONTENT_TYPE)
                        blocks = []
                    blocks.append(block)
        if blocks:
            yield self._parcel(ask.viewer, encode(blocks), CONTENT_TYPE)
        yield self._parcel(ask.viewer, answer_map(ask.id, DONE))

    def _blocks(self, number: int, rows: Rows) -> Iterator[Block]:
        return blocks_of(f"{self._base}{number}", "", rows)


def blocks_of(name: str, unit: str, rows: Rows, most: int = AT_ONCE) -> Iterator[Block]:
    """Rows of a channel in blocks of so many readings at the most."""
    for begin in range(0, rows.time.size, most):
        part = rows.at(slice(begin, begin + most))
        yield Block(name, unit, part.time, part.value, part.quality)
