"""`python -m collector.share_worker` shares a recording that is made over a broker; it ends when its input does.

A process of its own, so that neither a slow broker nor a viewer who asks for hours delays a reading. It gets one line
of settings on standard input, then a line for each batch with what was recorded and how the call stands; it says its
status on standard output, and what viewers want noted.

The recording is the outbox. What is recorded now goes at once; what the broker has not confirmed, or could not be
told, waits as spans of channels (`collector/forward_marks.py`) and goes in between, newest first and no faster than
`RATE`. Sent twice it is the same readings. What was missed all the same, viewers ask for.
"""

import asyncio
import contextlib
import json
import logging
import sys
import threading
import time
from collections import deque
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TextIO

from analysis.model import Channel
from collector.database import RecordingError
from collector.forward_marks import GRACE, TELLING, Mark, Marks, within_minutes
from collector.recording import Recording
from collector.share_answers import AT_ONCE, Answers, base_of, blocks_of
from collector.supervisor import Backoff
from drivers.base import DriverError
from drivers.broker import Wanted, hang_up, listen
from drivers.broker_address import BrokerAddress
from drivers.codecs.senml import CONTENT_TYPE, Block, encode
from drivers.inbox import Inbox
from drivers.outgoing import Outgoing, Parcel, Settled
from drivers.share_messages import CONNECTS, LARGEST_ASK, channels_map, status_map
from drivers.share_topics import CallTopics

RATE = 250_000
"""Of answers and of what was missed, beside the live readings. [bytes/s]"""
BURST = 100_000
"""How much of that may go at once. [bytes]"""
STATUS = 2.0
"""Longest time between two words about how the call stands. [s]"""
CROWDED = 4
"""Parcels on their way beyond which only live readings are added. [1]"""
REST = 0.02
"""Until the next look while a parcel waits for its turn. [s]"""
MOST_EVENTS = 1000
"""Messages of events that wait while the broker is away; the oldest are dropped, and asked for by viewers. [1]"""
FIRST_WAIT, LONGEST_WAIT = 0.25, 5.0
"""Waits between tries while the broker is away. [s]"""

log = logging.getLogger(__name__)


