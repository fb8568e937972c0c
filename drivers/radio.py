"""The Bluetooth radio of this computer, shared by all instruments of a call: hears, finds, connects.

One search serves all who listen, and one connection is made at a time, since the system refuses a second one meanwhile.
Whatever the library raises leaves here as an error of the program. A connection is never used again: each session has
its own.
"""

import asyncio
import logging
import sys
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass, field

from bleak import BleakAdapter, BleakClient, BleakScanner
from bleak.backends.client import BaseBleakClient
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakGATTProtocolError,
)

from drivers.base import DriverError
from drivers.endings import bounded, carried_out
from drivers.radio_bluez import know_version, learn_anew, release
from drivers.radio_link import Link
from drivers.radio_reasons import Reason, radio_error

START = 5.0
"""Longest time to begin a search. [s]"""
STALE = 5.0
"""A search that heard nobody for so long is begun anew for whoever joins it. [s]"""
END = 0.8
"""Longest time to take a connection or a search down. [s]"""

_UNAVAILABLE = {
    BleakBluetoothNotAvailableReason.NO_BLUETOOTH: Reason.NO_ADAPTER,
    BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE: Reason.NO_LOW_ENERGY,
    BleakBluetoothNotAvailableReason.POWERED_OFF: Reason.OFF,
    BleakBluetoothNotAvailableReason.DENIED_BY_USER: Reason.DENIED,
    BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM: Reason.DENIED,
    BleakBluetoothNotAvailableReason.DENIED_BY_UNKNOWN: Reason.DENIED,
    BleakBluetoothNotAvailableReason.UNKNOWN: Reason.NO_SERVICE,
}
_ON_BUS = {
    "org.freedesktop.DBus.Error.ServiceUnknown": Reason.NO_SERVICE,
    "org.freedesktop.DBus.Error.NameHasNoOwner": Reason.NO_SERVICE,
    "org.freedesktop.DBus.Error.NoReply": Reason.NO_SERVICE,
    "org.freedesktop.DBus.Error.Disconnected": Reason.NO_SERVICE,
    "org.freedesktop.DBus.Error.AccessDenied": Reason.DENIED,
    "org.bluez.Error.NotReady": Reason.OFF,
    "org.bluez.Error.InProgress": Reason.BUSY,
    "org.bluez.Error.NotAuthorized": Reason.PAIRING,
    "org.bluez.Error.AuthenticationFailed": Reason.PAIRING,
    "org.bluez.Error.AuthenticationRejected": Reason.PAIRING,
    "org.bluez.Error.AuthenticationCanceled": Reason.PAIRING,
    "org.bluez.Error.AuthenticationTimeout": Reason.PAIRING,
    "org.bluez.Error.NotConnected": Reason.LOST,
}
"""Names of errors on the system bus. Source: BlueZ doc/org.bluez.*.rst and src/error.c, from memory."""
_SECURITY = {0x05, 0x08, 0x0C, 0x0F}
"""ATT: insufficient authentication, authorization, encryption key size, encryption.

Source: Bluetooth Core Specification 5.4, volume 3, part F, table 3.4.
"""
_NEVER = {0x01, 0x02, 0x03, 0x06, 0x0A}
"""ATT: invalid handle, read not permitted, write not permitted, request not supported, attribute not found."""
_OLD = {"org.freedesktop.DBus.Error.UnknownObject", "org.freedesktop.DBus.Error.UnknownMethod"}
"""Errors that show that what the library remembers of the system is not so any more."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Heard:
    """An advertisement."""

    address: str
    name: str
    signal: int
    """[dBm]"""
    services: tuple[str, ...]
    """UUIDs, long."""
    data: Mapping[str, bytes]
    """Of services, by UUID."""
    device: BLEDevice = field(repr=False)


Hear = Callable[[Heard], None]


class Radio:
    """The radio; `scanner` and `client` stand in for the system's own, for a radio that is no hardware."""

    def __init__(
        self, *, scanner: type[BaseBleakScanner] | None = None, client: type[BaseBleakClient] | None = None
    ) -> None:
        logging.getLogger("bleak.backends.bluezdbus.version").setLevel(logging.ERROR)  # a guess that nobody can act on
        self._scanner_type = scanner
        self._client_type = client
        self._scanner: BleakScanner | None = None
        self._listeners: list[Hear] = []
        self._searching = asyncio.Lock()
        self._connecting = asyncio.Lock()
        self._users = 0
        self._links = 0
        """Connections that are up."""
        self._last = 0.0
        """When somebody was heard. [s, of the loop]"""

    @asynccontextmanager
    async def listen(self, instrument: str, hear: Hear) -> AsyncIterator[None]:
        """Hear advertisements of everybody; `hear` is called on the loop and must not raise."""
        async with self.in_use():
            self._listeners.append(hear)
            try:
                async with self._searching:
                    await self._search(instrument)
                yield
            finally:
                self._listeners.remove(hear)
                if not self._listeners:
                    await carried_out(self._stop(), within=END)

    async def find(self, instrument: str, address: str, services: tuple[str, ...], *, within: float) -> BLEDevice:
        """The device at an address; also one that is silent because it is connected already.

        `services` are those of which it has one. NotFoundError when nothing is heard of it `within` [s].
        """
        found: asyncio.Future[BLEDevice] = asyncio.get_running_loop().create_future()

        def hear(heard: Heard) -> None:
            if heard.address.upper() == address.upper() and not found.done():
                found.set_result(heard.device)

        async with self.in_use():
            if device := await self._connected_already(instrument, address, services):
                return device
            async with self.listen(instrument, hear):
                done, _ = await asyncio.wait({found}, timeout=within)
        if not done:
            raise radio_error(Reason.UNSEEN, instrument, address)
        return found.result()

    @asynccontextmanager
    async def connect(
        self, instrument: str, device: BLEDevice, lost: Callable[[DriverError], None], *, within: float
    ) -> AsyncIterator[Link]:
        """A connection with all its services known; `lost` is called when it is gone."""
        gone = radio_error(Reason.LOST, instrument, device.address)
        backend = {"backend": self._client_type} if self._client_type else {}
        client = BleakClient(device, lambda _: lost(gone), timeout=within, **backend)  # type: ignore[arg-type]
        async with self.in_use():
            try:
                async with self._connecting:
                    with translated(instrument, device.address, Reason.UNREACHABLE):
                        await bounded(client.connect(), within=within + 1.0, ending=END)
                self._links += 1
                try:
                    yield Link(client, lambda fallback: translated(instrument, device.address, fallback))
                finally:
                    self._links -= 1
            except DriverError as error:
                if error.__cause__:
                    await carried_out(self._forget(error.__cause__, device), within=END)
                raise
            finally:
                await carried_out(client.disconnect(), within=END)

    @asynccontextmanager
    async def in_use(self) -> AsyncIterator[None]:
        """Keep what is known of the system between one thing and the next; given back by the last who uses it."""
        self._users += 1
        try:
            await know_version()
            yield
        finally:
            self._users -= 1
            if not self._users:
                await carried_out(release(), within=END)

    async def _connected_already(self, instrument: str, address: str, services: tuple[str, ...]) -> BLEDevice | None:
        if self._client_type or not services or sys.platform == "win32":  # there it cannot be asked
            return None
        with translated(instrument, address, Reason.NO_SCAN):
            devices = await bounded(_connected(services), within=START, ending=END)
        return next((device for device in devices if device.address.upper() == address.upper()), None)

    async def _search(self, instrument: str) -> None:
        """Begin a search where there is none, or anew where it hears nobody."""
        clock = asyncio.get_running_loop().time
        if self._scanner and clock() - self._last > STALE:
            await self._stop()
        if self._scanner:
            return
        scanner = self._made()
        with translated(instrument, "", Reason.NO_SCAN):
            await bounded(scanner.start(), within=START, ending=END)
        self._scanner, self._last = scanner, clock()

    def _made(self) -> BleakScanner:
        if self._scanner_type:
            return BleakScanner(self._hear, backend=self._scanner_type)
        if sys.platform == "linux":  # each one is told, as one without a change says that the instrument is there
            return BleakScanner(self._hear, bluez={"filters": {"DuplicateData": True}})
        return BleakScanner(self._hear)

    async def _forget(self, error: BaseException, device: BLEDevice) -> None:
        """Drop what is remembered of the system and is not so any more, without harm to other connections."""
        gone = _reason(error, Reason.LOST) in (Reason.NO_SERVICE, Reason.NO_ADAPTER)
        if gone and not self._links:  # all who listen begin again
            await self._stop()
            await release(forced=True)
        elif (gone or _is_old(error)) and sys.platform == "linux" and not self._client_type:
            searches = await learn_anew(device.details["path"])
            if not searches and self._listeners:  # BlueZ was started anew, and knows nothing of the search
                async with self._searching:
                    await self._stop()
                    await self._search("")

    async def _stop(self) -> None:
        scanner, self._scanner = self._scanner, None
        if scanner:
            try:
                await bounded(scanner.stop(), within=END / 2, ending=END / 4)
            except Exception as error:  # it is over in any case
                _log.debug("search not ended: %r", error)

    def _hear(self, device: BLEDevice, data: AdvertisementData) -> None:
        self._last = asyncio.get_running_loop().time()
        name = data.local_name or device.name or ""
        heard = Heard(device.address, name, data.rssi, tuple(data.service_uuids), dict(data.service_data), device)
        for hear in tuple(self._listeners):
            hear(heard)


