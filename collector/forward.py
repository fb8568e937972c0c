"""A cursor over the store: what a server has not answered for is read from the recording, sent, and kept count of.

The recording is the outbox. A reading is *answered* when the server has said so, and *kept* when, for a while after
that, the same server went on answering over the same connection: a server that is killed soon after an answer may have
lost what it answered for. Whatever is answered and not kept is sent again when the connection changes, and when this
program was killed, since only what is kept is written down. The same line sent again is the same point.
"""

import logging
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from collector.database import RecordingError
from collector.forward_about import about_of
from collector.forward_answers import Answers
from collector.forward_audit import Audit, Piece
from collector.forward_kept import Kept
from collector.forward_marks import MINUTE, Mark, Marks, whole_minute
from collector.forward_refused import refused_of
from collector.forward_status import ForwardStatus
from collector.forward_way import Way
from collector.recording import Recording
from collector.sinks.lines import MILLISECOND, NO_NUMBER, Lines, Writer, sender
from collector.sinks.sink import AwayError, ClosedError, RefusedError, Sink, SinkError
from collector.supervisor import Backoff
from drivers.base import Now

SETTLE = 60.0
"""How long after its answer a server has to go on answering until what it answered for counts as kept. [s]"""
BATCH = 10_000
"""Lines of one message to the server. [1]"""
FIRST_WAIT, LONGEST_WAIT = 0.5, 60.0
"""Waits between tries while the server takes nothing. [s]"""
LONGEST_ASKED = 300.0
"""What a server asks to be left alone for is followed up to this. [s]"""
BEAT, CALM_BEAT = 10.0, 60.0
"""Between two lines about ourselves: while nothing else is sent and something is not kept yet, and always. [s]"""
TRIES, TRIES_KNOWN = 64, 4
"""Messages spent on finding what a server refuses in a minute of a channel; of one that it refused before. [1]"""
KEEPING = 1.0
"""Between two writings of what is kept. [s]"""
REST = 0.25
"""Until the next look when there is nothing to do. [s]"""
MOST_DAMAGED = 100
"""Damaged parts of the recording that are told; of further ones nothing is said here, `verify` has them all. [1]"""

log = logging.getLogger(__name__)


