"""What a broker refuses, and why it cannot be reached: each in a sentence, with real brokers that refuse."""

import errno
import json
import os
import shutil
import socket
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from drivers.base import (
    BusyError,
    ConnectionLostError,
    DriverError,
    NotFoundError,
    NotPermittedError,
    SettingsError,
    SilentError,
)
from drivers.broker_address import BrokerAddress, broker_address
from drivers.broker_errors import connecting_error, refusal
from drivers.mqtt import Mqtt
from tests.drivers.authority import Authority
from tests.drivers.brokers import NAME, TOPIC, Broker, Publisher, answering, listening, make, message
from tests.drivers.session import Session, nothing_left
from tests.ports import free_port
from tests.support import until

SECRET = "correct horse"
PLACE = BrokerAddress("192.0.2.10", 1883, tls=False)


async def failure(driver: Mqtt) -> BaseException | None:
    with nothing_left():
        error = await Session(driver).failure()
    assert SECRET not in str(error)
    return error


async def heard(driver: Mqtt, publisher: Publisher) -> None:
    session = Session(driver)
    await session.until(lambda: listening(session.emitted), "open")
    publisher.say(TOPIC, message(1.0))
    await session.until(lambda: session.readings, "reading")
    await session.cancel()


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Broker]:
    """A broker with one user, who may read one topic and write all."""
    if not (program := shutil.which("mosquitto_passwd")):
        pytest.skip("mosquitto_passwd is not installed: apt-get install mosquitto")
    users, rights = tmp_path / "users", tmp_path / "rights"
    subprocess.run([program, "-b", "-c", str(users), "reader", SECRET], check=True, capture_output=True, timeout=20)
    rights.write_text(f"user reader\ntopic read {TOPIC}\ntopic write #\n")
    settings = ("allow_anonymous false", f"password_file {users}", f"acl_file {rights}")
    with closing(Broker(tmp_path, *settings)) as broker:
        yield broker


async def test_a_user_with_the_right_password_reads_and_no_other(guarded: Broker) -> None:
    url = f"mqtt://reader@127.0.0.1:{guarded.port}"
    for address, secret in ((url, "0000"), (url, None), (f"mqtt://127.0.0.1:{guarded.port}", None)):
        error = await failure(make(address, secret=secret))
        assert isinstance(error, NotPermittedError), error
        assert "refuses the connection" in str(error)
        assert ("'reader'" in str(error)) == ("reader" in address)
    with closing(Publisher(guarded.port, user="reader", secret=SECRET)) as publisher:
        await heard(make(url, secret=SECRET), publisher)


async def test_a_topic_that_a_broker_keeps_to_itself_without_a_word_is_silent_and_the_hint_says_so(
    guarded: Broker,
) -> None:
    driver = make(f"mqtt://reader@127.0.0.1:{guarded.port}", secret=SECRET, topic="secret/other", silence=0.2)
    error = await failure(driver)
    assert isinstance(error, SilentError)
    assert "'secret/other'" in str(error)
    assert "lets this user ('reader') read it" in str(error)


PLUGIN = next(Path("/usr/lib").glob("*/mosquitto_dynamic_security.so"), None)


async def test_a_subscription_that_is_refused_is_not_permitted(tmp_path: Path) -> None:
    if PLUGIN is None:
        pytest.skip("the rights plugin of mosquitto is not installed")
    access = {"publishClientSend": True, "publishClientReceive": True, "subscribe": False, "unsubscribe": True}
    rights = tmp_path / "rights.json"
    rights.write_text(json.dumps({"defaultACLAccess": access, "clients": [], "groups": [], "roles": []}))
    settings = ("allow_anonymous true", f"plugin {PLUGIN}", f"plugin_opt_config_file {rights}")
    with closing(Broker(tmp_path, *settings)) as broker:
        error = await failure(make(broker))
    assert isinstance(error, NotPermittedError)
    assert f"does not let somebody without a user name read '{TOPIC}' (not authorized)" in str(error)


async def test_tls_is_taken_by_a_trusted_authority_and_by_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    authority = Authority(tmp_path)
    monkeypatch.setenv("SSL_CERT_FILE", str(authority.path))
    with closing(Broker(tmp_path, tls=authority.broker())) as broker:
        url = f"mqtts://127.0.0.1:{broker.port}"
        context = ssl.create_default_context(cafile=str(authority.path))
        with closing(Publisher(broker.port, context=context)) as publisher:
            await heard(make(url), publisher)
        plain = await failure(make(f"mqtt://127.0.0.1:{broker.port}"))
        assert isinstance(plain, NotFoundError)
        assert "mqtts://" in str(plain)
        other = Authority(tmp_path, "another authority")
        monkeypatch.setenv("SSL_CERT_FILE", str(other.path))
        error = await failure(make(url))
        assert isinstance(error, SettingsError)
        assert "is not trusted" in str(error)
        assert "SSL_CERT_FILE" in str(error)


