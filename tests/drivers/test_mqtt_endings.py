"""How sessions at a broker end and begin again: what is no present reading, no sign of life, and what is told."""

import json
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from analysis.model import Event, EventKind
from drivers.base import ConnectionLostError, SilentError
from drivers.mqtt import Mqtt
from tests.drivers.brokers import NAME, TOPIC, Broker, MqttBench, Publisher, listening, make, message
from tests.drivers.session import Session
from tests.support import until

YOUNG = {"old_after": 60.0, "time_path": "$.at"}


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with closing(Broker(tmp_path)) as one:
        yield one


@pytest.fixture
def publisher(broker: Broker) -> Iterator[Publisher]:
    with closing(Publisher(broker.port)) as one:
        yield one


async def opened(driver: Mqtt) -> Session:
    session = Session(driver)
    await session.until(lambda: listening(session.emitted), "open")
    return session


async def test_a_young_message_that_the_broker_kept_is_one_reading_however_often_it_is_connected(
    broker: Broker, publisher: Publisher
) -> None:
    payload = json.dumps({"t": 20.0, "at": time.time()})
    publisher.say(TOPIC, payload, retain=True).wait_for_publish(5)
    driver = make(broker, mqtt=YOUNG)
    first = await opened(driver)
    await first.until(lambda: first.readings, "reading")
    await first.cancel()
    for repeats in (1, 2):
        again = await opened(driver)
        await again.until(lambda: driver.statistics()["repeated"] == repeats, "what it kept")  # noqa: B023
        await again.cancel()
        assert again.readings == []
    new = json.dumps({"t": 20.0, "at": time.time() + 1})
    publisher.say(TOPIC, new, retain=True).wait_for_publish(5)
    last = await opened(driver)
    await last.until(lambda: last.readings, "the next measurement")
    await last.cancel()
    live = await opened(driver)
    await live.until(lambda: driver.statistics()["repeated"] == 3, "what it kept")
    publisher.say(TOPIC, new)
    await live.until(lambda: live.readings, "the same bytes, which are said now")
    await live.cancel()


async def test_messages_that_cannot_be_read_are_no_sign_of_life(broker: Broker, publisher: Publisher) -> None:
    driver = make(broker, silence=0.3)
    session = await opened(driver)
    publisher.say(TOPIC, message(1.0))
    await session.until(lambda: session.readings, "reading")

    def ended() -> bool:
        publisher.say(TOPIC, "nonsense")
        return session.task.done()

    await until(ended, within=5.0, what="end")
    error = session.task.exception()
    assert type(error) is SilentError
    assert f"none of what came on '{TOPIC}' for 0.3 s could be read: it " in str(error)
    quiet = await opened(driver)
    assert "nothing came on" in str(await quiet.failure())


async def test_what_could_not_be_read_is_told_when_the_broker_is_lost(tmp_path: Path) -> None:
    with closing(MqttBench(tmp_path)) as bench:
        driver = bench.make()
        session = await Session(driver).listen(bench)
        for _ in range(3):
            bench.publisher.say(TOPIC, "nonsense")
        await session.until(lambda: driver.statistics()["unreadable"] == 3, "nonsense")  # type: ignore[attr-defined]
        bench.lose()
        assert type(await session.failure()) is ConnectionLostError
    told = [one.text for one in session.emitted if isinstance(one, Event) and one.kind is EventKind.PROBLEM]
    assert len(told) == 2
    assert told[0].startswith(f"{NAME}: a message ")
    assert told[1].startswith(f"{NAME}: further messages could not be read: 2 x ")
