"""Instruments that are asked by Modbus, over a serial line (RTU) or a network (TCP)."""

import asyncio
import re
from collections import Counter
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from analysis.model import Channel
from drivers.base import Emit, Now, SettingsError, SilentError
from drivers.codecs.registers import Batch, registers_decoder, settling
from drivers.meter import Meter
from drivers.modbus_line import GarbledError, Line, Place, RefusedError, Visit
from drivers.modbus_refusals import WRONG_RANGE, refusal_error
from drivers.port import Holders, plugs
from drivers.port_names import BY_SERIAL_NUMBER, Lister
from drivers.profile import ModbusSection, Role
from drivers.setup import Setup

NO_ANSWER = "came and is no answer to what was asked: a wrong checksum, or an answer that is late"
PORT = 502
"""TCP port of Modbus. Source: MODBUS Messaging on TCP/IP V1.0b, section 4.2.1."""
UNITS = range(1, 248)
"""Numbers of units on a serial line. Source: MODBUS over Serial Line V1.02, section 2.2."""
_HOST = re.compile(r"tcp:.*|\d+(\.\d+){3}(:\d*)?|[\w.-]+:\d+", re.IGNORECASE)
"""What somebody writes who means a server and leaves `tcp://` out; no serial port is called so."""
DIRECT = (0, 255)
"""Numbers that a server on a network may have for itself. Source: MODBUS Messaging on TCP/IP V1.0b, section 4.4.2.2."""


class Modbus:
    """Driver of one unit on a line that it may share with others.

    A session begins with a question whose answer cannot be taken for another, so that what the unit still owes from
    before is over. An answer that is missing altogether ends the session: whether and when the unit is asked again is
    the supervisor's to decide, and the others go on meanwhile. A garbled one is counted, and the next round follows.
    A reading bears the time at which its answer was there.
    """

    def __init__(self, setup: Setup, *, lister: Lister = plugs) -> None:
        self.name = name = setup.name
        section = setup.profile.modbus
        self._meter = Meter(setup)
        try:
            self._decoder = registers_decoder(setup.profile, setup.channels)
        except ValueError as error:
            raise SettingsError(name, str(error), "correct the profile") from error
        place = place_of(name, setup.address, section)
        self._unit = _unit(name, setup.device, place)
        holders = setup.shared.get(Holders, "", Holders)
        self._line = setup.shared.get(Line, _key(place), lambda: Line(place, lister=lister, holders=holders))
        self._now: Now = setup.now
        self._every, self._within, self._silence = section.every, section.within, setup.profile.silence
        self._together = any(value.role is Role.STATUS or value.unit_from for value in self._decoder.values)
        """Whether a whole round is one message: one value says something of others."""
        self._answered: set[Batch] = set()
        """What the unit answered at least once."""
        self._counts = Counter(unanswered=0, declined=0, unasked_bytes=0)

    @property
    def channels(self) -> tuple[Channel, ...]:
        """As the meter has them."""
        return self._meter.channels

    def statistics(self) -> dict[str, int]:
        """Counts since the driver was made, over all sessions. [1]"""
        return {**self._meter.statistics(), **self._counts}

    def facts(self) -> Mapping[str, Any]:
        """What else there is to say of the instrument."""
        line = self._line
        return {**self._meter.facts(), **({"port": line.device} if line.device != line.place.port else {})}

    async def run(self, emit: Emit) -> None:
        """One session; ends only by DriverError, by cancelling, or by what `emit` raises."""
        try:
            with self._line.visit(self.name) as visit:
                try:
                    await visit.open()
                    await self._rounds_without_end(visit, emit)
                finally:
                    self._counts["unasked_bytes"] += visit.unasked
                    self._meter.tell(emit, now=True)
        finally:
            await asyncio.sleep(0)  # a closed connection gives its descriptor back at the loop's next turn

    async def _rounds_without_end(self, visit: Visit, emit: Emit) -> None:
        clock = asyncio.get_running_loop().time
        due = heard = clock()
        begun = settled = False
        while True:
            try:
                settled = settled or await self._settle(visit)
                if not begun:
                    begun = True
                    self._meter.begin(emit)
                await self._round(visit, emit)
                heard = clock()
            except GarbledError as error:
                settled = False
                self._meter.unreadable(NO_ANSWER, error.data, self._now(), emit)
                if clock() - heard > self._silence:
                    raise self._only_garbled() from error
            self._meter.tell(emit)
            due = max(due + self._every, clock())
            await visit.pause(due - clock())

    async def _round(self, visit: Visit, emit: Emit) -> None:
        answers: list[tuple[str, bytes]] = []
        for batch in self._decoder.batches:
            answers += await self._ask(visit, batch)
            if not self._together:
                self._take(answers, emit)
                answers = []
        if answers:
            self._take(answers, emit)

    def _take(self, answers: list[tuple[str, bytes]], emit: Emit) -> None:
        data = b"".join(answer for _, answer in answers)
        self._meter.take(self._decoder.decode_all(answers), data, self._now(), emit)

    async def _ask(self, visit: Visit, batch: Batch) -> list[tuple[str, bytes]]:
        """Answers with their sources: several where the unit does not have what lies between the wanted registers."""
        try:
            answer = await visit.ask(self._unit, batch, self._within)
        except RefusedError as error:
            self._counts["declined"] += 1
            before, known = set(self._decoder.batches), batch in self._answered
            if error.code in WRONG_RANGE and not known and self._decoder.without_gaps(batch):
                apart = [one for one in self._decoder.batches if one not in before]
                return [answer for one in apart for answer in await self._ask(visit, one)]
            raise refusal_error(self.name, self._unit, batch, error.code, answered_before=known) from error
        except SilentError:
            self._counts["unanswered"] += 1
            raise
        self._answered.add(batch)
        return [(batch.source, answer)]

    async def _settle(self, visit: Visit) -> bool:
        """Make sure that nothing the unit was asked before is still to come; True."""
        question = settling(self._decoder.batches)
        if question is None:
            await visit.pause(self._within)
            return True
        try:
            await visit.ask(self._unit, question.batch, self._within)
        except RefusedError:
            pass  # an answer, too
        except SilentError:
            if question.certain:
                self._counts["unanswered"] += 1
                raise
        return True

    def _only_garbled(self) -> SilentError:
        what = f"for {self._silence:g} s only what is no answer came from unit {self._unit} on {self._line.place}"
        hint = "check that no two units have this number, and the profile's 'within'"
        if self._line.place.port:
            hint += f", the line's settings (now {self._line.place.settings}), its cable and its termination"
        return SilentError(self.name, what, hint)


