"""A radio without hardware: two Bluetooth stacks of the library `bumble` on a simulated link, one of them behind bleak.

What is real here: ATT and GATT between the two, MTU, descriptors, disconnection. There is no BlueZ.
"""

import asyncio
import uuid
from collections.abc import Callable
from typing import Any, ClassVar

from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData
from bumble.device import Device, Peer
from bumble.hci import Address
from bumble.host import Host
from bumble.link import LocalLink
from bumble.transport.common import AsyncPipeSink

from drivers.codecs.characteristics import full_uuid

PROPERTIES = {"read": 2, "write-without-response": 4, "write": 8, "notify": 16, "indicate": 32}
UUIDS = (
    AdvertisingData.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
    AdvertisingData.INCOMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
)


def long_uuid(found: UUID) -> str:
    """As bleak writes it."""
    data = bytes(found.uuid_bytes)[::-1]
    return full_uuid(data.hex()) if len(data) < 16 else str(uuid.UUID(bytes=data))


def device(link: LocalLink, name: str, address: str) -> Device:
    """A stack on the link."""
    controller = Controller(name, link=link, public_address=address)
    return Device(name=name, address=Address(address), host=Host(controller, AsyncPipeSink(controller)))


class Air:
    """The link with our own stack on it, and the classes that put it behind bleak."""

    def __init__(self) -> None:
        self.link = LocalLink()
        self.central = device(self.link, "central", "F0:00:00:00:00:01")
        self.scanner: type[BaseBleakScanner] = type("Scanner", (AirScanner,), {"central": self.central})
        self.client: type[BaseBleakClient] = type("Client", (AirClient,), {"central": self.central})


class AirScanner(BaseBleakScanner):
    """bleak's scanner on the stack."""

    central: ClassVar[Any]

    def __init__(self, detection_callback: Any, service_uuids: Any, scanning_mode: Any, **more: Any) -> None:
        super().__init__(detection_callback, service_uuids)

    async def start(self) -> None:
        """Begin."""
        self.central.on("advertisement", self._heard)
        await self.central.start_scanning(filter_duplicates=False)

    async def stop(self) -> None:
        """End."""
        await self.central.stop_scanning()
        self.central.remove_listener("advertisement", self._heard)

    def _heard(self, advertisement: Any) -> None:
        data = advertisement.data
        said = {
            long_uuid(found): bytes(value) for found, value in data.get_all(AdvertisingData.SERVICE_DATA_16_BIT_UUID)
        }
        services = [long_uuid(found) for kind in UUIDS for found in (data.get(kind) or [])]
        name = data.get(AdvertisingData.COMPLETE_LOCAL_NAME)
        found = AdvertisementData(name, {}, said, services, None, advertisement.rssi, (advertisement,))
        address = advertisement.address.to_string(False)
        self.call_detection_callbacks(
            self.create_or_update_device(address, address, name, advertisement.address, found), found
        )


class AirClient(BaseBleakClient):
    """bleak's client on the stack."""

    central: ClassVar[Any]

    def __init__(self, device: Any, services: Any = None, **more: Any) -> None:
        super().__init__(device, disconnected_callback=more["disconnected_callback"], timeout=more["timeout"])
        self._device = device
        self._connection: Any = None
        self._peer: Any = None

    @property
    def mtu_size(self) -> int:
        """Longest message. [bytes]"""
        return int(self._peer.gatt_client.mtu)

    @property
    def is_connected(self) -> bool:
        """Whether there is a connection."""
        return self._connection is not None

    @property
    def name(self) -> str:
        """As advertised."""
        return str(self._device.name)

    async def connect(self, pair: bool, **more: Any) -> None:
        """Connect and learn what there is."""
        self._connection = await asyncio.wait_for(self.central.connect(self._device.details), self._timeout)
        self._connection.on("disconnection", self._gone)
        self._peer = Peer(self._connection)
        await self._peer.request_mtu(247)
        services = BleakGATTServiceCollection()
        for found in await self._peer.discover_services():
            service = BleakGATTService(found, found.handle, long_uuid(found.uuid))
            services.add_service(service)
            for one in await self._peer.discover_characteristics(service=found):
                names: Any = [name for name, bit in PROPERTIES.items() if one.properties & bit]
                characteristic = BleakGATTCharacteristic(
                    one, one.handle, long_uuid(one.uuid), names, lambda: self.mtu_size - 3, service
                )
                services.add_characteristic(characteristic)
                for descriptor in await self._peer.discover_descriptors(one):
                    services.add_descriptor(
                        BleakGATTDescriptor(descriptor, descriptor.handle, long_uuid(descriptor.type), characteristic)
                    )
        self.services = services

    def _gone(self, *_: Any) -> None:
        self._connection = self.services = None
        if self._disconnected_callback:
            self._disconnected_callback()

    async def disconnect(self) -> None:
        """End the connection."""
        if self._connection:
            await self._connection.disconnect()

    async def pair(self, *_: Any, **more: Any) -> None:
        """Not needed."""
        raise NotImplementedError

    unpair = pair

    async def read_gatt_char(self, characteristic: Any, **more: Any) -> bytearray:
        """ATT read."""
        return bytearray(await self._peer.read_value(characteristic.obj))

    async def read_gatt_descriptor(self, descriptor: Any, **more: Any) -> bytearray:
        """ATT read."""
        return bytearray(await self._peer.read_value(descriptor.obj))

    async def write_gatt_char(self, characteristic: Any, data: Any, response: bool) -> None:
        """Not needed."""
        raise NotImplementedError

    async def write_gatt_descriptor(self, descriptor: Any, data: Any) -> None:
        """Not needed."""
        raise NotImplementedError

    async def start_notify(self, characteristic: Any, callback: Callable[[bytearray], None], **more: Any) -> None:
        """Write the configuration, and hear."""
        await self._peer.subscribe(characteristic.obj, lambda value: callback(bytearray(value)))

    async def stop_notify(self, characteristic: Any) -> None:
        """The connection is ended instead."""
        raise NotImplementedError
