"""A connection to a broker of MQTT 5, or 3.1.1 where it is older; the one module that knows paho-mqtt.

Its client is turned by a thread of ours and by nobody else: name look-up, connecting and TLS block, and the library's
way for event loops would leave sockets, tasks and threads behind where a broker does not answer.
"""

import logging
import ssl
import threading
import time
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Protocol

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from drivers.base import DriverError, Now, SettingsError, SilentError
from drivers.broker_address import BrokerAddress
from drivers.broker_errors import (
    UNSUPPORTED_VERSION,
    certificate_refused,
    connecting_error,
    lost,
    no_mqtt,
    not_permitted,
    refusal,
)
from drivers.endings import thread_ended
from drivers.held import GONE, HERE, PRESENT, Held, Kept
from drivers.inbox import Inbox, Message
from drivers.outgoing import Outgoing, Parcel

ANSWER = 5.0
"""Longest time for each step of beginning: connecting, TLS, the broker's answer. [s]"""
ALIVE = 10
"""A broker that does not answer for so long is asked, and lost where it does not answer that. [s]"""
WAIT, SOON = 0.1, 0.01
"""Longest time until the thread sees that it shall end, and that there is something to say. [s]"""
LAST_WORDS = 1.0
"""How long the broker has to confirm what is said last. [s]"""
END = 1.9
"""Longest time to wait for the thread's end. [s]"""
LARGEST = 1_000_000
"""Messages beyond it are not sent by a broker of MQTT 5. [bytes]"""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked of a broker."""

    instrument: str
    """For errors."""
    broker: BrokerAddress
    topics: Sequence[str]
    now: Now
    secret: str | None = field(default=None, repr=False)
    longest: int
    """Of a message; what is beyond it is cut off. [bytes]"""
    answer: float = ANSWER
    """[s]"""
    kept: Kept | None = None
    """A session that the broker keeps; None: one that ends with the connection."""
    outgoing: Outgoing | None = None
    """What is said there; None where there is nothing to say."""
    will: Parcel | None = None
    """What the broker says when this side is gone without a word."""
    certificate: str | None = None
    """File with a certificate of our own and its key, for a broker that wants one."""


class Taker(Protocol):
    """Who takes the messages of a connection; called in its thread."""

    stop: threading.Event
    opened: bool
    failure: Exception | None

    def open(self) -> None:
        """The broker has agreed."""
        ...

    def put(self, message: Message) -> None:
        """A message came."""
        ...

    def end(self) -> None:
        """The thread is at its end."""
        ...


@dataclass(slots=True)
class _Heard:
    """What the callbacks of one connection heard."""

    refused: ReasonCode | None = None
    connected: bool = False
    denied: tuple[str, ReasonCode] | None = None
    farewell: str = ""
    alert: str | None = None
    """Of TLS, after it had come about."""
    unwanted: tuple[str, ReasonCode] | None = None
    """What was said and refused."""
    defect: Exception | None = None


def listen(wanted: Wanted, inbox: Taker) -> threading.Thread:
    """Start the thread that connects, subscribes and fills the inbox until that says stop or says why it ended."""
    name = f"{wanted.instrument}: {wanted.broker}"
    thread = threading.Thread(target=_listen, args=(wanted, inbox), name=name, daemon=True)
    thread.start()
    return thread


async def hang_up(thread: threading.Thread, inbox: Inbox) -> None:
    """Let the thread end and wait for it; one that the system does not let go ends when it comes back."""
    inbox.stop.set()
    try:
        await thread_ended(thread, inbox.ended, within=END)
    finally:
        if thread.is_alive():
            _log.warning("%s: the system does not come back from connecting", thread.name)


def _listen(wanted: Wanted, inbox: Taker) -> None:
    """The thread."""
    try:
        if not _session(wanted, inbox, MQTTProtocolVersion.MQTTv5):
            if wanted.kept:
                what = f"the broker at {wanted.broker} does not know MQTT 5"
                raise SettingsError(wanted.instrument, what, "get a newer one: only there several share what comes")
            _session(wanted, inbox, MQTTProtocolVersion.MQTTv311)
    except DriverError as error:
        inbox.failure = error.with_traceback(None)  # its frames hold the client, and that its descriptors
    except Exception as error:  # a defect: the session raises it
        inbox.failure = error
    finally:
        if wanted.outgoing:
            wanted.outgoing.broken_off()
        inbox.end()


def _session(wanted: Wanted, inbox: Taker, protocol: MQTTProtocolVersion) -> bool:
    """One connection; returns whether the broker knows this version of MQTT, raises DriverError."""
    heard = _Heard()
    client = _client(wanted, inbox, protocol, heard)
    try:
        _connect(client, wanted, protocol)
        _turn(client, wanted, inbox, heard)
        if isinstance(inbox, Held):
            _part(client, wanted, inbox)
    finally:
        client.disconnect()
    return not (heard.refused and heard.refused.value == UNSUPPORTED_VERSION and protocol == MQTTProtocolVersion.MQTTv5)


def _connect(client: paho.Client, wanted: Wanted, protocol: MQTTProtocolVersion) -> None:
    settings: dict[str, Any] = {}
    if protocol == MQTTProtocolVersion.MQTTv5:
        settings = {"clean_start": True, "properties": Properties(PacketTypes.CONNECT)}  # type: ignore[no-untyped-call]
        settings["properties"].MaximumPacketSize = LARGEST
        if wanted.kept:
            settings["clean_start"] = False
            settings["properties"].SessionExpiryInterval = wanted.kept.expiry
            settings["properties"].ReceiveMaximum = wanted.kept.most
        settings["properties"].TopicAliasMaximum = 0
    broker = wanted.broker
    try:
        client.connect(broker.host, broker.port, keepalive=2 * PRESENT if wanted.kept else ALIVE, **settings)
    except (OSError, UnicodeError) as error:
        raise connecting_error(wanted.instrument, broker, error) from error.with_traceback(None)


def _turn(client: paho.Client, wanted: Wanted, inbox: Taker, heard: _Heard) -> None:
    """Turn the client until it shall end or has to; a broker that refuses the version ends it without an error."""
    deadline = time.monotonic() + wanted.answer
    told = time.monotonic()
    while not inbox.stop.is_set():
        try:
            if wanted.outgoing and inbox.opened:
                wanted.outgoing.publish(partial(_publish, client))
            result = _loop(client, inbox, SOON if wanted.outgoing else WAIT)
        except Exception as error:  # of the library where what came is no MQTT
            if heard.defect:
                raise heard.defect from None
            raise no_mqtt(wanted.instrument, wanted.broker) from error.with_traceback(None)
        if isinstance(inbox, Held):
            _acknowledge(client, inbox)
            if inbox.finish.is_set():
                return
            if wanted.kept and inbox.opened and time.monotonic() - told > PRESENT:
                told = time.monotonic()
                client.publish(wanted.kept.presence, HERE, qos=0, retain=True)
        if heard.refused and heard.refused.value == UNSUPPORTED_VERSION:
            return
        if trouble := _trouble(wanted, heard, result):
            raise trouble
        if not inbox.opened and time.monotonic() > deadline:
            what = f"{wanted.broker} lets itself be called and does not answer within {wanted.answer:g} s"
            raise SilentError(wanted.instrument, what, "check that a broker is at that port, and start it anew")
    if wanted.outgoing and inbox.opened:  # what is said last
        wanted.outgoing.publish(partial(_publish, client))
        until = time.monotonic() + LAST_WORDS
        while (
            wanted.outgoing.unconfirmed and time.monotonic() < until and not _trouble(wanted, heard, client.loop(SOON))
        ):
            pass


def _publish(client: paho.Client, parcel: Parcel) -> int:
    """Say something; its number until the broker confirms it."""
    properties: Any = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    if parcel.content_type:
        properties.ContentType = parcel.content_type
    if parcel.expires:
        properties.MessageExpiryInterval = parcel.expires
    told = client.publish(parcel.topic, parcel.data, qos=parcel.qos, retain=parcel.retain, properties=properties)
    return told.mid


def _loop(client: paho.Client, inbox: Taker, wait: float) -> MQTTErrorCode:
    """Read and write once; who has no room for more is only written for, and the broker waits."""
    if not isinstance(inbox, Held) or inbox.room(WAIT):
        return client.loop(wait)
    return client.loop_write() if client.want_write() else MQTTErrorCode.MQTT_ERR_SUCCESS


def _acknowledge(client: paho.Client, held: Held) -> None:
    for number in held.done():
        client.ack(number, 1)


def _part(client: paho.Client, wanted: Wanted, held: Held) -> None:
    """Acknowledge what is done with, and end the session, or leave it to whoever takes it over."""
    assert wanted.kept is not None
    if not client.is_connected():
        return
    _acknowledge(client, held)
    properties: Any = Properties(PacketTypes.DISCONNECT)  # type: ignore[no-untyped-call]
    if held.finish.is_set():
        properties.SessionExpiryInterval = 0
    finished = client.publish(wanted.kept.presence, b"" if held.finish.is_set() else GONE, qos=1, retain=True)
    deadline = time.monotonic() + min(1.0, wanted.answer)
    while not finished.is_published() and time.monotonic() < deadline:
        if client.loop(WAIT) != MQTTErrorCode.MQTT_ERR_SUCCESS:
            return
    client.disconnect(properties=properties)


def _trouble(wanted: Wanted, heard: _Heard, result: MQTTErrorCode) -> DriverError | None:
    """What ends the connection."""
    name, broker = wanted.instrument, wanted.broker
    if heard.refused:
        return refusal(name, broker, heard.refused.value, str(heard.refused))
    if heard.denied:
        topic, code = heard.denied
        return not_permitted(name, broker, topic, str(code))
    if heard.unwanted:
        topic, code = heard.unwanted
        return not_permitted(name, broker, topic, str(code), doing="write to")
    if result == MQTTErrorCode.MQTT_ERR_SUCCESS:
        return None
    if refused := certificate_refused(name, broker, heard.alert):
        return refused
    return lost(name, broker, heard.farewell) if heard.connected else no_mqtt(name, broker)


def _client(wanted: Wanted, inbox: Taker, protocol: MQTTProtocolVersion, heard: _Heard) -> paho.Client:
    """A client whose callbacks say what they hear; it does not connect again by itself."""
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=wanted.kept.name if wanted.kept else f"lightoff{uuid.uuid4().hex[:14]}",  # what every broker takes
        protocol=protocol,
        reconnect_on_failure=False,
        manual_ack=wanted.kept is not None,
    )
    if wanted.kept:
        client.will_set(wanted.kept.presence, GONE, qos=1, retain=True)
    client.connect_timeout = wanted.answer
    if wanted.broker.user is not None:
        client.username_pw_set(wanted.broker.user, wanted.secret)
    if wanted.broker.tls:
        client.tls_set_context(_trusting(wanted, heard))
    if wanted.will:
        client.will_set(wanted.will.topic, wanted.will.data, qos=1, retain=wanted.will.retain)

    def on_connect(
        client: paho.Client, _data: object, flags: paho.ConnectFlags, code: ReasonCode, _properties: object
    ) -> None:
        if code.is_failure:
            heard.refused = code
            return
        heard.connected = True
        if wanted.kept and isinstance(inbox, Held):
            inbox.resumed = flags.session_present
            client.publish(wanted.kept.presence, HERE, qos=1, retain=True)
            if wanted.kept.leave:
                client.unsubscribe(list(wanted.kept.leave))
        if not wanted.topics:
            inbox.open()
            return
        options: Any = SubscribeOptions(qos=1) if protocol == MQTTProtocolVersion.MQTTv5 else 1
        client.subscribe([(topic, options) for topic in wanted.topics])

    def on_subscribe(
        client: paho.Client, _data: object, _number: int, codes: list[ReasonCode], _properties: object
    ) -> None:
        denied = (pair for pair in zip(wanted.topics, codes, strict=False) if pair[1].is_failure)
        heard.denied = next(denied, None)
        if not heard.denied:
            inbox.open()
            if wanted.kept and wanted.kept.marker:
                client.publish(wanted.kept.marker, b"", qos=1)

    def on_message(_client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        try:
            payload = bytes(message.payload[: wanted.longest + 1])
            number = message.mid if wanted.kept and message.qos else 0
            arrived = wanted.now()
            inbox.put(Message(arrived, message.topic, payload, "", message.retain, message.dup, number))
        except Exception as error:
            heard.defect = error
            raise

    def on_disconnect(
        _client: paho.Client, _data: object, flags: paho.DisconnectFlags, code: ReasonCode, _properties: object
    ) -> None:
        heard.farewell = str(code) if flags.is_disconnect_packet_from_server else ""

    def on_publish(_client: paho.Client, _data: object, number: int, code: ReasonCode, _properties: object) -> None:
        if wanted.outgoing and (parcel := wanted.outgoing.confirmed(number, taken=not code.is_failure)):
            heard.unwanted = (parcel.topic, code) if code.is_failure else heard.unwanted

    client.on_connect, client.on_subscribe, client.on_publish = on_connect, on_subscribe, on_publish
    client.on_message, client.on_disconnect = on_message, on_disconnect
    return client


class _Closing(ssl.SSLSocket):
    """Closes itself where TLS does not come about; the library leaves that to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:  # noqa: FBT001, FBT002 - as the class above has it
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


def _trusting(wanted: Wanted, heard: _Heard) -> ssl.SSLContext:
    """TLS by this computer's trusted authorities, or those of the file that SSL_CERT_FILE names."""

    class Hearing(_Closing):
        """Keeps what the other side's TLS says: of TLS 1.3 it does not take a certificate of ours only later."""

        def recv(self, buflen: int = 1024, flags: int = 0) -> bytes:
            try:
                return super().recv(buflen, flags)
            except ssl.SSLError as error:
                heard.alert = error.reason or heard.alert
                raise

    context = ssl.create_default_context()
    context.sslsocket_class = Hearing
    if wanted.certificate:
        try:
            context.load_cert_chain(wanted.certificate)
        except (OSError, ValueError) as error:  # an SSLError is an OSError
            why = getattr(error, "strerror", "") or "it is none"
            what = f"the certificate in {wanted.certificate} cannot be used ({why})"
            hint = "put certificate and key, without a password, one after the other into that file"
            raise SettingsError(wanted.instrument, what, hint) from error
    return context
