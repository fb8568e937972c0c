"""The feed and its commands over a real loopback connection: who may look on, what is said, what a slow one loses."""

import asyncio
import json
import socket
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from analysis.model import Channel, Event, EventKind, Reading
from collector import feed as feed_module
from collector.alarm_rule import AlarmRule
from collector.arguments import LONGEST_TEXT
from collector.checks import Checklists
from collector.commands import Commands
from collector.feed import LONGEST_LINE, Feed
from collector.recording import Recording
from drivers.base import ConnectionLostError, Driver
from drivers.manual import Manual
from drivers.replay import CsvSource, Replay
from tests.collector.calls import CO, DRAFT, PLATE, T0, Told, call
from tests.support import until

LOW = AlarmRule(name="low", point="draft_switch", below=100.0, priority="high", text="low")
DANGER = AlarmRule(name="danger", point="room_co", above=36e-6, priority="safety", text="carbon monoxide")

Message = dict[str, Any]


class Client:
    """A looking-on program."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    def send(self, **message: object) -> None:
        """Send one line."""
        self.writer.write(json.dumps(message).encode() + b"\n")

    async def next(self, type_: str, **having: object) -> Message:
        """The next message of a kind with these values."""
        async with asyncio.timeout(10):
            while line := await self.reader.readline():
                message: Message = json.loads(line)
                if message["type"] == type_ and all(message.get(key) == value for key, value in having.items()):
                    return message
        raise AssertionError(f"the feed ended before {type_}")

    async def command(self, name: str, **arguments: object) -> tuple[bool, str]:
        """Send a command and give its reply."""
        self.send(type="command", id=name, name=name, arguments=arguments)
        reply = await self.next("reply", id=name)
        return reply["ok"], reply["text"]


def times_of(message: Message) -> list[int]:
    """Times of the draft meter's readings in a message: what is derived from them comes beside them."""
    return [time for key, time, _, _ in message["readings"] if key == DRAFT.key]


@asynccontextmanager
async def connected(host: str, port: int, token: str) -> AsyncIterator[Client]:
    reader, writer = await asyncio.open_connection(host, port)
    client = Client(reader, writer)
    client.send(type="auth", token=token)
    try:
        yield client
    finally:
        writer.close()
        await writer.wait_closed()


@asynccontextmanager
async def served(path: Path, *drivers: Told, replay: Replay | None = None, facts: dict[str, Message] | None = None):
    manual = Manual(now=lambda: T0)
    everyone: list[Driver] = [*drivers, manual, *([replay] if replay else [])]
    async with call(path, *everyone, rules=[LOW, DANGER]) as collector:
        checks = Checklists(collector, replaying=replay is not None)
        commands = Commands(collector, manual=manual, replay=replay, more=checks.commands())
        about: Message = {"recording": str(path), "job": None, "plate": {}, "limits": []}
        state = lambda: {"checks": checks.status()}  # noqa: E731
        feed = Feed(collector, commands, about=lambda: about, state=state, instruments=lambda: facts or {})
        async with feed.serve() as (host, port):
            yield collector, feed, host, port