def place_of(name: str, address: str, section: ModbusSection) -> Place:
    """The line that an address names; SettingsError where it names none."""
    example = "write for example tcp://192.0.2.5:502, /dev/ttyUSB0, COM3, or usb: and the serial number of its adapter"
    scheme, separator, _ = address.partition("://")
    if not separator:
        by_number = address.lower().startswith(BY_SERIAL_NUMBER)
        line = BY_SERIAL_NUMBER + address[len(BY_SERIAL_NUMBER) :] if by_number else address
        nothing = not line.removeprefix(BY_SERIAL_NUMBER).strip()
        if nothing or (not by_number and _HOST.fullmatch(address)):
            raise SettingsError(name, f"'{address}' is no address of a Modbus line", example)
        return Place(port=line, baud=section.baud, parity=section.parity, stop_bits=section.stop_bits)
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port or PORT
    except ValueError as error:
        raise SettingsError(name, f"'{address}' is no address of a Modbus server ({error})", example) from error
    if scheme.lower() != "tcp" or not host or parts.path.strip("/") or parts.username or parts.query or parts.fragment:
        raise SettingsError(name, f"'{address}' is no address of a Modbus server", example)
    return Place(host=host, number=port)


def _key(place: Place) -> str:
    """A line that was set anew is another one: its old self may still have a session that ends."""
    return f"{place} at {place.settings}" if place.port else str(place)


def _unit(name: str, device: int | None, place: Place) -> int:
    if device is None and not place.port:
        return 1
    if device is None:
        what = "it has no 'device': every unit on a serial line has a number"
        raise SettingsError(name, what, "write for example device = 1, as the instrument is set")
    if device in UNITS or (device in DIRECT and not place.port):
        return device
    raise SettingsError(name, f"device {device} cannot be the number of a unit", "write its number, 1 to 247")
