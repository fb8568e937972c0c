"""Servers that are full, busy, wrong or odd, and lines that they refuse: set aside, told, and never in the way."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector import forward_kept
from collector.forward import Forwarder
from collector.forward_kept import Kept
from collector.sinks.influx import InfluxSink
from collector.sinks.sink import Target
from tests.collector.archive_bench import gate
from tests.collector.forward_bench import (
    Call,
    forwarding,
    readings,
    recording_call,
    until_kept,
    until_sent,
)
from tests.collector.recordings import SECOND, T0


@pytest.fixture
def call(tmp_path: Path) -> Iterator[Call]:
    with recording_call(tmp_path) as made:
        yield made


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
        assert len(readings(server.lines)) == 3 * 1200


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
        assert len(readings(server.lines)) == 3 * 1500 - 1
        assert len(server.asked) < 60, "found by halves"
        with Kept(call.path, Target(server.url).identity) as known:
            known.begin(known.calls()[0])
            assert known.aside == 1
        assert b"refuses a line (400: as the test told)" in kept.read_bytes()
        server.decide = lambda _: None
        with forwarding(call, server.url, settle=0) as again:
            until_kept(again, call.pace)
            assert again.status.aside == 0, "it is tried again with the next beginning"
        assert len(readings(server.lines)) == 3 * 1500


def test_one_refused_series_does_not_hold_the_others_up(tmp_path: Path, call: Call):
    with gate() as server, forwarding(call, server.url, settle=0) as forwarder:
        server.decide = lambda lines: (400, {}) if any(",point=temp_supply" in line for line in lines) else None
        for _ in range(40):
            call.record(1, forwarder)
            until_sent(forwarder, call.pace)
        until_kept(forwarder, call.pace)
        assert forwarder.status.aside == 400
        assert forwarder.status.state == "up to date"
        assert len(readings(server.lines)) == 2 * 400
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
        assert len(readings(server.lines)) == 3 * 600 * (1 + later)


def test_a_recording_that_cannot_be_written_beside_is_sent_all_the_same(tmp_path: Path, call: Call):
    call.path.with_name("call.lightoff.archive").mkdir()
    with gate() as server:
        call.record(60)
        with forwarding(call, server.url, settle=0) as forwarder:
            until_kept(forwarder, call.pace)
            assert "cannot write" in forwarder.status.unwritten
        assert len(readings(server.lines)) == 3 * 600


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
