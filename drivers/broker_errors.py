"""What it means when a broker cannot be reached or refuses, and what to try."""

import socket
import ssl

from drivers.base import BusyError, ConnectionLostError, DriverError, NotFoundError, NotPermittedError, SettingsError
from drivers.broker_address import BrokerAddress

UNSUPPORTED_VERSION = 0x84
"""Reason code of a broker that does not know this version of MQTT."""

_FORBIDDEN = {0x86, 0x87, 0x8A, 0x8C}
"""Bad user name or password, not authorized, banned, bad authentication method."""
_BUSY = {0x88, 0x89, 0x97, 0x9F}
"""Server unavailable, server busy, quota exceeded, connection rate exceeded."""
_WRONG = {0x82, 0x84, 0x85, 0x90, 0x95, 0x9A, 0x9B, 0x9C, 0x9D}
"""Of what this side asks for: version, client identifier, topic, packet too large, QoS, or another server."""
_ABOUT_CERTIFICATES = {
    "certificate required", "bad certificate", "unsupported certificate", "certificate revoked", "certificate expired",
    "certificate unknown", "unknown ca", "access denied",
}  # fmt: skip
"""Source: RFC 8446, section 6.2, as the library writes them."""
# Source: MQTT Version 5.0, OASIS Standard (2019), section 3.2.2.2; codes of 3.1.1 are put into these by the library.


def connecting_error(instrument: str, broker: BrokerAddress, error: Exception) -> DriverError:
    """The program's own error for one of the system while connecting."""
    if isinstance(error, ssl.SSLCertVerificationError):
        what = f"the certificate of the broker at {broker} is not trusted ({error.verify_message.strip('. ')})"
        hint = "check its address and this computer's clock, or name the file of its authority in SSL_CERT_FILE"
        return SettingsError(instrument, what, hint)
    if isinstance(error, ssl.SSLError) and not isinstance(error, ssl.SSLEOFError):
        what = f"what answers at {broker} does not speak TLS as this computer does ({error.reason or error})"
        other = SettingsError(instrument, what, "check the port; a broker without TLS is mqtt:// and mostly port 1883")
        return certificate_refused(instrument, broker, error.reason) or other
    if isinstance(error, socket.gaierror | UnicodeError):
        return NotFoundError(instrument, f"no computer is called {broker.host}", "check its name and the network")
    if isinstance(error, ConnectionRefusedError):
        hint = "check that it runs and that the port is right"
        return NotFoundError(instrument, f"there is no broker at {broker}", hint)
    if isinstance(error, TimeoutError):
        return NotFoundError(instrument, f"nothing answers at {broker}", "check its address and the network")
    return NotFoundError(
        instrument, f"{broker} cannot be reached ({_words(error)})", "check its address and the network"
    )


def certificate_refused(instrument: str, broker: BrokerAddress, alert: str | None) -> NotPermittedError | None:
    """The broker's TLS wants a certificate of ours, or does not take the one that it got; None for other alerts."""
    words = (alert or "").lower().partition("alert_")[2].replace("_", " ")
    if words not in _ABOUT_CERTIFICATES:
        return None
    what = f"the broker at {broker} wants a certificate of ours that it trusts ({words})"
    return NotPermittedError(instrument, what, "name one of its authority with 'certificate', and look when it expires")


def refusal(instrument: str, broker: BrokerAddress, code: int, words: str) -> DriverError:
    """The program's own error for a reason code with which a broker refuses a connection."""
    what = f"the broker at {broker} refuses the connection ({words.lower()})"
    if code in _FORBIDDEN:
        who = f"the user '{broker.user}' and the password" if broker.user else "a user name in its address and 'secret'"
        return NotPermittedError(instrument, what, f"check {who}")
    if code in _BUSY:
        return BusyError(instrument, what, "wait, or disconnect others from it")
    if code in _WRONG:
        return SettingsError(instrument, what, "check that it is a broker of MQTT 5 or 3.1.1, and its settings")
    return NotFoundError(instrument, what, "look into the log of the broker")


def not_permitted(
    instrument: str, broker: BrokerAddress, topic: str, words: str, *, doing: str = "read"
) -> NotPermittedError:
    """The broker refused a subscription, or what was said."""
    who = f"the user '{broker.user}'" if broker.user else "somebody without a user name"
    what = f"the broker at {broker} does not let {who} {doing} '{topic}' ({words.lower()})"
    return NotPermittedError(instrument, what, "have its owner permit it, or correct the topic")


def lost(instrument: str, broker: BrokerAddress, words: str) -> ConnectionLostError:
    """The connection stood and is gone."""
    why = f" ({words.lower()})" if words else ""
    what = f"the broker at {broker} was there and is gone{why}"
    return ConnectionLostError(instrument, what, "check that it runs, and the network")


def no_mqtt(instrument: str, broker: BrokerAddress) -> NotFoundError:
    """Something answers or hangs up, and it is not MQTT."""
    what = f"what answers at {broker} does not speak MQTT, or hangs up at once"
    hint = (
        "check the port" if broker.tls else "check the port; a broker that wants TLS is mqtts:// and mostly port 8883"
    )
    return NotFoundError(instrument, what, hint)


def _words(error: Exception) -> str:
    return (getattr(error, "strerror", None) or str(error) or type(error).__name__).replace("\n", " ").lower()
