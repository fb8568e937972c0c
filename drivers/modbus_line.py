"""A Modbus line: a serial port (RTU) or a connection to a server (TCP), shared by instruments and asked one at a time.

Sources: MODBUS over Serial Line V1.02, sections 2.4 and 2.5 (RTU); MODBUS Messaging on TCP/IP V1.0b, section 3.1 (TCP).
"""

import asyncio
import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from drivers.base import BusyError, ConnectionLostError, DriverError, NotFoundError, SilentError
from drivers.codecs.registers import Batch
from drivers.modbus_frames import Question, RtuFrame, TcpFrame, identify, identity, open_port, read
from drivers.modbus_wire import Opener, StillOpeningError, Wire, discard
from drivers.port import Holders, plugs
from drivers.port_errors import OPENING, opening_error
from drivers.port_names import Lister, Whereabouts

OPENS_WITHIN = 3.0
"""Longest time to open a port or a connection. [s]"""
QUIET = 0.00175
"""Least silence between two frames, and 3.5 characters where that is longer. [s]"""
BREAK = 0.25
BROKEN_OFF = 50
"""What is no frame and is followed by this much silence is taken as a spoiled answer: [s], and [characters]."""
REOPEN_AFTER = 2
"""Questions in a row to which a line is entirely silent, after which it is opened anew. [1]"""

