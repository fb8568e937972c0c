"""A worker of the archive: takes what technicians say on a broker to a server, and acknowledges what that has.

Any number of workers share the work. One that is slow, since its server is, acknowledges nothing and is sent nothing
more; what waits then waits at the broker.
"""

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from collector.fleet_delivery import Delivery, Taken
from collector.fleet_messages import Calls, Decoder, Place, UnknownChannelError
from collector.fleet_sessions import Session, Sessions, Where
from collector.fleet_status import WorkerStatus
from collector.forward import BATCH, FIRST_WAIT, LONGEST_ASKED, LONGEST_WAIT, REST
from collector.sinks.sink import Sink, SinkError
from collector.supervisor import Backoff
from drivers.base import InputError
from drivers.inbox import Message
from drivers.share_topics import CHANNELS, READINGS, topics_of

GATHER = 0.2
"""Messages of so long go to the server together, unless there are enough before. [s]"""
PATIENCE = 10.0
"""How long readings wait for the description of their channels. [s]"""

MOST_WAITING = 10_000
"""Messages that wait for it; further ones are set aside at once. [1]"""


@dataclass(slots=True)
class _Waiting:
    """A message that cannot be read yet."""

    until: float
    """[s, monotonic]"""
    taken: Taken


class Worker:
    """Turned by `step` on one thread; connections to the broker have threads of their own."""

    def __init__(
        self,
        where: Where,
        sink: Sink,
        decoder: Decoder,
        *,
        settle: float = 60.0,
        patience: float = PATIENCE,
        monotonic: Callable[[], float] = time.monotonic,
        take_over_after: float = 2.0,
    ) -> None:
        self.status = WorkerStatus()
        self._monotonic, self._patience = monotonic, patience
        self._woken = threading.Event()
        self.sessions = Sessions(where, self._woken.set, take_over_after=take_over_after)
        self._delivery = Delivery(sink, {"worker": self.sessions.name}, self.status, settle=settle)
        self._calls = Calls(decoder)
        self._waiting: deque[_Waiting] = deque()
        self._again: deque[tuple[Place, bytes]] = deque()
        self._batch: list[Taken] = []
        self._backoff = Backoff(FIRST_WAIT, LONGEST_WAIT)
        self._next_try = -float("inf")
        self._failing_since: float | None = None

    @property
    def idle(self) -> bool:
        """Whether all that waited at the broker, and what came since, is at the server."""
        return self.sessions.idle and not (self._batch or self._again or self._waiting or self._woken.is_set())

    @property
    def standing(self) -> float:
        """How long the server has taken nothing. [s]"""
        return 0.0 if self._failing_since is None else self._monotonic() - self._failing_since

    @property
    def unsure(self) -> int:
        """Messages that the server has answered for and may still lose. [1]"""
        return self._delivery.unsure

    def step(self) -> None:
        """Gather messages, or hand them to the server; returns within a fraction of a second, or when that answers."""
        self.sessions.tend()
        if not self._batch:
            self._gather()
        if self._monotonic() >= self._next_try:
            self._try()
        else:
            time.sleep(max(0.0, min(REST, self._next_try - self._monotonic())))
        status, sessions = self.status, self.sessions
        self.status.text = self.status.text or ("" if sessions.own.connected else sessions.trouble)
        status.calls, status.connections = len(self._calls), sessions.connections
        status.taken_over, status.forgotten = sessions.emptied, sessions.forgotten

    def close(self) -> None:
        """Hang up at the broker; what is not acknowledged waits there."""
        self.sessions.close()

    def _try(self) -> None:
        """What there is to the server."""
        try:
            if self._batch:
                self._delivery.deliver(self._batch)
                self._batch = []
            elif self._delivery.beat_is_due():
                self._delivery.beat(behind=0.0)
        except SinkError as error:
            self._failing_since = self._monotonic() if self._failing_since is None else self._failing_since
            wait = max(self._backoff.failed(), min(error.wait or 0.0, LONGEST_ASKED))
            self._next_try = self._monotonic() + wait
            self.status.text = str(error)
        else:
            self._backoff.succeeded()
            self._failing_since, self.status.text = None, ""
        self._again.extend(self._delivery.doubtful())

    def _gather(self) -> None:
        """Take messages for one batch."""
        count = self._take_again()
        deadline = self._monotonic() + GATHER
        while count < BATCH and (left := deadline - self._monotonic()) > 0:
            self._woken.clear()
            if (one := self.sessions.take()) is None:
                self._woken.wait(left)
                continue
            count += self._take(*one)
        self._look_again()

    def _take_again(self) -> int:
        """What the server may have lost."""
        count = 0
        while self._again and count < BATCH:
            place, payload = self._again.popleft()
            try:
                taken = Taken(place, payload, self._calls.read(place, payload))
            except InputError as error:  # its call was forgotten meanwhile
                self.status.set_aside(str(error))
                continue
            self._batch.append(taken)
            count += sum(len(rows.time) for _, rows in taken.parts)
        return count

    def _take(self, session: Session, message: Message) -> int:
        """Readings in a message that goes with this batch. [1]"""
        found = topics_of(message.source)
        if found is None:  # a name that can be no call's
            self.status.set_aside("a message came on a topic that is no call's")
            self._acknowledging(session, message)()
            return 0
        topics, what = found
        place = Place(topics.company, topics.technician, topics.call)
        taken = Taken(place, message.data, [], self._acknowledging(session, message))
        if what == CHANNELS:
            try:
                self._calls.learn(place, message.data)
            except InputError as error:
                self.status.set_aside(str(error))
            taken.done()
            return 0
        self.status.repeated += message.again
        try:
            return self._read(taken)
        except UnknownChannelError as error:
            if len(self._waiting) >= MOST_WAITING:
                self.status.set_aside(str(error))
                taken.done()
                return 0
            self._waiting.append(_Waiting(self._monotonic() + self._patience, taken))
        return 0

    def _read(self, taken: Taken) -> int:
        try:
            taken.parts = self._calls.read(taken.place, taken.payload)
        except UnknownChannelError:
            raise
        except InputError as error:
            self.status.set_aside(str(error))  # it would be no better a second time
        self._batch.append(taken)
        return sum(len(rows.time) for _, rows in taken.parts)

    def _look_again(self) -> None:
        """Messages whose channels may be known by now; what waited too long is set aside."""
        for _ in range(len(self._waiting)):
            one = self._waiting.popleft()
            try:
                self._read(one.taken)
            except UnknownChannelError as error:
                if self._monotonic() < one.until:
                    self._waiting.append(one)
                else:
                    self.status.set_aside(str(error))
                    one.taken.done()

    def _acknowledging(self, session: Session, message: Message) -> Callable[[], None]:
        held = session.held

        def done() -> None:
            self.status.messages += message.source.endswith(f"/{READINGS}")
            if held is session.held:  # else that connection is over, and the message comes again
                session.open -= 1
                held.acknowledge(message.number)

        return done
