"""Instruments that send lines of text on a serial port; the one module that knows pyserial.

A thread per port reads, since not every system lets an event loop wait for a serial port.
"""

import asyncio
import logging
import math
import threading
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

import serial

from analysis.model import Channel, Event, EventKind
from drivers.base import ConnectionLostError, Emit, SettingsError, SilentError
from drivers.codecs.lines import LineFramer
from drivers.codecs.text import LONGEST_LINE, text_decoder
from drivers.handover import Chunk, Handover, Loss
from drivers.meter import Meter
from drivers.port_errors import FOREIGN, OPENING, opening_error
from drivers.setup import Setup

WAIT = 0.15
"""Longest time the reader thread waits for a byte, and the pause after which a byte begins a line. [s]"""
END = 1.9
"""Longest time to wait for the reader thread's end. [s]"""
BACKLOG = 4096
"""Chunks kept for a loop that does not keep up; the oldest are dropped and counted. [1]"""
CHUNK = 1024
"""Longest chunk. [bytes]"""
REST = 0.5
"""How long what had arrived at the end of a session is still taken. [s]"""
OVERLONG = f"has no end within {LONGEST_LINE} bytes"

_PARITY = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}

_log = logging.getLogger(__name__)


class SerialLine:
    """Driver of an instrument that sends lines by itself.

    A reading bears the time at which the chunk with its line end arrived, taken by `now` in the reader thread; further
    lines of the chunk follow 1 us apart, since over USB the baud rate says nothing about when a byte was sent. A line
    whose beginning may be missing (the port was opened in the middle of it, or bytes were dropped) is not read.
    The channels are emitted when the port is open. Raises SettingsError at once for settings that cannot work.
    """

    def __init__(
        self, setup: Setup, *, backlog: int = BACKLOG, opener: Callable[..., serial.Serial] = serial.Serial
    ) -> None:
        self.name = name = setup.name
        section, silence = setup.profile.serial, setup.profile.silence
        self._meter = Meter(setup)
        if not (math.isfinite(silence) and silence > 0):
            raise SettingsError(name, f"a silence of {silence} s cannot be waited for", "give a time above zero")
        if section.parity not in _PARITY:
            raise SettingsError(name, f"unknown parity '{section.parity}'", f"known are {', '.join(_PARITY)}")
        if not setup.address or section.baud <= 0:
            what = f"port '{setup.address}' at {section.baud} baud cannot work"
            raise SettingsError(name, what, "give a port and a baud rate")
        try:
            self._decoder = text_decoder(setup.profile)
        except ValueError as error:
            raise SettingsError(name, str(error), "correct the instrument's pattern") from error
        self._port = setup.address
        self._baud = section.baud
        self._framing = {
            "bytesize": section.data_bits,
            "parity": _PARITY[section.parity],
            "stopbits": section.stop_bits,
        }
        self._now = setup.now
        self._silence = silence
        self._backlog = backlog
        self._opener = opener
        self._framer = LineFramer(LONGEST_LINE)
        self._counts = Counter(dropped_bytes=0, dropped_lines=0)

    @property
    def channels(self) -> tuple[Channel, ...]:
        """As the meter has them."""
        return self._meter.channels

    def statistics(self) -> dict[str, int]:
        """Counts since the driver was made, over all sessions. [1]"""
        framer = self._framer
        return {
            **self._meter.statistics(),
            **self._counts,
            "discarded_bytes": framer.discarded_bytes,
            "cut_lines": framer.cut_lines,
        }

    def facts(self) -> Mapping[str, Any]:
        """What else there is to say of the instrument."""
        return self._meter.facts()

    async def run(self, emit: Emit) -> None:
        """One session; ends only by DriverError, by cancelling, or by what `emit` raises."""
        handover = Handover(self._backlog)
        thread = threading.Thread(target=self._read, args=(handover,), name=f"{self.name}: {self._port}", daemon=True)
        self._framer.clear()
        thread.start()
        try:
            await self._pass_on(handover, emit)
        except asyncio.CancelledError:
            handover.stop.set()
            self._take_rest(handover, emit)
            self._meter.tell(emit, now=True)
            raise
        finally:
            await self._end(thread, handover)

    async def _pass_on(self, handover: Handover, emit: Emit) -> None:
        clock = asyncio.get_running_loop().time
        heard = clock()
        announced = False
        while True:
            failure, taken = handover.failure, handover.take()  # in this order: what came before the failure is read
            if handover.opened and not announced:
                announced, heard = True, clock()
                self._meter.begin(emit)
            self._meter.tell(emit)
            if taken:
                self._ingest(*taken, emit)
                heard = clock()
                await asyncio.sleep(0)
                continue
            if failure:
                raise failure
            patience = heard + self._silence - clock()
            if patience <= 0:
                raise self._silent(opened=announced)
            await handover.arrival(within=min(patience, 1.0) if self._meter.waiting else patience)

    def _take_rest(self, handover: Handover, emit: Emit) -> None:
        """Emit what had arrived when the session was cancelled, for a short while; what is left then is counted."""
        clock = asyncio.get_running_loop().time
        until = clock() + REST
        left: Loss | None = None
        while taken := handover.take():
            if clock() < until:
                self._ingest(*taken, emit)
            else:
                left = left or Loss(taken[1].time)
                left.add(taken[1])
        if left:
            self._report(left, left.end, emit)

    def _report(self, loss: Loss, time: int, emit: Emit) -> None:
        self._counts.update(dropped_bytes=loss.bytes, dropped_lines=loss.lines)
        text = f"{self.name}: the program did not keep up and {loss.bytes} bytes, about {loss.lines} lines, are lost"
        facts = {"bytes": loss.bytes, "lines": loss.lines, "from": loss.start, "to": loss.end}
        emit(Event(time, EventKind.GAP, text, self.name, facts))

    def _ingest(self, loss: Loss | None, chunk: Chunk, emit: Emit) -> None:
        if loss:
            self._report(loss, chunk.time, emit)
        if loss or chunk.cut:
            self._framer.cut()
        overlong = self._framer.overlong_lines
        for line in self._framer.feed(chunk.data):
            if line.strip():
                self._meter.take(self._decoder.decode(line), line, chunk.time, emit)
        for _ in range(self._framer.overlong_lines - overlong):
            self._meter.unreadable(OVERLONG, chunk.data, chunk.time, emit)

    async def _end(self, thread: threading.Thread, handover: Handover) -> None:
        clock = asyncio.get_running_loop().time
        deadline = clock() + END
        handover.stop.set()
        try:
            with suppress(TimeoutError):
                async with asyncio.timeout(0.8 * END):
                    await handover.ended.wait()
        finally:  # a second cancellation comes here at once, and the thread still has to end
            thread.join(timeout=max(0.0, deadline - clock()))
        if thread.is_alive():  # the system is still busy opening the port; it is closed again as soon as it is open
            _log.warning("%s: the system does not come back from opening %s", self.name, self._port)

    def _read(self, handover: Handover) -> None:
        """The reader thread."""
        try:
            with self._open() as port:
                handover.opened = True
                handover.signal()
                self._listen(port, handover)
        except FOREIGN as error:
            handover.failure = self._lost()
            handover.failure.__cause__ = error
        except Exception as error:  # ours, or a defect: the session raises it
            handover.failure = error
        finally:
            handover.end()

    def _listen(self, port: serial.Serial, handover: Handover) -> None:
        cut = True
        while not handover.stop.is_set():
            data = port.read(1)
            if data:
                data += port.read(min(port.in_waiting, CHUNK - 1))
                handover.put(Chunk(self._now(), data, cut))
            cut = False

    def _open(self) -> serial.Serial:
        try:
            return self._opener(port=self._port, baudrate=self._baud, timeout=WAIT, exclusive=True, **self._framing)
        except OPENING as error:
            settings = f"{self._baud} baud and {self._framing['bytesize']} data bits"
            raise opening_error(self.name, self._port, settings, error) from error

    def _lost(self) -> ConnectionLostError:
        return ConnectionLostError(self.name, f"{self._port} was there and is gone", "check its plug and cable")

    def _silent(self, *, opened: bool) -> SilentError:
        if not opened:
            what = f"{self._port} did not open within {self._silence:g} s"
            return SilentError(self.name, what, "plug the instrument in anew")
        what = f"nothing came on {self._port} for {self._silence:g} s"
        hint = f"check that the instrument is on and sends by itself, and its baud rate (now {self._baud})"
        return SilentError(self.name, what, hint)
