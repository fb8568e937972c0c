"""What a supervisor says and the recorder does not take, and what is said where a broker keeps silent."""

from contextlib import closing
from pathlib import Path

import pytest

from analysis.model import Event, EventKind
from drivers.base import InputError
from tests.collector.share_bench import SECRET, Here, guarded_broker, here, job_text, kinds, there, together, url
from tests.drivers.brokers import Broker
from tests.support import until

LONG = 300.0
"""Where a machine is loaded, a program takes a minute to begin. [s]"""
pytestmark = pytest.mark.timeout(900)
REQUEST = EventKind.REMOTE_REQUEST


@pytest.fixture
def broker(tmp_path: Path):
    with closing(Broker(tmp_path)) as broker:
        yield broker


def asked(viewer: Here, identity: str, *, author: str = "Bo", point: str | None = None) -> None:
    """As the page of who watches says it: recorded here, and sent."""
    data = {"id": identity, "at": 123, "text": "measure it", "author": author}
    event = Event(viewer.collector.now(), REQUEST, "measure it", point, data)
    viewer.share.send(event)
    viewer.collector.ingest(event)


def states(path: Path) -> list[tuple[object, object]]:
    return [(event.data.get("state"), event.data.get("why")) for event in kinds(path) if event.kind is REQUEST]


async def test_what_is_asked_names_the_point_at_both_ends(tmp_path: Path, broker: Broker):
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    async with there(one, job_text(broker.port)) as technician, here(other, url(broker.port)) as viewer:
        await together(technician, viewer, within=LONG)
        asked(viewer, "a" * 16, point="gas_inlet")
        await until(lambda: not viewer.share.unsent, within=LONG, what="its acknowledgement")
    for path in (one, other):
        assert {event.subject for event in kinds(path) if event.kind is REQUEST} == {"gas_inlet"}


async def test_what_the_recorder_refuses_is_said_and_not_sent_again(
    tmp_path: Path, broker: Broker, monkeypatch: pytest.MonkeyPatch
):
    """Also where it comes a second time, because the refusal was lost on the way."""
    monkeypatch.setattr("drivers.share_asking.RESEND", 0.1)
    one, other, offered = tmp_path / "there.lightoff", tmp_path / "here.lightoff", list[Event]()

    def full(event: Event) -> None:
        offered.append(event)
        raise InputError("200 notes and requests wait for an answer already", "have some answered first")

    async with there(one, job_text(broker.port)) as technician, here(other, url(broker.port)) as viewer:
        technician.sharing.takes_remote = full
        await together(technician, viewer, within=LONG)
        asked(viewer, "a" * 16)
        (waiting,) = viewer.share.unsent
        await until(lambda: not viewer.share.unsent, within=LONG, what="the refusal")
        await until(lambda: len(states(other)) == 2, within=LONG, what="that it is recorded")
        viewer.share.send(waiting[2])
        await until(lambda: not viewer.share.unsent, within=LONG, what="the refusal, again")
        assert len(offered) == 1
    why = "200 notes and requests wait for an answer already; have some answered first"
    assert states(other)[1] == ("refused", why)
    assert states(one) == []
    async with here(other, url(broker.port)) as viewer:
        assert not viewer.share.unsent, "known as refused when it goes on"


async def test_a_note_that_cannot_be_read_there_is_given_up(tmp_path: Path, broker: Broker):
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    async with there(one, job_text(broker.port)) as technician, here(other, url(broker.port)) as viewer:
        await together(technician, viewer, within=LONG)
        asked(viewer, "a" * 16, author="x" * 101)
        await until(lambda: not viewer.share.unsent, within=LONG, what="the refusal")
        await until(lambda: len(states(other)) == 2, within=LONG, what="that it is recorded")
    state, why = states(other)[1]
    assert state == "refused"
    assert str(why).startswith("'author' of the message is no text of at most 100 characters")


async def test_where_a_broker_keeps_silent_it_is_said_what_may_be_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Mosquitto agrees to everything and withholds what may not be read; a wrong name looks the same."""
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "test-authority.pem"))
    (tmp_path / "secret").write_text(SECRET)
    (tmp_path / "secret").chmod(0o600)
    rights = "user ann\ntopic readwrite lightoff/1/cold company/Ann/#\nuser bo\ntopic read lightoff/1/other/#\n"
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    with closing(guarded_broker(tmp_path, rights)) as broker:
        job = job_text(broker.port, user="ann", secret="file:secret", tls=True)
        address = url(broker.port, user="bo", tls=True)
        async with there(one, job) as technician, here(other, address, secret=SECRET, nothing=0.5) as viewer:
            await until(lambda: technician.state == "sharing", within=LONG, what="sharing")
            await until(lambda: viewer.share.trouble, within=LONG, what="what may be wrong")
            assert viewer.state == "no word yet"
            assert "the call 'cold company/Ann/one'" in str(viewer.share.standing()["text"])
            assert "the broker does not let the user 'bo' read it" in str(viewer.share.standing()["text"])
    assert [event.kind for event in kinds(other)].count(EventKind.PROBLEM) == 1
