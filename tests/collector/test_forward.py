"""The cursor over a recording, to a real server and to one that fails as told: nothing lost, nothing twice."""

import json
import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector import forward, forward_kept
from collector.archive_command import forward_all
from collector.forward import Forwarder
from collector.forward_kept import Kept
from collector.forward_marks import MINUTE, Mark, within_minutes
from collector.recording import Many, Rows
from collector.sinks.influx import InfluxSink
from collector.sinks.sink import Target
from collector.store import Store
from collector.supervisor import Backoff
from tests.collector.archive_bench import Pace, gate, same, serving, stored
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, SWITCH, T0

STARTED = Event(T0, EventKind.RECORDER, "recording started", None, {"wall": T0})
CHANNELS = (DRAFT, SUPPLY, SWITCH)
TENTH = SECOND // 10


@dataclass
class Call:
    """A recording that is being made, and what is told of it to a cursor."""

    path: Path
    store: Store
    pace: Pace
    said: int = 0

    def record(self, seconds: float, *forwarders: Forwarder) -> None:
        """All channels talk ten times a second; time passes."""
        count = round(seconds * 10)
        for channel in CHANNELS:
            time = T0 + (self.said + np.arange(count)) * TENTH
            value = np.round(np.sin((self.said + np.arange(count)) / 70), 3)
            self.add(channel, time, value, *forwarders)
        self.said += count
        self.pace.passed = max(self.pace.passed, self.said / 10)

    def add(self, channel: Channel, time: np.ndarray, value: np.ndarray, *forwarders: Forwarder) -> None:
        self.store.append([Many(channel.key, Rows(time, value, np.zeros(len(time), np.int8)))])
        for forwarder in forwarders:
            forwarder.marks.add(within_minutes(channel.key, int(time.min()), int(time.max())))

    def late(self, seconds: float, *forwarders: Forwarder) -> None:
        """A reading that comes long after its time."""
        at = np.array([T0 + round(seconds * SECOND) + 7_000_000])
        self.add(SUPPLY, at, np.array([70.5]), *forwarders)


@pytest.fixture
def call(tmp_path: Path) -> Iterator[Call]:
    with Store(tmp_path / "call.lightoff") as store:
        store.append([STARTED, *CHANNELS])
        yield Call(store.path, store, Pace(T0))


@contextmanager
def forwarding(call: Call, url: str, **more: float) -> Iterator[Forwarder]:
    target = Target(url)
    sink = InfluxSink(target)
    with Kept(call.path, target.identity) as kept:
        pace = call.pace
        backoff = Backoff(1.0, 60.0, jitter=lambda _, high: high)
        try:
            yield Forwarder(call.path, sink, kept, now=pace.now, monotonic=pace.monotonic, backoff=backoff, **more)
        finally:
            sink.close()


def until_sent(forwarder: Forwarder, pace: Pace, most: int = 20_000) -> None:
    """Step until the server has answered for everything; time passes only while there is nothing to do."""
    for _ in range(most):
        wait = forwarder.step()
        if forwarder.sent:
            return
        pace.sleep(wait)
    raise AssertionError(f"not sent: {forwarder.status}")


def until_kept(forwarder: Forwarder, pace: Pace) -> None:
    assert forward_all(forwarder, patience=1e9, sleep=pace.sleep)


def test_a_finished_recording_arrives_as_it_is_and_is_not_sent_again(tmp_path: Path, call: Call):
    with serving(tmp_path) as server:
        call.record(300)
        with forwarding(call, server.url) as forwarder:
            until_kept(forwarder, call.pace)
            assert forwarder.status.sent == 3 * 3000
        server.until_it_holds(stored(call.path))
        with forwarding(call, server.url) as again:
            until_kept(again, call.pace)
            assert (again.status.sent, again.status.state) == (0, "up to date")


