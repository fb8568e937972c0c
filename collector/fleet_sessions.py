"""Sessions of archive workers at a broker: one's own, and those of workers that are gone, which are emptied.

A broker deals messages out among the sessions that share a subscription, those of workers that are away too. So a
worker that was killed leaves a session in which messages wait and more arrive. Each session has a topic of its own on
which the broker says, retained, whether somebody has it (`here`) or not (`gone`, the will). Any worker that sees one
gone takes it over: it ends the subscriptions, takes what waits up to a marker that it sends behind it, and ends the
session when the server has all of it. A worker needs no name that was given to it, and none is special.
"""

import hashlib
import logging
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field

from collector.supervisor import Backoff
from drivers.base import DriverError, Now
from drivers.broker import Wanted, listen
from drivers.broker_address import BrokerAddress
from drivers.held import EXPIRY, GONE, MOST, PRESENT, Held, Kept
from drivers.inbox import Message
from drivers.share_topics import CHANNELS, READINGS, ROOT, VERSION

NAME = "archive"
"""Whom errors of the broker are about."""
OWN_ROOT = "lightoff-archive/1"
"""Topics of the workers among themselves; the archive's user may read and write below it."""
GROUP = "lightoff-archive"
"""Of the shared subscription."""
LONGEST = 1_000_000
"""Of a message. [bytes]"""
TAKE_OVER_AFTER = 2.0
"""How long a session is gone before it is taken over: its worker may only have lost its connection. [s]"""
SILENT = 4 * PRESENT
"""A worker of which the broker said nothing for so long is gone: broker and worker may have died together. [s]"""
MOST_TAKEN_OVER = 4
"""Sessions that are emptied at a time. [1]"""
END = 3.0
"""Time that the threads have to hang up. [s]"""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """A broker, and what is archived from it."""

    broker: BrokerAddress
    company: str = "+"
    """One of them, or `+` for all."""
    secret: str | None = field(default=None, repr=False)
    group: str = field(default=GROUP, repr=False)
    """Of the shared subscription: who knows it and may subscribe takes messages away from the archive."""
    most: int = MOST
    """Messages unacknowledged in a session. [1]"""
    expiry: int = EXPIRY
    """[s]"""

    @property
    def channels(self) -> str:
        """Topics on which calls describe their channels; every worker hears all of them."""
        return "/".join((ROOT, VERSION, self.company, "+", "+", CHANNELS))

    @property
    def readings(self) -> str:
        """Of which each message goes to one worker."""
        return "/".join(("$share", self.group, ROOT, VERSION, self.company, "+", "+", READINGS))

    def presence(self, worker: str) -> str:
        """Where it stands whether somebody has a worker's session."""
        scope = "all" if self.company == "+" else self.company
        group = hashlib.sha256(self.group.encode()).hexdigest()[:12]  # workers of another group are none of ours
        return f"{OWN_ROOT}/{scope}/{group}/{worker}/presence"


@dataclass(eq=False, slots=True)
class Session:
    """One session at the broker, over one connection after the other."""

    wanted: Wanted
    held: Held
    backoff: Backoff = field(default_factory=lambda: Backoff(0.25, 10.0))
    started: bool = False
    next_try: float = 0.0
    """[s, monotonic]"""
    open: int = 0
    """Messages of this connection that were taken and are not acknowledged. [1]"""
    counted: bool = False
    """What the broker said of its memory was looked at."""
    emptied: bool = False
    """All that waited when the connection began was taken."""

    @property
    def name(self) -> str:
        """Of its worker."""
        assert self.wanted.kept is not None
        return self.wanted.kept.name

    @property
    def connected(self) -> bool:
        """Whether it is ready and not at its end."""
        return self.started and self.held.opened and not self.held.ended.is_set()


