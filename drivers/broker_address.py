"""Where a broker is: the URL of a job file."""

from dataclasses import dataclass
from urllib.parse import SplitResult, unquote, urlsplit

from drivers.base import SettingsError

PORTS = {"mqtt": 1883, "mqtts": 8883}
"""Registered for MQTT and for MQTT over TLS. Source: IANA, Service Name and Transport Protocol Port Number Registry."""

_EXAMPLE = "write for example mqtt://192.0.2.10:1883, or mqtts://name@broker.example:8883 for one with TLS"


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """A broker and how to talk to it."""

    host: str
    port: int
    tls: bool
    user: str | None = None

    def __str__(self) -> str:
        """Host and port, for people."""
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


def broker_address(url: str, instrument: str) -> BrokerAddress:
    """The broker of a URL; SettingsError about the instrument where it is none, or has a password in it."""
    try:
        parts = urlsplit(url.strip())
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port, parts = None, None, urlsplit("")
    if parts.scheme not in PORTS or not host or port == 0:
        raise SettingsError(instrument, "its address is not that of a broker", _EXAMPLE)
    if parts.password is not None:
        raise SettingsError(instrument, "its address has a password in it", "say with 'secret' where that is kept")
    if _further(parts):
        raise SettingsError(instrument, "its address goes on after the port", "name the topic with 'topic'")
    user = unquote(parts.username) if parts.username else None
    return BrokerAddress(host, port or PORTS[parts.scheme], parts.scheme == "mqtts", user)


def _further(parts: SplitResult) -> bool:
    return parts.path not in ("", "/") or bool(parts.query or parts.fragment)
