"""Attempts and stops as onlookers are told them over the feed."""

from analysis.model import Channel, Event, EventKind, Plate, Timing
from collector.sequence import LiveSequence
from tests.collector.calls import DRAFT, T0, Told
from tests.collector.scripted import Scripted, attempts_of
from tests.collector.test_feed import connected, served
from tests.support import until


async def test_the_attempts_come_whole_to_who_comes_late_and_then_only_what_changed(tmp_path):
    """Before the first status, so that a page opened in mid-call knows them at once."""
    began = T0 / 10**9
    script = attempts_of("flame_rod_dirty", began)
    driver = Told("draft meter", DRAFT)
    async with served(tmp_path / "a.lightoff", driver) as (collector, feed, host, port):
        made: list[Scripted] = []

        def make(timing: Timing | None, plate: Plate) -> Scripted:
            made.append(Scripted(script, timing, plate))
            return made[-1]

        collector.sequence = LiveSequence(recognizer=make)
        driver.say(DRAFT, 30, 0.5)
        await until(lambda: DRAFT.key in collector.latest, what="in")
        async with connected(host, port, feed.token) as client:
            first = await client.next("attempts")
            assert first["whole"]
            assert [(row["number"], row["end"]) for row in first["attempts"]] == [(1, None)]
            driver.say(DRAFT, 80, 0.5)
            news = await client.next("attempts")
            assert not news["whole"]
            assert [(row["number"], row["outcome"]) for row in news["attempts"]] == [(1, "flame_lost"), (2, "")]
            driver.say(DRAFT, 140, 0.5)
            news = await client.next("attempts")
            assert [row["number"] for row in news["attempts"]] == [2, 3]
        async with connected(host, port, feed.token) as client:
            late = await client.next("attempts")
            assert (late["whole"], [row["number"] for row in late["attempts"]]) == (True, [1, 2, 3])
            await client.next("status")
            collector.ingest(Event(T0, EventKind.REPLAY, "moved", None, {"what": "seek"}))
            assert (await client.next("jump"))["type"] == "jump"
            driver.say(DRAFT, 600, 0.5)
            while not (await client.next("attempts"))["attempts"]:
                pass
            assert [time - began for _, time, _ in made[-1].stepped] == [600], "the hole is no part of a phase"


async def test_a_stop_is_in_the_status_whatever_the_recognizer_knows(tmp_path):
    valve, flame = Channel("gas_valve", "logger", "1"), Channel("flame_current", "meter", "uA")
    driver = Told("both", valve, flame)
    async with served(tmp_path / "a.lightoff", driver) as (_, feed, host, port):
        async with connected(host, port, feed.token) as client:
            driver.say(valve, 0, 0.0)
            driver.say(flame, 0, 3.0)
            driver.say(flame, 4, 3.0)
            status = await client.next("status")
            while not status["warnings"]:
                status = await client.next("status")
            (sign,) = status["warnings"]
            assert (sign["text"], sign["stop"]) == ("STOP: flame with the gas valve closed", True)
