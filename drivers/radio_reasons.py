"""Why Bluetooth does not work, in words: what happened, and what to try on this system."""

import re
import sys
from enum import Enum, auto

from drivers.base import (
    BusyError,
    ConnectionLostError,
    DriverError,
    NotFoundError,
    NotPermittedError,
    SettingsError,
    SilentError,
)


class Reason(Enum):
    """What hinders the radio or an instrument on it."""

    NO_SERVICE = auto()
    """The system's Bluetooth service, or the bus that leads to it, is not there."""
    NO_ADAPTER = auto()
    NO_LOW_ENERGY = auto()
    OFF = auto()
    DENIED = auto()
    """This user, or this program, may not use Bluetooth."""
    NO_SCAN = auto()
    BUSY = auto()
    UNSEEN = auto()
    """Nobody advertises under the address."""
    UNREACHABLE = auto()
    """It advertises, and a connection does not come about."""
    SLOW = auto()
    """It did not answer in time."""
    LOST = auto()
    PAIRING = auto()
    REFUSED = auto()
    """It never does what it is asked for."""
    FAILED = auto()
    """It did not do what it was asked for this time."""


_SWITCH = {
    "linux": "switch it on, with `bluetoothctl power on`, or `rfkill unblock bluetooth` where it is blocked",
    "win32": "switch it on under Settings, Bluetooth & devices",
    "darwin": "switch it on in the Control Centre",
}
_ALLOW = {
    "linux": "join the group 'bluetooth' where there is one and log in again, or ask who looks after this computer",
    "win32": "allow it under Settings, Privacy & security, for Bluetooth and for location",
    "darwin": "allow it for the terminal under System Settings, Privacy & Security, Bluetooth, and start again",
}
_SERVICE = {
    "linux": "install BlueZ, or start it with `sudo systemctl start bluetooth`",
    "win32": "start the Bluetooth Support Service, or restart this computer",
    "darwin": "switch Bluetooth off and on again",
}
_PAIR = {
    "linux": "pair it once with `bluetoothctl pair {address}`, then start again",
    "win32": "pair it once under Settings, Bluetooth & devices, then start again",
    "darwin": "answer the system's question whether to pair it, then start again",
}


_NUMBERED = re.compile(r"\s*\[(?:Errno|WinError) -?\d+\]")


def radio_error(reason: Reason, instrument: str, address: str = "", detail: str = "") -> DriverError:
    """The program's own error for a reason; `detail` is what the system says, where it says more.

    The text of an error number says less than the reason.
    """
    kind, what, hint = _TEXTS[reason]
    said = "" if not detail or _NUMBERED.match(detail) else f" ({' '.join(detail.split())[:160]})"
    return kind(instrument, what.format(address=address) + said, _here(hint).format(address=address))


def _here(hint: str | dict[str, str]) -> str:
    return hint if isinstance(hint, str) else hint.get(sys.platform, hint["linux"])


_TEXTS: dict[Reason, tuple[type[DriverError], str, str | dict[str, str]]] = {
    Reason.NO_SERVICE: (NotFoundError, "the Bluetooth service of this computer does not answer", _SERVICE),
    Reason.NO_ADAPTER: (NotFoundError, "this computer has no Bluetooth radio", "plug in a Bluetooth adapter"),
    Reason.NO_LOW_ENERGY: (
        NotFoundError,
        "the Bluetooth radio of this computer has no Low Energy",
        "plug in an adapter with Bluetooth 4.0 or newer",
    ),
    Reason.OFF: (NotFoundError, "Bluetooth is switched off on this computer", _SWITCH),
    Reason.DENIED: (NotPermittedError, "this user or program may not use Bluetooth", _ALLOW),
    Reason.NO_SCAN: (NotFoundError, "Bluetooth could not look for instruments", _SERVICE),
    Reason.BUSY: (
        BusyError,
        "Bluetooth is busy with something else",
        "close other programs that use Bluetooth, or wait a moment",
    ),
    Reason.UNSEEN: (
        NotFoundError,
        "nothing is heard of {address}",
        "switch it on, bring it nearer, and disconnect it from any telephone: a connected one is not heard",
    ),
    Reason.UNREACHABLE: (
        NotFoundError,
        "{address} is heard and does not let itself be connected",
        "bring it nearer, disconnect it from any telephone, or switch it off and on",
    ),
    Reason.SLOW: (
        SilentError,
        "{address} is connected and does not answer",
        "bring it nearer, or switch it off and on",
    ),
    Reason.LOST: (
        ConnectionLostError,
        "{address} was connected and is gone",
        "check its battery, bring it nearer, or take metal out of the way",
    ),
    # no retry: a connection anew every few seconds would break the pairing that somebody is about to make
    Reason.PAIRING: (NotPermittedError, "{address} wants to be paired with this computer first", _PAIR),
    Reason.REFUSED: (SettingsError, "{address} does not do what its profile asks", "correct the profile"),
    Reason.FAILED: (ConnectionLostError, "{address} answers with an error", "switch it off and on"),
}
