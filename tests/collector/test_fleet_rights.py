"""One company never sees another, nor a technician another, at a real broker with the rights of docs/fleet/acl."""

import ssl
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.fleet_sessions import GROUP, OWN_ROOT, Where
from drivers.base import NotPermittedError
from drivers.broker_address import BrokerAddress
from drivers.share_look import look
from drivers.share_messages import channels_map, status_map
from drivers.share_topics import CallTopics, SharedCall
from tests.collector.fleet_bench import ACL, SECRET, USERS, guarded
from tests.drivers.authority import Authority
from tests.drivers.brokers import Broker, Publisher

ANN, BEN, EVE = (CallTopics(*one, "call-1") for one in (("north", "ann"), ("north", "ben"), ("south", "eve")))
OWN = ("status", "channels", "readings", "events", "answer/viewer")


class Client:
    """Somebody at the broker who wants to hear everything, and what the broker says to each thing he says."""

    def __init__(self, port: int, user: str, *filters: str) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._answers: dict[int, str] = {}
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.username_pw_set(user, SECRET)
        subscribed: list[object] = []
        self._client.on_connect = lambda client, *_: client.subscribe(
            [(one, SubscribeOptions(qos=1)) for one in filters]
        )
        self._client.on_subscribe = lambda *found: subscribed.append(found)
        self._client.on_message = lambda _client, _data, message: self.heard.append(
            (message.topic, bytes(message.payload))
        )
        self._client.on_publish = lambda _client, _data, mid, code, _more: self._answers.update({mid: str(code)})
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        wait(lambda: subscribed, f"{user} is let in")

    def say(self, topic: str, payload: bytes = b"x", *, retain: bool = False) -> str:
        """Publish; what the broker answers."""
        info = self._client.publish(topic, payload, qos=1, retain=retain)
        wait(lambda: info.mid in self._answers, "the broker answers")
        return self._answers[info.mid]

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def wait(condition, what: str, *, within: float = 20.0) -> None:
    deadline = time.monotonic() + within
    while not condition():
        assert time.monotonic() < deadline, what
        time.sleep(0.005)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = guarded(tmp_path)
    yield made
    made.close()


@pytest.fixture
def everybody(broker: Broker) -> Iterator[dict[str, Client]]:
    clients = {user: Client(broker.port, user, "#") for user in USERS}
    yield clients
    for client in clients.values():
        client.close()


def heard_by(clients: dict[str, Client], last: str) -> dict[str, list[str]]:
    """Topics that each heard, once a last word that all may hear in their own way has come through."""
    return {user: [topic for topic, _ in client.heard if not topic.endswith(last)] for user, client in clients.items()}


def after_all(clients: dict[str, Client]) -> None:
    """Each company's technicians say one thing more; when its readers have that, they had all that came before."""
    for user in ("north/ann", "north/ben", "south/eve"):
        assert clients[user].say(f"lightoff/1/{user}/last/events") == "Success"
    readers = {"archive": 3, "north-archive": 2, "north": 2, "south": 1, "north/ann": 1, "north/ben": 1, "south/eve": 1}
    for user, count in readers.items():
        wait(
            lambda user=user, count=count: (
                len(heard_by({user: clients[user]}, "x")[user]) >= count
                and sum(topic.endswith("/last/events") for topic, _ in clients[user].heard) == count
            ),
            f"{user} hears",
        )


def test_what_is_said_is_heard_by_its_own_company_alone(everybody: dict[str, Client]):
    for topics, user in ((ANN, "north/ann"), (BEN, "north/ben"), (EVE, "south/eve")):
        for what in OWN:
            assert everybody[user].say(f"{topics.root}/{what}", retain=what == "status") == "Success"
    after_all(everybody)
    heard = heard_by(everybody, "/last/events")
    of = {
        user: [f"{topics.root}/{what}" for what in OWN] for topics, user in ((ANN, "ann"), (BEN, "ben"), (EVE, "eve"))
    }
    assert heard["north/ann"] == of["ann"]
    assert heard["north/ben"] == of["ben"]
    assert sorted(heard["north"]) == sorted(heard["north-archive"]) == sorted(of["ann"] + of["ben"])
    assert heard["south"] == heard["south/eve"] == of["eve"]
    assert sorted(heard["archive"]) == sorted(of["ann"] + of["ben"] + of["eve"])