async def test_a_certificate_of_another_address_is_not_trusted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    authority = Authority(tmp_path)
    monkeypatch.setenv("SSL_CERT_FILE", str(authority.path))
    with closing(Broker(tmp_path, tls=authority.broker("192.0.2.10"))) as broker:
        error = await failure(make(f"mqtts://127.0.0.1:{broker.port}"))
    assert isinstance(error, SettingsError)
    assert "127.0.0.1" in str(error)


async def test_a_server_that_speaks_no_tls_is_named(tmp_path: Path) -> None:
    port = free_port()
    with answering(port, b"\x20\x02\x00\x00" * 4):
        error = await failure(make(f"mqtts://127.0.0.1:{port}", answer=1.0))
    assert isinstance(error, SettingsError)
    assert "does not speak TLS" in str(error)


async def test_a_name_that_no_computer_can_have_is_not_found() -> None:
    error = await failure(make(f"mqtt://{'a' * 64}.invalid"))
    assert isinstance(error, NotFoundError)
    assert "no computer is called" in str(error)


async def test_a_broker_that_says_good_bye_is_lost_with_its_reason() -> None:
    """Literal exchange. Source: MQTT Version 5.0, sections 3.2, 3.9 and 3.14 (reason code 0x8B)."""
    port = free_port()
    with answering(port, b"\x20\x03\x00\x00\x00", b"\x90\x04\x00\x01\x00\x01\xe0\x02\x8b\x00"):
        error = await Session(make(f"mqtt://127.0.0.1:{port}")).failure()
    assert isinstance(error, ConnectionLostError)
    assert "was there and is gone (server shutting down)" in str(error)


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        (0x80, NotFoundError),
        (0x84, SettingsError),
        (0x85, SettingsError),
        (0x86, NotPermittedError),
        (0x87, NotPermittedError),
        (0x88, BusyError),
        (0x89, BusyError),
        (0x8A, NotPermittedError),
        (0x8C, NotPermittedError),
        (0x97, BusyError),
        (0x9C, SettingsError),
        (0x9F, BusyError),
    ],
)
def test_each_reason_of_a_broker_is_an_error_of_ours(code: int, expected: type[DriverError]) -> None:
    """Source: MQTT Version 5.0, OASIS Standard (2019), table 3-1."""
    error = refusal(NAME, PLACE, code, "Some Words")
    assert type(error) is expected
    assert "(some words)" in str(error)
    assert error.hint


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (ConnectionRefusedError(errno.ECONNREFUSED, "refused"), "there is no broker at 192.0.2.10:1883"),
        (socket.gaierror(socket.EAI_NONAME, "not known"), "no computer is called 192.0.2.10"),
        (TimeoutError("timed out"), "nothing answers at 192.0.2.10:1883"),
        (OSError(errno.ENETUNREACH, os.strerror(errno.ENETUNREACH)), "network is unreachable"),
        (ssl.SSLEOFError(8, "hung up"), "cannot be reached"),
    ],
)
def test_each_error_of_the_system_may_pass(error: Exception, words: str) -> None:
    ours = connecting_error(NAME, PLACE, error)
    assert isinstance(ours, NotFoundError)
    assert ours.retry
    assert words in str(ours)
    assert ours.hint


@pytest.mark.parametrize(
    ("url", "expected"),
    [
        ("mqtt://192.0.2.10", BrokerAddress("192.0.2.10", 1883, tls=False)),
        ("mqtts://broker.example/", BrokerAddress("broker.example", 8883, tls=True)),
        ("mqtt://night%20shift@[2001:db8::1]:1884", BrokerAddress("2001:db8::1", 1884, tls=False, user="night shift")),
    ],
)
def test_a_url_names_a_broker(url: str, expected: BrokerAddress) -> None:
    assert broker_address(url, NAME) == expected


def test_an_address_of_colons_stands_in_brackets() -> None:
    assert str(BrokerAddress("2001:db8::1", 1884, tls=False)) == "[2001:db8::1]:1884"


async def test_what_takes_calls_and_does_not_answer_is_named() -> None:
    port = free_port()
    with answering(port):
        error = await Session(make(f"mqtt://127.0.0.1:{port}", answer=0.3)).failure()
    assert isinstance(error, SilentError)
    assert "lets itself be called and does not answer within 0.3 s" in str(error)


async def test_a_session_that_is_cancelled_says_good_bye() -> None:
    """Source: MQTT Version 5.0, section 3.14 (packet type 14)."""
    port = free_port()
    with answering(port, b"\x20\x03\x00\x00\x00", b"\x90\x04\x00\x01\x00\x01") as heard:
        session = Session(make(f"mqtt://127.0.0.1:{port}"))
        await session.until(lambda: listening(session.emitted), "open")
        await session.cancel()
        await until(lambda: len(heard) == 3, what="good-bye")
    assert [packet[0] >> 4 for packet in heard] == [1, 8, 14]
