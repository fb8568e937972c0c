"""A Modbus line with several units: who is silent, refuses, or talks nonsense, and what the others see of it."""

import asyncio
import random
from contextlib import closing, suppress
from itertools import pairwise
from pathlib import Path

import pytest

from collector.supervisor import State, Supervisor
from drivers import modbus_line
from drivers.base import (
    ConnectionLostError,
    DriverError,
    Emission,
    NotFoundError,
    SettingsError,
    SilentError,
)
from drivers.codecs.registers import Batch
from drivers.modbus_line import Line, Place, RefusedError
from drivers.modbus_refusals import REFUSALS, refusal_error
from drivers.modbus_wire import HELD, Wire
from drivers.profile import Value
from drivers.setup import Shared
from tests.drivers.modbus_bench import WAYS, make, mute, peer_of
from tests.drivers.modbus_peers import RtuPeer, TcpPeer, Unit
from tests.drivers.session import Session, nothing_left
from tests.drivers.test_modbus_frames import checksum
from tests.support import StillClock


@WAYS
async def test_the_others_go_on_at_their_pace_while_one_is_silent(way: str, tmp_path: Path) -> None:
    within, every = 0.2, 0.05
    with closing(
        peer_of(way, tmp_path, Unit(7, [1] * 9, rising=True), Unit(8, [2] * 9, rising=True), Unit(9, [3] * 9))
    ) as peer:
        mute(peer, way, 9)
        shared = Shared()
        sound = [make(peer.address, number, name=f"unit {number}", shared=shared, every=every) for number in (7, 8)]
        silent = make(peer.address, 9, name="unit 9", shared=shared, within=within)
        sessions = [Session(driver) for driver in sound]
        emitted: list[Emission] = []
        supervisor = Supervisor(silent, emitted.append, now=StillClock())
        task = asyncio.create_task(supervisor.run())
        times: list[list[float]] = [[], []]
        clock = asyncio.get_running_loop().time
        until = clock() + 1.5
        while clock() < until:
            await asyncio.sleep(0.005)
            for series, session in zip(times, sessions, strict=True):
                if len(session.readings) > len(series):
                    series.append(clock())
        assert supervisor.status.state in (State.WAITING, State.CONNECTING)
        assert "unit 9" in supervisor.status.text
        assert 1 < supervisor.status.errors < 8, "the silent one is asked in spaced questions"
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task
        for series, session in zip(times, sessions, strict=True):
            assert not session.task.done(), session.task.exception()
            longest = max(later - earlier for earlier, later in pairwise(series))
            assert longest < every + 2 * within + 0.2, f"held up for {longest:.2f} s"
            assert len(series) > 10
            await session.cancel()
        assert silent.statistics()["unanswered"] == supervisor.status.errors
        if isinstance(peer, TcpPeer):
            assert peer.connections == 1, "the others' connection was not left alone"


@pytest.mark.parametrize(("kind", "questions"), [("int32", 1), ("int16", 2)])
async def test_a_silent_unit_is_asked_no_more_than_needed(kind: str, questions: int) -> None:
    """One that left the settling question alone is asked for its value only where it may not know such a question."""
    with closing(TcpPeer(Unit(7, [1] * 9))) as peer:
        peer.tap.change = lambda answer: b""
        values = (Value(name="pressure", unit="Pa", first_register=0, type=kind, order="big"),)
        driver = make(peer.address, within=0.05, values=values)
        assert isinstance(await Session(driver).failure(), SilentError)
        assert peer.tap.questions == questions
        assert driver.statistics()["unanswered"] == 1


async def test_what_is_held_of_an_answer_is_bounded_and_the_rest_counted() -> None:
    wire = Wire(lambda gone: None)
    for _ in range(10):
        wire.data_received(bytes(1000))
        assert len(wire.data) <= HELD
    assert wire.clear() == 10_000
    assert wire.clear() == 0


async def test_a_line_that_is_entirely_silent_is_opened_anew() -> None:
    with closing(TcpPeer(Unit(7, [1] * 9))) as peer:
        peer.tap.change = lambda answer: b""
        line = Line(Place(host="127.0.0.1", number=peer.port))
        with line.visit("meter") as visit:
            await visit.open()
            for _ in range(modbus_line.REOPEN_AFTER):
                with pytest.raises(SilentError):
                    await visit.ask(7, Batch("holding", 0, 1), 0.05)
            peer.tap.change = lambda answer: answer
            assert await visit.ask(7, Batch("holding", 0, 1), 1.0) == b"\x00\x01"
        assert peer.connections == 2


@WAYS
async def test_a_lost_line_is_told_to_every_instrument_and_found_again(way: str, tmp_path: Path) -> None:
    with closing(peer_of(way, tmp_path, Unit(7, [1] * 9), Unit(8, [2] * 9))) as peer:
        shared = Shared()
        drivers = [
            make(peer.address, 7, name="asks", shared=shared),
            make(peer.address, 8, name="waits", shared=shared, every=60.0),
        ]
        sessions = [Session(driver) for driver in drivers]
        for session in sessions:
            await session.until(lambda: session.readings, "reading")  # noqa: B023
        peer.lose()
        for session in sessions:
            error = await session.failure()
            assert isinstance(error, ConnectionLostError)
            assert session.driver.name in str(error)
            assert isinstance(await Session(session.driver).failure(), NotFoundError)
        peer.bring_back()
        again = [Session(driver) for driver in drivers]
        for session in again:
            await session.until(lambda: session.readings, "reading")  # noqa: B023
            await session.cancel()