@pytest.mark.parametrize(
    ("user", "topics"),
    [
        (
            "south/eve",
            [ANN.status, ANN.readings, ANN.ask, EVE.ask.replace("eve", "mia"), "lightoff/1/north/eve/call-1/status"],
        ),
        ("south", [ANN.ask, ANN.status, EVE.readings, EVE.status]),
        ("north/ben", [ANN.status, ANN.channels, ANN.readings, ANN.events, ANN.answer("viewer"), ANN.ask]),
        ("north", [ANN.status, ANN.readings, ANN.answer("viewer"), EVE.ask]),
        ("archive", [ANN.readings, ANN.status, ANN.ask]),
        ("north-archive", [ANN.readings, f"{OWN_ROOT}/all/g/w/presence"]),
        ("north/ann", [f"{OWN_ROOT}/all/g/w/presence", "lightoff/1/north/status", "$SYS/x", "else"]),
    ],
)
def test_what_is_another_s_cannot_be_said(everybody: dict[str, Client], user: str, topics: Sequence[str]):
    for topic in topics:
        assert everybody[user].say(topic, retain=True) == "Not authorized", topic
    after_all(everybody)
    assert not any(heard_by(everybody, "/last/events").values()), "and nobody heard any of it"


def test_what_was_kept_of_one_company_is_not_given_to_another(broker: Broker):
    ann = Client(broker.port, "north/ann", "#")
    assert ann.say(ANN.status, b"running", retain=True) == "Success"
    late = {user: Client(broker.port, user, "#", f"{ANN.root}/+", f"$share/g/{ANN.status}") for user in USERS}
    after_all(late)
    heard = {user for user, client in late.items() if ANN.status in [topic for topic, _ in client.heard]}
    for client in (ann, *late.values()):
        client.close()
    assert heard == {"archive", "north-archive", "north", "north/ann"}


def test_a_question_of_the_office_reaches_its_technician_alone(everybody: dict[str, Client]):
    assert everybody["north"].say(ANN.ask) == "Success"
    after_all(everybody)
    heard = heard_by(everybody, "/last/events")
    assert {user for user, topics in heard.items() if ANN.ask in topics} == {
        "archive",
        "north-archive",
        "north",
        "north/ann",
    }


def test_somebody_who_knows_the_workers_group_takes_messages_away_and_reads_none(broker: Broker):
    """Why the group's name is kept as a secret: a broker may deal a message to who may not read it, and drop it."""
    where = Where(broker=BrokerAddress("127.0.0.1", broker.port, tls=False), group=GROUP)
    worker, thief = Client(broker.port, "archive", where.readings), Client(broker.port, "south", where.readings)
    ann = Client(broker.port, "north/ann", ANN.readings)
    for _ in range(20):
        assert ann.say(ANN.readings) == "Success"
    wait(lambda: len(ann.heard) == 20, "all was said")
    other = Client(broker.port, "archive", where.readings.replace(GROUP, "another-name"))
    for _ in range(20):
        ann.say(ANN.readings)
    wait(lambda: len(other.heard) == 20, "a group with a name of its own has all")
    for client in (worker, thief, ann, other):
        client.close()
    assert not thief.heard
    assert len(worker.heard) < 40, "some went to the thief, and to nobody"


async def test_the_configuration_of_the_document_lets_in_by_tls_and_password(tmp_path: Path, monkeypatch) -> None:
    authority = Authority(tmp_path)
    authority.broker()
    authority.path.rename(tmp_path / "authority.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
    (tmp_path / "acl").write_text(ACL.read_text())
    guarded(tmp_path).close()  # which makes the users
    text = (ACL.parent / "mosquitto.conf").read_text()
    text = text.replace("/etc/mosquitto", str(tmp_path)).replace("/var/lib/mosquitto", str(tmp_path))
    with closing(Broker(tmp_path, whole=text)) as broker:
        context = ssl.create_default_context()
        with closing(Publisher(broker.port, user="north/ann", secret=SECRET, context=context)) as ann:
            status = status_map({"online": True, "now": 1, "events": 0, "name": "basement", "origin": ""})
            ann.say(ANN.status, status, retain=True).wait_for_publish(20)
            ann.say(ANN.channels, channels_map({}, ""), retain=True).wait_for_publish(20)
        call = SharedCall(BrokerAddress("127.0.0.1", broker.port, tls=True, user="north"), ANN)
        seen = await look(call, secret=SECRET, certificate=None, patience=20)
        assert seen.status is not None
        assert seen.status["name"] == "basement"
        for user, secret in ((None, None), ("north", "wrong")):
            stranger = replace(call, broker=replace(call.broker, user=user))
            with pytest.raises(NotPermittedError):
                await look(stranger, secret=secret, certificate=None)
