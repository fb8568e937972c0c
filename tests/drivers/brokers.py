"""A real broker on a loopback port, started and killed, with users, rights and TLS; and who publishes to it."""

import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from analysis.model import Channel
from drivers.base import Driver, DriverError, Emission, NotFoundError, NotPermittedError
from drivers.mqtt import Mqtt
from drivers.profile import MqttSection, Profile, Value
from drivers.setup import Setup
from tests.drivers.bench import Failure
from tests.ports import free_port

NAME = "gateway"
TOPIC = "bench/sensor"
PROGRAM = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
TEMPERATURE = Value(name="temperature", unit="degC", path="$.t")


def need_broker() -> None:
    """Skip where there is no broker to start."""
    if PROGRAM is None:
        pytest.skip("mosquitto is not installed: apt-get install mosquitto")


class Broker:
    """A broker that can be killed and started again at the same port; `settings` are lines of its configuration."""

    def __init__(self, folder: Path, *settings: str, tls: Sequence[str] = (), whole: str = "") -> None:
        """`whole` is a configuration that somebody may have, whose port alone is another here."""
        need_broker()
        self.port = free_port()
        self.folder = folder
        lines = ["persistence false", "user root" if os.geteuid() == 0 else "", "log_dest none"]
        lines += ["max_queued_messages 0", "max_inflight_messages 0"]
        lines += [f"listener {self.port} 127.0.0.1", *tls, *(settings or ("allow_anonymous true",))]
        if whole:
            assert whole.count("listener 8883\n") == 1
            lines = [lines[1], whole.replace("listener 8883\n", f"listener {self.port} 127.0.0.1\n")]
        self._configuration = folder / "broker.conf"
        self._configuration.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[bytes] | None = None
        self.start()

    @property
    def number(self) -> int:
        """Of its process."""
        assert self._process
        return self._process.pid

    def start(self, *, within: float = 10.0) -> None:
        """Return when it takes connections."""
        assert PROGRAM
        command = [PROGRAM, "-c", str(self._configuration)]
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + within
        while True:
            with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=1):
                return
            assert self._process.poll() is None, f"the broker ended with {self._process.returncode}"
            assert time.monotonic() < deadline, "the broker does not start"
            time.sleep(0.002)

    @property
    def running(self) -> bool:
        """Whether it was started and not killed."""
        return self._process is not None

    def kill(self) -> None:
        """It is gone at once, without a word to anybody."""
        if self._process:
            self._process.kill()
            self._process.wait(10)
            self._process = None

    def close(self) -> None:
        """It is gone for good."""
        self.kill()


class Publisher:
    """Somebody who publishes at a broker, each time over the same connection."""

    def __init__(self, port: int, *, user: str | None = None, secret: str | None = None, **more: Any) -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv311)
        if user:
            self._client.username_pw_set(user, secret)
        if context := more.get("context"):
            self._client.tls_set_context(context)
        ready = threading.Event()
        self._client.on_connect = lambda *_: ready.set()
        self._client.max_inflight_messages_set(1000)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert ready.wait(10), "the publisher is not let in"

    def say(self, topic: str, payload: str | bytes, *, qos: int = 1, retain: bool = False) -> paho.MQTTMessageInfo:
        """Publish, without waiting."""
        info = self._client.publish(topic, payload, qos=qos, retain=retain)
        assert info.rc == MQTTErrorCode.MQTT_ERR_SUCCESS, info.rc
        return info

    def close(self) -> None:
        """Hang up."""
        self._client.disconnect()
        self._client.loop_stop()


def make(broker: Broker | str, **settings: Any) -> Mqtt:
    """A driver of a sensor at a broker or URL; `settings` beside the usual ones or in place of them."""
    driver = {key: settings.pop(key) for key in ("backlog", "answer") if key in settings}
    profile = Profile(
        name="json",
        driver="mqtt",
        values=settings.pop("values", (TEMPERATURE,)),
        silence=settings.pop("silence", 30.0),
        mqtt=MqttSection(**settings.pop("mqtt", {})),
    )
    url = broker if isinstance(broker, str) else f"mqtt://127.0.0.1:{broker.port}"
    facts: dict[str, Any] = {"channels": {"temperature": "temp_room"}, "now": time.time_ns, "topic": TOPIC, **settings}
    return Mqtt(Setup(name=NAME, profile=profile, address=url, **facts), **driver)


def listening(emitted: Sequence[Emission]) -> bool:
    """Whether the broker has agreed to send."""
    return any(isinstance(emission, Channel) for emission in emitted)


def message(number: float) -> str:
    """What the sensor says of a number."""
    return f'{{"t": {number:.3f}}}'