@contextmanager
def translated(instrument: str, address: str, fallback: Reason) -> Iterator[None]:
    """Errors of the library as errors of the program; `fallback` where it does not say why."""
    try:
        yield
    except DriverError:
        raise
    except Exception as error:
        reason = _reason(error, fallback)
        said = reason in (Reason.NO_SCAN, Reason.UNREACHABLE, Reason.REFUSED, Reason.FAILED, Reason.NO_SERVICE)
        raise radio_error(reason, instrument, address, _detail(error) if said else "") from error


def _reason(error: BaseException, fallback: Reason) -> Reason:
    if isinstance(error, BleakBluetoothNotAvailableError):
        return _UNAVAILABLE.get(error.reason, Reason.NO_SERVICE)
    if isinstance(error, BleakGATTProtocolError):
        code = int(error.code)
        return Reason.PAIRING if code in _SECURITY else Reason.REFUSED if code in _NEVER else Reason.FAILED
    if isinstance(error, BleakDBusError):
        unpaired = error.dbus_error == "org.bluez.Error.NotPermitted" and "paired" in str(error)
        return Reason.PAIRING if unpaired else _ON_BUS.get(error.dbus_error, fallback)
    if isinstance(error, TimeoutError):
        return Reason.SLOW if fallback is Reason.LOST else fallback
    return _of_system(error, fallback)


def _of_system(error: BaseException, fallback: Reason) -> Reason:
    if isinstance(error, BleakDeviceNotFoundError):
        return Reason.UNSEEN
    if isinstance(error, PermissionError) or "Access Denied" in str(error):
        return Reason.DENIED
    if isinstance(error, FileNotFoundError | ConnectionError) and fallback is not Reason.LOST:
        return Reason.NO_SERVICE  # the system bus is not there
    return fallback


def _is_old(error: BaseException) -> bool:
    """Whether what the library remembers of the instrument may be the cause."""
    name = error.dbus_error if isinstance(error, BleakDBusError) else ""
    return name in _OLD or _reason(error, Reason.LOST) is Reason.UNSEEN


def _detail(error: Exception) -> str:
    return str(error) or type(error).__name__


async def _connected(services: tuple[str, ...]) -> list[BLEDevice]:
    adapter = await BleakAdapter.get()
    return await adapter.get_connected_devices(list(services))
