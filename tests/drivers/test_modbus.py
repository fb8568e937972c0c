"""Instruments with Modbus: the contract of a driver over a real server, on a network and on a serial line."""

from contextlib import closing
from pathlib import Path

import pytest

from tests.drivers.battery import DriverBattery
from tests.drivers.bench import Ability, Bench
from tests.drivers.cycles import go_and_return
from tests.drivers.modbus_bench import rtu_bench, tcp_bench

ONLY_WHEN_ASKED = frozenset({Ability.FLOOD})
"""A unit is heard only when it is asked; what comes unasked is bounded and counted by tests of its own."""


class TestModbusTcpContract(DriverBattery):
    """The battery on a network."""

    cannot = ONLY_WHEN_ASKED

    def bench(self, folder: Path) -> Bench:
        """A unit behind a server on loopback."""
        return tcp_bench()


class TestModbusRtuContract(DriverBattery):
    """The battery on a serial line."""

    cannot = ONLY_WHEN_ASKED

    def bench(self, folder: Path) -> Bench:
        """A unit on a pseudo-terminal."""
        return rtu_bench(folder)


@pytest.mark.timeout(900)
async def test_a_server_that_goes_and_returns_leaves_nothing_and_every_gap_is_told() -> None:
    with closing(tcp_bench()) as bench:
        await go_and_return(bench, bench.make())


@pytest.mark.timeout(900)
async def test_an_adapter_that_goes_and_returns_leaves_nothing_and_every_gap_is_told(tmp_path: Path) -> None:
    with closing(rtu_bench(tmp_path)) as bench:
        await go_and_return(bench, bench.make())
