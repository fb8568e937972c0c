"""A call shared over a real broker: live, late, interrupted; what strangers ask; what supervisors say."""

import asyncio
import os
import random
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.model import EventKind
from drivers.codecs.cbor import packed
from drivers.share_messages import Ask
from tests.collector.share_bench import (
    SECRET,
    There,
    differences,
    guarded_broker,
    here,
    job_text,
    kinds,
    same,
    there,
    together,
    url,
)
from tests.drivers.brokers import Broker, Publisher
from tests.support import until

KILLS = int(os.environ.get("LIGHTOFF_SHARE_KILLS", "3"))
LONG = 300.0
"""Where a machine is loaded, a program takes a minute to begin. [s]"""
SECOND = 1_000_000_000
pytestmark = pytest.mark.timeout(900 + 60 * KILLS)
MINUTE = 60_000_000_000


@pytest.fixture
def broker(tmp_path: Path):
    broker = Broker(tmp_path)
    yield broker
    broker.close()


async def test_what_is_recorded_is_seen_elsewhere_with_its_origin(tmp_path: Path, broker: Broker):
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    async with there(one, job_text(broker.port)) as technician, here(other, url(broker.port)) as viewer:
        await until(lambda: viewer.state == "live", within=LONG, what="the status")
        for _ in range(20):
            technician.say()
            await asyncio.sleep(0.02)
        await until(same(one, other), within=LONG, what="the same readings at both ends")
        standing = viewer.share.standing()
        assert standing["origin"] == "replay"
        assert standing["behind"] is not None
        assert "draft_collector@shared: meter 0" in viewer.collector.latest
        assert "temp_supply@shared: replay: meter 1" in viewer.collector.latest
        await until(lambda: technician.state == "sharing", within=LONG, what="the word that it is shared")
    assert differences(one, other) == []


async def test_who_comes_late_asks_for_what_was_before(tmp_path: Path, broker: Broker):
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    async with there(one, job_text(broker.port)) as technician:
        technician.say(1500, back=55 * MINUTE, apart=MINUTE // 30)
        await until(lambda: technician.state == "sharing", within=LONG, what="sharing")
        async with here(other, url(broker.port)) as viewer:
            await until(same(one, other), within=LONG, what="all of the past")
            assert viewer.collector.readings == 0  # the past is recorded and no present
            await together(technician, viewer, within=LONG)
            await until(same(one, other), within=LONG, what="the present")
    assert differences(one, other) == []


async def test_a_note_arrives_once_and_is_acknowledged(tmp_path: Path, broker: Broker):
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    async with there(one, job_text(broker.port)) as technician, here(other, url(broker.port)) as viewer:
        await together(technician, viewer, within=LONG)
        identity = viewer.share.say("request", "measure at tap X", at=123, author="Bo")
        await until(lambda: not viewer.share.unsent, within=LONG, what="its acknowledgement")
        await until(lambda: any(e.data.get("state") == "arrived" for e in kinds(other)), within=LONG, what="its event")
    asked = [event for event in kinds(one) if event.kind is EventKind.REMOTE_REQUEST]
    assert [(event.text, event.data["id"], event.data["at"], event.data["author"]) for event in asked] == [
        ("measure at tap X", identity, 123, "Bo")
    ]
    ours = [event.data["state"] for event in kinds(other) if event.kind is EventKind.REMOTE_REQUEST]
    assert ours == ["sent", "arrived"]


async def test_nothing_is_lost_when_the_broker_is_killed_and_the_viewer_goes_and_comes(tmp_path: Path, broker: Broker):
    """LIGHTOFF_SHARE_KILLS is how often (3; 50 in `make soak`)."""
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    chance = random.Random(7)
    async with there(one, job_text(broker.port)) as technician:
        speaking = asyncio.create_task(speak(technician), name="speaking")
        try:
            for number in range(KILLS):
                async with here(other, url(broker.port)) as viewer:
                    await until(lambda: viewer.state == "live", within=LONG, what=f"life {number}")
                    await asyncio.sleep(chance.uniform(0, 0.3))
                    broker.kill()
                    await asyncio.sleep(chance.uniform(0, 0.3))
                    if chance.random() < 0.5:
                        broker.start()
                if not broker.running:
                    broker.start()
        finally:
            speaking.cancel()
            await asyncio.wait([speaking])
        async with here(other, url(broker.port)) as viewer:
            await until(same(one, other), within=LONG, what="all of it")
            assert viewer.share.statistics()["unreadable"] == 0
    assert differences(one, other) == []


async def speak(technician: There) -> None:
    while True:
        technician.say()
        await asyncio.sleep(0.02)


async def test_a_recorder_that_is_killed_goes_on_in_the_same_recording_and_nothing_is_missing(
    tmp_path: Path, broker: Broker
):
    one, other, job = tmp_path / "there.lightoff", tmp_path / "here.lightoff", tmp_path / "job.toml"
    job.write_text(job_text(broker.port))
    command = [sys.executable, "-m", "tests.collector.share_child", str(one), str(job)]
    async with here(other, url(broker.port)) as viewer:
        for number in range(2):
            before = viewer.collector.readings
            child = await asyncio.create_subprocess_exec(*command)
            try:
                wanted = before + 30
                await until(lambda: viewer.collector.readings > wanted, within=LONG, what=f"life {number}")  # noqa: B023
            finally:
                child.kill()
                await child.wait()
            await until(lambda: viewer.state == "offline", within=LONG, what="the last will")
        async with there(one, job.read_text()):
            await until(same(one, other), within=LONG, what="all of it")
    assert differences(one, other) == []


async def ask(port: int, data: bytes) -> None:
    with closing(Publisher(port)) as stranger:
        stranger.say("lightoff/1/cold company/Ann/one/ask", data).wait_for_publish(10)


async def test_what_strangers_ask_is_refused_and_disturbs_nothing(tmp_path: Path, broker: Broker):
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    async with there(one, job_text(broker.port)) as technician, here(other, url(broker.port)) as viewer:
        await together(technician, viewer, within=LONG)
        now = technician.collector.now()
        good = Ask("a" * 32, "b" * 32, "note", now + 10 * SECOND, note="c" * 32, text="once")
        bad = [
            b"", b"\xff", b"\x9f" * 100, b"x" * 100_000, packed({"v": 1}), packed([1]),
            replace(good, id="d" * 32, expires=now - SECOND).packed(),
            replace(good, id="e" * 32, expires=now + 10_000 * SECOND).packed(),
            replace(good, id="f" * 32, text="x" * 3000).packed(),
            replace(good, id="g" * 32, kind="limit").packed(),
            good.packed(), good.packed(), replace(good, id="h" * 32).packed(),
        ]  # fmt: skip
        for data in bad:
            await ask(broker.port, data)
        technician.say()
        await until(same(one, other), within=LONG, what="the next reading")
        await until(lambda: any(e.kind == "remote_note" for e in kinds(other)), within=LONG, what="the note")
        await until(lambda: (technician.sharing.status() or {}).get("refused", 0) >= 11, within=LONG, what="refusals")
    assert [event.text for event in kinds(one) if event.kind is EventKind.REMOTE_NOTE] == ["once"]
    assert differences(one, other) == []


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Broker]:
    """One user may share, the other may only read another call."""
    rights = "user ann\ntopic readwrite lightoff/1/cold company/Ann/#\nuser bo\ntopic read lightoff/1/other/#\n"
    with closing(guarded_broker(tmp_path, rights)) as broker:
        yield broker


