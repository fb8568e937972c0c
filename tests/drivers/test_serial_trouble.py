"""What serial lines do on bad days: pieces, garbage, bursts, floods, a wrong baud rate, and answers that fail."""

import random
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

from analysis.model import NANOSECONDS, Event, EventKind
from drivers.base import SilentError
from drivers.flood import BURST, Limit
from drivers.handover import Cause
from drivers.profile import SerialSection, Value
from drivers.serial_query import SerialQuery
from drivers.serial_session import TOLD
from tests.drivers.ptys import NAME, PtyPort, Script, ScriptedPort, line, listening, make, setup_of
from tests.drivers.serial_benches import QueryBench
from tests.drivers.session import Session, nothing_left
from tests.support import StillClock, until


def told(session: Session, kind: EventKind) -> list[Event]:
    return [one for one in session.emitted if isinstance(one, Event) and one.kind is kind]


def values(session: Session) -> list[float]:
    return [reading.value for reading in session.readings]


async def opened(driver: Any) -> Session:
    session = Session(driver)
    await session.until(lambda: listening(session.emitted), "open port")
    return session


async def test_lines_in_pieces_and_between_garbage_are_read_once(tmp_path: Path) -> None:
    chance = random.Random(7)
    with closing(PtyPort(tmp_path)) as port:
        session = await opened(make(port.path))
        stream = b"\n"
        for number in range(300):
            stream += chance.randbytes(chance.randrange(9)).replace(b"P", b"") + b"\n" if number % 3 == 0 else b""
            stream += line(number)
        while stream:
            size = chance.randrange(1, 40)
            port.say(stream[:size])
            stream = stream[size:]
        await session.until(lambda: len(session.readings) == 300, "all lines")
        await session.cancel()
    assert values(session) == list(range(300))


async def test_a_burst_of_a_megabyte_is_read_as_far_as_it_may_and_counted_to_the_last(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path)) as port:
        driver = make(port.path)
        session = await opened(driver)
        port.say(b"\n" + line(1.5))
        await session.until(lambda: session.readings, "first line")
        opening = driver.statistics()["cut_lines"]
        count = 1_000_000 // len(line(1.5))
        port.say(line(1.5) * (count - 1))

        def lost() -> int:
            statistics = driver.statistics()
            return sum(statistics[key] for key in ("flood_lines", "dropped_lines", "cut_lines")) - opening

        await session.until(lambda: len(session.readings) + lost() >= count, "all of it read or counted")
        assert len(session.readings) + lost() == count
        assert len(session.readings) >= BURST
        port.say(b"\n" + line(2.5))
        await session.until(lambda: values(session)[-1] == 2.5, "the next line")
        await session.cancel()
    assert set(values(session)) == {1.5, 2.5}
    gaps = told(session, EventKind.GAP)
    assert sum(int(str(gap.data["lines"])) for gap in gaps) == driver.statistics()["flood_lines"] > 0
    assert len(gaps) <= 2, "told at once and summed up at the end"


async def test_a_flood_is_told_at_once_and_then_every_ten_seconds() -> None:
    clock = StillClock()
    much = b"P=1.0 inH2O\n" * 340
    steps = [threading.Event() for _ in range(3)]
    script: list[Script] = [None]
    for step in steps:
        script += [*([much] * 12), None, step]
    port = ScriptedPort(*script)
    driver = make("scripted", opener=port, now=clock)
    session = await opened(driver)
    flooded = driver.statistics
    await session.until(lambda: told(session, EventKind.GAP), "first word")
    (first,) = told(session, EventKind.GAP)
    assert first.data["cause"] == Cause.FLOOD
    assert "more than 2000 messages a second" in first.text
    before = flooded()["flood_lines"]
    steps[0].set()
    await session.until(lambda: flooded()["flood_lines"] > before, "second flood")
    assert len(told(session, EventKind.GAP)) == 1, "ten seconds have not passed"
    clock.advance(TOLD / NANOSECONDS)
    steps[1].set()
    await session.until(lambda: len(told(session, EventKind.GAP)) == 2, "summary")
    steps[2].set()
    await session.cancel()
    total = sum(int(str(event.data["lines"])) for event in told(session, EventKind.GAP))
    assert total == flooded()["flood_lines"]


def test_the_limit_lets_a_steady_instrument_pass_and_a_flood_only_at_its_rate() -> None:
    now = [0.0]
    limit = Limit(rate=100, burst=50, clock=lambda: now[0])
    passed = 0
    for _ in range(1000):
        now[0] += 0.011
        passed += limit.allows(1, 10)
    assert passed == 1000
    passed = 0
    for _ in range(10_000):
        now[0] += 0.0001
        passed += 10 * limit.allows(10, 100)
    assert 100 <= passed <= 100 + 50 + 10
    now[0] += 10
    assert limit.allows(5000, 50_000)
    assert not limit.allows(1, 1)
    now[0] += 50
    assert limit.allows(1, 1)


