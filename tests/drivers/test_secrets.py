"""A secret of an instrument is in nothing that is shown, recorded or logged."""

import logging
import time
from contextlib import closing
from pathlib import Path

import pytest

from collector.profiles import named
from drivers.base import DriverError
from drivers.ble_advertised import Advertised
from drivers.broker import Wanted
from drivers.broker_address import broker_address
from drivers.mqtt import Mqtt
from drivers.profile import Profile, Value
from drivers.setup import Setup
from tests.drivers.brokers import NAME, TOPIC, Broker
from tests.drivers.session import Session
from tests.ports import free_port

SECRET = "9f" * 16
"""Serves as a password and as a key."""
VALUE = Value(name="temperature", unit="degC", path="$.t")


def setup(url: str) -> Setup:
    profile = Profile(name="json", driver="mqtt", values=(VALUE,))
    channels = {"temperature": "temp_room"}
    return Setup(
        name=NAME, profile=profile, address=url, channels=channels, now=time.time_ns, topic=TOPIC, secret=SECRET
    )


def test_no_repr_holds_a_secret() -> None:
    broker = broker_address("mqtt://reader@192.0.2.10", NAME)
    wanted = Wanted(instrument=NAME, broker=broker, topics=(), now=time.time_ns, secret=SECRET, longest=1)
    given = setup("mqtt://reader@192.0.2.10")
    listener = Setup(
        name=NAME, profile=named("bthome"), address="00:00:5E:00:53:01", channels={"temperature": "temp_room"},
        now=time.time_ns, secret=SECRET,
    )  # fmt: skip
    for one in (wanted, given, listener, Mqtt(given), Advertised(listener)):
        assert SECRET not in repr(one)
        assert SECRET not in str(one)


def test_no_error_of_settings_holds_a_secret() -> None:
    with pytest.raises(DriverError) as caught:
        Mqtt(setup("mqtt://192.0.2.10"))
    assert SECRET not in str(caught.value)
    for secret in (SECRET[:-1], f"{SECRET}zz"):
        with pytest.raises(DriverError) as caught:
            Advertised(
                Setup(
                    name=NAME,
                    profile=named("bthome"),
                    address="00:00:5E:00:53:01",
                    channels={"temperature": "temp_room"},
                    now=time.time_ns,
                    secret=secret,
                )
            )
        assert SECRET[:-1] not in str(caught.value)


async def test_no_event_error_or_log_line_of_a_session_holds_a_secret(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    with closing(Broker(tmp_path)) as broker:
        open_ = Session(Mqtt(setup(f"mqtt://reader@127.0.0.1:{broker.port}"), answer=1.0))
        await open_.until(lambda: open_.emitted, "open")
        await open_.cancel()
    away = Session(Mqtt(setup(f"mqtt://reader@127.0.0.1:{free_port()}"), answer=1.0))
    error = await away.failure()
    assert isinstance(error, DriverError)
    shown = [str(error), repr(error), repr(error.__cause__), caplog.text, *map(repr, open_.emitted + away.emitted)]
    assert not [text for text in shown if SECRET in text]
