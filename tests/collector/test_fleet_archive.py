"""`lightoff archive BROKER URL`: real workers between a real broker and a real server; nothing is lost."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from collector.fleet_senml import PackDecoder
from collector.fleet_sessions import Where
from collector.fleet_worker import Worker
from collector.sinks.influx import InfluxSink
from collector.sinks.sink import Target
from drivers.base import NotPermittedError
from drivers.broker_address import BrokerAddress
from tests.collector.archive_bench import Known, gate, serving
from tests.collector.fleet_bench import SECRET, Technician, archiving, guarded, technician
from tests.drivers.brokers import Broker


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = guarded(tmp_path)
    yield made
    made.close()


@contextmanager
def working(broker: Broker, url: str, *, most: int = 2000, secret: str = SECRET, **more: Any) -> Iterator[Worker]:
    """A worker that this thread turns, connected."""
    where = Where(broker=BrokerAddress("127.0.0.1", broker.port, tls=False, user="archive"), secret=secret, most=most)
    sink = InfluxSink(Target(url))
    worker = Worker(where, sink, PackDecoder(), **{"take_over_after": 0.2, **more})
    try:
        turn(worker, lambda: worker.sessions.own.connected, "the worker does not connect")
        yield worker
    finally:
        worker.close()
        sink.close()


def turn(worker: Worker, until: Callable[[], object], what: str, *, within: float = 30.0) -> None:
    deadline = time.monotonic() + within
    while not until():
        assert time.monotonic() < deadline, f"{what}: {worker.status.told()}"
        worker.step()


def together(*known: Known) -> Known:
    found: Known = {}
    for one in known:
        for place, rows in one.items():
            found.setdefault(place, []).extend(rows)
    return {place: sorted(rows) for place, rows in found.items()}


def readings(lines: list[str]) -> set[str]:
    """Lines of readings, as they are told apart by a server."""
    return {line for line in lines if line.startswith("lightoff,")}


def count(people: Technician) -> int:
    return sum(len(rows) for rows in people.said.values())


def test_what_technicians_share_comes_to_the_server(tmp_path: Path, broker: Broker):
    with serving(tmp_path) as server, technician(broker.port) as ann, technician(broker.port, "south/eve") as eve:
        ann.describe()
        with working(broker, server.url) as worker:
            ann.say(5)
            eve.say(5)  # before her channels are known: they wait
            eve.settled()
            turn(worker, lambda: worker.status.readings == 100, "what is known comes first")
            eve.describe()
            turn(worker, lambda: worker.status.readings == 200, "what waited comes")
            turn(worker, lambda: worker.idle, "nothing waits any more")
        server.until_it_holds(together(ann.said, eve.said))
        tags = [one[0] for one in server.series("lightoff_value")]
    assert {(one["company"], one["technician"], one["call"]) for one in tags} == {
        ("north", "ann", "call-1"),
        ("south", "eve", "call-1"),
    }
    assert {(one["origin"], one["equipment"]) for one in tags} == {("simulated", "INV-80 12345")}
    assert not worker.status.aside
    assert worker.status.delays.share(0.99)


@pytest.mark.timeout(240)
def test_a_worker_killed_with_messages_in_its_hands_loses_nothing(tmp_path: Path, broker: Broker):
    with gate() as server, technician(broker.port) as ann:
        ann.describe()
        server.decide = lambda lines: (503, {}) if any(line.startswith("lightoff,") for line in lines) else None
        with archiving(broker.port, server.url) as doomed:
            doomed.ready()
            ann.say(20)
            ann.settled()
            deadline = time.monotonic() + 60
            while not any(lines > 1 for _, lines in server.asked):
                assert time.monotonic() < deadline, "it hands nothing to the server"
                time.sleep(0.01)
            doomed.kill()
        ann.say(20)  # to a session that nobody has
        ann.settled()
        server.decide = lambda _: None
        with working(broker, server.url) as survivor:
            ann.say(20)
            ann.settled()
            turn(survivor, lambda: survivor.idle and survivor.status.taken_over == 1, "it takes over")
        assert len(readings(server.lines)) == count(ann) == 60 * 20
        assert survivor.status.repeated > 0, "what the other had in its hands was sent again"
        with working(broker, server.url) as next_one:  # and the session that was emptied is gone for good
            turn(next_one, lambda: next_one.idle, "nothing waits")
            assert next_one.status.readings == 0
            assert next_one.status.taken_over <= 1, "that of the survivor alone"


def test_what_a_killed_server_had_answered_for_is_sent_again(tmp_path: Path, broker: Broker):
    with serving(tmp_path) as server, technician(broker.port) as ann:
        ann.describe()
        with working(broker, server.url) as worker:
            ann.say(10)
            turn(worker, lambda: worker.status.readings == 200, "it is answered for")
            assert worker.status.messages == 10
            server.kill()  # at once: it had not written what it answered for
            server.start()
            ann.say(1)
            turn(worker, lambda: worker.status.readings >= 420, "the last minute is sent again")
            assert worker.status.again == 10
        server.until_it_holds(ann.said)


def test_what_is_kept_for_sure_is_not_sent_again(broker: Broker):
    with gate() as server, technician(broker.port) as ann:
        ann.describe()
        with working(broker, server.url, settle=0.0) as worker:
            ann.say(10)
            turn(worker, lambda: worker.status.readings == 200, "it is answered for")
            turn(worker, lambda: not worker.unsure, "and counts as kept")
            assert worker.status.uncovered == 0


def test_a_server_that_takes_nothing_stops_what_the_broker_sends(broker: Broker):
    with gate() as server, technician(broker.port) as ann:
        ann.describe()
        server.decide = lambda lines: (503, {}) if any(line.startswith("lightoff,") for line in lines) else None
        with working(broker, server.url, most=5) as worker:
            ann.say(40)
            ann.settled()
            turn(worker, lambda: worker.standing > 0.5, "the server stands still")
            taken = worker.sessions.own.open
            ann.say(400)
            ann.settled()
            turn(worker, lambda: worker.standing > 1.5, "and goes on standing still")
            assert worker.sessions.own.open == taken < 30, "what is in hand grows no more"
            assert len(worker.sessions.own.held) <= 5, "nor what waits for that"
            assert "cannot write now" in worker.status.text
            assert worker.status.messages == 0
            server.decide = lambda _: None
            most: list[int] = []

            def emptied() -> bool:
                most.append(len(worker.sessions.own.held))
                return worker.status.messages == 440

            turn(worker, emptied, "what the broker kept comes")
            assert max(most) <= 5, "a broker that sends more than was agreed while it empties its queue is not read"
        assert len(readings(server.lines)) == 440 * 20


def test_what_is_refused_or_cannot_be_read_is_set_aside_alone(broker: Broker):
    with gate() as server, technician(broker.port) as ann, technician(broker.port, "south/eve") as eve:
        ann.describe()
        server.decide = lambda lines: (400, {}) if any("value=77.0 " in line for line in lines) else None
        with working(broker, server.url, patience=0.5) as worker:
            ann.say(3)
            ann.say(1, value=77.0)
            ann.say_bytes(b"\xff\x00 no pack")
            ann.say(1, value=float("inf"))
            ann.say(3)
            eve.say(1)  # never described
            turn(worker, lambda: worker.status.messages == 10, "all is done with")
            aside = worker.status.aside
        assert len(readings(server.lines)) == 6 * 20
        assert sorted(aside.values()) == [1, 1, 20, 20], aside
        assert any("refuses a line" in why for why in aside)
        assert any("no description of that channel" in why for why in aside)


def test_a_broker_that_forgets_what_it_kept_is_told_of(broker: Broker):
    with gate() as server, technician(broker.port) as ann:
        ann.describe()
        with working(broker, server.url) as worker:
            broker.kill()
            turn(worker, lambda: not worker.sessions.own.connected, "the connection is over")
            broker.start()
            turn(worker, lambda: worker.sessions.own.connected, "it connects again")
            turn(worker, lambda: worker.status.forgotten, "and is told")
        assert (worker.status.forgotten, worker.status.connections) == (1, 2)


def test_a_wrong_password_ends_it(broker: Broker):
    with gate() as server, pytest.raises(NotPermittedError, match=r"archive: the broker at .* refuses the connection"):
        with working(broker, server.url, secret="wrong"):
            pass
