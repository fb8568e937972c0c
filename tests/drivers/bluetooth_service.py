"""The part of BlueZ that the library talks to, on a private bus, with instruments that tests let behave as they like.

It runs in a thread with a loop of its own. Objects, interfaces and errors: BlueZ `doc/org.bluez.*.rst`, from memory,
and as the library `bleak` reads them. As BlueZ does, it tells an answer to a question as a change of the value too.
"""

import asyncio
import select
import threading
from collections import Counter
from collections.abc import Callable, Coroutine, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from drivers.codecs.characteristics import full_uuid
from tests.drivers.bluetooth_peers import Peer, PeerCharacteristic

ADAPTER, DEVICE, SERVICE, CHARACTERISTIC, DESCRIPTOR = (
    f"org.bluez.{name}1" for name in ("Adapter", "Device", "GattService", "GattCharacteristic", "GattDescriptor")
)
MANAGER, PROPERTIES = "org.freedesktop.DBus.ObjectManager", "org.freedesktop.DBus.Properties"
HCI = "/org/bluez/hci0"
INTERVAL = 0.01
"""Time from one advertisement of a peer to the next. [s]"""

Objects = dict[str, dict[str, dict[str, Variant]]]


def path_of(address: str) -> str:
    """Object of a device."""
    return f"{HCI}/dev_{address.replace(':', '_')}"


