"""Sensors that a gateway sends to a broker: the driver of MQTT instruments.

Each has a connection of its own: a session is a connection, one that is refused or flooded hinders no other, and what
was lost is its own. A broker takes hundreds.
"""

import asyncio
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from analysis.model import NANOSECONDS, Channel, Event, EventKind
from drivers.base import DriverError, Emit, SettingsError, SilentError
from drivers.broker import ANSWER, Wanted, hang_up, listen
from drivers.broker_address import broker_address
from drivers.codecs.json_values import LONGEST_MESSAGE, json_decoder
from drivers.codecs.sample import Sample
from drivers.inbox import BACKLOG, Dropped, Inbox, Message
from drivers.meter import Meter
from drivers.profile import Condition, Role
from drivers.setup import Setup

REST = 0.5
"""How long what had arrived at the end of a session is still taken. [s]"""


class Mqtt:
    """Driver of an instrument whose values come as messages, on one topic or several.

    A reading bears the time at which its message arrived. What a broker kept from before the subscription is no present
    reading: it is told once, counted, and not taken, unless its own time says that it is young (`MqttSection`). Values
    whose own time is old are suspect. The channels are emitted when the broker has agreed to send. Raises SettingsError
    at once for settings that cannot work.
    """

    def __init__(self, setup: Setup, *, backlog: int = BACKLOG, answer: float = ANSWER) -> None:
        self.name = name = setup.name
        self._meter = Meter(setup)
        try:
            self._decoder = json_decoder(setup.profile)
        except ValueError as error:
            raise SettingsError(name, str(error), "correct its profile") from error
        broker = broker_address(setup.address, name)
        if setup.secret is not None and broker.user is None:
            what = "it has a password and no user name"
            raise SettingsError(name, what, "write the name into its address, such as mqtt://name@host")
        self._sources = {_topic(setup.topic, below): below for below in _below(setup)}
        if wrong := [topic for topic in self._sources if not _usable(topic)]:
            what = f"'{wrong[0][:60]}' is not one topic" if wrong[0] else "it has no topic"
            raise SettingsError(name, what, "name the one that the gateway sends on, without + and #")
        self._wanted = Wanted(
            instrument=name,
            broker=broker,
            topics=tuple(self._sources),
            now=setup.now,
            secret=setup.secret,
            longest=LONGEST_MESSAGE,
            answer=answer,
        )
        self._old_after = setup.profile.mqtt.old_after
        self._silence = setup.profile.silence
        self._backlog = backlog
        self._counts = Counter(dropped_messages=0, retained=0, repeated=0, old=0)
        self._told_kept: set[str] = set()
        self._last: dict[str, bytes] = {}
        """Last message of each topic in this session."""
        self._before: dict[str, bytes] = {}
        """And in the sessions before."""
        self._kept = False
        """Whether the broker gave what it kept from before."""
        self._why = ""
        """Why the last message could not be read."""

    @property
    def channels(self) -> tuple[Channel, ...]:
        """As the meter has them."""
        return self._meter.channels

    def statistics(self) -> dict[str, int]:
        """Counts since the driver was made, over all sessions. [1]"""
        return {**self._meter.statistics(), **self._counts}

    def facts(self) -> Mapping[str, Any]:
        """What else there is to say of the instrument."""
        return self._meter.facts()

    async def run(self, emit: Emit) -> None:
        """One session; ends only by DriverError, by cancelling, or by what `emit` raises."""
        inbox = Inbox(self._backlog)
        self._before, self._last = {**self._before, **self._last}, {}
        self._kept, self._why = False, ""
        thread = listen(self._wanted, inbox)
        try:
            await self._pass_on(inbox, emit)
        except asyncio.CancelledError:
            inbox.stop.set()
            self._take_rest(inbox, emit)
            self._meter.tell(emit, now=True)
            raise
        except DriverError:
            self._meter.tell(emit, now=True)
            raise
        finally:
            await hang_up(thread, inbox)

    async def _pass_on(self, inbox: Inbox, emit: Emit) -> None:
        clock = asyncio.get_running_loop().time
        heard, announced = clock(), False
        while True:
            failure, taken = inbox.failure, inbox.take()  # in this order: what came before the failure is read
            if inbox.opened and not announced:
                announced, heard = True, clock()
                self._meter.begin(emit)
            self._meter.tell(emit)
            if taken:
                if self._ingest(*taken, emit):
                    heard = clock()
                await asyncio.sleep(0)
                continue
            if failure:
                raise failure
            patience = heard + (self._silence if announced else 4 * self._wanted.answer) - clock()
            if patience <= 0:
                raise self._silent(announced=announced)
            await inbox.arrival(within=min(patience, 1.0) if self._meter.waiting else patience)

    def _take_rest(self, inbox: Inbox, emit: Emit) -> None:
        """Emit what had arrived when the session was cancelled, for a short while; what is left then is counted."""
        clock = asyncio.get_running_loop().time
        until = clock() + REST
        while clock() < until and (taken := inbox.take()):
            self._ingest(*taken, emit)
        if left := inbox.drop_all():
            self._report(left, left.end, emit)

    def _report(self, dropped: Dropped, time: int, emit: Emit) -> None:
        self._meter.missed()
        self._counts["dropped_messages"] += dropped.count
        text = f"{self.name}: the program did not keep up and {dropped.count} messages are lost"
        facts = {"messages": dropped.count, "from": dropped.start, "to": dropped.end}
        emit(Event(time, EventKind.GAP, text, self.name, facts))

    def _ingest(self, dropped: Dropped | None, message: Message, emit: Emit) -> bool:
        """Take a message in; whether it could be read and is of the present."""
        if dropped:
            self._report(dropped, message.time, emit)
        source = self._sources.get(message.source, message.source)
        if message.again and self._last.get(source) == message.data:
            self._counts["repeated"] += 1
            return not self._why
        self._last[source] = message.data
        decoded = self._decoder.decode(message.data, source)
        old = self._is_old(decoded.sample, message.time)
        if message.retained and (old or self._old_after is None):
            self._keep_out(message, emit)
            return False
        if message.retained and self._before.get(source) == message.data:
            self._counts["repeated"] += 1
            self._kept = True
            return False
        if decoded.sample and self._old_after is not None:
            self._counts["old"] += old
            decoded = decoded._replace(sample=_aged(decoded.sample, old=old))
        self._why = "" if decoded.sample else decoded.reason
        self._meter.take(decoded, message.data, message.time, emit)
        return decoded.sample is not None

    def _is_old(self, sample: Sample | None, time: int) -> bool:
        """Whether its own time is too far from the present to be of it, or cannot be read."""
        if self._old_after is None:
            return False
        return sample is None or sample.own_time is None or abs(time / NANOSECONDS - sample.own_time) > self._old_after

    def _keep_out(self, message: Message, emit: Emit) -> None:
        """Count what the broker kept from before, and tell the first of each topic."""
        self._counts["retained"] += 1
        self._kept = True
        if message.source in self._told_kept:
            return
        self._told_kept.add(message.source)
        shown = repr(message.data[:80].decode("utf-8", errors="backslashreplace"))[:80]
        text = f"{self.name}: the broker kept {shown} from before on '{message.source}'; that is no present reading"
        emit(Event(message.time, EventKind.PROBLEM, text, self.name, {"kept": shown, "topic": message.source}))

    def _silent(self, *, announced: bool) -> SilentError:
        broker, topics = self._wanted.broker, " and ".join(f"'{topic}'" for topic in self._wanted.topics[:3])
        if not announced:
            what = f"the broker at {broker} does not answer"
            return SilentError(self.name, what, "check its address and the network")
        if self._why:
            what = f"none of what came on {topics} for {self._silence:g} s could be read: it {self._why}"
            return SilentError(self.name, what, "choose another profile, or correct it")
        only = " but what the broker kept from before" if self._kept else ""
        what = f"nothing came on {topics} from the broker at {broker} for {self._silence:g} s{only}"
        user = f"'{broker.user}'" if broker.user else "one without a name"
        hint = f"check the gateway and the spelling of the topic, and that the broker lets this user ({user}) read it"
        return SilentError(self.name, what, hint)


def _below(setup: Setup) -> list[str]:
    """Topics below that of the instrument on which something comes that is wanted."""
    wanted = (value for value in setup.profile.values if value.role is not Role.MEASURE or value.name in setup.channels)
    return list(dict.fromkeys(value.topic or "" for value in wanted))


def _topic(base: str, below: str) -> str:
    return f"{base.removesuffix('/')}/{below}" if base and below else base or below


def _usable(topic: str) -> bool:
    """Source: MQTT Version 5.0, OASIS Standard (2019), section 4.7."""
    return bool(topic) and not any(sign in topic for sign in "+#\0") and len(topic.encode()) < 65_536


def _aged(sample: Sample, *, old: bool) -> Sample:
    """The sample whose values and statuses say each of itself whether it is old, until a message of its own says more.

    The running clock of an old one is none of the present.
    """
    age = frozenset({Condition.OLD} if old else ())
    said = {name: sample.said.get(name, frozenset()) | age for name in {*sample.said, *sample.values}}
    conditions = sample.conditions.union(*said.values())
    return replace(sample, conditions=conditions, said=said, clock=None if old else sample.clock)