class Sessions:
    """A worker's own session and those it takes over; nothing here waits."""

    def __init__(
        self,
        where: Where,
        woken: Callable[[], None],
        *,
        now: Now = time.time_ns,
        monotonic: Callable[[], float] = time.monotonic,
        take_over_after: float = TAKE_OVER_AFTER,
    ) -> None:
        self._where, self._woken, self._now, self._monotonic = where, woken, now, monotonic
        self._take_over_after = take_over_after
        self.name = f"lightoff{uuid.uuid4().hex[:14]}"
        self.own = self._session(self.name, own=True)
        self._taken_over: dict[str, Session] = {}
        self._gone: dict[str, float] = {}
        """Workers whose sessions nobody has, and when they may be taken over. [s, monotonic]"""
        self._last: dict[str, tuple[bytes, float]] = {}
        """Last word about each other worker, and when it came. [s, monotonic]"""
        self._known = False
        self.connections = 0
        """[1]"""
        self.emptied = 0
        """Sessions that were taken over and ended. [1]"""
        self.forgotten = 0
        """Sessions that the broker no longer had: what waited in them is only in the recordings. [1]"""
        self.trouble = ""
        """Why there is no connection."""

    @property
    def idle(self) -> bool:
        """Whether nothing waits in any session that is known."""
        return self.own.emptied and not self.own.open and not self._gone and not self._taken_over

    def tend(self) -> None:
        """Connect what is not connected, take over what is gone, end what is empty; DriverError that stays one."""
        now = self._monotonic()
        for session in (self.own, *self._taken_over.values()):
            if session.started and session.held.ended.is_set():
                self._ended(session, now)
            self._count_forgotten(session)
            if not session.started and now >= session.next_try:
                self._start(session)
        for session in list(self._taken_over.values()):
            if session.emptied and not session.open:
                session.held.finish.set()
        for worker, (_, heard) in self._last.items():
            if now - heard > SILENT and worker not in self._taken_over:
                self._gone.setdefault(worker, now)
        for worker in [one for one, when in self._gone.items() if when <= now and one not in self._taken_over]:
            if len(self._taken_over) >= MOST_TAKEN_OVER:
                break
            del self._gone[worker]
            log.info("the session of %s is taken over", worker)
            self._taken_over[worker] = self._session(worker, own=False)

    def take(self) -> tuple[Session, Message] | None:
        """The next message of any session, with whom to acknowledge it to; presences are dealt with here."""
        for session in (*self._taken_over.values(), self.own):
            while message := session.held.take():
                kept = session.wanted.kept
                assert kept is not None
                if message.source == kept.marker:
                    session.emptied = True
                elif message.source.startswith(OWN_ROOT):
                    self._presence(message)
                else:
                    session.open += 1
                    return session, message
                session.held.acknowledge(message.number)
        return None

    def close(self) -> None:
        """Hang up; what is not acknowledged waits for another worker, or for this one's next life."""
        sessions = [session for session in (self.own, *self._taken_over.values()) if session.started]
        for session in sessions:
            session.held.stop.set()
        deadline = self._monotonic() + END
        for session in sessions:
            if not session.held.ended.wait(max(0.0, deadline - self._monotonic())):
                log.warning("the broker at %s does not let go", self._where.broker)

    def _session(self, worker: str, *, own: bool) -> Session:
        where = self._where
        presences = where.presence("+")
        topics = (where.channels, presences, where.readings)
        marker = f"{where.presence(worker).removesuffix('presence')}marker"
        wanted = Wanted(
            instrument=NAME,
            broker=where.broker,
            topics=(*topics, marker) if own else (marker,),
            now=self._now,
            secret=where.secret,
            longest=LONGEST,
            kept=Kept(
                name=worker,
                presence=where.presence(worker),
                most=where.most,
                expiry=where.expiry,
                leave=() if own else topics,
                marker=marker,
            ),
        )
        return Session(wanted, Held(where.most, woken=self._woken))

    def _start(self, session: Session) -> None:
        session.held = Held(self._where.most, woken=self._woken)
        session.open, session.emptied, session.started, session.counted = 0, False, True, False
        self.connections += 1
        listen(session.wanted, session.held)

    def _ended(self, session: Session, now: float) -> None:
        """A connection is over: what it had not acknowledged comes again, here or elsewhere."""
        failure = session.held.failure
        session.started = False
        if session is not self.own:
            self._taken_over.pop(session.name, None)
            if session.held.finish.is_set() and failure is None:
                self.emptied += 1
            elif self._last.get(session.name, (GONE, 0.0))[0] == GONE:  # else its worker has it again
                self._gone[session.name] = now + self._take_over_after
            return
        if failure is not None and not isinstance(failure, DriverError):
            raise failure
        if isinstance(failure, DriverError) and not failure.retry:
            raise failure
        if session.held.opened:
            self._known = True
            session.backoff.succeeded()
        session.next_try = now + session.backoff.failed()
        self.trouble = str(failure or "the connection to the broker ended")
        log.warning("%s", self.trouble)

    def _count_forgotten(self, session: Session) -> None:
        """Once a connection: a broker without its own memory was started anew, or the session had waited too long."""
        if session.counted or session.held.resumed is None:
            return
        session.counted = True
        if not session.held.resumed and (session is not self.own or self._known):
            self.forgotten += 1
            what = "the broker no longer had the session of %s; what waited in it is in the technicians' recordings"
            log.warning(what, session.name)

    def _presence(self, message: Message) -> None:
        worker, now = message.source.split("/")[-2], self._monotonic()
        if worker == self.name:
            return
        if not message.data:
            self._last.pop(worker, None)
            self._gone.pop(worker, None)
            return
        self._last[worker] = message.data, now
        if message.data == GONE:
            self._gone.setdefault(worker, now + self._take_over_after)
        else:
            self._gone.pop(worker, None)
