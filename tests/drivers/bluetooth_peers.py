"""Bluetooth instruments as `BluetoothService` shows them: what they have, and how they behave."""

from collections import deque
from dataclasses import dataclass, field

from drivers.codecs.characteristics import full_uuid

ADDRESS = "00:00:5E:00:53:01"


@dataclass
class PeerCharacteristic:
    """A characteristic; `error` is the name and text of what each access gets."""

    uuid: str
    flags: tuple[str, ...] = ("read", "notify")
    value: bytes = b""
    descriptors: dict[str, bytes] = field(default_factory=dict)
    error: tuple[str, str] | None = None
    notifying: bool = False
    reads: int = 0
    answers: deque[bytes] = field(default_factory=deque)
    """What questions get, one after the other; a question waits for the next."""
    waits: bool = False
    """Whether a question waits for an answer; else it gets `value`."""


@dataclass
class Peer:
    """An instrument in reach."""

    address: str = ADDRESS
    name: str = "draft-1"
    services: dict[str, list[PeerCharacteristic]] = field(default_factory=dict)
    advertised: tuple[str, ...] = ()
    """UUIDs of services."""
    data: dict[str, bytes] = field(default_factory=dict)
    """Service data, by UUID."""
    signal: int = -60
    present: bool = True
    """Whether it advertises, and lets itself be connected."""
    connected: bool = False
    sessions: int = 0
    refuses: tuple[str, str] | None = None
    """Name and text of the error that a connection gets."""
    paths: dict[str, PeerCharacteristic] = field(default_factory=dict)
    """Its characteristics, by the path of their object."""

    def characteristic(self, uuid: str) -> PeerCharacteristic:
        """The first characteristic of a UUID."""
        return next(one for some in self.services.values() for one in some if full_uuid(one.uuid) == full_uuid(uuid))