async def test_a_client_is_told_everything_at_once_and_then_what_comes(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with served(tmp_path / "a.lightoff", driver) as (collector, feed, host, port):
        driver.say(DRAFT, 0, 0.5)
        await until(lambda: DRAFT.key in collector.latest, what="in")
        async with connected(host, port, feed.token) as client:
            assert (await client.next("hello"))["recording"].endswith("a.lightoff")
            (channel,) = (await client.next("channels"))["channels"]
            assert channel == {
                "key": DRAFT.key,
                "point": "draft_switch",
                "instrument": "draft meter",
                "unit": "inH2O",
            }
            first = await client.next("readings")
            assert [DRAFT.key, T0, pytest.approx(124.5445, abs=1e-3), 0] in first["readings"]
            driver.say(DRAFT, 1, 0.6)
            live = await client.next("readings")
            assert live["readings"][0][:2] == [DRAFT.key, T0 + 10**9]
            status = await client.next("status")
            assert status["recorder"] == {"state": "recording", "text": "", "lost": 0, "queued": 0}
            row = next(row for row in status["instruments"] if row["name"] == "draft meter")
            assert (row["state"], row["readings"], row["origin"]) == ("reading", 2, None)
            assert 0 <= row["age"] < 5


async def test_a_meter_is_told_with_its_zero_its_accuracy_its_losses_and_its_last_error(tmp_path):
    stated = Channel("draft_vent", "vent meter", "Pa", accuracy="1 % + 2 Pa", response_time=0.5)
    driver, plain = Told("vent meter", stated), Told("draft meter", DRAFT)
    facts = {"vent meter": {"isolated": False, "needs_isolation": True}}
    async with served(tmp_path / "a.lightoff", driver, plain, facts=facts) as (collector, feed, host, port):
        driver.say(stated, 0, 3.0)
        plain.say(DRAFT, 0, 0.5)
        await until(lambda: stated.key in collector.latest and DRAFT.key in collector.latest, what="in")
        async with connected(host, port, feed.token) as client:

            async def rows() -> dict[str, Message]:
                return {row["name"]: row for row in (await client.next("status"))["instruments"]}

            row = (await rows())["vent meter"]
            assert row["accuracy"] == {stated.key: "1 % + 2 Pa"}
            assert row["response_time"] == {stated.key: 0.5}
            assert (row["isolated"], row["needs_isolation"]) == (False, True)
            assert (row["losses"], row["last_error"], row["zeroed"]) == ([], None, {})
            assert (await client.command("zero", channel=stated.key))[0]
            driver.items.put_nowait(ConnectionLostError("vent meter", "unplugged", "plug it in"))
            await until(lambda: collector.supervisors[0].status.errors == 1, what="lost")
            driver.say(stated, 1, 3.0)
            await until(lambda: collector.supervisors[0].status.state == "reading", what="it reads again")
            row = (await rows())["vent meter"]
            while not row["losses"] or row["state"] != "reading":
                row = (await rows())["vent meter"]
            assert row["losses"][0].startswith("lost once")
            assert row["last_error"]["text"] == "vent meter: unplugged; plug it in", "kept after it recovered"
            assert abs(row["last_error"]["time"] - collector.clock()) < 30 * 10**9
            assert row["errors"] == 1
            assert row["zeros"] == {stated.key: "3 Pa"}
            assert row["zeroed"] == {stated.key: T0 + 1}, "when it was zeroed"
            other = (await rows())["draft meter"]
            assert (other["accuracy"], other["response_time"], other["isolated"]) == ({}, {}, None)
            assert (other["losses"], other["last_error"]) == ([], None)


async def test_checks_are_commands_and_are_told_at_once(tmp_path):
    async with (
        served(tmp_path / "a.lightoff") as (_, feed, host, port),
        connected(host, port, feed.token) as client,
    ):
        assert (await client.next("status"))["checks"]["open"] == []
        assert (await client.command("open_entry", item="drain", text="")) == (True, "opened: drain opened")
        (entry,) = (await client.next("status"))["checks"]["open"]
        assert (entry["text"], entry["caution"]) == (
            "drain opened",
            "power off; prime the trap again before firing",
        )
        assert (await client.command("close_entry", id=entry["id"])) == (True, "closed: drain closed, trap primed")
        assert (await client.command("check", list="before", item="filter", done=True))[0]
        assert (await client.command("reopen_entry", id=entry["id"]))[0]
        ok, text = await client.command("check", list="before", item="filter", done="yes")
        assert (ok, text) == (False, "'done' must be true or false; send it again with one of them")
    with Recording(tmp_path / "a.lightoff") as recording:
        assert [event.text for event in recording.events({EventKind.CHECK})] == [
            "opened: drain opened",
            "closed: drain closed, trap primed",
            "before you start: filter looked at",
            "opened again: drain opened",
        ]


@pytest.mark.parametrize(
    "first", [b'{"type":"auth","token":"wrong"}\n', b"GET / HTTP/1.1\r\n\r\n", b"[1]\n", b"\xff\n"]
)
async def test_whoever_does_not_know_the_token_is_told_nothing(tmp_path, first):
    async with served(tmp_path / "a.lightoff") as (_, _, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(first)
        assert await asyncio.wait_for(reader.read(), 10) == b""
        writer.close()
        await writer.wait_closed()


async def test_the_feed_listens_on_loopback_only(tmp_path):
    async with served(tmp_path / "a.lightoff") as (_, _, host, _):
        assert host == "127.0.0.1"


async def test_commands_come_back_the_same_way_and_leave_their_trace(tmp_path):
    driver, co = Told("draft meter", DRAFT), Told("room CO meter", CO)
    async with served(tmp_path / "a.lightoff", driver, co) as (collector, feed, host, port):
        driver.say(DRAFT, 0, 0.05)
        co.say(CO, 0, 40)
        await until(lambda: CO.key in collector.latest and DRAFT.key in collector.latest, what="in")
        async with connected(host, port, feed.token) as client:
            assert await client.command("note", text="trap cleared") == (True, "noted")
            assert (await client.next("event", kind="note"))["text"] == "trap cleared"
            assert await client.command("mark", text="") == (True, "marked")
            assert await client.command("acknowledge", alarm="low") == (True, "acknowledged")
            assert await client.command("shelve", alarm="low", minutes=10) == (True, "muted for 10 min")
            assert (await client.command("unshelve", alarm="low"))[0]
            ok, text = await client.command("shelve", alarm="danger", minutes=10)
            assert not ok
            assert "safety" in text
            assert await client.command("zero", channel=DRAFT.key) == (
                True,
                "draft meter: zeroed at 0.05 inH2O (draft_switch)",
            )
            assert (await client.command("type_in", point="gas_manifold", value="3.5 inH2O", meter="gauge"))[0]
            await until(lambda: "gas_manifold@by hand: gauge" in collector.latest, what="the typed reading")
    with Recording(tmp_path / "a.lightoff") as recording:
        assert [event.text for event in recording.events({EventKind.NOTE})] == ["trap cleared"]
        assert [event.text for event in recording.events({EventKind.MARK})] == ["mark"]
        assert [event.data["to"] for event in recording.events({EventKind.ALARM}) if event.subject == "low"] == [
            "unacknowledged",
            "acknowledged",
            "shelved",
            "unacknowledged",
        ]
        assert recording.read("gas_manifold@by hand: gauge").value.tolist() == [3.5]


@pytest.mark.parametrize(
    ("name", "arguments", "says"),
    [
        ("format_disk", {}, "there is no command 'format_disk'"),
        ("note", {}, "'text' must be a text"),
        ("note", {"text": "x" * (LONGEST_TEXT + 1)}, "write 2000 at most"),
        ("note", {"text": 7}, "'text' must be a text"),
        ("acknowledge", {"alarm": "lox"}, "lox"),
        ("shelve", {"alarm": "low", "minutes": "ten"}, "'minutes' must be a number"),
        ("zero", {"channel": "x"}, "no reading of 'x'"),
        ("type_in", {"point": "gas_manifol", "value": "3.5 inH2O"}, "gas_manifold"),
        ("type_in", {"point": "gas_manifold", "value": "3.5"}, "no unit"),
        ("pause", {}, "nothing is being replayed"),
        ("seek", {"position": True}, "must be a number"),
    ],
)
async def test_a_command_that_cannot_be_is_answered_in_one_sentence(tmp_path, name, arguments, says):
    async with (
        served(tmp_path / "a.lightoff") as (_, feed, host, port),
        connected(host, port, feed.token) as client,
    ):
        ok, text = await client.command(name, **arguments)
        assert not ok
        assert says in text


async def test_pages_are_told_of_another_job_after_it_is_in_force_and_before_what_comes(tmp_path):
    driver = Told("draft meter", DRAFT)
    job: Message = {"job": "none", "plate": {}, "limits": []}
    async with call(tmp_path / "a.lightoff", driver, rules=[LOW]) as collector:
        feed = Feed(collector, Commands(collector), about=lambda: {"recording": "a", **job})
        async with feed.serve() as (host, port), connected(host, port, feed.token) as client:
            assert (await client.next("hello"))["job"] == "none"
            driver.say(DRAFT, 0, 0.5)
            await until(lambda: DRAFT.key in collector.latest, what="in")
            collector.use_job(PLATE, [DANGER])
            job = {"job": "new.toml", "plate": {"rise": [19.4, 36.1]}, "limits": [{"name": "danger"}]}
            collector.ingest(Event(T0, EventKind.JOB, "job file new.toml", None, {"text": "", "name": "new.toml"}))
            assert await client.next("job") == {"type": "job", **job}
            status = await client.next("status")
            assert [alarm["name"] for alarm in status["alarms"]] == ["danger"]


async def test_a_client_that_sends_rubbish_is_dropped_and_the_recording_goes_on(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with served(tmp_path / "a.lightoff", driver) as (collector, feed, host, port):
        async with connected(host, port, feed.token) as client:
            await client.next("hello")
            client.writer.write(b'"' + b"x" * LONGEST_LINE + b'"\n')
            await until(lambda: len(collector.fanout) == 0, what="the client is dropped")
        driver.say(DRAFT, 0, 0.5)
        await until(lambda: DRAFT.key in collector.latest, what="in")


async def test_a_client_that_never_reads_loses_its_own_readings_and_delays_nothing(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with served(tmp_path / "a.lightoff", driver) as (collector, feed, host, port):
        hanging = socket.create_connection((host, port))
        hanging.sendall(json.dumps({"type": "auth", "token": feed.token}).encode() + b"\n")
        await until(lambda: len(collector.fanout) == 1, what="it listens")
        given = 60_000
        for number in range(given):
            collector.ingest(Reading(DRAFT.key, T0 + number, 0.5))
            if number % 1000 == 0:
                await asyncio.sleep(0)
        async with asyncio.timeout(20):
            await collector.recorder.caught_up()
        (listener,) = collector.fanout._listeners.values()
        assert listener.dropped > 0
        assert len(listener._items) <= 20_000
        hanging.close()
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(DRAFT.key).time.size == given


async def test_a_lone_reading_goes_out_at_once_and_those_right_after_it_together(tmp_path, monkeypatch):
    """With a long time to gather: the first does not wait for it, and the many that follow come as one message."""
    monkeypatch.setattr(feed_module, "GATHER", 2.0)
    driver = Told("draft meter", DRAFT)
    async with (
        served(tmp_path / "a.lightoff", driver) as (collector, feed, host, port),
        connected(host, port, feed.token) as client,
    ):
        await client.next("readings")  # what there was already: nothing
        began = time.monotonic()
        collector.ingest(Reading(DRAFT.key, T0, 0.5))
        assert times_of(await client.next("readings")) == [T0]
        assert time.monotonic() - began < 1.0
        for number in range(1, 51):
            collector.ingest(Reading(DRAFT.key, T0 + number, 0.5))
            await asyncio.sleep(0)
        assert times_of(await client.next("readings")) == [T0 + number for number in range(1, 51)]
        assert time.monotonic() - began > 1.9


async def test_readings_without_end_make_no_more_messages_than_one_in_each_gathering(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with (
        served(tmp_path / "a.lightoff", driver) as (collector, feed, host, port),
        connected(host, port, feed.token) as client,
    ):
        await client.next("readings")
        began, count, messages, seen = time.monotonic(), 160, 0, list[int]()

        async def read() -> None:
            for number in range(count):
                collector.ingest(Reading(DRAFT.key, T0 + number, 0.5))
                await asyncio.sleep(1 / 160)

        async with asyncio.TaskGroup() as group:
            group.create_task(read())
            while len(seen) < count:
                seen += times_of(await client.next("readings"))
                messages += 1
        assert seen == [T0 + number for number in range(count)]
        assert messages <= (time.monotonic() - began) / feed_module.GATHER + 2


async def test_a_replay_is_driven_by_commands(tmp_path):
    file = tmp_path / "short.csv"
    file.write_text("time,draft_switch@draft meter [inH2O]\n" + "".join(f"{n},0.5\n" for n in range(100)))
    replay = Replay(CsvSource(file), stay=True)
    async with (
        served(tmp_path / "a.lightoff", replay=replay) as (collector, feed, host, port),
        connected(host, port, feed.token) as client,
    ):
        key = "draft_switch@replay: draft meter"
        await until(lambda: key in collector.latest, what="it plays")
        assert (await client.command("pause"))[0]
        assert (await client.command("seek", position=50))[0]
        moved = await client.next("event", kind="replay", subject=replay.name)
        while "moved" not in moved["text"]:
            moved = await client.next("event", kind="replay", subject=replay.name)
        shown = (await client.next("readings"))["readings"]
        assert shown[0][:2] == [key, 49 * 10**9], "what the meter showed there, also while it is paused"
        assert (await client.command("seek", position=10))[0]
        assert (await client.command("note", text="here"))[0]
        assert (await client.next("event", kind="note"))["time"] == 10 * 10**9, "a note stands where the replay stands"
        assert replay.paused
        assert (await client.command("speed", speed=100))[0]
        client.send(type="command", id="seek", name="seek", arguments={"position": 90})
        await client.next("jump")  # before or after the reply
        assert (await client.command("resume"))[0]
        await until(lambda: collector.latest[key][1] == 99 * 10**9, what="the end")
        status = await client.next("status")
        assert status["replay"]["end"] == 99
        assert status["replay"]["speed"] == 100
        ok, text = await client.command("speed", speed=1000)
        assert not ok
        assert "outside 0.1 to 100" in text
        assert not (await client.command("seek", position=500))[0]


async def test_a_channel_opened_while_a_client_begins_is_told_before_its_reading(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with (
        served(tmp_path / "a.lightoff", driver) as (collector, feed, host, port),
        connected(host, port, feed.token) as client,
    ):
        await client.next("hello")
        collector.ingest(CO)
        collector.ingest(Reading(CO.key, T0, 1.0))
        keys: set[str] = set()
        while CO.key not in keys:
            keys = {channel["key"] for channel in (await client.next("channels"))["channels"]}
        assert keys == {DRAFT.key, CO.key}
