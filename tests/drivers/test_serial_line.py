"""Instruments on a serial port: the contract of a driver over a pseudo-terminal, and what is particular to lines."""

import asyncio
import errno
import threading
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Reading
from drivers import serial_session
from drivers.base import ConnectionLostError, Emission, NotFoundError, SilentError
from drivers.codecs.lines import SUMMARY
from drivers.meter import STEP
from tests.drivers.battery import DriverBattery
from tests.drivers.bench import Bench
from tests.drivers.cycles import go_and_return
from tests.drivers.ptys import NAME, PtyPort, Script, ScriptedPort, SerialBench, line, listening, make
from tests.drivers.session import DefectError, Session, nothing_left
from tests.support import StillClock, until


def events(session: Session, kind: EventKind) -> list[Event]:
    return [emission for emission in session.emitted if isinstance(emission, Event) and emission.kind is kind]


class TestSerialLineContract(DriverBattery):
    """The battery on a pseudo-terminal."""

    def bench(self, folder: Path) -> Bench:
        """A meter on a pseudo-terminal."""
        return SerialBench(folder)


def test_no_case_of_the_battery_is_left_out() -> None:
    cases = {name for name in vars(DriverBattery) if name.startswith("test_")}
    assert len(cases) > 10
    assert all(callable(getattr(TestSerialLineContract, name)) for name in cases)


async def heard_from(*script: Script, until_said: int, **settings: Any) -> Session:
    """The session over a scripted port that emitted so many readings and was cancelled."""
    port = ScriptedPort(*script)
    session = Session(make("scripted", opener=port, **settings))
    await session.until(lambda: len(session.readings) >= until_said, f"{until_said} readings")
    await session.until(port.exhausted.is_set, "end of the script")
    await session.cancel()
    return session


def values(session: Session) -> list[float]:
    return [reading.value for reading in session.readings]


