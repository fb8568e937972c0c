"""A serial port and the thread that works on it; the one module that knows pyserial.

A thread per port, since not every system lets an event loop wait for a serial port.
"""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import serial
from serial.tools import list_ports

from drivers.base import BusyError, ConnectionLostError, DriverError, SettingsError, SilentError
from drivers.endings import thread_ended
from drivers.handover import Handover
from drivers.port_errors import FOREIGN, OPENING, opening_error
from drivers.port_names import Lister, Plug, Whereabouts, real_name
from drivers.setup import Setup

WAIT = 0.15
"""Longest time the thread waits for a byte, and the pause after which a byte begins a message. [s]"""
WRITE_WITHIN = 1.0
"""Longest time to wait for the port to take what is sent. [s]"""
END = 1.9
"""Longest time to wait for the thread's end. [s]"""

_PARITY = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}

_log = logging.getLogger(__name__)

OpenPort = serial.Serial
"""A port that is open."""

Work = Callable[[OpenPort, Handover], None]
"""What is done on an open port, in the thread, until `handover.stop` is set."""


def plugs() -> list[Plug]:
    """Serial ports of this machine; none where the system does not tell them."""
    try:
        found = list_ports.comports()
    except OSError as error:
        _log.warning("the system does not list its serial ports: %s", error)
        return []
    return [
        Plug(
            device=one.device,
            serial_number=one.serial_number or None,
            vendor=one.vid,
            product=one.pid,
            location=one.location,
            description=one.product or (one.description if one.description != "n/a" else "") or "",
        )
        for one in found
    ]


class Holders:
    """Which port each instrument of a call holds, by the port's own name."""

    def __init__(self) -> None:
        self._names: dict[str, str] = {}

    @contextmanager
    def hold(self, port: str, instrument: str) -> Iterator[None]:
        """Hold a port; BusyError where another instrument of the call does."""
        port = real_name(port)
        holder = self._names.setdefault(port, instrument)
        if holder != instrument:
            raise BusyError(instrument, f"'{holder}' is at {port} already", "give each instrument its own port")
        try:
            yield
        finally:
            self._names.pop(port, None)

    def holder(self, port: str) -> str | None:
        """The instrument of the call that holds a port."""
        return self._names.get(real_name(port))


class Port:
    """The serial port of an instrument; SettingsError at once for settings that cannot work."""

    def __init__(
        self,
        setup: Setup,
        *,
        opener: Callable[..., serial.Serial] = serial.Serial,
        lister: Lister = plugs,
        wait: float = WAIT,
    ) -> None:
        self.name = setup.name
        section = setup.profile.serial
        if section.parity not in _PARITY:
            raise SettingsError(self.name, f"unknown parity '{section.parity}'", f"known are {', '.join(_PARITY)}")
        if not setup.address or section.baud <= 0:
            what = f"port '{setup.address}' at {section.baud} baud cannot work"
            raise SettingsError(self.name, what, "give a port and a baud rate")
        self.baud = section.baud
        self.device = setup.address
        """Where it was found last."""
        self._framing = {
            "bytesize": section.data_bits,
            "parity": _PARITY[section.parity],
            "stopbits": section.stop_bits,
        }
        self._send = (section.send or "").encode()
        self._whereabouts = Whereabouts(setup.name, setup.address, lister)
        self._holders = setup.shared.get(Holders, "", Holders)
        self._opener = opener
        self._wait = wait
        self._stuck_thread: threading.Thread | None = None
        """It was told to end, and the system does not let it."""

    def start(self, handover: Handover, work: Work) -> threading.Thread:
        """The thread that opens the port and works on it; how it ended is in the hand-over.

        SilentError while the system does not come back to the one before: a further one could only wait beside it.
        """
        if self._stuck_thread and self._stuck_thread.is_alive():
            what = f"the system is still busy opening {self.device}"
            raise SilentError(self.name, what, "plug the instrument in anew")
        self._stuck_thread = None
        thread = threading.Thread(
            target=self._run, args=(handover, work), name=f"{self.name}: {self.device}", daemon=True
        )
        thread.start()
        return thread

    async def end(self, thread: threading.Thread, handover: Handover) -> None:
        """Stop the thread and wait for its end; one that is stuck closes the port as soon as it is open."""
        handover.stop.set()
        try:
            await thread_ended(thread, handover.ended, within=END)
        finally:
            if thread.is_alive():
                self._stuck_thread = thread
                _log.warning("%s: the system does not come back from opening %s", self.name, self.device)

    def _run(self, handover: Handover, work: Work) -> None:
        try:
            self.device = self._whereabouts.find()
            with self._holders.hold(self.device, self.name), self._open() as port:
                self._whereabouts.confirm(self.device)
                if self._send:
                    port.write(self._send)
                handover.opened = True
                handover.signal()
                work(port, handover)
        except serial.SerialTimeoutException as error:
            handover.failure = self._stuck()
            handover.failure.__cause__ = error
        except FOREIGN as error:
            handover.failure = self._lost()
            handover.failure.__cause__ = error
        except Exception as error:  # ours, or a defect: the session raises it
            handover.failure = error
        finally:
            handover.end()

    def _open(self) -> serial.Serial:
        try:
            return self._opener(
                port=self.device,
                baudrate=self.baud,
                timeout=self._wait,
                write_timeout=WRITE_WITHIN,
                exclusive=True,
                **self._framing,
            )
        except OPENING as error:
            settings = f"{self.baud} baud and {self._framing['bytesize']} data bits"
            raise opening_error(self.name, self.device, settings, error) from error

    def _lost(self) -> DriverError:
        return ConnectionLostError(self.name, f"{self.device} was there and is gone", "check its plug and cable")

    def _stuck(self) -> DriverError:
        what = f"{self.device} takes nothing of what is sent"
        return SilentError(self.name, what, "check its cable and handshake, or plug it in anew")


class Ear:
    """Listens to a port and sends nothing, its handshake lines at rest as far as the system allows; a context."""

    def __init__(self, device: str, *, baud: int = 9600, opener: Callable[..., Any] = serial.Serial) -> None:
        self._device = device
        self._baud = baud
        self._opener = opener
        self._port: Any = None

    def __enter__(self) -> "Ear":
        """DriverError where it cannot be opened."""
        try:
            port = self._opener(port=None, baudrate=self._baud, timeout=WAIT, exclusive=True)
            port.dtr = port.rts = False
            port.port = self._device
            port.open()
        except OPENING as error:
            raise opening_error(self._device, self._device, f"{self._baud} baud", error) from error
        self._port = port
        return self

    def hear(self) -> bytes:
        """What came meanwhile, after a short while nothing; DriverError where the port is gone."""
        assert self._port is not None
        try:
            return bytes(self._port.read(1) + self._port.read(min(self._port.in_waiting, 1024)))
        except FOREIGN as error:
            raise ConnectionLostError(self._device, f"{self._device} is gone", "plug it in anew") from error

    def __exit__(self, *_: object) -> None:
        if self._port is not None:
            with suppress(*FOREIGN):
                self._port.close()
