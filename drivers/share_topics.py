"""Where a shared call stands on a broker: one tree of topics, and which names may be in it.

lightoff/1/{company}/{technician}/{call}/status           retained CBOR map, the last will sets it offline
                                        /channels         retained CBOR map
                                        /readings         SenML packs as they are recorded, and what was missed
                                        /events           CBOR lists of events
                                        /ask              CBOR maps from viewers
                                        /answer/{viewer}  what a viewer asked for
"""

import re
from dataclasses import dataclass
from typing import Final
from urllib.parse import SplitResult, quote, unquote, urlsplit

from drivers.base import InputError
from drivers.broker_address import PORTS, BrokerAddress

ROOT: Final = "lightoff"
VERSION: Final = "1"
"""Of the tree and of what is said in it."""
STATUS, CHANNELS, READINGS, EVENTS, ASK, ANSWER = "status", "channels", "readings", "events", "ask", "answer"
LONGEST_NAME: Final = 64
"""Of a company, a technician, a call and a viewer. [characters]"""
_EXAMPLE = "write for example mqtts://broker.example/company/technician/call"
_FORBIDDEN = re.compile(r"[+#/$\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class CallTopics:
    """The topics of one call; InputError where a name cannot stand in a topic."""

    company: str
    technician: str
    call: str

    def __post_init__(self) -> None:
        """Refuse names that cannot be."""
        checked_name("company", self.company)
        checked_name("technician", self.technician)
        checked_name("call", self.call)

    @property
    def root(self) -> str:
        """What all topics of the call begin with, without a last slash."""
        return "/".join((ROOT, VERSION, self.company, self.technician, self.call))

    @property
    def status(self) -> str:
        """Retained: who shares what, and how it stands."""
        return f"{self.root}/{STATUS}"

    @property
    def channels(self) -> str:
        """Retained: each channel with the number that stands for it in packs."""
        return f"{self.root}/{CHANNELS}"

    @property
    def readings(self) -> str:
        """Packs of readings."""
        return f"{self.root}/{READINGS}"

    @property
    def events(self) -> str:
        """Events of the call."""
        return f"{self.root}/{EVENTS}"

    @property
    def ask(self) -> str:
        """What viewers want."""
        return f"{self.root}/{ASK}"

    def answer(self, viewer: str) -> str:
        """What one viewer asked for."""
        return f"{self.root}/{ANSWER}/{checked_name('viewer', viewer)}"

    def __str__(self) -> str:
        """For people."""
        return f"{self.company}/{self.technician}/{self.call}"


@dataclass(frozen=True, slots=True)
class SharedCall:
    """A call at a broker, as a URL names it."""

    broker: BrokerAddress
    topics: CallTopics

    def __str__(self) -> str:
        """The URL, without user and password."""
        scheme = "mqtts" if self.broker.tls else "mqtt"
        names = (self.topics.company, self.topics.technician, self.topics.call)
        return f"{scheme}://{self.broker}/{'/'.join(quote(name, safe='') for name in names)}"


def checked_name(what: str, name: str) -> str:
    """A name that can stand in a topic; InputError where it cannot."""
    if not name or not name.strip() or len(name) > LONGEST_NAME or _FORBIDDEN.search(name):
        shown = "".join(sign for sign in name[:20] if sign.isprintable())
        wrong = f"'{shown}' cannot be the name of a {what} on a broker"
        raise InputError(wrong, f"use 1 to {LONGEST_NAME} letters, digits, spaces or hyphens, without + # / or $")
    return name


def topics_of(topic: str) -> tuple[CallTopics, str] | None:
    """The call of a topic and what stands behind it, `answer/NAME` too; None where it is none of this tree."""
    parts = topic.split("/", 5)
    if len(parts) < 6 or parts[0] != ROOT or parts[1] != VERSION:
        return None
    try:
        return CallTopics(*parts[2:5]), parts[5]
    except InputError:
        return None


def every_call(company: str, *, technician: str = "+", what: str = STATUS) -> str:
    """A filter for one kind of topic of all calls of a company, or of one technician."""
    checked_name("company", company)
    if technician != "+":
        checked_name("technician", technician)
    return "/".join((ROOT, VERSION, company, technician, "+", what))


def shared_call(url: str) -> SharedCall:
    """The call of a URL such as `mqtts://user@broker.example/company/technician/call`; InputError where it is none."""
    try:
        parts = urlsplit(url.strip())
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port, parts = None, None, urlsplit("")
    if parts.scheme not in PORTS or not host or port == 0:
        raise InputError("this is not the address of a shared call", _EXAMPLE)
    if parts.password is not None:
        raise InputError("the address of the call has a password in it", "put it into a file that only you can read")
    names = _names(parts)
    if len(names) != 3:
        raise InputError("the address names no company, technician and call after the broker", _EXAMPLE)
    user = unquote(parts.username) if parts.username else None
    return SharedCall(
        BrokerAddress(host, port or PORTS[parts.scheme], parts.scheme == "mqtts", user), CallTopics(*names)
    )


def _names(parts: SplitResult) -> list[str]:
    if parts.query or parts.fragment:
        raise InputError("the address of the call goes on after its name", _EXAMPLE)
    return [unquote(name) for name in parts.path.strip("/").split("/")]