async def test_what_a_wrong_baud_rate_looks_like_is_told_and_makes_no_reading(tmp_path: Path) -> None:
    """Bits of lines at 9600 baud as a receiver at 4 times that rate sees them."""
    sent = "".join("0" + f"{byte:08b}"[::-1] + "1" for byte in line(0.5) * 40)
    seen = "".join(bit * 4 for bit in sent)
    noise, at = bytearray(), 0
    while (at := seen.find("0", at)) >= 0 and at + 10 <= len(seen):
        noise.append(int(seen[at + 1 : at + 9][::-1], 2))
        at += 10
    with closing(PtyPort(tmp_path)) as port:
        driver = make(port.path)
        session = await opened(driver)
        port.say(b"\n" + bytes(noise) + b"\n" + bytes(noise) + b"\n")
        await session.until(lambda: driver.statistics()["unreadable"], "told")
        await session.cancel()
    assert session.readings == []
    assert NAME in told(session, EventKind.PROBLEM)[0].text


async def test_what_starts_an_instrument_is_sent_in_each_session(tmp_path: Path) -> None:
    import os

    with closing(PtyPort(tmp_path)) as port:
        driver = make(port.path, send="START\r\n")
        for _ in range(2):
            session = await opened(driver)
            assert os.read(port.master, 100) == b"START\r\n"
            await session.cancel()


async def test_a_port_that_takes_nothing_is_told() -> None:
    from serial import SerialTimeoutException

    class Stuck(ScriptedPort):
        def write(self, data: bytes) -> int:
            raise SerialTimeoutException("Write timeout")

    with nothing_left():
        error = await Session(make("scripted", opener=Stuck(), send="START")).failure()
    assert isinstance(error, SilentError)
    assert "takes nothing" in str(error)


async def test_an_instrument_that_stops_answering_is_told_once_then_lost_then_read_again(tmp_path: Path) -> None:
    with closing(QueryBench(tmp_path)) as bench:
        driver = bench._made(0.6, within=0.05)
        bench.driver = driver
        session = await Session(driver).listen(bench)
        bench.instrument.mute = True
        error = await session.failure()
        assert isinstance(error, SilentError)
        assert "set to be asked" in error.hint
        problems = [event.text for event in told(session, EventKind.PROBLEM)]
        first, summed_up = problems
        assert first == f"{NAME}: no answer to 'READ?' within 0.05 s; further ones are counted"
        more = driver.statistics()["unanswered"] - 1
        assert more > 0
        assert summed_up == f"{NAME}: further questions without an answer: {more} to 'READ?'"
        bench.instrument.mute = False
        again = await Session(driver).listen(bench)
        await again.hear(bench, 3)
        await again.cancel()


async def test_a_late_answer_of_one_question_is_not_the_value_of_the_next(tmp_path: Path) -> None:
    """Over a real port: pressure is asked, comes too late, and temperature must not be that number."""
    values_asked = (
        Value(name="pressure", unit="Pa", query="P?"),
        Value(name="temp", unit="degC", query="T?"),
    )
    settings = SerialSection(format="query", every=0.02, within=0.1)
    channels = {"pressure": "draft_vent", "temp": "temp_supply"}
    with closing(PtyPort(tmp_path)) as port:
        setup = setup_of(
            port.path,
            format="query",
            every=settings.every,
            within=settings.within,
            pattern=None,
            values=values_asked,
            channels=channels,
        )
        driver = SerialQuery(setup)
        stop = threading.Event()

        def instrument() -> None:
            import os
            import select

            asked, slow = 0, {5, 12, 13, 20}
            while not stop.is_set():
                if not select.select([port.master], [], [], 0.02)[0]:
                    continue
                for question in os.read(port.master, 100).split():
                    asked += 1
                    stop.wait(0.17 if asked in slow else 0.0)
                    port.say(b"111.0\n" if question == b"P?" else b"22.0\n")

        thread = threading.Thread(target=instrument, name="instrument")
        thread.start()
        try:
            session = await opened(driver)
            await until(lambda: len(session.readings) > 40, what="readings")
            await session.cancel()
        finally:
            stop.set()
            thread.join()
    for reading in session.readings:
        assert reading.value == (111.0 if reading.channel.startswith("draft_vent") else 22.0), reading
    assert driver.statistics()["late_answers"] >= 4
    assert driver.statistics()["unanswered"] >= 3
