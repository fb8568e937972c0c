"""A connection to an instrument with Bluetooth: what it has, questions to it, and what it says by itself."""

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import Any

from drivers.codecs.characteristics import full_uuid
from drivers.endings import bounded
from drivers.radio_reasons import Reason

ANSWER = 5.0
"""Longest time to an answer. [s]"""
END = 0.3
"""Longest time to take back a question. [s]"""


@dataclass(frozen=True, slots=True)
class Characteristic:
    """A characteristic of a connected instrument."""

    uuid: str
    """Long."""
    service: str
    """UUID, long."""
    notifies: bool
    """Whether it says its value by itself."""
    answers: bool
    """Whether it can be read."""
    descriptors: Mapping[str, Any] = field(repr=False)
    """By UUID."""
    handle: Any = field(repr=False)


class Link:
    """The connection; made by `drivers.radio`, whose `translated` makes the library's errors those of the program."""

    def __init__(self, client: Any, translated: Callable[[Reason], AbstractContextManager[None]]) -> None:
        self._client = client
        self._translated = translated
        self.characteristics = tuple(
            Characteristic(
                full_uuid(one.uuid),
                full_uuid(one.service_uuid),
                bool({"notify", "indicate"} & set(one.properties)),
                "read" in one.properties,
                {full_uuid(descriptor.uuid): descriptor for descriptor in one.descriptors},
                one,
            )
            for one in sorted(client.services.characteristics.values(), key=lambda one: int(one.handle))
        )
        """In the order of the instrument."""

    def find(self, uuid: str, index: int = 0) -> Characteristic | None:
        """The characteristic of a UUID; the one at `index` where there are several."""
        those = [one for one in self.characteristics if one.uuid == full_uuid(uuid)]
        return those[index] if index < len(those) else None

    async def read(self, characteristic: Characteristic) -> bytes:
        """Its value now; DriverError."""
        with self._translated(Reason.LOST):
            work = self._client.read_gatt_char(characteristic.handle)
            return bytes(await bounded(work, within=ANSWER, ending=END))

    async def read_descriptor(self, characteristic: Characteristic, uuid: str) -> bytes:
        """Value of a descriptor that it has; DriverError."""
        with self._translated(Reason.LOST):
            work = self._client.read_gatt_descriptor(characteristic.descriptors[full_uuid(uuid)])
            return bytes(await bounded(work, within=ANSWER, ending=END))

    async def subscribe(self, characteristic: Characteristic, hear: Callable[[bytes], None]) -> None:
        """Let the instrument say its value by itself; `hear` is called on the loop. DriverError."""
        with self._translated(Reason.LOST):
            work = self._client.start_notify(characteristic.handle, lambda _, data: hear(bytes(data)))
            await bounded(work, within=ANSWER, ending=END)
