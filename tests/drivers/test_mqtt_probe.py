"""What a broker has to say where nobody knows its topics yet."""

import asyncio
from contextlib import closing
from pathlib import Path

import pytest

from drivers import mqtt_probe
from drivers.base import NotFoundError, SettingsError, SilentError
from drivers.found import Found
from drivers.mqtt_probe import probe
from drivers.registry import KINDS
from tests.drivers.brokers import Broker, Publisher, answering
from tests.drivers.session import nothing_left
from tests.ports import free_port
from tests.support import until


async def test_topics_are_told_with_the_paths_of_their_numbers_and_again_when_those_change(tmp_path: Path) -> None:
    told: list[Found] = []
    with closing(Broker(tmp_path)) as broker, closing(Publisher(broker.port)) as publisher:
        url = f"mqtt://127.0.0.1:{broker.port}"
        publisher.say("kept", "7", retain=True).wait_for_publish(5)
        with nothing_left():
            asking = asyncio.create_task(probe(url, 20.0, told.append))
            await until(lambda: told, what="what the broker kept")
            for payload in (
                '{"room": {"t": 21.5}, "wet": "45"}',
                '{"room": {"t": 21.5}, "wet": "45"}',
                "restarting",
                "3",
            ):
                publisher.say("bench/a b", payload)
            await until(lambda: len(told) == 4, what="topics")
            asking.cancel()
            await asyncio.wait([asking])
    assert {(one.driver, one.address, one.name) for one in told} == {("mqtt", url, "")}
    assert [(one.topic, [(number.name, number.value) for number in one.measures]) for one in told] == [
        ("kept", [("", 7.0)]),
        ("bench/a b", [("$.room.t", 21.5), ("$.wet", 45.0)]),
        ("bench/a b", []),
        ("bench/a b", [("", 3.0)]),
    ]
    assert ["kept this from before" in one.note for one in told] == [True, False, False, False]
    assert told[2].note == "its last message has no number"
    assert len({one.key for one in told}) == 2


async def test_what_is_told_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt_probe, "MOST_TOPICS", 3)
    monkeypatch.setattr(mqtt_probe, "MOST_NUMBERS", 2)
    told: list[Found] = []
    with closing(Broker(tmp_path)) as broker, closing(Publisher(broker.port)) as publisher:
        for number in range(6):
            publisher.say(f"t/{number}", "[1, 2, 3, 4]", retain=True).wait_for_publish(5)
        await probe(f"mqtt://127.0.0.1:{broker.port}", 0.4, told.append)
    assert len(told) == 3
    assert all(len(one.measures) == 2 for one in told)


async def test_what_hinders_it_is_said() -> None:
    port = free_port()
    with pytest.raises(NotFoundError, match=f"there is no broker at 127.0.0.1:{port}"):
        await probe(f"mqtt://127.0.0.1:{port}", 5.0, lambda _: None)
    with pytest.raises(SettingsError, match="not that of a broker"):
        await probe("192.0.2.10", 5.0, lambda _: None)
    with answering(port), pytest.raises(SilentError, match="did not answer within"):
        await probe(f"mqtt://127.0.0.1:{port}", 0.2, lambda _: None)


async def test_the_registry_knows_how_to_ask_a_broker(tmp_path: Path) -> None:
    told: list[Found] = []
    ask = KINDS["mqtt"].probe
    assert ask is not None
    with closing(Broker(tmp_path)) as broker:
        await ask(f"mqtt://127.0.0.1:{broker.port}", 0.1, told.append)
    assert told == []