async def test_ten_lines_a_second_without_a_gap_over_unplugging_and_plugging_in(tmp_path: Path) -> None:
    clock = StillClock()
    with closing(PtyPort(tmp_path)) as port:
        driver = make(port.path, now=clock)
        for first in (0, 50):
            session = Session(driver)
            await session.until(lambda: listening(session.emitted), "open port")  # noqa: B023
            port.say(b"\n")
            for number in range(first, first + 50):
                clock.advance(0.1)
                port.say(line(number / 100))
                await session.until(lambda: len(session.readings) > number - first, f"line {number}")  # noqa: B023
            assert values(session) == [number / 100 for number in range(first, first + 50)]
            assert {later.time - earlier.time for earlier, later in pairwise(session.readings)} == {NANOSECONDS // 10}
            port.unplug()
            assert isinstance(await session.failure(), ConnectionLostError)
            assert isinstance(await Session(driver).failure(), NotFoundError)
            port.plug_in()
        statistics = driver.statistics()
    assert statistics["messages"] == statistics["readings"] == 100
    assert statistics["unreadable"] == statistics["dropped_bytes"] == 0


async def test_a_reading_bears_the_time_of_its_arrival_not_that_of_a_late_loop() -> None:
    clock = StillClock()
    arrived = clock.time

    def dawdle(emission: Emission) -> None:
        if isinstance(emission, Channel):
            assert port.exhausted.wait(10)
            clock.advance(5.0)

    port = ScriptedPort(None, line(0.5))
    session = Session(make("scripted", now=clock, opener=port), dawdle)
    await session.until(lambda: session.readings, "reading")
    await session.cancel()
    assert session.readings[0].time == arrived


async def test_lines_of_one_chunk_are_a_step_apart_in_the_order_they_came() -> None:
    session = await heard_from(None, b"".join(map(line, (1, 2, 3))), line(4), until_said=4)
    assert values(session) == [1, 2, 3, 4]
    assert [later.time - earlier.time for earlier, later in pairwise(session.readings)] == [STEP] * 3
    assert len({reading.time / NANOSECONDS for reading in session.readings}) == 4, "float seconds run together"


async def test_a_line_whose_beginning_came_before_the_port_was_open_is_not_read() -> None:
    tail = b"0.3 inH2O\n"
    pattern = r"(?P<pressure>[-+]?\d+\.\d+) inH2O"
    session = await heard_from(tail, b"-0.4 inH2O\n", until_said=1, pattern=pattern)
    assert values(session) == [-0.4]


async def test_bytes_before_and_after_a_loss_are_not_joined_to_a_line() -> None:
    go_on = threading.Event()

    def dawdle(emission: Emission) -> None:
        if isinstance(emission, Reading) and not go_on.is_set():
            go_on.set()
            assert port.exhausted.wait(10)

    port = ScriptedPort(
        b"\nP=9.000 inH2O\nP=0.", go_on, b"111 inH2O\nP=3.000 inH2O\nP=4.", b"777 inH2O\nP=2.000 inH2O\n"
    )
    driver = make("scripted", opener=port, backlog=1)
    session = Session(driver, dawdle)
    await session.until(lambda: len(session.readings) > 1, "reading after the loss")
    await session.cancel()
    assert values(session) == [9.0, 2.0]
    (gap,) = events(session, EventKind.GAP)
    assert gap.data["bytes"] == len(b"111 inH2O\nP=3.000 inH2O\nP=4.")
    assert gap.data["lines"] == 2
    assert gap.subject == NAME
    assert NAME in gap.text
    statistics = driver.statistics()
    assert (statistics["dropped_bytes"], statistics["dropped_lines"]) == (gap.data["bytes"], 2)


async def test_what_came_before_the_port_was_lost_is_read() -> None:
    session = Session(make("scripted", opener=ScriptedPort(None, line(1), line(2), OSError(errno.EIO, "gone"))))
    assert isinstance(await session.failure(), ConnectionLostError)
    assert values(session) == [1, 2]


async def test_a_backlog_leaves_others_their_turn() -> None:
    turns: list[int] = []

    def dawdle(emission: Emission) -> None:
        if isinstance(emission, Channel):
            assert port.exhausted.wait(10)

    async def live_on(session: Session) -> None:
        while len(session.readings) < 200:
            turns.append(len(session.readings))
            await asyncio.sleep(0)

    port = ScriptedPort(None, *map(line, range(200)))
    session = Session(make("scripted", opener=port), dawdle)
    async with asyncio.timeout(10):
        await live_on(session)
    await session.cancel()
    assert len(set(turns)) > 100, "the readings came in one go"


@pytest.mark.parametrize("rest", [30.0, 0.0])
async def test_what_had_arrived_when_the_session_ends_is_emitted_or_counted(
    monkeypatch: pytest.MonkeyPatch, rest: float
) -> None:
    """Cancelled while a backlog waits: readings plus losses are what was said."""
    monkeypatch.setattr(serial_session, "REST", rest)

    def dawdle(emission: Emission) -> None:
        if isinstance(emission, Channel):
            assert port.exhausted.wait(10)
        if isinstance(emission, Reading) and emission.value == 0:
            session.task.cancel()  # while all the others wait

    port = ScriptedPort(None, *map(line, range(300)))
    driver = make("scripted", opener=port)
    session = Session(driver, dawdle)
    await asyncio.wait([session.task], timeout=10)
    assert session.task.cancelled()
    assert (len(session.readings) == 300) == (rest > 0)
    assert len(session.readings) + driver.statistics().get("dropped_lines", 0) == 300
    assert len(events(session, EventKind.GAP)) == (rest == 0)


async def test_a_clock_that_was_set_back_is_followed() -> None:
    """After sleep the clock may be set back; times must not stand still until it has caught up."""
    clock = StillClock()
    before = clock.time

    def turn_back(emission: Emission) -> None:
        if isinstance(emission, Reading) and emission.value == 1:
            clock.advance(-300)
            go_on.set()

    go_on = threading.Event()
    port = ScriptedPort(None, line(1), go_on, line(2))
    session = Session(make("scripted", now=clock, opener=port), turn_back)
    await session.until(lambda: len(session.readings) == 2, "both")
    await session.cancel()
    assert [reading.time for reading in session.readings] == [before, before - 300 * NANOSECONDS]


async def test_the_end_waits_for_the_thread_without_holding_up_the_loop(caplog: pytest.LogCaptureFixture) -> None:
    gate = threading.Event()
    port = ScriptedPort(None, gate)
    with nothing_left():
        session = Session(make("scripted", opener=port))
        await session.until(lambda: listening(session.emitted), "open port")
        session.task.cancel()
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        gate.set()
        assert not session.task.done()
        await session.cancel()
    assert not caplog.records, "the thread was given up"


async def test_unreadable_lines_are_told_once_per_kind_and_then_summed_up_every_ten_seconds() -> None:
    clock = StillClock()
    gates = [threading.Event() for _ in range(2)]
    noise = b"noise " * 30 + b"\n"
    port = ScriptedPort(None, noise * 3 + line(1), gates[0], noise + b"x" * 700 + b"\n" + line(2), gates[1], noise)
    session = Session(make("scripted", now=clock, opener=port))
    await session.until(lambda: len(session.readings) == 1, "first reading")
    (first,) = events(session, EventKind.PROBLEM)
    assert first.data["kind"] == "does not fit the pattern"
    assert str(first.data["line"]).startswith("'noise noise ")
    assert len(str(first.data["line"])) == 80
    gates[0].set()
    await session.until(lambda: len(session.readings) == 2, "second reading")
    assert [event.data.get("kind") for event in events(session, EventKind.PROBLEM)] == [
        "does not fit the pattern",
        "has no end within 512 bytes",
    ]
    clock.advance(SUMMARY / NANOSECONDS)
    await session.until(lambda: len(events(session, EventKind.PROBLEM)) == 3, "summary without a further line")
    assert events(session, EventKind.PROBLEM)[2].data["counts"] == {"does not fit the pattern": 3}
    gates[1].set()
    await session.until(lambda: session.driver.statistics()["unreadable"] == 6, "last noise")  # type: ignore[attr-defined]
    assert len(events(session, EventKind.PROBLEM)) == 3
    await session.cancel()
    assert events(session, EventKind.PROBLEM)[3].data["counts"] == {"does not fit the pattern": 1}, "the rest is untold"


async def test_lines_keep_silence_away(tmp_path: Path) -> None:
    clock = asyncio.get_running_loop().time
    with closing(SerialBench(tmp_path)) as bench:
        session = await Session(bench.make(patience=1.0)).listen(bench)
        long_enough = clock() + 1.5
        while clock() < long_enough:
            await session.hear(bench, 1)
        assert isinstance(await session.failure(), SilentError)


async def test_a_defect_in_the_reader_thread_is_heard() -> None:
    defect = DefectError("of the clock")

    def broken() -> int:
        if threading.current_thread() is not threading.main_thread():
            raise defect
        return 0

    with nothing_left():
        assert await Session(make("scripted", now=broken, opener=ScriptedPort(b"P"))).failure() is defect
        defect.__traceback__ = None


async def test_a_system_that_does_not_come_back_from_opening_holds_nobody_up(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    release = threading.Event()
    port = ScriptedPort()

    def hang(**settings: object) -> ScriptedPort:
        assert release.wait(30)
        return port

    monkeypatch.setattr("drivers.port.END", 0.1)
    driver = make("scripted", opener=hang, silence=0.05)
    error = await Session(driver).failure()
    assert isinstance(error, SilentError)
    assert "did not open" in str(error)
    assert f"{NAME}: the system does not come back" in caplog.text
    threads = threading.active_count()
    for _ in range(5):
        error = await Session(driver).failure()
        assert isinstance(error, SilentError)
        assert "still busy opening" in str(error)
    assert threading.active_count() == threads, "a thread for each try"
    release.set()
    await until(port.closed.is_set, what="the late port is closed again")
    await until(lambda: threading.active_count() < threads, what="its thread ends")
    again = Session(driver)
    await again.until(lambda: listening(again.emitted), "open port")
    await again.cancel()


@pytest.mark.timeout(900)
async def test_a_port_that_goes_and_returns_leaves_nothing_and_every_gap_is_told(tmp_path: Path) -> None:
    with closing(SerialBench(tmp_path)) as bench:
        await go_and_return(bench, bench.make())