_FAILURES: tuple[type[Exception], ...] = (*OPENING, DriverError)
"""Of opening a line; TimeoutError and what name resolution raises are among them."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a line is and how it is set."""

    port: str = ""
    """Serial port; empty for TCP."""
    baud: int = 9600
    parity: str = "none"
    stop_bits: float = 1.0
    host: str = ""
    number: int = 502
    """TCP port."""

    def __str__(self) -> str:
        """For people."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return self.port or f"{host}:{self.number}"

    @property
    def settings(self) -> str:
        """For people: how a serial port is set."""
        return f"{self.baud} baud, parity {self.parity} and {self.stop_bits:g} stop bits"

    def character_time(self, count: float) -> float:
        """Time that so many characters take on the wire, each at its longest of 11 bits. [s]"""
        return count * 11 / self.baud if self.port else 0.0


class RefusedError(Exception):
    """The unit answered that it cannot do what was asked."""

    def __init__(self, code: int) -> None:
        super().__init__(f"exception {code}")
        self.code = code


class GarbledError(Exception):
    """Something came, and nothing of it answers the question."""

    def __init__(self, data: bytes) -> None:
        super().__init__(f"{len(data)} bytes")
        self.data = data


class Line:
    """One line; it is open while somebody visits it."""

    def __init__(
        self,
        place: Place,
        *,
        opener: Callable[..., Any] = open_port,
        lister: Lister = plugs,
        holders: Holders | None = None,
    ) -> None:
        self.place = place
        self.device = place.port
        """Where the port was found last; empty for TCP."""
        self._whereabouts = Whereabouts(str(place), place.port, lister)
        self._holders = holders or Holders()
        self._held = ExitStack()
        self._opener = opener
        self._opening = Opener()
        self._lock = asyncio.Lock()
        self._wire: Wire | None = None
        self._visits = 0
        self._losses = 0
        self._lost = asyncio.Event()
        self._failure: tuple[float, Exception] | None = None
        self._mute = 0

    @contextmanager
    def visit(self, name: str) -> Iterator["Visit"]:
        """A session of an instrument on the line."""
        self._visits += 1
        try:
            yield Visit(self, name)
        finally:
            self._visits -= 1
            if not self._visits:
                self._close()

    async def _ready(self, name: str, since: float) -> Wire:
        """The open line; an opening that failed after `since` [s] is not tried again."""
        if self._wire:
            return self._wire
        clock = asyncio.get_running_loop().time
        if not self._failure or self._failure[0] < since:
            wire = Wire(self._gone)
            try:
                async with asyncio.timeout(OPENS_WITHIN):
                    await (self._open_port(wire, name) if self.place.port else self._open_connection(wire))
            except _FAILURES as error:
                self._failure = clock(), error
            else:
                self._wire, self._failure, self._mute = wire, None, 0
                return wire
        raise self._not_open(name, self._failure[1]) from self._failure[1]

    async def _open_connection(self, wire: Wire) -> None:
        loop = asyncio.get_running_loop()
        await loop.create_connection(lambda: wire, self.place.host, self.place.number)

    async def _open_port(self, wire: Wire, name: str) -> None:
        place, loop = self.place, asyncio.get_running_loop()
        settings = {"baud": place.baud, "parity": place.parity, "stop_bits": place.stop_bits}

        def opener() -> Any:
            self.device = self._whereabouts.find()
            transport = self._opener(loop, wire, self.device, **settings)
            try:
                self._whereabouts.confirm(self.device)
            except DriverError:
                discard(transport)
                raise
            return transport

        await self._opening.open(wire, opener, place.port)
        try:
            self._held.enter_context(self._holders.hold(self.device, name))
        except BusyError:
            wire.transport.abort()
            raise

    def _gone(self, wire: Wire) -> None:
        if wire is self._wire:
            self._wire = None
            self._held.close()
            self._losses += 1
            self._lost.set()
            self._lost = asyncio.Event()

    def _close(self) -> None:
        wire, self._wire = self._wire, None
        self._held.close()
        if wire and wire.transport:
            wire.transport.abort()

    def _not_open(self, name: str, error: Exception) -> DriverError:
        if self.place.port:
            return self._port_not_open(name, error)
        if isinstance(error, ConnectionRefusedError):
            what = f"nothing serves Modbus at {self.place}"
            return NotFoundError(name, what, "check its port number, and that its Modbus server is switched on")
        if isinstance(error, socket.gaierror):
            return NotFoundError(name, f"there is no host '{self.place.host}'", "correct its address, or write numbers")
        if isinstance(error, TimeoutError):
            what = f"{self.place} did not answer within {OPENS_WITHIN:g} s"
            return NotFoundError(name, what, "check that it is on, its network cable and its address")
        return NotFoundError(name, f"{self.place} cannot be reached ({error})", "check its network cable and address")

    def _port_not_open(self, name: str, error: Exception) -> DriverError:
        if isinstance(error, TimeoutError):
            still = isinstance(error, StillOpeningError)
            what = str(error) if still else f"{self.place} did not open within {OPENS_WITHIN:g} s"
            return NotFoundError(name, what, "plug its adapter in anew")
        if not isinstance(error, DriverError):
            error = opening_error(name, self.device, self.place.settings, error)
        holder = self._holders.holder(self.device)
        if isinstance(error, BusyError) and holder and holder != name:
            hint = "write the same address and line settings for both, or give each a port of its own"
            return BusyError(name, f"'{holder}' is at {self.device} already", hint)
        return type(error)(name, error.what.removeprefix(f"{error.instrument}: "), error.hint)


class Visit:
    """One session on a line; raises errors of `drivers.base` in the name of its instrument."""

    def __init__(self, line: Line, name: str) -> None:
        self._line = line
        self._name = name
        self._losses: int | None = None
        self.unasked = 0
        """Bytes that came and answered no question of this session. [bytes]"""

    async def open(self) -> None:
        """Open the line, where it is not."""
        since = asyncio.get_running_loop().time()
        async with self._line._lock:
            await self._line._ready(self._name, since)
            self._losses = self._line._losses

    async def pause(self, seconds: float) -> None:
        """Wait for so long [s]; ConnectionLostError at once when the line goes meanwhile."""
        lost = self._line._lost
        self._check()
        with suppress(TimeoutError):
            async with asyncio.timeout(max(seconds, 0.0)):
                await lost.wait()
        self._check()

    async def ask(self, unit: int, batch: Batch, within: float) -> bytes:
        """Bytes of registers, or packed bits; waits `within` [s] and as long as the characters take.

        SilentError when nothing comes, GarbledError when what came is no answer, RefusedError for an exception.
        """
        return (await self._exchange(read(unit, batch), within))[2:]

    async def identify(self, unit: int, within: float) -> dict[int, bytes]:
        """What the unit says of itself: 0 vendor, 1 product, 2 revision; errors as those of `ask`."""
        answer = await self._exchange(identify(unit), within)
        try:
            return identity(answer)
        except ValueError as error:
            raise GarbledError(answer) from error

    def _check(self) -> None:
        if self._losses is not None and self._losses != self._line._losses:
            hint = "check its plug and cable" if self._line.place.port else "check that it is on, and its network cable"
            raise ConnectionLostError(self._name, f"{self._line.place} was there and is gone", hint)

    async def _exchange(self, question: Question, within: float) -> bytes:
        """The answer to one question, from its function code on, nobody else asking meanwhile."""
        line, place, clock = self._line, self._line.place, asyncio.get_running_loop().time
        since = clock()
        async with line._lock:
            self._check()
            wire = await line._ready(self._name, since)
            frame = RtuFrame(question) if place.port else TcpFrame(question, wire.next_transaction())
            if place.port:
                await asyncio.sleep(wire.heard + max(QUIET, place.character_time(3.5)) - clock())
                self._check()
            self.unasked += wire.clear()
            wire.send(frame.data)
            longest = within + place.character_time(len(frame.data) + question.longest + 3)
            deadline = clock() + longest
            while (answer := frame.answer(bytes(wire.data))) is None:
                self._check()
                patience = deadline - clock()
                if wire.data and frame.spoiled(bytes(wire.data)):
                    patience = min(patience, wire.heard + place.character_time(BROKEN_OFF) + BREAK - clock())
                if patience <= 0:
                    raise self._unanswered(wire, frame, longest)
                await wire.arrival(patience)
            line._mute = 0
            self.unasked += wire.clear() - frame.used
        if answer[0] & 0x80:
            raise RefusedError(answer[1])
        return answer

    def _unanswered(self, wire: Wire, frame: RtuFrame | TcpFrame, waited: float) -> Exception:
        line, unit, data = self._line, frame.question.unit, bytes(wire.data)
        if data and not frame.is_echo(data):
            self.unasked += wire.clear()
            return GarbledError(data)
        line._mute += 1
        if line._mute >= REOPEN_AFTER:  # a connection may be dead, an adapter stuck, without any error
            line._close()
        what = f"unit {unit} on {line.place} did not answer within {waited:.2g} s"
        hint = "check that it is on, its unit number and the profile's 'within'"
        if line.place.port:
            hint += f", wires A and B, and the line's settings (now {line.place.settings})"
        return SilentError(self._name, what, hint)
