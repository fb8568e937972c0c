"""Late answers of a Modbus unit: none is ever taken for that to the next question, whatever came before it."""

from contextlib import closing
from pathlib import Path

from analysis.model import Reading
from drivers.base import (
    Emission,
    SilentError,
)
from drivers.modbus import Modbus
from drivers.profile import Value
from tests.drivers.modbus_bench import WAYS, Peer, make, peer_of
from tests.drivers.modbus_peers import RtuPeer, Unit
from tests.drivers.session import Session


async def late_once(peer: Peer, unit: Unit, driver: Modbus, *, late: float) -> list[tuple[float, int]]:
    """Readings and what the unit said last at that time, over a question whose answer comes too late."""
    seen: list[tuple[float, int]] = []

    def take(emission: Emission) -> None:
        if isinstance(emission, Reading):
            seen.append((emission.value, unit.registers[0]))

    session = Session(driver, take)
    await session.until(lambda: len(seen) >= 3, "readings")

    def lag(question: bytes) -> float:
        peer.tap.late = lambda _: 0.0
        return late

    peer.tap.late = lag
    error = await session.failure()
    assert isinstance(error, SilentError), error
    count = len(seen)
    again = Session(driver, take)
    await again.until(lambda: len(seen) >= count + 5, "readings after it")
    await again.cancel()
    return seen


@WAYS
async def test_a_late_answer_is_never_taken_for_the_next_one(way: str, tmp_path: Path) -> None:
    """A unit answers after the time is over, while it is asked again by a question of the same form."""
    unit = Unit(7, [0] * 9, rising=True)
    with closing(peer_of(way, tmp_path, unit)) as peer:
        driver = make(peer.address, within=0.15, every=0.01)
        seen = await late_once(peer, unit, driver, late=0.25)
    assert [value for value, _ in seen] == [said * 65536 for _, said in seen]


async def test_noise_before_a_late_answer_does_not_make_it_the_next_ones(tmp_path: Path) -> None:
    """With noise the answer counts as garbled and the session goes on: the doubt is the same."""
    unit = Unit(7, [0] * 9, rising=True)
    seen: list[tuple[float, int]] = []

    def take(emission: Emission) -> None:
        if isinstance(emission, Reading):
            seen.append((emission.value, unit.registers[0]))

    with closing(RtuPeer(tmp_path, unit)) as peer:

        def lag(question: bytes) -> float:
            peer.tap.late = lambda _: 0.0
            peer.noise(b"\xff")
            return 0.25

        driver = make(peer.address, within=0.15, every=0.01)
        session = Session(driver, take)
        await session.until(lambda: len(seen) >= 3, "readings")
        peer.tap.late = lag
        await session.until(lambda: driver.statistics()["unreadable"], "garbled answer")
        count = len(seen)
        await session.until(lambda: len(seen) >= count + 5, "readings after it")
        await session.cancel()
    assert [value for value, _ in seen] == [said * 65536 for _, said in seen]


@WAYS
async def test_a_late_answer_of_a_unit_with_one_register_is_not_taken_either(way: str, tmp_path: Path) -> None:
    """There is no shorter question then: another table is asked, and its answer ends the doubt."""
    unit = Unit(7, [0] * 9, rising=True)
    one = (Value(name="pressure", unit="Pa", first_register=0, order="big"),)
    with closing(peer_of(way, tmp_path, unit)) as peer:
        driver = make(peer.address, within=0.15, every=0.01, values=one)
        seen = await late_once(peer, unit, driver, late=0.25)
    assert [value for value, _ in seen] == [said for _, said in seen]
