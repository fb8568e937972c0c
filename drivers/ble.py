"""Instruments with Bluetooth Low Energy that are connected: they notify, or are read."""

import asyncio
import math
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator, Mapping
from contextlib import AsyncExitStack, contextmanager
from typing import Any

from analysis.model import Channel, Event, EventKind
from drivers.base import ConnectionLostError, DriverError, Emit, NotPermittedError, SettingsError, SilentError
from drivers.ble_advertised import Advertised
from drivers.ble_sources import Source, about, decoder_of, services_of, sources, way
from drivers.endings import ended
from drivers.inbox import BACKLOG, Dropped, Inbox, Message
from drivers.meter import Meter
from drivers.radio import Radio
from drivers.radio_link import Characteristic, Link
from drivers.setup import Setup

FIND = 15.0
"""How long an instrument is looked for: the rarest advertising interval is 10.24 s. [s]

Source: Bluetooth Core Specification 5.4, volume 6, part B, 4.4.2.2 (legacy advertising).
"""
CONNECT = 10.0
"""Longest time until it is connected and its services are known. [s]"""
REST = 0.5
"""How long what had arrived at the end of a session is still taken. [s]"""
END = 0.3
"""Longest time for the end of questions that are under way. [s]"""
ECHO = 0.05
"""Within this time the system may tell an answer as a notification too. [s]"""
QUIET = 1 / 3
"""Part of the silence after which a standard characteristic, which notifies changes only, is asked. [1]"""


def ble(setup: Setup) -> "Ble | Advertised":
    """Driver of an instrument by the format of its profile."""
    return Advertised(setup) if setup.profile.ble.format == "bthome" else Ble(setup)