class Forwarder:
    """Sends a recording to a server, the newest first; `step` by `step`, on the thread of whoever calls it."""

    def __init__(
        self,
        recording: Path,
        sink: Sink,
        kept: Kept,
        *,
        settle: float = SETTLE,
        now: Now = time.time_ns,
        monotonic: Callable[[], float] = time.monotonic,
        backoff: Backoff | None = None,
    ) -> None:
        self.marks = Marks()
        """What was recorded just now; whoever records adds to it."""
        self.status = ForwardStatus(since=now())
        self._path, self._kept = recording, kept
        self._way = Way(sink, monotonic, self._doubt)
        self._settle_after, self._now, self._monotonic = settle, now, monotonic
        self._backoff = backoff or Backoff(FIRST_WAIT, LONGEST_WAIT)
        self._about: dict[str, str] | None = None
        self._audit = Audit(self._count)
        self._ready: deque[Piece] = deque()
        self._answered = Answers()
        self._writers: dict[str, Writer] = {}
        self._refusing: set[str] = set()
        self._next_try = -float("inf")
        self._kept_at = -float("inf")
        self._beaten = -float("inf")
        self._forgotten = 0
        self._anew = False
        self._newest = 0
        self._damaged: dict[str, None] = {}

    @property
    def done(self) -> bool:
        """Whether the server has for sure all that was in the recording when it was last compared, and added since."""
        return self.sent and not self._answered

    @property
    def sent(self) -> bool:
        """Whether the server has answered for all of that."""
        return self._about is not None and self._audit.done and not self._ready and not self.marks

    @property
    def kept_file(self) -> Path:
        """Where what the server has, and what it refuses, is written down."""
        return self._kept.path

    @property
    def damaged(self) -> tuple[str, ...]:
        """What of the recording could not be read, in words; the rest is sent."""
        return tuple(self._damaged)

    @property
    def share(self) -> float:
        """How much of the recording was compared. [1]"""
        return self._audit.share

    def step(self) -> float:
        """Do one thing: a look, or a message to the server. How long there is nothing to do then. [s]"""
        now = self._monotonic()
        self._keep()
        if now < self._next_try:
            return self._next_try - now
        try:
            busy = self._work()
        except (SinkError, RecordingError) as error:
            return self._failed(error)
        self._tell()
        return 0.0 if busy else REST

    def compare_anew(self) -> None:
        """Go through the recording once more: what was recorded meanwhile is not known from `marks` alone."""
        self._anew = True

    def _work(self) -> bool:
        if self._about is None and not self._begin():
            return False
        if self._way.contact is None:
            self._beat()
        if self.marks.forgotten > self._forgotten or self._anew:
            self._forgotten, self._anew, self._audit = self.marks.forgotten, False, Audit(self._count)
        pieces = self._next()
        if pieces:
            self._deliver(pieces)
        if self._beat_is_due():
            self._beat()
        return bool(pieces)

    def _beat_is_due(self) -> bool:
        assert self._way.contact is not None
        now = self._monotonic()
        if self._answered and now - self._way.contact >= min(BEAT, self._settle_after / 4):
            return True  # else nobody would know whether it is the same server still
        return now - self._beaten >= CALM_BEAT

    def _begin(self) -> bool:
        with self._opened() as recording:
            self._about = about_of(recording, self._kept.calls())
            span = recording.span()
        if self._about is None:
            return False
        self._newest = span[1] // MINUTE if span else 0
        self._kept.begin(self._about)
        return True

    def _next(self) -> list[Piece]:
        """What is sent next: what was recorded just now, else what the round through the recording finds."""
        with self._opened() as recording:
            if marks := self.marks.take(most=1):
                try:
                    self._learn(recording, {mark.channel for mark in marks})
                    return [self._read(recording, mark) for mark in marks if mark.channel in self._writers]
                except BaseException:
                    self.marks.add(marks)
                    raise
            while not self._ready and not self._audit.done:
                self._ready.extend(self._audit.step(recording))
                if self.marks:
                    break
            self._learn(recording, {piece.mark.channel for piece in self._ready})
        pieces: list[Piece] = []
        while self._ready and sum(len(piece.rows.time) for piece in pieces) < BATCH:
            pieces.append(self._ready.popleft())
        return pieces

    @contextmanager
    def _opened(self) -> Iterator[Recording]:
        """The recording; a part of it that is damaged is told once and keeps nothing else from being sent."""
        with Recording(self._path, past_damage=True) as recording:
            try:
                yield recording
            finally:
                for text in [recording.told(one) for one in recording.damage]:
                    if text not in self._damaged and len(self._damaged) < MOST_DAMAGED:
                        self._damaged[text] = None
                        log.warning("left out: %s", text)

    def _read(self, recording: Recording, mark: Mark) -> Piece:
        place = mark.channel, mark.minute
        self._newest = max(self._newest, mark.minute)
        if self._count(*place) is not None and not self._answered.may_grow(*place):
            mark = whole_minute(*place)
        # whole milliseconds, since what shares one is told apart
        start, end = mark.start // MILLISECOND * MILLISECOND, (mark.end // MILLISECOND + 1) * MILLISECOND - 1
        return Piece(mark, recording.read(mark.channel, start, end))

    def _learn(self, recording: Recording, keys: set[str]) -> None:
        assert self._about is not None
        if keys - self._writers.keys():
            for channel in recording.channels:
                self._writers.setdefault(channel.key, Writer(channel, self._about))

    def _deliver(self, pieces: Sequence[Piece]) -> None:
        """Send, and remember what was answered; where that fails, all of it is to be sent as before."""
        lines = [self._writers[piece.mark.channel].lines(piece.rows) for piece in pieces]
        self._way.begin()
        try:
            refused = self._send_all(pieces, lines)
            if not self._way.one:
                raise AwayError("the connection changed while a minute was sent", "it is sent again", met=True)
        except BaseException:
            self.marks.add(piece.mark for piece in pieces)
            raise
        for piece, own, places in zip(pieces, lines, refused, strict=True):
            self._took(piece, own, places)

    def _send_all(self, pieces: Sequence[Piece], lines: Sequence[Lines]) -> list[dict[int, str]]:
        """Places of the lines that are refused, and why, of each piece."""
        text = [line for own in lines for line in own.text]
        try:
            for begin in range(0, len(text), BATCH):
                self._send(text[begin : begin + BATCH])
        except RefusedError:
            self._beat()  # refused too, nothing of ours is wanted here, and no line is to blame
        else:
            return [{} for _ in pieces]
        return [self._refused(piece.mark.channel, own) for piece, own in zip(pieces, lines, strict=True)]

    def _refused(self, channel: str, lines: Lines) -> dict[int, str]:
        found = refused_of(lines.text, self._send, most=TRIES_KNOWN if channel in self._refusing else TRIES)
        (self._refusing.add if len(found) == len(lines.text) else self._refusing.discard)(channel)
        return found

    def _send(self, lines: Sequence[str]) -> None:
        if not lines:
            return
        self._way.send(lines)
        self._backoff.succeeded()
        self.status.goes_on(self._now())

    def _beat(self) -> None:
        """Say something of ourselves: it shows whether anything is taken, and keeps the connection."""
        assert self._about is not None
        line = sender(self._about, self._now(), behind=self.status.behind, aside=self._kept.aside)
        try:
            self._send([line])
        except RefusedError as error:
            raise ClosedError(error.what, "nothing is taken: check address, bucket and org", met=True) from error
        self._beaten = self._monotonic()

    def _took(self, piece: Piece, lines: Lines, refused: dict[int, str]) -> None:
        mark, times = piece.mark, lines.time
        if refused:
            times = np.delete(times, list(refused))
            for why in dict.fromkeys(refused.values()):
                own = [(int(lines.time[at]), lines.text[at]) for at, said in refused.items() if said == why]
                self._kept.set_aside(mark.channel, own, why)
        elif mark.whole:
            self._kept.taken(mark.channel, mark.start, mark.end)
        if len(lines.refused):
            self._kept.set_aside(mark.channel, ((time, "") for time in lines.refused.tolist()), NO_NUMBER)
        assert self._way.contact is not None
        recent = mark.minute > self._newest - 2
        self._answered.add(mark, times, self._way.contact, recent=recent)
        self.status.sent += len(lines.text) - len(refused)
        self.status.shared += lines.shared

    def _count(self, channel: str, minute: int) -> int | None:
        answered = self._answered.count(channel, minute)
        return self._kept.count(channel, minute) if answered is None else answered

    def _keep(self) -> None:
        """What was answered long enough before the last answer over the same connection is kept."""
        if self._way.contact is None:
            return
        limit, now = self._way.contact - self._settle_after, self._monotonic()
        if (now - self._kept_at >= KEEPING or self._answered.all_ripe(limit)) and (ripe := self._answered.ripe(limit)):
            self._kept.keep(ripe)
            self._kept_at = now

    def _doubt(self) -> None:
        """It may be another server than before: what it has not kept for sure is sent again."""
        if self._answered:
            log.info("what was answered last is sent again: %d minutes of channels", len(self._answered))
        self.status.again += self._answered.readings
        self.marks.add(self._answered.give_back())

    def _failed(self, error: SinkError | RecordingError) -> float:
        wait = self._backoff.failed()
        if isinstance(error, SinkError):
            wait = max(wait, min(error.wait or 0.0, LONGEST_ASKED))
            if not error.met:
                self._doubt()
        self._next_try = self._monotonic() + wait
        self.status.stands_still(str(error), self._now(), wait)
        self._tell()
        return wait

    def _tell(self) -> None:
        """Work out how far behind we are."""
        status, waiting = self.status, [self._ready[0].mark.start] if self._ready else []
        if (oldest := self.marks.oldest()) is not None:
            waiting.append(oldest)
        status.behind = max(0.0, (self._now() - min(waiting)) / 1e9) if waiting else 0.0
        status.waiting = len(self.marks) + len(self._ready)
        status.unsure = len(self._answered)
        status.aside, status.damaged = self._kept.aside, len(self._damaged)
        status.share = self._audit.share
        status.unwritten = self._kept.failure
        status.count_up(sent=self.sent, now=self._now())
