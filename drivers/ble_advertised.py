"""Instruments with Bluetooth Low Energy that say their values in advertisements, without a connection: BTHome."""

import asyncio
import math
from collections import Counter
from collections.abc import Mapping
from typing import Any

from analysis.model import Channel, Event, EventKind
from drivers.base import DriverError, Emit, NotFoundError, SettingsError, SilentError
from drivers.codecs import bthome
from drivers.inbox import BACKLOG, Dropped, Inbox, Message
from drivers.meter import Meter
from drivers.radio import Heard, Radio
from drivers.setup import Setup

REST = 0.5
"""How long what had arrived at the end of a session is still taken. [s]"""
REPEATED = 4_000_000_000
"""Within this time the same bytes are the same message, which is sent several times so that one is heard. [ns]

Source: the library `bthome-ble`, which takes the same number anew after it.
"""


class Advertised:
    """Driver of an instrument that is only listened to.

    A reading bears the time at which its advertisement came from the system; repeats are counted and make no reading.
    The channels are emitted with the first message that can be read. Raises SettingsError at once for settings that
    cannot work.
    """

    def __init__(self, setup: Setup, *, backlog: int = BACKLOG) -> None:
        self.name = setup.name
        self._silence = setup.profile.silence
        if not (math.isfinite(self._silence) and self._silence > 0):
            raise SettingsError(self.name, f"a silence of {self._silence} s cannot be waited for", "give a time")
        if not setup.address:
            raise SettingsError(self.name, "it has no address", "`lightoff scan` shows it")
        self._meter = Meter(setup)
        try:
            key = bthome.key_of(setup.secret) if setup.secret else None
            self._decoder = bthome.BthomeDecoder(setup.profile.values, key=key, address=setup.address)
        except ValueError as error:
            raise SettingsError(
                self.name, str(error), "correct the profile, or the secret that the job names"
            ) from error
        if key and setup.address.count(":") != 5:
            what = f"its messages are encrypted with its Bluetooth address, and {setup.address} is none"
            raise SettingsError(self.name, what, "use a computer that tells it (Linux, Windows), or do without a key")
        self._setup = setup
        self._radio = setup.shared.get(Radio, "", Radio)
        self._backlog = backlog
        self._counts = Counter(dropped_messages=0, repeats=0)
        self._signal: int | None = None
        self._last: tuple[bytes, int] = (b"", 0)
        self._begun = False
        """Whether something could be read in this session."""
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
        """What else there is to say of the instrument; strength of its signal. [dBm]"""
        return {**({} if self._signal is None else {"signal": self._signal}), **self._meter.facts()}

    async def run(self, emit: Emit) -> None:
        """One session; ends only by DriverError, by cancelling, or by what `emit` raises."""
        inbox = Inbox(self._backlog)
        self._why, self._begun = "", False
        async with self._radio.listen(self.name, lambda heard: self._hear(heard, inbox)):
            try:
                await self._pass_on(inbox, emit)
            except asyncio.CancelledError:
                self._take_rest(inbox, emit)
                self._meter.tell(emit, now=True)
                raise
            except DriverError:
                self._meter.tell(emit, now=True)
                raise

    def _hear(self, heard: Heard, inbox: Inbox) -> None:
        if heard.address.upper() == self._setup.address.upper() and bthome.SERVICE in heard.data:
            self._signal = heard.signal
            inbox.put(Message(self._setup.now(), bthome.SERVICE, heard.data[bthome.SERVICE]))

    async def _pass_on(self, inbox: Inbox, emit: Emit) -> None:
        clock = asyncio.get_running_loop().time
        heard = clock()
        while True:
            taken = inbox.take()
            self._meter.tell(emit)
            if taken:
                dropped, message = taken
                if dropped:
                    self._report(dropped, emit)
                if self._ingest(message, emit):
                    heard = clock()
                await asyncio.sleep(0)
                continue
            patience = heard + self._silence - clock()
            if patience <= 0:
                raise self._silent()
            await inbox.arrival(within=min(patience, 1.0) if self._meter.waiting else patience)

    def _take_rest(self, inbox: Inbox, emit: Emit) -> None:
        """Emit what had been heard when the session was cancelled, for a short while; what is left then is counted."""
        clock = asyncio.get_running_loop().time
        until = clock() + REST
        while clock() < until and (taken := inbox.take()):
            dropped, message = taken
            if dropped:
                self._report(dropped, emit)
            self._ingest(message, emit)
        if left := inbox.drop_all():
            self._report(left, emit)

    def _ingest(self, message: Message, emit: Emit) -> bool:
        """Whether it shows that the instrument is well."""
        data, time = self._last
        if message.data == data and 0 <= message.time - time < REPEATED:
            self._counts["repeats"] += 1
            return self._begun and not self._why
        self._last = message.data, message.time
        decoded = self._decoder.decode(message.data, message.source)
        if decoded.sample and not self._begun:
            self._begun = True
            self._meter.begin(emit)
        self._why = "" if decoded.sample else decoded.reason
        self._meter.take(decoded, message.data, message.time, emit)
        return decoded.sample is not None

    def _report(self, dropped: Dropped, emit: Emit) -> None:
        self._meter.missed()
        self._counts["dropped_messages"] += dropped.count
        text = f"{self.name}: the program did not keep up and {dropped.count} messages are lost"
        facts = {"messages": dropped.count, "from": dropped.start, "to": dropped.end}
        emit(Event(dropped.end, EventKind.GAP, text, self.name, facts))

    def _silent(self) -> SilentError | NotFoundError:
        address, silence = self._setup.address, self._silence
        if self._why:
            what = f"none of what {address} said for {silence:g} s could be read: it {self._why}"
            return SilentError(self.name, what, "correct the secret that the job names, or choose another profile")
        if self._begun:
            what = f"nothing was heard of {address} for {silence:g} s"
            return SilentError(self.name, what, "check its battery, or bring it nearer")
        what = f"nothing is heard of {address}"
        return NotFoundError(self.name, what, "check its address and battery, or bring it nearer")
