"""What the Bluetooth library remembers of BlueZ, and how it is made to forget it; only there on Linux.

The library has no call for it: this module alone knows its inside.
"""

import asyncio
import sys
from contextlib import suppress
from typing import Any

from drivers.endings import carried_out

VERSION = 5.0
"""Longest time to ask for the version of BlueZ. [s]"""


async def know_version() -> None:
    """Let the library ask for the version of BlueZ: a question that is cancelled is never answered or put again."""
    if sys.platform != "linux":
        return
    from bleak.backends.bluezdbus.version import BlueZFeatures  # noqa: PLC0415 - only there on Linux

    if not BlueZFeatures.checked_bluez_version:
        await carried_out(BlueZFeatures.check_bluez_version(), within=VERSION)


async def release(*, forced: bool = False) -> None:
    """Close the library's own line to BlueZ, which it would keep for ever, with what it remembers of it.

    Not while others use it, unless `forced`: then they are told that their connections are lost.
    """
    manager = _manager()
    if manager is None:
        return
    in_use = any(manager._advertisement_callbacks.values()) or bool(manager._device_watchers)
    if in_use and not forced:
        return
    if not in_use and manager._bus_watcher_task:
        manager._bus_watcher_task.cancel()
    _instances().pop(asyncio.get_running_loop())
    manager._bus.disconnect()
    with suppress(Exception):  # it raises again what ended the line, where something did
        await manager._bus.wait_for_disconnect()


async def learn_anew(device: str) -> bool:
    """Put what BlueZ says now of one device, by its path, in place of what is remembered; others are left alone.

    Who waits for the device is told that it is not connected, where it is not. Whether BlueZ searches.
    """
    manager = _manager()
    if manager is None:
        return False
    objects = await _objects(manager._bus)
    below = f"{device}/"
    for remembered in (
        manager._properties, manager._service_map, manager._characteristic_map, manager._descriptor_map,
        manager._services_cache,
    ):  # fmt: skip
        for path in [path for path in remembered if path == device or path.startswith(below)]:
            del remembered[path]
    for path, interfaces in objects.items():
        if path == device or path.startswith(below):
            manager._properties[path] = interfaces
            _place(manager, path, interfaces)
    if not objects.get(device, {}).get("org.bluez.Device1", {}).get("Connected"):
        manager._notify_device_property_changed(device, {"Connected": False})
    return any(interfaces.get("org.bluez.Adapter1", {}).get("Discovering") for interfaces in objects.values())


async def _objects(bus: Any) -> dict[str, dict[str, dict[str, Any]]]:
    """All objects of BlueZ: properties by path and interface."""
    from bleak.backends.bluezdbus.utils import assert_reply  # noqa: PLC0415 - only there on Linux
    from dbus_fast import Message, unpack_variants  # noqa: PLC0415 - only there on Linux

    asked = Message("org.bluez", "/", "org.freedesktop.DBus.ObjectManager", "GetManagedObjects")
    reply = await bus.call(asked)
    assert_reply(reply)
    found: dict[str, dict[str, dict[str, Any]]] = unpack_variants(reply.body[0])
    return found


def _place(manager: Any, path: str, interfaces: dict[str, dict[str, Any]]) -> None:
    """What stands below what, as the library keeps it."""
    for interface, above, places in (
        ("org.bluez.GattService1", "Device", manager._service_map),
        ("org.bluez.GattCharacteristic1", "Service", manager._characteristic_map),
        ("org.bluez.GattDescriptor1", "Characteristic", manager._descriptor_map),
    ):
        if interface in interfaces:
            places.setdefault(interfaces[interface][above], set()).add(path)


def _manager() -> Any:
    """Of this loop, None where it has none that is connected."""
    if sys.platform != "linux":
        return None
    manager: Any = _instances().get(asyncio.get_running_loop())
    return manager if manager is not None and manager._bus is not None else None


def _instances() -> Any:
    from bleak.backends.bluezdbus import manager  # noqa: PLC0415 - only there on Linux

    return manager._global_instances
