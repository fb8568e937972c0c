"""A unit that refuses: what it does not have is left out, and what it answered before is asked again."""

from contextlib import closing
from pathlib import Path

import pytest

from analysis.model import Channel
from drivers.base import DriverError, SettingsError, SilentError
from drivers.profile import Value
from tests.drivers.modbus_bench import WAYS, make, peer_of
from tests.drivers.modbus_peers import TcpPeer, Unit
from tests.drivers.session import Session

NEAR = Value(name="near", unit="Pa", first_register=0, order="big")
FAR = Value(name="far", unit="Pa", first_register=3, order="big")
BOTH = {"near": "draft_collector", "far": "draft_vent"}


@WAYS
async def test_registers_between_the_wanted_ones_that_are_not_there_are_left_out(way: str, tmp_path: Path) -> None:
    unit = Unit(7, [10, 0, 0, 13, 0])
    unit.absent = frozenset({1, 2})
    with closing(peer_of(way, tmp_path, unit)) as peer:
        driver = make(peer.address, values=(NEAR, FAR), channels=BOTH)
        session = Session(driver)
        await session.until(lambda: len(session.readings) >= 6, "three rounds")
        await session.cancel()
        assert [reading.value for reading in session.readings[:6]] == [10.0, 13.0] * 3
        assert driver.statistics()["declined"] == 1, "it is remembered"
        again = Session(driver)
        await again.until(lambda: len(again.readings) >= 2, "a round of the next session")
        await again.cancel()
    assert driver.statistics()["declined"] == 1, "from session to session"


async def test_wanted_registers_that_are_not_there_end_it_with_their_numbers() -> None:
    unit = Unit(7, [10, 0, 0, 13, 0])
    unit.absent = frozenset({1, 2, 3})
    with closing(TcpPeer(unit)) as peer:
        error = await Session(make(peer.address, values=(NEAR, FAR), channels=BOTH)).failure()
    assert isinstance(error, SettingsError)
    assert "asked for holding register 3 and does not have all of these" in str(error)


@pytest.mark.parametrize("code", [1, 2, 3])
async def test_what_was_answered_before_is_asked_again_after_a_refusal(code: int) -> None:
    unit = Unit(7, [10, 0, 0, 13, 0])
    with closing(TcpPeer(unit)) as peer:
        driver = make(peer.address, values=(NEAR, FAR), channels=BOTH)
        session = Session(driver)
        await session.until(lambda: session.readings, "reading")
        unit.refuses = code
        error = await session.failure()
        assert isinstance(error, SilentError), error
        assert isinstance(error, DriverError)
        assert error.retry
        assert "though it answered this before" in str(error)
        unit.refuses = None
        again = Session(driver)
        await again.until(lambda: again.readings, "reading")
        await again.cancel()
    assert (3, 0, 4) in unit.asked[-2:], "what worked is asked as before"


async def test_a_value_that_is_not_recorded_is_not_asked_for() -> None:
    unit = Unit(7, [10, 0, 0, 13, 0])
    unit.absent = frozenset({3})
    with closing(TcpPeer(unit)) as peer:
        session = Session(make(peer.address, values=(NEAR, FAR), channels={"near": "draft_collector"}))
        await session.until(lambda: session.readings, "reading")
        await session.cancel()
    assert {asked[1:] for asked in unit.asked if asked[0] == 3} == {(0, 1)}


async def test_the_unit_that_another_register_says_is_that_of_the_reading() -> None:
    pressure = Value(name="pressure", units={"0": "Pa", "1": "inH2O"}, unit_from="shown", first_register=0, order="big")
    shown = Value(name="shown", unit="1", first_register=9, order="big")
    unit = Unit(7, [5, *[0] * 8, 1])
    with closing(TcpPeer(unit)) as peer:
        session = Session(make(peer.address, values=(pressure, shown)))
        await session.until(lambda: session.readings, "reading")
        await session.cancel()
    units = {one.key: one.unit for one in session.emitted if isinstance(one, Channel)}
    assert {units[reading.channel] for reading in session.readings} == {"inH2O"}