async def test_who_may_not_is_told_in_one_sentence(tmp_path: Path, guarded: Broker, monkeypatch: pytest.MonkeyPatch):
    """A certificate of nobody's, a wrong password, a topic of others: each end says it, and the recording goes on."""
    (tmp_path / "secret").write_text(SECRET)
    (tmp_path / "wrong").write_text("0000")
    for name in ("secret", "wrong"):
        (tmp_path / name).chmod(0o600)
    cases = [
        ("untrusted", "ann", "secret", "is not trusted"),
        ("password", "ann", "wrong", "refuses the connection"),
        ("topic", "bo", "secret", "does not let the user 'bo' write to 'lightoff/1/cold company/Ann/one/"),
    ]
    for name, user, secret, words in cases:
        monkeypatch.setenv("SSL_CERT_FILE", "" if name == "untrusted" else str(tmp_path / "test-authority.pem"))
        if name == "untrusted":
            monkeypatch.delenv("SSL_CERT_FILE")
        job = job_text(guarded.port, user=user, secret=f"file:{secret}", tls=True)
        async with there(tmp_path / f"{name}.lightoff", job) as technician:
            await until(lambda: words in technician.text, within=LONG, what=words)  # noqa: B023
            technician.say()
        assert "\n" not in technician.text
        assert SECRET not in technician.text
        if name != "topic":
            word = (tmp_path / secret).read_text()
            address = url(guarded.port, user=user, tls=True)
            async with here(tmp_path / f"{name}-here.lightoff", address, secret=word) as viewer:
                await until(lambda: words in viewer.trouble, within=LONG, what=words)  # noqa: B023
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    async with (
        there(one, job_text(guarded.port, user="ann", secret="file:secret", tls=True)) as technician,
        here(other, url(guarded.port, user="ann", tls=True), secret=SECRET) as viewer,
    ):
        await together(technician, viewer, within=LONG)
        await until(same(one, other), within=LONG, what="the right ones are let in")
        assert viewer.state == "live"