class Ble:
    """Driver of an instrument that is connected.

    A reading bears the time at which its message came from the system. The channels are emitted when everything is
    subscribed. Raises SettingsError at once for settings that cannot work.
    """

    def __init__(self, setup: Setup, *, backlog: int = BACKLOG, find: float = FIND, connect: float = CONNECT) -> None:
        self.name = setup.name
        profile = setup.profile
        if not (math.isfinite(profile.silence) and profile.silence > 0):
            raise SettingsError(self.name, f"a silence of {profile.silence} s cannot be waited for", "give a time")
        if not setup.address:
            raise SettingsError(self.name, "it has no address", "`lightoff scan` shows it")
        self._meter = Meter(setup)
        try:
            self._decoder = decoder_of(profile)
            self._sources = sources(profile, setup.channels)
        except ValueError as error:
            raise SettingsError(self.name, str(error), "correct the profile") from error
        self._setup = setup
        self._radio = setup.shared.get(Radio, "", Radio)
        self._backlog, self._find, self._connect = backlog, find, connect
        self._counts = Counter(dropped_messages=0)
        self._facts: dict[str, Any] = {}
        self._has_read = False
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
        """What the instrument says of itself."""
        return {**self._facts, **self._meter.facts()}

    async def run(self, emit: Emit) -> None:
        """One session; ends only by DriverError, by cancelling, or by what `emit` raises."""
        async with self._radio.in_use():
            await self._session(emit)

    async def _session(self, emit: Emit) -> None:
        inbox = Inbox(self._backlog)
        self._why = ""
        address, services = self._setup.address, services_of(self._setup.profile)
        tasks: list[asyncio.Task[None]] = []
        async with AsyncExitStack() as stack:
            with self._retried():
                device = await self._radio.find(self.name, address, services, within=self._find)
                connecting = self._radio.connect(self.name, device, inbox.fail, within=self._connect)
                link = await stack.enter_async_context(connecting)
            try:
                with self._retried():
                    await self._listen(link, inbox, tasks)
                self._meter.begin(emit)
                await self._pass_on(inbox, emit)
            finally:
                await ended(*tasks, within=END)

    @contextmanager
    def _retried(self) -> Iterator[None]:
        """What stops an instrument at first is tried again for one that has read: its settings were right."""
        try:
            yield
        except (NotPermittedError, SettingsError) as error:
            if not self._has_read:
                raise
            what = error.what.removeprefix(f"{self.name}: ")
            raise ConnectionLostError(self.name, what, error.hint) from error.__cause__

    async def _listen(self, link: Link, inbox: Inbox, tasks: list[asyncio.Task[None]]) -> None:
        """Subscribe to what notifies, and begin to ask the rest."""
        profile = self._setup.profile
        asked: list[tuple[Source, Characteristic, float]] = []
        told: list[tuple[Source, Characteristic]] = []
        for source in self._sources:
            if found := way(source, link, profile, self.name):
                characteristic, every = found
                if every is not None:
                    asked.append((source, characteristic, every))
                    continue
                told.append((source, characteristic))
        heard: dict[str, float] = {}
        clock = asyncio.get_running_loop().time
        for source, characteristic in told:
            heard[source.name] = clock()
            try:
                await link.subscribe(characteristic, self._hearer(source, inbox, heard))
            except DriverError:
                if source.needed:
                    raise
        work: list[tuple[str, Awaitable[None]]] = [
            (f"ask {source.name}", self._ask(link, characteristic, source, every, inbox))
            for source, characteristic, every in asked
        ]
        work += [  # a battery tells changes, which may take hours
            (f"ask {source.name} once", self._question(link, one, source, inbox))
            for source, one in told
            if not source.measures and one.answers
        ]
        if profile.ble.format == "environmental":
            quiet = [(source, one) for source, one in told if source.measures and one.answers]
            work += [("ask the quiet", self._ask_quiet(link, quiet, heard, inbox))] if quiet else []
        if not self._facts:
            work.append(("ask about it", self._learn(link)))
        tasks += [asyncio.create_task(_safely(doing, inbox), name=f"{self.name}: {name}") for name, doing in work]

    def _hearer(self, source: Source, inbox: Inbox, heard: dict[str, float]) -> Callable[[bytes], None]:
        clock = asyncio.get_running_loop().time

        def hear(data: bytes) -> None:
            heard[source.name] = clock()
            inbox.put(Message(self._setup.now(), source.name, data))

        return hear

    async def _ask(self, link: Link, one: Characteristic, source: Source, every: float, inbox: Inbox) -> None:
        """Read at an even pace; a turn that is missed is left out."""
        clock = asyncio.get_running_loop().time
        turn = clock()
        while True:
            await self._question(link, one, source, inbox)
            turn = max(turn + every, clock())
            await asyncio.sleep(turn - clock())

    async def _ask_quiet(
        self, link: Link, quiet: list[tuple[Source, Characteristic]], heard: dict[str, float], inbox: Inbox
    ) -> None:
        """Read what has not notified for long: the standard lets it notify changes only."""
        clock = asyncio.get_running_loop().time
        pause = self._setup.profile.silence * QUIET
        while quiet:
            await asyncio.sleep(max(0.0, min(heard[source.name] for source, _ in quiet) + pause - clock()))
            for source, one in tuple(quiet):
                if (before := heard[source.name]) + pause > clock():
                    continue
                time = self._setup.now()
                try:
                    data = await link.read(one)
                except (SettingsError, NotPermittedError):  # it may notify and not be read
                    quiet.remove((source, one))
                    continue
                await asyncio.sleep(ECHO)
                if heard[source.name] == before:  # it was not told as a notification too
                    heard[source.name] = clock()
                    inbox.put(Message(time, source.name, data))

    async def _question(self, link: Link, one: Characteristic, source: Source, inbox: Inbox) -> None:
        try:
            data = await link.read(one)
        except DriverError as error:
            if source.needed and not isinstance(error, SettingsError):
                raise
            inbox.put(Message(self._setup.now(), source.name, b"", f"was asked for and refused: {error.what}"))
        else:
            inbox.put(Message(self._setup.now(), source.name, data))

    async def _learn(self, link: Link) -> None:
        self._facts = await about(link, self._sources)

    async def _pass_on(self, inbox: Inbox, emit: Emit) -> None:
        try:
            await self._emit_all(inbox, emit)
        except asyncio.CancelledError:
            self._take_rest(inbox, emit)
            self._meter.tell(emit, now=True)
            raise
        except DriverError:
            self._meter.tell(emit, now=True)
            raise

    async def _emit_all(self, inbox: Inbox, emit: Emit) -> None:
        clock = asyncio.get_running_loop().time
        silence, heard = self._setup.profile.silence, clock()
        while True:
            failure, taken = inbox.failure, inbox.take()  # in this order: what came before the failure is read
            self._meter.tell(emit)
            if taken:
                if self._ingest(*taken, emit):
                    heard = clock()
                await asyncio.sleep(0)
                continue
            if failure:
                with self._retried():
                    raise failure
            patience = heard + silence - clock()
            if patience <= 0:
                raise self._silent()
            await inbox.arrival(within=min(patience, 1.0) if self._meter.waiting else patience)

    def _take_rest(self, inbox: Inbox, emit: Emit) -> None:
        """Emit what had arrived when the session was cancelled, for a short while; what is left then is counted."""
        clock = asyncio.get_running_loop().time
        until = clock() + REST
        while clock() < until and (taken := inbox.take()):
            self._ingest(*taken, emit)
        if left := inbox.drop_all():
            self._report(left, emit)

    def _ingest(self, dropped: Dropped | None, message: Message, emit: Emit) -> bool:
        """Take a message in; whether it could be read."""
        if dropped:
            self._report(dropped, emit)
        if message.refused:
            self._meter.unreadable(message.refused, message.data, message.time, emit)
            return False
        decoded = self._decoder.decode(message.data, message.source)
        self._why = "" if decoded.sample else decoded.reason
        self._meter.take(decoded, message.data, message.time, emit)
        self._has_read |= decoded.sample is not None
        return decoded.sample is not None

    def _silent(self) -> SilentError:
        silence = self._setup.profile.silence
        if self._why:
            what = f"none of what it said for {silence:g} s could be read: it {self._why}"
            return SilentError(self.name, what, "choose another profile, or correct it")
        what = f"it is connected and said nothing for {silence:g} s"
        return SilentError(self.name, what, "check that it measures, and its profile")

    def _report(self, dropped: Dropped, emit: Emit) -> None:
        self._meter.missed()
        self._counts["dropped_messages"] += dropped.count
        text = f"{self.name}: the program did not keep up and {dropped.count} messages are lost"
        facts = {"messages": dropped.count, "from": dropped.start, "to": dropped.end}
        emit(Event(dropped.end, EventKind.GAP, text, self.name, facts))


async def _safely(work: Awaitable[None], inbox: Inbox) -> None:
    """Work beside a session; what it raises ends the session."""
    try:
        await work
    except Exception as error:  # the session raises it
        inbox.fail(error)