def test_what_is_odd_arrives_too(tmp_path: Path, call: Call):
    """No value, doubtful, two in one millisecond, names with every sign that the protocol uses."""
    names = ["a,b =c", 'q"u%o\\te\\', "Gerät °C", "tab\tnew\nline", "%5C", "simulated: x", "by hand: dial"]
    channels = [Channel("temp_room", name, "degC") for name in names]
    readings = [Reading(one.key, T0 + SECOND, 20.0 + place) for place, one in enumerate(channels)]
    odd = [
        Reading(DRAFT.key, T0, 0.5),
        Reading(DRAFT.key, T0 + 100, 0.6),
        Reading(DRAFT.key, T0 + 999_999, math.nan, Quality.BAD),
        Reading(DRAFT.key, T0 + 1_000_000, 0.7, Quality.SUSPECT),
        Reading(SUPPLY.key, T0, math.inf),
        Reading(SUPPLY.key, T0 + 1, 1e300),
    ]
    call.store.append([*channels, *readings, *odd])
    with serving(tmp_path) as server, forwarding(call, server.url) as forwarder:
        until_kept(forwarder, call.pace)
        found = server.series()
        assert forwarder.status.shared == 2
        assert forwarder.status.aside == 2, "what no server keeps beside others is reported"
    values = {(tags["instrument"], values[0]) for tags, _, values in found if tags["point"] == "temp_room"}
    written = ["a,b =c", 'q"u%o%5Cte%5C', "Gerät °C", "tab%09new%0Aline", "%255C", "simulated: x", "by hand: dial"]
    assert values == {(name, 20.0 + place) for place, name in enumerate(written)}
    origins = {tags["instrument"]: tags["origin"] for tags, _, _ in found}
    assert (origins["simulated: x"], origins["by hand: dial"], origins["%255C"]) == ("simulated", "by hand", "live")
    draft = [
        (tags["__name__"][9:], tags["quality"], tags.get("ns", ""), times, values)
        for tags, times, values in found
        if tags["point"] == "draft_switch"
    ]
    at = T0 // 1_000_000
    assert sorted(draft) == [
        ("missing", "bad", "999999", [at], [1]),
        ("value", "good", "", [at], [0.5]),
        ("value", "good", "100", [at], [0.6]),
        ("value", "suspect", "", [at + 1], [0.7]),
    ]
    assert all(tags["unit"] == "inH2O" for tags, _, _ in found if tags["point"] == "draft_switch")


