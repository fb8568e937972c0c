"""Sharing the page in the same building: where this computer can be reached there, by which link, and until when."""

import ipaddress
import secrets
import socket
import struct
import sys
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass

from collector.qr import on_terminal
from drivers.base import InputError

HOURS = 8.0
"""How long a link holds by default. [h]"""
LONGEST = 72.0
"""No link holds longer. [h]"""
MOST_ADDRESSES = 8
"""The page is shared on so many addresses at the most. [1]"""
TOKEN_BYTES = 24
"""Random bytes of a link: 192 bits, nobody guesses them. [bytes]"""
ALL = "all"
"""In place of one address: every private one of this computer."""

LOCAL = tuple(
    ipaddress.IPv4Network(network) for network in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16")
)
"""Networks whose addresses lead nowhere outside (RFC 1918), and those that machines give themselves (RFC 3927)."""
LOOPBACK = ipaddress.IPv4Network("127.0.0.0/8")
PAGE = "127.0.0.1"
"""Where the technician's own page is."""

_TOWARDS = ("10.255.255.1", "172.31.255.1", "192.168.255.1", "169.254.255.1", "192.0.2.1")
"""Whoever asks for the way to these learns the own address on it; nothing is sent. The last leads to the outside."""
_SIOCGIFADDR = 0x8915
"""Asks Linux for the address of an interface (netdevice(7))."""


@dataclass(frozen=True, slots=True)
class Share:
    """The page as it is shared; goes between the recorder and its page and is written nowhere else."""

    addresses: tuple[str, ...]
    token: str
    until: float
    """Wall time at which it ends. [s since 1970]"""
    port: int = 0
    """Of the guests; 0: not known yet. [1]"""

    def links(self) -> tuple[str, ...]:
        """One for each address; what stands behind # is never sent by a browser, and so is in no log."""
        return tuple(f"http://{address}:{self.port}/join#{self.token}" for address in self.addresses)

    def facts(self) -> dict[str, object]:
        """As JSON takes it."""
        return asdict(self)

    @classmethod
    def parse(cls, facts: object) -> "Share":
        """The share of these facts; ValueError in one sentence where they are none."""
        match facts:
            case {
                "addresses": [str(), *_] as addresses,
                "token": str(token),
                "until": int() | float() as until,
                "port": int(port),
            } if len(token) >= TOKEN_BYTES and 0 <= port < 65536 and all(isinstance(one, str) for one in addresses):
                return cls(tuple(addresses), token, float(until), port)
        raise ValueError("what is said of sharing in the building is not usable; share the page again")


def begun(address: str, hours: float, now: float, port: int = 0) -> Share:
    """A share that begins now with a link of its own; `address` may be `all`. InputError when it cannot be."""
    if not 0 < hours <= LONGEST:
        raise InputError(f"a link cannot hold {hours:g} hours", f"say more than 0 and at most {LONGEST:g}")
    return Share(chosen(address), secrets.token_urlsafe(TOKEN_BYTES), now + 3600 * hours, port)


def wished(address: str | None, hours: float | None, now: float) -> Share | None:
    """The share that a command was asked for, None where it was asked for none; InputError when it cannot be."""
    if address is None and hours is not None:
        raise InputError("how long the link holds was said, and not that the page is shared", "say --share-here too")
    return None if address is None else begun(address, HOURS if hours is None else hours, now)


def chosen(address: str) -> tuple[str, ...]:
    """The addresses on which the page is shared; InputError where there is none, or `address` is no good one."""
    there = private_addresses()
    if address == ALL:
        if not there:
            what = "this computer has no address in a local network"
            raise InputError(what, "join one, or name another address of it: --share-here=ADDRESS")
        return there
    known = f"it has {', '.join(there)}" if there else "it has none in a local network"
    try:
        given = ipaddress.IPv4Address(address)
    except ValueError:
        raise InputError(f"'{address[:40]}' is no IPv4 address of this computer", known) from None
    if address == PAGE:
        raise InputError(f"{PAGE} is where your own page is, and nobody else reaches it", known)
    if given not in LOOPBACK and not _is_local(given):
        what = f"{address} is no address of a local network, and the link is not encrypted"
        raise InputError(what, f"share through a broker with TLS instead; {known}")
    if not _can_listen(address):
        raise InputError(f"{address} is no address of this computer", known)
    return (address,)


def private_addresses() -> tuple[str, ...]:
    """IPv4 addresses of this computer in local networks, the one towards the outside first; nothing is sent."""
    found = dict.fromkeys(_found())
    return tuple(one for one in found if _is_local(ipaddress.IPv4Address(one)))[:MOST_ADDRESSES]


def told(share: Share, *, terminal: bool) -> Iterator[str]:
    """Lines for who shares: the links and a code for a telephone's camera; on a terminal only, never in a log."""
    if not terminal:
        where = ", ".join(f"{address}:{share.port}" for address in share.addresses)
        yield f"shared:    read only on {where}; the link is on the page"
        return
    for link in share.links():
        yield f"shared:    {link}"
    yield "           read only and not encrypted, for whoever has this link and is in the same network"
    yield on_terminal(share.links()[0])


def share_of(settings: Mapping[str, object]) -> Share | None:
    """The share in a page's settings, None where there is none; ValueError where it is not usable."""
    facts = settings.get("share")
    return None if facts is None else Share.parse(facts)


def _is_local(address: ipaddress.IPv4Address) -> bool:
    return any(address in network for network in LOCAL)


def _can_listen(address: str) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        try:
            trial.bind((address, 0))
        except OSError:
            return False
    return True


def _found() -> Iterator[str]:
    for target in reversed(_TOWARDS):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking, suppress(OSError):
            asking.connect((target, 9))
            yield asking.getsockname()[0]
    if sys.platform == "linux":
        yield from _of_interfaces()
    else:  # there a machine's own name leads to each of its addresses
        with suppress(OSError):
            yield from (str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET))


def _of_interfaces() -> Iterator[str]:
    if sys.platform != "linux":
        return
    import fcntl  # noqa: PLC0415 - only there

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            with suppress(OSError):
                answer = fcntl.ioctl(asking.fileno(), _SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
                yield socket.inet_ntoa(answer[20:24])
