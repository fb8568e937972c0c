"""Instruments with Bluetooth: the contract of a driver over the library, a private bus and a BlueZ of ours."""

import logging
from contextlib import closing
from pathlib import Path

import pytest

from tests.drivers.battery import DriverBattery
from tests.drivers.bench import Ability, Bench
from tests.drivers.bluetooth_bench import AdvertisedBench, NotifyBench, PolledBench
from tests.drivers.bluetooth_bus import needs_bus
from tests.drivers.cycles import go_and_return

pytestmark = needs_bus


class TestNotifyContract(DriverBattery):
    """The battery on a manometer that notifies."""

    def bench(self, folder: Path) -> Bench:
        """A manometer that notifies."""
        return NotifyBench(folder)


class TestPolledContract(DriverBattery):
    """The battery on a thermometer that is read."""

    cannot = frozenset({Ability.FLOOD})

    def bench(self, folder: Path) -> Bench:
        """A thermometer that is read."""
        return PolledBench(folder)


class TestAdvertisedContract(DriverBattery):
    """The battery on a thermometer with advertisements; one that is silent and one that is gone look the same."""

    cannot = frozenset({Ability.LOSE, Ability.SILENCE})

    def bench(self, folder: Path) -> Bench:
        """A thermometer with advertisements."""
        return AdvertisedBench(folder)


def test_no_case_of_the_battery_is_left_out_for_one_that_notifies() -> None:
    cases = {name for name in vars(DriverBattery) if name.startswith("test_")}
    assert all(callable(getattr(TestNotifyContract, name)) for name in cases)


@pytest.mark.timeout(900)
async def test_an_instrument_that_goes_and_returns_leaves_nothing_and_every_gap_is_told(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.ERROR)  # a line for each loss would be kept by the test itself, and counted as growth
    with closing(NotifyBench(tmp_path)) as bench:
        await go_and_return(bench, bench.make())