def test_live_readings_go_first_and_late_ones_are_sent_too(call: Call, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(forward, "BATCH", 1000)
    with gate() as server:
        call.record(600)
        with forwarding(call, server.url) as forwarder:
            forwarder.step()
            first = len(server.lines)
            call.record(1, forwarder)
            forwarder.step()
            newest = [int(line.rpartition(" ")[2]) for line in server.lines[first:]]
            assert max(newest) - min(newest) <= SECOND, "the newest second goes alone, before what was recorded before"
            until_sent(forwarder, call.pace)
            sent = len(server.lines)
            call.late(30, forwarder)
            until_sent(forwarder, call.pace)
            late = [line for line in server.lines[sent:] if line.endswith(str(T0 + 30 * SECOND + 7_000_000))]
            assert len(late) == 1


def test_a_late_reading_is_found_without_a_word_about_it(tmp_path: Path, call: Call):
    """As after a crash of the recorder between its commit and its telling."""
    with serving(tmp_path) as server:
        call.record(200)
        with forwarding(call, server.url) as forwarder:
            until_kept(forwarder, call.pace)
        call.late(30)
        with forwarding(call, server.url) as again:
            until_kept(again, call.pace)
            assert 1 <= again.status.sent <= 601, "its minute alone"
        server.until_it_holds(stored(call.path))


def test_a_server_that_is_away_for_an_hour_gets_all_of_it_and_the_way_back_is_told(tmp_path: Path, call: Call):
    with serving(tmp_path) as server, forwarding(call, server.url) as forwarder:
        call.record(90, forwarder)
        until_sent(forwarder, call.pace)
        server.kill()
        states = set()
        for _ in range(60):
            call.record(60, forwarder)
            forwarder.step()
            states.add(forwarder.status.state)
        status = forwarder.status
        assert states == {"waiting"}
        assert "takes no connection" in status.text
        assert 3590 < status.behind < 3760
        assert 3500 < status.stood_still < 3700
        assert status.failures < 80, "it is asked once a minute at the most"
        server.start()
        call.record(1, forwarder)
        call.pace.sleep(60)
        until_kept(forwarder, call.pace)
        assert (status.state, status.text, status.behind) == ("up to date", "", 0.0)
        server.until_it_holds(stored(call.path))


def test_a_server_that_is_killed_after_its_answer_gets_again_what_it_lost(tmp_path: Path, call: Call):
    """Success is not durable: what it answered for in the last minute is sent again, also when we did not notice."""
    with serving(tmp_path) as server, forwarding(call, server.url) as forwarder:
        call.record(180, forwarder)
        until_sent(forwarder, call.pace)
        server.kill()
        server.start()
        assert not same(server.holds(), stored(call.path)), "it lost nothing, so nothing is tried here"
        call.record(1, forwarder)
        until_kept(forwarder, call.pace)
        assert forwarder.status.again >= 3 * 1800
        server.until_it_holds(stored(call.path))


def test_what_was_answered_counts_as_kept_only_when_the_same_server_still_answers_later(tmp_path: Path, call: Call):
    with serving(tmp_path) as server, forwarding(call, server.url) as forwarder:
        call.record(60, forwarder)
        until_sent(forwarder, call.pace)
        server.kill()
        call.pace.sleep(3600)
        server.start()
        until_kept(forwarder, call.pace)
        server.until_it_holds(stored(call.path))


def test_slow_full_and_busy(tmp_path: Path, call: Call):
    """Waits grow; what the server asks for is followed, up to five minutes; lines are kept meanwhile."""
    answers = iter([(503, {}), (429, {"Retry-After": "120"}), (500, {"Retry-After": "9000"}), (507, {})])
    with gate() as server, forwarding(call, server.url, settle=0) as forwarder:
        server.decide = lambda _: next(answers, None)
        call.record(120, forwarder)
        waits = [forwarder.step() for _ in range(1)]
        for _ in range(3):
            call.pace.sleep(waits[-1])
            waits.append(forwarder.step())
        assert waits == [1.0, 120.0, 300.0, 8.0]
        assert "cannot write now (507: as the test told)" in forwarder.status.text
        until_kept(forwarder, call.pace)
        assert len({line for line in server.lines if line.startswith("lightoff,")}) == 3 * 1200


def test_one_bad_line_is_set_aside_and_the_rest_arrives(tmp_path: Path, call: Call):
    bad = f" {T0 + 40 * SECOND}"
    with gate() as server:
        server.decide = lambda lines: (
            (400, {}) if any(",point=temp_supply" in x and x.endswith(bad) for x in lines) else None
        )
        call.record(150)
        with forwarding(call, server.url, settle=0) as forwarder:
            until_kept(forwarder, call.pace)
            assert forwarder.status.aside == 1
            kept = forwarder.kept_file
        readings = {line for line in server.lines if line.startswith("lightoff,")}
        assert len(readings) == 3 * 1500 - 1
        assert len(server.asked) < 60, "found by halves"
        with Kept(call.path, Target(server.url).identity) as known:
            known.begin(known.calls()[0])
            assert known.aside == 1
        assert b"refuses a line (400: as the test told)" in kept.read_bytes()
        server.decide = lambda _: None
        with forwarding(call, server.url, settle=0) as again:
            until_kept(again, call.pace)
            assert again.status.aside == 0, "it is tried again with the next beginning"
        assert len({line for line in server.lines if line.startswith("lightoff,")}) == 3 * 1500


def test_one_refused_series_does_not_hold_the_others_up(tmp_path: Path, call: Call):
    with gate() as server, forwarding(call, server.url, settle=0) as forwarder:
        server.decide = lambda lines: (400, {}) if any(",point=temp_supply" in line for line in lines) else None
        for _ in range(40):
            call.record(1, forwarder)
            until_sent(forwarder, call.pace)
        until_kept(forwarder, call.pace)
        assert forwarder.status.aside == 400
        assert forwarder.status.state == "up to date"
        assert len({line for line in server.lines if line.startswith("lightoff,")}) == 2 * 400
        assert len(server.asked) < 40 * 12, "what was refused before is not looked through again"


@pytest.mark.parametrize(
    ("status", "words"),
    [(400, "nothing is taken"), (401, "does not know our token"), (404, "no such place"), (302, "answers 302")],
)
@pytest.mark.parametrize("later", [False, True])
def test_a_server_that_takes_nothing_at_all_blames_no_line(call: Call, status: int, words: str, later: bool):
    with gate() as server, forwarding(call, server.url, settle=0) as forwarder:
        if later:
            call.record(60, forwarder)
            until_kept(forwarder, call.pace)
        server.decide = lambda _: (status, {"Location": "http://127.0.0.1:1/"} if status == 302 else {})
        call.record(60 - call.said // 10 or 60, forwarder)
        for _ in range(20):
            call.pace.sleep(forwarder.step())
        assert words in forwarder.status.text
        assert (forwarder.status.aside, forwarder.status.sent) == (0, 3 * 600 * later)
        server.decide = lambda _: None
        until_kept(forwarder, call.pace)
        assert len({line for line in server.lines if line.startswith("lightoff,")}) == 3 * 600 * (1 + later)


def test_a_server_that_hangs_up_after_each_answer_is_no_server_started_anew(tmp_path: Path, call: Call):
    with gate(keep_alive=False) as server, forwarding(call, server.url) as forwarder:
        call.record(600)
        until_kept(forwarder, call.pace)
        assert len(server.lines) < 4 * 3 * 6000


def test_a_recording_that_cannot_be_written_beside_is_sent_all_the_same(tmp_path: Path, call: Call):
    call.path.with_name("call.lightoff.archive").mkdir()
    with gate() as server:
        call.record(60)
        with forwarding(call, server.url, settle=0) as forwarder:
            until_kept(forwarder, call.pace)
            assert "cannot write" in forwarder.status.unwritten
        assert len({line for line in server.lines if line.startswith("lightoff,")}) == 3 * 600


def test_too_many_marks_become_a_round_through_the_recording(tmp_path: Path, call: Call):
    with gate() as server, forwarding(call, server.url, settle=0) as forwarder:
        until_sent(forwarder, call.pace)
        forwarder.marks._most = 10
        call.record(600)
        for minute in range(T0 // MINUTE, T0 // MINUTE + 11):
            for channel in CHANNELS:
                forwarder.marks.add([Mark(channel.key, minute * MINUTE, minute * MINUTE)])
        assert forwarder.marks.forgotten > 0
        until_kept(forwarder, call.pace)
        assert len({line for line in server.lines if line.startswith("lightoff,")}) == 3 * 6000


def test_the_call_keeps_its_name_and_the_one_who_recorded(tmp_path: Path, call: Call):
    job = '[archive]\nurl = "http://x.invalid"\ntechnician = "van 7"\n[unit]\nmodel = "INV"\nserial = "12"\n'
    first = Event(T0, EventKind.JOB, "job", None, {"text": job})
    call.record(1)
    call.store.append([first])
    with gate() as server:
        for later in (None, Event(T0 + 1, EventKind.JOB, "job", None, {"text": job.replace("van 7", "van 8")})):
            if later:
                call.store.append(
                    [later, Event(T0 - 5, EventKind.RECORDER, "recording started", None, {"wall": T0 - 5})]
                )
                call.record(1)
            with forwarding(call, server.url, settle=0) as forwarder:
                until_kept(forwarder, call.pace)
        seen = {line.partition(",instrument=")[0] for line in server.lines if line.startswith("lightoff,")}
    (one,) = seen
    assert one.startswith("lightoff,call=20260114T063120.000Z-")
    assert one.endswith(",equipment=INV\\ 12")
    assert all(",technician=van\\ 7," in line for line in server.lines if line.startswith("lightoff,"))


def test_the_token_is_in_what_is_sent_and_nowhere_else(tmp_path: Path, call: Call, caplog: pytest.LogCaptureFixture):
    caplog.set_level("DEBUG")
    token = "9f" * 16
    with gate() as server:
        target = Target(server.url, secret=token)
        server.decide = lambda lines: (403, {})
        call.record(1)
        sink = InfluxSink(target)
        with Kept(call.path, target.identity) as kept:
            forwarder = Forwarder(call.path, sink, kept, now=call.pace.now, monotonic=call.pace.monotonic)
            forwarder.step()
            told = json.dumps(forwarder.status.told())
            written = kept.path.read_bytes()
        sink.close()
        assert server.headers[0]["Authorization"] == f"Token {token}"
    assert token not in told + repr(target) + str(target) + target.identity + caplog.text
    assert token.encode() not in written + call.path.read_bytes()


def test_each_minute_the_sender_says_how_far_behind_it_is(call: Call):
    with gate() as server, forwarding(call, server.url) as forwarder:
        for _ in range(300):
            call.record(1, forwarder)
            until_sent(forwarder, call.pace)
        said = [line for line in server.lines if line.startswith("lightoff_sender,call=")]
        assert 5 <= len(said) <= 7
        assert all("behind=" in line and "aside=0.0" in line for line in said)


def test_an_account_that_is_damaged_is_left_alone_and_all_is_sent(call: Call):
    account = call.path.with_name("call.lightoff.archive")
    with gate() as server:
        call.record(60)
        with forwarding(call, server.url, settle=0) as forwarder:
            until_kept(forwarder, call.pace)
        content = account.read_bytes()
        account.write_bytes(content[:4096] + bytes(len(content) - 4096))
        damaged = account.read_bytes()
        with forwarding(call, server.url, settle=0) as again:
            until_kept(again, call.pace)
            assert again.status.sent == 3 * 600
            assert "the file is damaged" in again.status.unwritten
        assert account.read_bytes() == damaged


def test_what_is_refused_is_bounded_and_counted(call: Call, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(forward_kept, "MOST_ASIDE", 100)
    with gate() as server, forwarding(call, server.url, settle=0) as forwarder:
        server.decide = lambda lines: (400, {}) if any(",point=temp_supply" in line for line in lines) else None
        call.record(60)
        until_kept(forwarder, call.pace)
        assert forwarder.status.aside == 600
        assert len(forwarder._kept._aside) == 100


@pytest.mark.parametrize("body", [b"\xff\xfe", b"<html>no json</html>", b"x" * 100_000])
def test_whatever_a_server_says_is_one_short_sentence(call: Call, body: bytes):
    with gate() as server, forwarding(call, server.url, settle=0) as forwarder:
        server.body, server.decide = body, lambda _: (500, {})
        call.record(1)
        forwarder.step()
        assert forwarder.status.state == "waiting"
        assert len(forwarder.status.text) < 300
        server.decide = lambda _: None
        until_kept(forwarder, call.pace)


def test_an_address_with_tls_where_there_is_none(call: Call):
    with gate() as server, forwarding(call, server.url.replace("http:", "https:")) as forwarder:
        call.record(1)
        forwarder.step()
        assert "has no certificate that is believed" in forwarder.status.text
