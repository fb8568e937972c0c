"""Notes and requests from elsewhere: sent, heard, answered, bounded, and part of the recording."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Plate, Quality, Reading
from collector.clock import Clock
from collector.collector import Collector
from collector.recording import Recording
from collector.store import Store
from collector.talking import LONGEST, MOST_OPEN, REMOTE
from collector.talks import Talking
from dashboard.history import moments
from drivers.base import InputError, LightoffError

START = 1_768_372_280 * NANOSECONDS
NOTE = {"id": "a1", "at": START, "text": "the draft sags", "author": "A. Supervisor"}
REQUEST = {"id": "b2", "at": START, "text": "please measure the manifold", "author": "A. Supervisor"}


class Bench:
    """A recorder, without its loop, and what it sent."""

    def __init__(self, path: Path) -> None:
        self.store = Store(path)
        self.collector = Collector(self.store, plate=Plate(), rules=(), clock=Clock())
        self.talking = Talking(self.collector)
        self.sent: list[Event] = []

    def elsewhere(self) -> None:
        """The unit is elsewhere, and there is a way to it."""
        self.collector.talk_back = self.sent.append

    def told(self, what: str = "open") -> list[dict[str, object]]:
        """Rows of the status."""
        rows = self.talking.status()[what]
        assert isinstance(rows, list)
        return rows


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path / "call.lightoff")
    with closing(made.store):
        yield made


def events(bench: Bench) -> list[Event]:
    return [event for event in bench.collector.remembered if event.kind in REMOTE]


def test_a_request_is_heard_shown_and_answered_where_the_unit_is(bench: Bench) -> None:
    assert bench.talking.hear(EventKind.REMOTE_REQUEST, REQUEST, "gas_manifold")
    (row,) = bench.told()
    assert (row["kind"], row["text"], row["point"], row["at"]) == ("request", REQUEST["text"], "gas_manifold", START)
    assert bench.talking.remote_done("b2", "3.5 in. w.c., both stages") == "answered: 3.5 in. w.c., both stages"
    assert bench.told() == []
    (row,) = bench.told("answered")
    assert row["answer"] == "3.5 in. w.c., both stages"
    asked, done = events(bench)
    assert (asked.kind, done.kind) == (EventKind.REMOTE_REQUEST, EventKind.REMOTE_DONE)
    assert set(done.data) == {"id", "at", "text", "author"}
    assert done.data["id"] == "b2"


def test_what_is_not_said_is_seen_or_done(bench: Bench) -> None:
    bench.talking.hear(EventKind.REMOTE_NOTE, NOTE)
    bench.talking.hear(EventKind.REMOTE_REQUEST, REQUEST)
    assert bench.talking.remote_done("a1") == "answered: seen"
    assert bench.talking.remote_done("b2") == "answered: done"


def test_what_is_sent_twice_is_taken_once(bench: Bench) -> None:
    assert bench.talking.hear(EventKind.REMOTE_NOTE, NOTE)
    assert not bench.talking.hear(EventKind.REMOTE_NOTE, NOTE)
    bench.talking.remote_done("a1")
    assert not bench.talking.hear(EventKind.REMOTE_NOTE, NOTE), "answered already"
    assert not bench.talking.hear(EventKind.REMOTE_DONE, NOTE)
    assert len(events(bench)) == 2


def test_who_looks_on_sends_and_keeps_it_and_hears_the_answer(bench: Bench) -> None:
    bench.elsewhere()
    bench.talking.remote_note("the draft sags", START, "A. Supervisor")
    bench.talking.remote_request("with all appliances firing", "gas_inlet")
    bench.talking.remote_request("the slope of the vent")
    assert bench.sent == events(bench)
    note, point, free = bench.sent
    assert note.data == {"id": note.data["id"], "at": START, "text": "the draft sags", "author": "A. Supervisor"}
    assert point.subject == "gas_inlet"
    assert str(point.data["text"]).startswith("please measure ")
    assert str(point.data["text"]).endswith(": with all appliances firing")
    assert free.data["text"] == "please measure: the slope of the vent"
    assert len({event.data["id"] for event in bench.sent}) == 3
    assert bench.talking.hear(EventKind.REMOTE_DONE, {**note.data, "text": "seen"})
    assert [row["answer"] for row in bench.told("answered")] == ["seen"]
    with pytest.raises(InputError, match="answered by whoever is at the unit"):
        bench.talking.remote_done(str(point.data["id"]))


def test_the_present_is_that_of_the_readings_since_clocks_may_differ(bench: Bench) -> None:
    bench.elsewhere()
    channel = Channel("draft_switch", "shared: gauge", "Pa")
    bench.collector.ingest(channel)
    bench.collector.ingest(Reading(channel.key, START, 1.0, Quality.GOOD))
    bench.talking.remote_note("now")
    assert bench.sent[0].data["at"] == START


def test_what_cannot_be_sent_is_not_recorded(bench: Bench) -> None:
    def broken(event: Event) -> None:
        raise LightoffError("the broker is away", "try again")

    with pytest.raises(InputError, match="no way to whoever is at the unit"):
        bench.talking.remote_note("hello")
    bench.collector.talk_back = broken
    with pytest.raises(LightoffError, match="the broker is away"):
        bench.talking.remote_note("hello")
    assert events(bench) == []


@pytest.mark.parametrize(
    ("name", "given", "says"),
    [
        ("remote_note", {"text": ""}, "must be a text"),
        ("remote_note", {"text": "x" * (LONGEST + 1)}, "501 characters; write 500"),
        ("remote_note", {"text": "x", "author": "x" * 61}, "the name has 61"),
        ("remote_note", {"text": "x", "at": "now"}, "must be a moment"),
        ("remote_note", {"text": "x", "at": True}, "must be a moment"),
        ("remote_note", {"text": "x", "at": -1}, "not in this recording"),
        ("remote_note", {"text": "x", "at": 2**62}, "not in this recording"),
        ("remote_request", {}, "not said what to measure"),
        ("remote_request", {"point": "soup"}, "no point 'soup'"),
        ("remote_request", {"point": "gas_inlet", "text": "x" * LONGEST}, "write 500"),
        ("remote_done", {"id": "nobody"}, "answered by whoever is at the unit"),
    ],
)
def test_what_is_no_note_is_refused_in_a_sentence(bench: Bench, name: str, given: dict[str, object], says: str) -> None:
    bench.elsewhere()
    with pytest.raises(InputError, match=says):
        bench.talking.commands()[name](given)
    assert events(bench) == []
    assert bench.sent == []


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"id": 1},
        {**NOTE, "id": ""},
        {**NOTE, "id": "x" * 61},
        {**NOTE, "id": "a b"},
        {**NOTE, "at": "now"},
        {**NOTE, "at": True},
        {**NOTE, "at": -1},
        {**NOTE, "at": 2**70},
        {**NOTE, "text": None},
        {**NOTE, "text": "x" * (LONGEST + 1)},
        {**NOTE, "author": 3},
    ],
)
def test_what_comes_from_elsewhere_and_is_none_is_refused(bench: Bench, wrong: dict[str, object]) -> None:
    with pytest.raises(InputError):
        bench.talking.hear(EventKind.REMOTE_NOTE, wrong)
    with pytest.raises(InputError):
        bench.talking.hear(EventKind.JOB, NOTE)
    with pytest.raises(InputError):
        bench.talking.hear(EventKind.REMOTE_REQUEST, REQUEST, "soup")
    assert events(bench) == []


def test_half_a_character_is_replaced_since_it_could_not_be_recorded(bench: Bench) -> None:
    bench.talking.hear(EventKind.REMOTE_NOTE, {**NOTE, "text": "half \ud83d"})
    bench.store.append(events(bench))
    assert bench.told()[0]["text"] == "half ?"


def test_only_so_many_wait_for_an_answer(bench: Bench) -> None:
    for number in range(MOST_OPEN):
        bench.talking.hear(EventKind.REMOTE_NOTE, {**NOTE, "id": f"n{number}"})
    with pytest.raises(InputError, match="200 notes and requests wait for an answer already"):
        bench.talking.hear(EventKind.REMOTE_NOTE, NOTE)
    bench.elsewhere()
    with pytest.raises(InputError, match="200 notes and requests wait"):
        bench.talking.remote_note("one more")
    assert bench.talking.status()["waiting"] == MOST_OPEN
    assert len(bench.told()) == 20, "the page is told the newest"
    assert bench.told()[-1]["id"] == f"n{MOST_OPEN - 1}"


async def test_they_are_in_the_recording_at_their_moment_and_known_when_it_is_continued(tmp_path: Path) -> None:
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([
            Event(START + 90 * NANOSECONDS, EventKind.REMOTE_NOTE, "the draft sags", None, NOTE),
            Event(START + 91 * NANOSECONDS, EventKind.REMOTE_REQUEST, "please measure", "gas_inlet", REQUEST),
            Event(START + 95 * NANOSECONDS, EventKind.REMOTE_DONE, "seen", None, {**NOTE, "text": "seen"}),
        ])  # fmt: skip
    second = START / NANOSECONDS
    shown = moments(path, second - 1, second + 1)
    assert [event.kind for event in shown] == [EventKind.REMOTE_NOTE, EventKind.REMOTE_REQUEST]
    assert moments(path, second + 80, second + 100) == []
    with Store(tmp_path / "other.lightoff") as store, Recording(path) as recording:
        collector = Collector(store, plate=Plate(), rules=(), clock=Clock())
        status = Talking(collector, recorded=recording.events(REMOTE)).status()
    assert [row["id"] for row in status["open"]] == ["b2"]  # type: ignore[attr-defined]
    assert [row["id"] for row in status["answered"]] == ["a1"]  # type: ignore[attr-defined]


def test_a_replay_shows_what_had_come_by_then_and_takes_nothing(tmp_path: Path, monkeypatch) -> None:
    with Store(tmp_path / "call.lightoff") as store:
        collector = Collector(store, plate=Plate(), rules=(), clock=Clock())
        now = [START]
        monkeypatch.setattr(collector, "now", lambda: now[0])
        talking = Talking(collector, replaying=True)
        collector.ingest(Event(START + 10, EventKind.REMOTE_NOTE, "x", None, NOTE))
        collector.ingest(Event(START + 20, EventKind.REMOTE_DONE, "seen", None, {**NOTE, "text": "seen"}))
        for at, waiting, answered in ((0, 0, 0), (10, 1, 0), (20, 0, 1), (15, 1, 0)):
            now[0] = START + at
            status = talking.status()
            assert (status["waiting"], len(status["answered"])) == (waiting, answered), at  # type: ignore[arg-type]
        for act in (lambda: talking.remote_note("x"), lambda: talking.remote_done("a1")):
            with pytest.raises(InputError, match="a replay plays what was recorded"):
                act()
        collector.ingest(Event(START + 30, EventKind.REPLAY, "again", None, {"what": "loop"}))
        now[0] = START + 40
        assert talking.status()["waiting"] == 0
        assert talking.status()["answered"] == []


def test_what_is_sent_while_a_replay_is_shared_is_answered_there(bench: Bench) -> None:
    talking = Talking(bench.collector, replaying=True)
    assert talking.hear(EventKind.REMOTE_NOTE, NOTE)
    assert talking.remote_done("a1") == "answered: seen"
    assert [row["id"] for row in talking.status()["answered"]] == ["a1"]  # type: ignore[attr-defined]