class MqttBench:
    """A sensor at a broker of its own."""

    def __init__(self, folder: Path) -> None:
        self.broker = Broker(folder)
        self.driver = make(self.broker)
        self.publisher = Publisher(self.broker.port)

    def make(self, *, patience: float = 30.0) -> Driver:
        """With so small a backlog that a flood fills it."""
        self.driver = make(self.broker, silence=patience, backlog=64, answer=0.5)
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        """Once the broker has agreed."""
        return listening(emitted)

    def say(self, count: int) -> None:
        """Messages of one value each."""
        for number in range(count):
            self.publisher.say(TOPIC, message(number / 1000))

    def failures(self) -> Sequence[Failure]:
        """TLS and rights have tests of their own."""
        return (
            Failure("no broker", lambda: self._away(None), NotFoundError),
            Failure("mute", lambda: self._away(b""), DriverError),
            Failure("another server", lambda: self._away(b"HTTP/1.1 400 Bad Request\r\n" * 10), NotFoundError),
            Failure("broken answer", lambda: self._away(b"\x20\x7f" + b"\xff" * 127), NotFoundError),
            Failure("no entry", lambda: self._away(b"\x20\x03\x00\x87\x00"), NotPermittedError),
        )

    def lose(self) -> None:
        """Killed."""
        self.publisher.close()
        self.broker.kill()

    def bring_back(self) -> None:
        """Started anew."""
        self.broker.start()
        self.publisher = Publisher(self.broker.port)

    def flood(self) -> int:
        """Some 3,000 messages, of which the driver holds 64."""
        infos = [self.publisher.say(TOPIC, message(number)) for number in range(3000)]
        for info in infos:
            info.wait_for_publish(10)
        return len(infos)

    @contextmanager
    def flooding(self) -> Iterator[None]:
        """A hundred at a time."""
        stop = threading.Event()

        def talk() -> None:
            while not stop.is_set():
                infos = [self.publisher.say(TOPIC, message(0.5)) for _ in range(100)]
                infos[-1].wait_for_publish(10)

        thread = threading.Thread(target=talk, name="flood")
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()

    def lost(self) -> int:
        """As the driver counts."""
        return self.driver.statistics()["dropped_messages"]

    def nonsense(self) -> None:
        """What is no JSON, no number, too deep and too long."""
        for payload in (b"\xff\xfe\x00", b"restarting", b'{"t": {}}', b"[" * 50_000, b'{"t": NaN}', b"7" * 70_000):
            self.publisher.say(TOPIC, payload)

    def unreadable(self) -> int:
        """As the driver counts."""
        return self.driver.statistics()["unreadable"]

    def close(self) -> None:
        """All gone."""
        self.publisher.close()
        self.broker.close()

    @contextmanager
    def _away(self, answer: bytes | None) -> Iterator[None]:
        """In place of the broker is something that answers so, or nothing."""
        self.lose()
        try:
            if answer is None:
                yield
            else:
                with answering(self.broker.port, answer):
                    yield
        finally:
            self.bring_back()


@contextmanager
def answering(port: int, *answers: bytes, then: Sequence[bytes] = ()) -> Iterator[list[bytes]]:
    """Something at a port that says one thing after each that it hears of a connection; what it heard.

    Connections after the first hear `then`, where it is given.
    """
    heard: list[bytes] = []
    server = socket.create_server(("127.0.0.1", port))
    server.settimeout(0.02)
    places = [os.dup(server.fileno()) for _ in range(4)]  # a connection takes one, so that this end adds none
    stop = threading.Event()
    scripts = [list(answers)]

    def serve() -> None:
        left: dict[socket.socket, list[bytes]] = {}
        while not stop.is_set():
            with suppress(TimeoutError):
                connection, _ = server.accept()
                if places:
                    os.close(places.pop())
                connection.settimeout(0.02)
                left[connection] = scripts.pop() if scripts else list(then or answers)
            for connection in list(left):
                with suppress(TimeoutError):
                    if not _answer(connection, heard, left[connection]):
                        left.pop(connection).clear()
                        connection.close()
        for connection in left:
            connection.close()

    thread = threading.Thread(target=serve, name="server")
    thread.start()
    try:
        yield heard
    finally:
        stop.set()
        thread.join()
        server.close()
        for place in places:
            os.close(place)


def _answer(connection: socket.socket, heard: list[bytes], answers: list[bytes]) -> bool:
    """Hear one thing and answer it; whether somebody is there."""
    try:
        said = connection.recv(4096)
        if said:
            heard.append(said)
            if answers:
                connection.sendall(answers.pop(0))
    except ConnectionError:
        return False
    return bool(said)
