"""A session on a serial port as the event loop sees it: what the port's thread hands over, until it ends."""

import asyncio
import math
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any

from analysis.model import NANOSECONDS, Channel, Event, EventKind
from drivers.base import DriverError, Emit, SettingsError, SilentError
from drivers.flood import MOST
from drivers.handover import Cause, Chunk, Handover, Loss, lines_in
from drivers.meter import Meter
from drivers.port import WAIT, OpenPort, Port, plugs
from drivers.port_names import Lister
from drivers.setup import Setup

BACKLOG = 4096
"""Chunks kept for a loop that does not keep up; the oldest are dropped and counted. [1]"""
REST = 0.5
"""How long what had arrived at the end of a session is still taken. [s]"""
TOLD = 10 * NANOSECONDS
"""Least time between two events on an instrument that says too much. [ns]"""


class SerialDriver(ABC):
    """What drivers of serial instruments have in common.

    The channels are emitted when the port is open. Raises SettingsError at once for settings that cannot work.
    """

    def __init__(
        self,
        setup: Setup,
        *,
        backlog: int = BACKLOG,
        opener: Callable[..., Any] | None = None,
        lister: Lister = plugs,
        wait: float = WAIT,
    ) -> None:
        self.name = setup.name
        silence = setup.profile.silence
        self._meter = Meter(setup)
        if not (math.isfinite(silence) and silence > 0):
            raise SettingsError(self.name, f"a silence of {silence} s cannot be waited for", "give a time above zero")
        self._port = Port(setup, lister=lister, wait=wait, **({"opener": opener} if opener else {}))
        self._address = setup.address
        self._now = setup.now
        self._silence = silence
        self._backlog = backlog
        self._counts = Counter(dropped_bytes=0, dropped_lines=0, flood_bytes=0, flood_lines=0)
        self._untold: Loss | None = None
        """What an instrument said too much and was not told yet."""
        self._flood_told = -TOLD

    @property
    def channels(self) -> tuple[Channel, ...]:
        """As the meter has them."""
        return self._meter.channels

    def statistics(self) -> dict[str, int]:
        """Counts since the driver was made, over all sessions. [1]"""
        return {**self._meter.statistics(), **self._counts}

    def facts(self) -> Mapping[str, Any]:
        """What else there is to say of the instrument."""
        elsewhere = {"port": self._port.device} if self._port.device != self._address else {}
        return {**self._meter.facts(), **elsewhere}

    @abstractmethod
    def work(self, port: OpenPort, handover: Handover) -> None:
        """In the port's thread: hand over what arrives, until `handover.stop` is set."""

    @abstractmethod
    def take(self, losses: tuple[Loss, ...], chunk: Chunk, emit: Emit) -> bool:
        """In the loop: take in what was handed over; whether something of it could be read."""

    @abstractmethod
    def reset(self) -> None:
        """A session begins."""

    @abstractmethod
    def hint(self) -> str:
        """What to try with an instrument that is silent."""

    def sum_up(self, emit: Emit, *, now: bool) -> None:
        """Tell what waits for its turn, or `now` at the end of a session."""
        self._meter.tell(emit, now=now)

    def count(self, data: bytes) -> int:
        """About how many messages these bytes are. [1]"""
        return lines_in(data)

    async def run(self, emit: Emit) -> None:
        """One session; ends only by DriverError, by cancelling, or by what `emit` raises."""
        handover = Handover(self._backlog, self.count)
        self.reset()
        thread = self._port.start(handover, self.work)
        try:
            await self._pass_on(handover, emit)
        except asyncio.CancelledError:
            handover.stop.set()
            self._take_rest(handover, emit)
            self._close_books(handover, emit)
            raise
        except DriverError:
            self._close_books(handover, emit)
            raise
        finally:
            await self._port.end(thread, handover)

    async def _pass_on(self, handover: Handover, emit: Emit) -> None:
        clock = asyncio.get_running_loop().time
        heard = clock()
        announced = unread = False
        while True:
            failure, taken = handover.failure, handover.take()  # in this order: what came before the failure is read
            if handover.opened and not announced:
                announced, heard = True, clock()
                self._meter.begin(emit)
            self._tell(emit)
            if taken:
                _, chunk = taken
                if self.take(*taken, emit):
                    heard, unread = clock(), False
                else:
                    unread = unread or bool(chunk.data.strip() and not chunk.reason)
                await asyncio.sleep(0)
                continue
            if failure:
                raise failure
            patience = heard + self._silence - clock()
            if patience <= 0:
                raise self._unread() if unread else self._silent(opened=announced)
            waiting = self._meter.waiting or self._untold
            await handover.arrival(within=min(patience, 1.0) if waiting else patience)

    def _take_rest(self, handover: Handover, emit: Emit) -> None:
        """Emit what had arrived when the session was cancelled, for a short while; what is left then is counted."""
        clock = asyncio.get_running_loop().time
        until = clock() + REST
        left: Loss | None = None
        while taken := handover.take():
            if clock() < until:
                self.take(*taken, emit)
                continue
            losses, chunk = taken
            self.report(losses, chunk.time, emit)
            left = left or Loss(Cause.SLOW, chunk.time)
            left.add(chunk, self.count(chunk.data))
        if left:
            self.report((left,), left.end, emit)

    def _close_books(self, handover: Handover, emit: Emit) -> None:
        """Tell at the end of a session what is not told yet."""
        if rest := handover.rest():
            self.report((rest,), rest.end, emit)
        self._flood_told = -TOLD
        self._tell(emit, now=True)

    def report(self, losses: tuple[Loss, ...], time: int, emit: Emit) -> None:
        """Count what was lost, and tell it: at once where this machine was slow, now and then where it is a flood."""
        for loss in losses:
            self._meter.missed()
            if loss.cause is Cause.SLOW:
                self._counts.update(dropped_bytes=loss.bytes, dropped_lines=loss.lines)
                text = "the program did not keep up and {bytes} bytes, about {lines} lines, are lost"
                emit(self._gap(loss, time, text))
            else:
                self._counts.update(flood_bytes=loss.bytes, flood_lines=loss.lines)
                if self._untold:
                    self._untold.merge(loss)
                else:
                    self._untold = loss

    def _tell(self, emit: Emit, *, now: bool = False) -> None:
        self.sum_up(emit, now=now)
        if (loss := self._untold) is None or 0 <= loss.end - self._flood_told < TOLD:
            return
        self._flood_told, self._untold = loss.end, None
        text = f"it says more than {MOST:.0f} messages a second; {{bytes}} bytes, about {{lines}} of them, are left out"
        emit(self._gap(loss, loss.end, text))

    def _gap(self, loss: Loss, time: int, text: str) -> Event:
        facts = {"bytes": loss.bytes, "lines": loss.lines, "from": loss.start, "to": loss.end, "cause": str(loss.cause)}
        return Event(time, EventKind.GAP, f"{self.name}: {text.format(**facts)}", self.name, facts)

    def _unread(self) -> SilentError:
        what = f"what came on {self._port.device} for {self._silence:g} s could not be read"
        hint = f"check its baud rate (now {self._port.baud}), most often that is another, its data bits and parity,"
        return SilentError(self.name, what, f"{hint} and that its profile is the right one")

    def _silent(self, *, opened: bool) -> SilentError:
        if not opened:
            what = f"{self._port.device} did not open within {self._silence:g} s"
            return SilentError(self.name, what, "plug the instrument in anew")
        what = f"nothing came on {self._port.device} for {self._silence:g} s"
        return SilentError(self.name, what, f"{self.hint()}, and its baud rate (now {self._port.baud})")
