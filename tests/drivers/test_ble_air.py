"""The driver over another Bluetooth stack than BlueZ: real ATT and GATT on a simulated link."""

import struct
from typing import Any

from bumble.core import AdvertisingData
from bumble.gatt import Characteristic, Descriptor, Service
from bumble.profiles.battery_service import BatteryService
from bumble.profiles.device_information_service import DeviceInformationService

from collector.profiles import named
from drivers.base import ConnectionLostError
from drivers.ble_advertised import Advertised
from drivers.radio import Radio
from drivers.setup import Setup, Shared
from tests.drivers.bluetooth_air import Air, device
from tests.drivers.bluetooth_bench import make
from tests.drivers.bluetooth_peers import Peer
from tests.drivers.session import Session
from tests.support import StillClock, until

ADDRESS = "F0:00:00:00:00:02"
READ, NOTIFY = Characteristic.Properties.READ, Characteristic.Properties.NOTIFY


def characteristic(uuid: str, properties: Any, value: bytes, descriptors: list[Descriptor] | None = None) -> Any:
    return Characteristic(uuid, properties, Characteristic.READABLE, value, descriptors or [])


async def powered(air: Air, *services: Any) -> Any:
    """A peripheral that advertises, with these services."""
    peripheral = device(air.link, "thermometer", ADDRESS)
    peripheral.add_services([*services])
    await air.central.power_on()
    await peripheral.power_on()
    peripheral.advertising_data = bytes(
        AdvertisingData(
            [
                (AdvertisingData.COMPLETE_LOCAL_NAME, b"thermometer"),
                (AdvertisingData.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS, b"\x1a\x18"),
                (AdvertisingData.SERVICE_DATA_16_BIT_UUID, bytes.fromhex("d2fc4002ca0903bf13")),
            ]
        )
    )
    await peripheral.start_advertising(auto_restart=True, advertising_interval_min=20, advertising_interval_max=20)
    return peripheral


def shared(air: Air) -> Shared:
    """What the instruments of a call have in common: this radio."""
    found = Shared()
    found.get(Radio, "", lambda: Radio(scanner=air.scanner, client=air.client))
    return found


async def test_the_standard_service_from_end_to_end() -> None:
    """Numbers encoded by another library's GATT server, and its own battery and device information services."""
    air = Air()
    span = Descriptor("2906", Descriptor.READABLE, struct.pack("<hh", -4000, 8500))
    temperature = characteristic("2a6e", READ | NOTIFY, struct.pack("<h", 2150), [span])
    humidity = characteristic("2a6f", READ, struct.pack("<H", 5055))
    pressure = characteristic("2a6d", READ, struct.pack("<I", 1013197))
    peripheral = await powered(
        air,
        Service("181A", [temperature, humidity, pressure]),
        BatteryService(lambda connection: 97),
        DeviceInformationService(manufacturer_name="Example", serial_number="0001"),
    )
    channels = {"temperature": "temp_supply", "humidity": "humidity_supply", "pressure": "static_supply"}
    driver = make(named("environmental-sensing"), Peer(ADDRESS), channels, shared=shared(air), find=5.0)
    for _ in range(2):
        session = Session(driver)
        await session.until(lambda: len(session.readings) >= 2, "what is read")  # noqa: B023
        for number in (2151, -500, -0x8000):
            await peripheral.notify_subscribers(temperature, struct.pack("<h", number))
        await session.until(
            lambda: sum(one.channel.startswith("temp") for one in session.readings) == 3,  # noqa: B023
            "notifications",
        )
        found = {(one.channel.split("@")[0], str(one.value)) for one in session.readings}
        assert found == {
            ("temp_supply", "21.51"),
            ("temp_supply", "-5.0"),
            ("temp_supply", "nan"),
            ("humidity_supply", "50.55"),
            ("static_supply", "101319.7"),
        }
        await until(lambda: driver.facts().get("battery") == 0.97, what="battery")
        await until(lambda: "temperature range" in driver.facts(), what="facts")
        assert driver.facts()["temperature range"] == [-40.0, 85.0]
        assert driver.facts()["manufacturer"] == "Example"
        assert driver.facts()["serial"] == "0001"
        await next(iter(peripheral.connections.values())).disconnect()
        assert isinstance(await session.failure(), ConnectionLostError)
    await peripheral.stop_advertising()


async def test_an_advertisement_from_end_to_end() -> None:
    """The example of bthome.io, Format, in an advertisement of another stack."""
    air = Air()
    peripheral = await powered(air)
    setup = Setup(
        name="thermometer",
        profile=named("bthome"),
        address=ADDRESS,
        channels={"temperature": "temp_room", "humidity": "humidity_room"},
        now=StillClock(),
        shared=shared(air),
    )
    session = Session(Advertised(setup))
    await session.until(lambda: len(session.readings) == 2, "readings")
    assert {one.value for one in session.readings} == {25.06, 50.55}
    await session.cancel()
    await peripheral.stop_advertising()