class Worker:
    """Turns the cursor over the recording until the input ends."""

    def __init__(self, settings: Mapping[str, Any], told: TextIO) -> None:
        self._recording = Path(settings["recording"])
        self._topics = CallTopics(settings["company"], settings["technician"], settings["call"])
        self._broker = BrokerAddress(settings["host"], settings["port"], settings["tls"], settings["user"])
        self._secret, self._certificate = settings["secret"], settings["certificate"]
        self._told = told
        self._live, self._missed = Marks(), Marks()
        self._status: dict[str, Any] = dict(settings["status"])
        self._offset = 0
        self._job = ""
        self._channels: dict[int, Channel] = {}
        self._known: dict[str, int] = {}
        self._waiting: deque[bytes] = deque(maxlen=MOST_EVENTS)
        """Messages of events that are still to be said; of those that are dropped viewers learn by their number."""
        self._answers = Answers(self._topics, self.now)
        self._backoff = Backoff(FIRST_WAIT, LONGEST_WAIT)
        self._outgoing, self._inbox = Outgoing(), Inbox()
        self._ended: float | None = None
        self._ending = asyncio.Event()
        self._budget, self._at = float(BURST), time.monotonic()
        self._status_at = self._told_at = -float("inf")
        self._sent = 0
        self._accepted = False
        self._trouble, self._away_since = CONNECTS, time.time_ns()

    def now(self) -> int:
        """By the clock of the call. [ns]"""
        return time.monotonic_ns() + self._offset

    def hear(self, line: str) -> None:
        """A line of the recorder, empty at its end."""
        if not line:
            self._ended = time.monotonic()
            self._ending.set()
            self._inbox.signal()
            return
        said = json.loads(line)
        marks = self._live if self._inbox.opened and self._inbox.failure is None else self._missed
        marks.add(mark for span in said.get("touched", ()) for mark in within_minutes(*span))
        if status := said.get("status"):
            changed = {**status, "now": 0} != {**self._status, "now": 0}
            self._status = status
            self._offset = int(status["now"]) - time.monotonic_ns()
            self._status_at = -float("inf") if changed else self._status_at
        if said.get("job") is not None:
            self._job, self._known = said["job"], {}
        self._waiting.extend(bytes.fromhex(one) for one in said.get("events", ()))
        self._inbox.signal()

    async def run(self) -> None:
        """Share until the input has ended and everything is said, or the time for that is over."""
        while not self._over():
            self._inbox, self._outgoing, self._accepted = Inbox(), Outgoing(), False
            will = Parcel(self._topics.status, status_map({**self._status, "online": False}), retain=True)
            wanted = Wanted(
                instrument="share", broker=self._broker, topics=(self._topics.ask,), now=time.time_ns,
                secret=self._secret, longest=LARGEST_ASK, outgoing=self._outgoing, will=will,
                certificate=self._certificate,
            )  # fmt: skip
            thread = listen(wanted, self._inbox)
            try:
                await self._session()
            except DriverError as error:
                self._failed(error)
            except RecordingError as error:
                self._failed(error)
            finally:
                await hang_up(thread, self._inbox)
            self._missed.add(self._live.take())
            if not self._over():
                self._tell(now=True)
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(self._backoff.failed()):
                        await self._ending.wait()
        self._tell(now=True)

    async def _session(self) -> None:
        said_hello = False
        while not self._over():
            failure, taken = self._inbox.failure, self._inbox.take()
            if taken:
                self._answers.take(taken[1].data)
                continue
            if failure:
                raise failure
            if self._inbox.opened and not said_hello:
                said_hello, self._known, self._status_at = True, {}, -float("inf")
            if self._accepted and self._trouble:  # a broker lets in whom it then does not let write
                self._trouble = ""
                self._backoff.succeeded()
            busy = said_hello and self._turn()
            self._tell()
            if not busy:
                await self._inbox.arrival(within=REST if self._answers.busy or self._missed else 0.25)
            else:
                await asyncio.sleep(0)
        if self._inbox.opened:
            self._status["online"] = False
            self._outgoing.put(Parcel(self._topics.status, self._status_now(), retain=True))

    def _over(self) -> bool:
        if self._ended is None:
            return False
        left = self._live or self._missed or self._waiting or self._outgoing.unconfirmed or self._answers.busy
        return not left or time.monotonic() - self._ended > GRACE

    def _turn(self) -> bool:
        """Say one thing; whether there was room and something to say."""
        if self._outgoing.unconfirmed >= 4 * CROWDED:
            return False
        for ask in list(self._answers.notes):
            self._answers.notes.remove(ask)
            self._write({"remote": {"kind": ask.kind, "id": ask.note, "at": ask.at, "text": ask.text,
                                    "author": ask.author, "viewer": ask.viewer, "point": ask.point}})  # fmt: skip
        if self._waiting:
            self._outgoing.put(Parcel(self._topics.events, self._waiting.popleft()))
            return True
        with Recording(self._recording) as recording:
            if marks := self._live.take(most=1):
                self._send(recording, marks)
            elif time.monotonic() - self._status_at >= STATUS:
                self._say_status(recording)
            elif self._outgoing.unconfirmed >= CROWDED or not self._may():
                return False
            elif parcel := self._answers.step(recording):
                self._put(parcel)
            elif marks := self._missed.take(most=1):
                self._send(recording, marks)
            else:
                return False
        return True

    def _send(self, recording: Recording, marks: Sequence[Mark]) -> None:
        if any(mark.channel not in self._known for mark in marks):
            self._say_channels(recording)
        blocks = [
            block
            for mark in marks
            if (number := self._known.get(mark.channel)) is not None
            for block in blocks_of(
                f"{base_of(self._topics)}{number}",
                self._channels[number].unit,
                recording.read(mark.channel, mark.start, mark.end),
            )
        ]
        parts: list[list[Block]] = [[]]
        for block in blocks:
            if sum(one.time.size for one in parts[-1]) + block.time.size > AT_ONCE:
                parts.append([])
            parts[-1].append(block)
        for part in filter(None, parts):
            data = encode(part)
            self._put(Parcel(self._topics.readings, data, content_type=CONTENT_TYPE, settled=self._settled(part)))
            self._sent += sum(block.time.size for block in part)

    def _settled(self, blocks: Sequence[Block]) -> Settled:
        keys = {f"{base_of(self._topics)}{number}": channel.key for number, channel in self._channels.items()}
        spans = [(keys[block.name], int(block.time[0]), int(block.time[-1])) for block in blocks]

        def settled(*, taken: bool) -> None:
            if not taken:
                self._missed.add(mark for span in spans for mark in within_minutes(*span))

        return settled

    def _put(self, parcel: Parcel) -> None:
        self._budget -= len(parcel.data)
        if not self._outgoing.put(parcel) and parcel.settled:
            parcel.settled(taken=False)

    def _may(self) -> bool:
        now = time.monotonic()
        self._budget = min(BURST, self._budget + (now - self._at) * RATE)
        self._at = now
        return self._budget > 0

    def _say_channels(self, recording: Recording) -> None:
        self._known = dict(recording.numbers())
        by_key = {channel.key: channel for channel in recording.channels}
        self._channels = {number: by_key[key] for key, number in self._known.items()}
        told = channels_map(self._channels, self._job)
        self._outgoing.put(Parcel(self._topics.channels, told, retain=True, content_type="application/cbor"))

    def _say_status(self, recording: Recording) -> None:
        if not self._known:
            self._say_channels(recording)
        self._status["span"] = recording.span()
        self._status_at = time.monotonic()
        told = self._status_now()
        self._put(Parcel(self._topics.status, told, retain=True, content_type="application/cbor", settled=self._taken))

    def _taken(self, *, taken: bool) -> None:
        self._accepted = self._accepted or taken

    def _status_now(self) -> bytes:
        return status_map({**self._status, "now": self.now(), "waiting": len(self._missed)})

    def _failed(self, error: DriverError | RecordingError) -> None:
        if not self._trouble:
            self._away_since = time.time_ns()
        self._trouble = str(error).removeprefix("share: ")
        log.info("%s", error)

    def _tell(self, *, now: bool = False) -> None:
        if not now and time.monotonic() - self._told_at < TELLING:
            return
        self._told_at = time.monotonic()
        oldest = self._missed.oldest()
        self._write({
            "state": "waiting" if self._trouble else "sharing", "text": self._trouble,
            "since": self._away_since // 1_000_000 if self._trouble else None,
            "stood_still": (time.time_ns() - self._away_since) / 1e9 if self._trouble else 0.0,
            "behind": max(0.0, (self.now() - oldest) / 1e9) if oldest is not None else 0.0,
            "sent": self._sent, "waiting": len(self._missed), "refused": self._answers.refused,
            "sent_all": not (self._missed or self._live or self._outgoing.unconfirmed),
        })  # fmt: skip

    def _write(self, said: Mapping[str, Any]) -> None:
        self._told.write(json.dumps(said) + "\n")
        self._told.flush()


async def share(settings: Mapping[str, Any], given: TextIO, told: TextIO) -> None:
    """Work until the input ends."""
    worker, loop = Worker(settings, told), asyncio.get_running_loop()

    def listen_to() -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits
            for line in given:
                loop.call_soon_threadsafe(worker.hear, line)
            loop.call_soon_threadsafe(worker.hear, "")

    threading.Thread(target=listen_to, name="standard input", daemon=True).start()
    await worker.run()


def main() -> None:
    """Read the settings and work; a recorder that is gone is no error."""
    logging.basicConfig(level=logging.WARNING, format="lightoff: %(message)s")
    with contextlib.suppress(BrokenPipeError, KeyboardInterrupt):
        asyncio.run(share(json.loads(sys.stdin.readline()), sys.stdin, sys.stdout))


if __name__ == "__main__":
    main()