class BluetoothService:
    """BlueZ with one adapter; the methods may be called from any thread."""

    def __init__(self, *peers: Peer) -> None:
        self.peers = {path_of(peer.address): peer for peer in peers}
        self.calls: Counter[str] = Counter()
        """How often each method was called."""
        self.most_connecting = 0
        """How many connections were made at the same time, at most."""
        self._connecting = 0
        self.hanging: set[str] = set()
        """Methods that never answer."""
        self._objects: Objects = {}
        self._bus: MessageBus | None = None
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="bluetooth service")
        self._thread.start()
        self._answering: set[asyncio.Task[None]] = set()
        self._advertising: asyncio.Task[None] | None = None
        self.start()

    def start(self) -> None:
        """BlueZ comes up."""
        self._do(self._start())

    def stop(self) -> None:
        """BlueZ goes down, and forgets everything."""
        self._do(self._stop())

    def close(self) -> None:
        """It goes for good."""
        self.stop()
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()

    @property
    def searching(self) -> bool:
        """Whether somebody searches."""
        found = self._objects.get(HCI, {}).get(ADAPTER, {}).get("Discovering")
        return bool(found and found.value)

    def notifying(self, peer: Peer) -> bool:
        """Whether everything of a peer that is subscribed to has been: at least one."""
        return peer.connected and any(one.notifying for one in peer.paths.values())

    def power(self, *, on: bool) -> None:
        """Switch the adapter."""
        self._do(self._change(HCI, ADAPTER, Powered=Variant("b", on), Discovering=Variant("b", False)))

    def set_roles(self, *roles: str) -> None:
        """What the adapter can be."""
        self._do(self._change(HCI, ADAPTER, Roles=Variant("as", list(roles))))

    def remove_adapter(self) -> None:
        """The adapter is pulled out."""
        self._do(self._remove_below(HCI))

    def add_adapter(self) -> None:
        """The adapter is plugged in."""
        self._do(self._add(HCI, self._adapter()))

    def say(self, peer: Peer, uuid: str, values: Sequence[bytes]) -> None:
        """A characteristic notifies, where somebody subscribed."""
        self._do(self.saying(peer, uuid, values))

    def advertise(self, peer: Peer, uuid: str, messages: Sequence[bytes]) -> None:
        """Each of the messages is advertised, once."""
        self._do(self.advertising(peer, uuid, messages))

    def disconnect(self, peer: Peer, *, away: bool = False) -> None:
        """The peer drops the connection, and is away from then on."""
        self._do(self._disconnect(peer, away=away))

    def remove(self, peer: Peer) -> None:
        """BlueZ forgets the device, without a word on its connection."""
        self._do(self._remove_below(path_of(peer.address)))

    @contextmanager
    def flooding(self, say: Callable[[], Coroutine[Any, Any, object]]) -> Iterator[None]:
        """Something is said again and again, as fast as the bus takes it."""

        async def flood() -> None:
            while True:
                await say()
                await asyncio.sleep(0)

        async def end(task: asyncio.Task[None]) -> None:
            task.cancel()
            await asyncio.wait({task})

        async def begin() -> asyncio.Task[None]:
            return asyncio.create_task(flood())

        task = asyncio.run_coroutine_threadsafe(begin(), self._loop).result(timeout=10)
        try:
            yield
        finally:
            self._do(end(task))

    def _do(self, work: Coroutine[Any, Any, object]) -> None:
        asyncio.run_coroutine_threadsafe(work, self._loop).result(timeout=10)

    async def _start(self) -> None:
        self._objects = {HCI: self._adapter()}
        self._bus = await MessageBus(bus_type=BusType.SYSTEM).connect()
        self._bus.add_message_handler(self._handle)
        await self._bus.request_name("org.bluez")
        self._advertising = asyncio.create_task(self._advertise_all())

    async def _stop(self) -> None:
        if self._advertising:
            self._advertising.cancel()
            await asyncio.wait({self._advertising})
        for task in tuple(self._answering):
            task.cancel()
        for peer in self.peers.values():
            peer.connected = False
            peer.paths.clear()
        bus, self._bus = self._bus, None
        if bus:
            bus.disconnect()
            try:
                await bus.wait_for_disconnect()
            except Exception:  # the bus was killed
                return

    def _adapter(self) -> dict[str, dict[str, Variant]]:
        return {
            ADAPTER: {
                "Address": Variant("s", "00:00:5E:00:53:FE"),
                "Powered": Variant("b", True),
                "Discovering": Variant("b", False),
                "Roles": Variant("as", ["central"]),
            }
        }

    async def _advertise_all(self) -> None:
        """Who is there and not connected is heard by who searches."""
        while True:
            if self.searching:
                for peer in tuple(self.peers.values()):
                    if peer.present and not peer.connected:
                        await self._hear(peer, peer.data)
            await asyncio.sleep(INTERVAL)

    async def advertising(self, peer: Peer, uuid: str, messages: Sequence[bytes]) -> None:
        """In its own loop: each of the messages is advertised, once."""
        for message in messages:
            await self._hear(peer, {full_uuid(uuid): message})

    async def saying(self, peer: Peer, uuid: str, values: Sequence[bytes]) -> None:
        """In its own loop: a characteristic notifies."""
        path = next(path for path, one in peer.paths.items() if full_uuid(one.uuid) == full_uuid(uuid))
        for value in values:
            await self._change(path, CHARACTERISTIC, keep=False, Value=Variant("ay", value))

    async def _hear(self, peer: Peer, data: dict[str, bytes]) -> None:
        path = path_of(peer.address)
        said: dict[str, Any] = {"RSSI": Variant("n", peer.signal)}
        if data:
            said["ServiceData"] = Variant("a{sv}", {uuid: Variant("ay", one) for uuid, one in data.items()})
        if path in self._objects:
            await self._change(path, DEVICE, **said)
            return
        alias = peer.name or peer.address.replace(":", "-")
        device = {
            "Address": Variant("s", peer.address),
            "AddressType": Variant("s", "random"),
            "Alias": Variant("s", alias),
            "Adapter": Variant("o", HCI),
            "Paired": Variant("b", False),
            "Connected": Variant("b", False),
            "ServicesResolved": Variant("b", False),
            "UUIDs": Variant("as", [full_uuid(uuid) for uuid in peer.advertised]),
            **({"Name": Variant("s", peer.name)} if peer.name else {}),
            **said,
        }
        await self._add(path, {DEVICE: device})

    async def _disconnect(self, peer: Peer, *, away: bool = False) -> None:
        path = path_of(peer.address)
        peer.connected, peer.present = False, not away
        for one in peer.paths.values():
            one.notifying = False
        if path in self._objects:
            await self._change(path, DEVICE, ServicesResolved=Variant("b", False))
            await self._change(path, DEVICE, Connected=Variant("b", False))

    async def _signal(self, path: str, interface: str, member: str, signature: str, body: list[Any]) -> None:
        await self._send(
            Message(
                message_type=MessageType.SIGNAL,
                path=path,
                interface=interface,
                member=member,
                signature=signature,
                body=body,
            )
        )

    async def _send(self, message: Message) -> None:
        if self._bus and self._bus._sock:
            select.select([], [self._bus._sock], [], 5.0)  # the library's bus dies of a socket that is full
            await self._bus.send(message)

    async def _change(self, path: str, interface: str, *, keep: bool = True, **properties: Any) -> None:
        if keep and path in self._objects:
            self._objects[path][interface].update(properties)
        await self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", [interface, properties, []])

    async def _add(self, path: str, interfaces: dict[str, dict[str, Variant]]) -> None:
        self._objects[path] = interfaces
        await self._signal("/", MANAGER, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])

    async def _remove_below(self, start: str) -> None:
        for path in sorted((path for path in self._objects if path.startswith(start)), reverse=True):
            await self._signal("/", MANAGER, "InterfacesRemoved", "oas", [path, list(self._objects.pop(path))])

    def _handle(self, message: Message) -> Message | bool | None:
        if message.message_type is not MessageType.METHOD_CALL or not (message.path or "").startswith("/"):
            return None
        if message.interface not in (MANAGER, ADAPTER, DEVICE, CHARACTERISTIC, DESCRIPTOR):
            return None
        member = message.member or ""
        self.calls[member] += 1
        if member in self.hanging:
            return True
        task = self._loop.create_task(self._answer(message, member))
        self._answering.add(task)
        task.add_done_callback(self._answering.discard)
        return True

    async def _answer(self, message: Message, member: str) -> None:
        path = message.path or ""
        if member == "GetManagedObjects":
            answer = Message.new_method_return(message, "a{oa{sa{sv}}}", [self._objects])
        elif path not in self._objects:
            answer = Message.new_error(message, "org.freedesktop.DBus.Error.UnknownObject", f"no object {path}")
        elif message.interface == ADAPTER:
            answer = await self._of_adapter(message, member)
        elif message.interface == DEVICE:
            answer = await self._of_device(message, member, self.peers[path])
        else:
            answer = await self._of_value(message, member)
        await self._send(answer)

    async def _of_adapter(self, message: Message, member: str) -> Message:
        if not self._objects[HCI][ADAPTER]["Powered"].value:
            return Message.new_error(message, "org.bluez.Error.NotReady", "Resource Not Ready")
        if member in ("StartDiscovery", "StopDiscovery"):
            await self._change(HCI, ADAPTER, Discovering=Variant("b", member == "StartDiscovery"))
        return Message.new_method_return(message)

    async def _of_device(self, message: Message, member: str, peer: Peer) -> Message:
        if member == "Disconnect":
            await self._disconnect(peer, away=not peer.present)
            return Message.new_method_return(message)
        if peer.refuses or not peer.present:
            return Message.new_error(message, *(peer.refuses or ("org.bluez.Error.Failed", "le-connection-abort")))
        path = message.path or ""
        self._connecting += 1
        self.most_connecting = max(self.most_connecting, self._connecting)
        await asyncio.sleep(0.005)
        self._connecting -= 1
        peer.connected = True
        peer.sessions += 1
        await self._change(path, DEVICE, Connected=Variant("b", True))
        await self._show(path, peer)
        await self._change(path, DEVICE, ServicesResolved=Variant("b", True))
        return Message.new_method_return(message)

    async def _show(self, device: str, peer: Peer) -> None:
        """The objects of a connected peer, each before what stands below it."""
        peer.paths.clear()
        handle = 0x10
        for uuid, characteristics in peer.services.items():
            service = f"{device}/service{handle:04x}"
            handle += 1
            facts = {
                "UUID": Variant("s", full_uuid(uuid)),
                "Primary": Variant("b", True),
                "Device": Variant("o", device),
            }
            await self._add(service, {SERVICE: facts})
            for one in characteristics:
                path = f"{service}/char{handle:04x}"
                handle += 1
                peer.paths[path] = one
                await self._add(path, {CHARACTERISTIC: self._characteristic(one, service)})
                for descriptor in one.descriptors:
                    below = {"UUID": Variant("s", full_uuid(descriptor)), "Characteristic": Variant("o", path)}
                    await self._add(f"{path}/desc{handle:04x}", {DESCRIPTOR: below})
                    handle += 1

    def _characteristic(self, one: PeerCharacteristic, service: str) -> dict[str, Variant]:
        return {
            "UUID": Variant("s", full_uuid(one.uuid)),
            "Service": Variant("o", service),
            "Flags": Variant("as", list(one.flags)),
            "Notifying": Variant("b", False),
            "MTU": Variant("q", 247),
        }

    async def _of_value(self, message: Message, member: str) -> Message:
        path = message.path or ""
        peer = next(peer for start, peer in self.peers.items() if path.startswith(f"{start}/"))
        if message.interface == DESCRIPTOR:
            one = peer.paths[path.rpartition("/")[0]]
            uuid = self._objects[path][DESCRIPTOR]["UUID"].value
            found = {full_uuid(name): data for name, data in one.descriptors.items()}
            return Message.new_method_return(message, "ay", [found[uuid]])
        one = peer.paths[path]
        if one.error:
            return Message.new_error(message, *one.error)
        if member == "ReadValue":
            one.reads += 1
            session = peer.sessions
            while one.waits and not one.answers:
                await asyncio.sleep(0.002)
                if not peer.connected or peer.sessions > session:
                    return Message.new_error(message, "org.bluez.Error.NotConnected", "Not Connected")
            value = one.answers.popleft() if one.waits else one.value
            await self._change(path, CHARACTERISTIC, keep=False, Value=Variant("ay", value))
            return Message.new_method_return(message, "ay", [value])
        one.notifying = member == "StartNotify"
        return Message.new_method_return(message)