@pytest.mark.parametrize("code", [1, 2, 3, 4, 5, 6, 8, 10, 11, 0x7F])
async def test_each_exception_is_told_in_words_and_only_a_wrong_question_is_permanent(code: int) -> None:
    unit = Unit(7, [1] * 9)
    with closing(TcpPeer(unit)) as peer:
        changed = bytes([0x83, code])
        peer.tap.change = lambda answer: answer[:4] + b"\x00\x03" + answer[6:7] + changed
        driver = make(peer.address)
        with nothing_left():
            error = await Session(driver).failure()
    assert isinstance(error, DriverError)
    assert isinstance(error, SettingsError) == (code in (1, 2, 3))
    assert error.retry == (code not in (1, 2, 3))
    assert "unit 7 was asked for holding registers 0 to 1 and" in str(error)
    assert driver.statistics()["declined"] == 1
    words = REFUSALS[code].what if code in REFUSALS else "refused with code 127"
    assert words in str(error)


@WAYS
async def test_a_real_servers_refusal_reaches_the_instrument(way: str, tmp_path: Path) -> None:
    unit = Unit(7, [1] * 9)
    with closing(peer_of(way, tmp_path, unit)) as peer:
        unit.refuses = 2
        error = await Session(make(peer.address)).failure()
        assert isinstance(error, SettingsError)
        unit.refuses = 6
        error = await Session(make(peer.address)).failure()
        assert isinstance(error, SilentError)
        assert "busy" in str(error)


def test_the_codes_of_the_specification_have_their_names() -> None:
    """Section 7 of the MODBUS Application Protocol Specification V1.1b3, from memory."""
    names = {
        1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "server device failure",
        5: "acknowledge", 6: "server device busy", 8: "memory parity error", 10: "gateway path unavailable",
        11: "gateway target device failed to respond",
    }  # fmt: skip
    assert set(REFUSALS) == set(names)
    for code, name in names.items():
        error = refusal_error("meter", 3, Batch("coil", 4, 1), code)
        assert f"({name})" in str(error)
        assert error.hint
        assert "\n" not in str(error)


async def test_spoiled_answers_make_no_value_and_the_session_goes_on(tmp_path: Path) -> None:
    """A unit on a line with interference: bits turn, bytes are lost, noise comes between."""
    chance = random.Random(5)
    unit = Unit(7, [0] * 9, rising=True)

    def disturb(answer: bytes) -> bytes:
        kind = chance.randrange(4)
        changed = bytearray(answer)
        if kind == 0:
            changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
        elif kind == 1:
            changed = bytearray(chance.randbytes(chance.randrange(40))) + changed
        elif kind == 2:
            changed += chance.randbytes(chance.randrange(40))
        return bytes(changed)

    with closing(RtuPeer(tmp_path, unit)) as peer:
        peer.tap.change = disturb
        driver = make(peer.address, every=0.001)
        session = Session(driver)
        await session.until(lambda: driver.statistics()["unreadable"] >= 4 and len(session.readings) > 20, "both")
        await session.cancel()
        sound = set()
        for answer in peer.tap.answers:
            for at in range(len(answer) - 8):
                piece = answer[at : at + 9]
                if piece[:3] == b"\x07\x03\x04" and checksum(piece[:7]) == piece[7:]:
                    sound.add(float(int.from_bytes(piece[3:7], "big", signed=True)))
    assert {reading.value for reading in session.readings} <= sound
    values = [reading.value for reading in session.readings]
    assert values == sorted(set(values)), "a value came twice, or out of order"


async def test_a_unit_that_only_babbles_is_bounded_counted_and_given_up(tmp_path: Path) -> None:
    chance = random.Random(6)
    with closing(RtuPeer(tmp_path, Unit(7, [1] * 9))) as peer:
        peer.tap.change = lambda answer: chance.randbytes(3000)
        driver = make(peer.address, within=0.05, silence=0.4)
        error = await Session(driver).failure()
        assert isinstance(error, SilentError)
        assert "only what is no answer came from unit 7" in str(error)
        statistics = driver.statistics()
    assert statistics["readings"] == 0
    assert statistics["unreadable"] >= 1
    assert statistics["unasked_bytes"] >= 3000


async def test_an_instrument_reads_several_batches_and_tables_of_a_round() -> None:
    values = (
        Value(name="pressure", unit="Pa", first_register=0, type="int16", order="big"),
        Value(name="far", unit="Pa", first_register=8, order="big"),
    )
    with closing(TcpPeer(Unit(7, [0xFFFE, 0, 0, 0, 0, 0, 0, 0, 42]))) as peer:
        driver = make(peer.address, values=values, gap=0, channels={"pressure": "draft_collector", "far": "draft_vent"})
        session = Session(driver)
        await session.until(lambda: len(session.readings) >= 4, "two rounds")
        await session.cancel()
        assert [reading.value for reading in session.readings[:4]] == [-2.0, 42.0, -2.0, 42.0]
        assert {asked[1:] for asked in peer.units[0].asked if asked[0] == 3} == {(0, 1), (8, 1)}


async def test_a_refusal_is_not_a_missing_unit() -> None:
    unit = Unit(7, [1])
    unit.refuses = 1
    with closing(TcpPeer(unit)) as peer:
        with Line(Place(host="127.0.0.1", number=peer.port)).visit("meter") as visit:
            await visit.open()
            with pytest.raises(RefusedError) as refused:
                await visit.ask(7, Batch("holding", 0, 1), 1.0)
    assert refused.value.code == 1
