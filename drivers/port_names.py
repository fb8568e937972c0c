"""Which port an instrument is at: by the serial number of its adapter, also after it came back under another name."""

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from drivers.base import NotFoundError, SettingsError

BY_SERIAL_NUMBER = "usb:"
"""What an address begins with that names an adapter by its serial number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plug:
    """A serial port of this machine and what its adapter says of itself; None where it says nothing."""

    device: str
    """Name of the port."""
    serial_number: str | None = None
    vendor: int | None = None
    product: int | None = None
    location: str | None = None
    """Socket and interface, such as `1-1.4:1.0`."""
    description: str = ""

    @property
    def interface(self) -> str:
        """Which of the ports of one adapter it is."""
        return (self.location or "").partition(":")[2]

    def same(self, other: "Plug") -> bool:
        """Whether both are one port of one adapter.

        Adapters without a serial number are told apart by their model and socket alone: another one of the same model
        in the same socket passes for it.
        """
        if (self.vendor, self.product) != (other.vendor, other.product):
            return False
        if self.serial_number or other.serial_number:
            return (self.serial_number, self.interface) == (other.serial_number, other.interface)
        return self.location == other.location


Lister = Callable[[], Iterable[Plug]]
"""What ports there are now."""


def real_name(port: str) -> str:
    """The port's own name, where this one only leads to it."""
    try:
        return os.path.realpath(port)
    except ValueError:  # a name that the system cannot have
        return port


class Whereabouts:
    """Where the port of an instrument is; remembers the adapter behind a name from the first opening on.

    A port without an adapter that says something of itself (one on the mainboard) is taken by its name alone.
    """

    def __init__(self, instrument: str, address: str, lister: Lister) -> None:
        self._instrument = instrument
        self._address = address
        self._lister = lister
        self._known: Plug | None = None
        self._number = address.removeprefix(BY_SERIAL_NUMBER) if address.startswith(BY_SERIAL_NUMBER) else None
        if self._number is not None and not self._number.strip():
            raise SettingsError(instrument, "its address has no serial number", "write usb: and the serial number")

    def find(self) -> str:
        """The name of the port now; NotFoundError where its adapter is not there."""
        plugs = [plug for plug in self._lister() if plug.vendor is not None]
        if self._number is not None and self._known is None:
            return self._by_number(plugs)
        if self._known is None:
            return self._address
        if again := next((plug for plug in plugs if self._known.same(plug)), None):
            return self._address if _is_at(again, self._address) else again.device
        if self._known.serial_number is None and (moved := self._moved(plugs)):
            return moved
        raise self._away(plugs)

    def confirm(self, device: str) -> None:
        """The port is open: remember its adapter; NotFoundError where meanwhile another one took the name."""
        plugs = [plug for plug in self._lister() if plug.vendor is not None]
        if self._number is not None and self._known is None:
            self._by_number(plugs)  # its other port may have come meanwhile: then nobody knows which is meant
        found = next((plug for plug in plugs if _is_at(plug, device)), None)
        if self._known is not None and found is not None and self._known.serial_number is not None:
            if not self._known.same(found):
                raise self._away([found])
        elif found is not None:
            self._known = found

    def _by_number(self, plugs: list[Plug]) -> str:
        fitting = [plug.device for plug in plugs if plug.serial_number == self._number]
        if not fitting:
            what = f"there is no adapter with the serial number {self._number}"
            raise NotFoundError(self._instrument, what, "plug the instrument in or correct its address")
        if len(fitting) > 1:
            what = f"the adapter {self._number} has {len(fitting)} ports"
            hint = (
                f"write in place of {self._address} the name of the port that it is at: {' or '.join(sorted(fitting))}"
            )
            raise SettingsError(self._instrument, what, hint)
        return fitting[0]

    def _moved(self, plugs: list[Plug]) -> str | None:
        """The given name, where the only adapter of this model is now, in another socket."""
        assert self._known is not None
        model = [plug for plug in plugs if (plug.vendor, plug.product) == (self._known.vendor, self._known.product)]
        return self._address if len(model) == 1 and _is_at(model[0], self._address) else None

    def _away(self, plugs: list[Plug]) -> NotFoundError:
        assert self._known is not None
        called = f"its adapter ({self._known.serial_number or self._known.description or 'without a serial number'})"
        if any(_is_at(plug, self._address) for plug in plugs):
            what = f"another adapter is at {self._address} now, and {called} is away"
        else:
            what = f"{called} is away from {self._address}"
        return NotFoundError(self._instrument, what, "plug the instrument in")


def _is_at(plug: Plug, device: str) -> bool:
    """Whether the port has this name, or one that leads to it."""
    return plug.device == device or real_name(plug.device) == real_name(device)
