"""The cursor over a recording, to a real server and to one that fails as told: nothing lost, nothing twice."""

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector import forward
from collector.forward_marks import MINUTE, Mark
from tests.collector.archive_bench import gate, same, serving, stored
from tests.collector.forward_bench import (
    CHANNELS,
    Call,
    forwarding,
    readings,
    recording_call,
    until_kept,
    until_sent,
)
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, T0


@pytest.fixture
def call(tmp_path: Path) -> Iterator[Call]:
    with recording_call(tmp_path) as made:
        yield made


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


def test_a_server_that_hangs_up_after_each_answer_is_no_server_started_anew(tmp_path: Path, call: Call):
    with gate(keep_alive=False) as server, forwarding(call, server.url) as forwarder:
        call.record(600)
        until_kept(forwarder, call.pace)
        assert len(server.lines) < 4 * 3 * 6000


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
        assert len(readings(server.lines)) == 3 * 6000


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


def test_each_minute_the_sender_says_how_far_behind_it_is(call: Call):
    with gate() as server, forwarding(call, server.url) as forwarder:
        for _ in range(300):
            call.record(1, forwarder)
            until_sent(forwarder, call.pace)
        said = [line for line in server.lines if line.startswith("lightoff_sender,call=")]
        assert 5 <= len(said) <= 7
        assert all("behind=" in line and "aside=0.0" in line for line in said)


def test_a_minute_whose_pieces_went_over_two_connections_is_sent_again(call: Call, monkeypatch: pytest.MonkeyPatch):
    """The first of them may have gone to a server that has forgotten it."""
    monkeypatch.setattr(forward, "BATCH", 100)
    with gate() as server, forwarding(call, server.url) as forwarder:
        server.decide = lambda _: (204, {"Connection": "close"}) if len(server.asked) == 3 else None
        call.record(30)
        until_sent(forwarder, call.pace)
        early = server.lines[1:301]
        assert len(early) == len(set(early)) == 300
        assert all(server.lines.count(line) == 2 for line in early)


def test_a_channel_that_is_not_in_the_recording_is_passed_over(call: Call):
    with gate() as server, forwarding(call, server.url, settle=0) as forwarder:
        forwarder.marks.add([Mark("draft_vent@nobody", T0, T0)])
        call.record(1, forwarder)
        until_kept(forwarder, call.pace)
        assert len(readings(server.lines)) == 30
