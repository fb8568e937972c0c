"""The contract of every driver for serial instruments that talk otherwise than in lines by a pattern."""

from contextlib import closing
from pathlib import Path
from typing import ClassVar

import pytest

from collector.profile_sections import FORMATS
from drivers.profile import Value
from drivers.registry import KINDS
from drivers.serial_line import SerialLine
from drivers.serial_query import SerialQuery
from tests.drivers.battery import DriverBattery
from tests.drivers.bench import Ability, Bench
from tests.drivers.cycles import go_and_return
from tests.drivers.ptys import setup_of
from tests.drivers.serial_benches import FrameBench, QueryBench, SeparatedBench


class TestSeparatedContract(DriverBattery):
    """The battery with separated lines."""

    def bench(self, folder: Path) -> Bench:
        """A meter on a pseudo-terminal."""
        return SeparatedBench(folder)


class TestFrameContract(DriverBattery):
    """The battery with binary frames."""

    def bench(self, folder: Path) -> Bench:
        """A meter on a pseudo-terminal."""
        return FrameBench(folder)


class TestQueryContract(DriverBattery):
    """The battery with questions and answers."""

    cannot: ClassVar = frozenset({Ability.FLOOD})  # it speaks only when it is asked

    def bench(self, folder: Path) -> Bench:
        """A meter on a pseudo-terminal."""
        return QueryBench(folder)


@pytest.mark.timeout(900)
async def test_an_asked_instrument_that_goes_and_returns_leaves_nothing_and_every_gap_is_told(tmp_path: Path) -> None:
    with closing(QueryBench(tmp_path)) as bench:
        await go_and_return(bench, bench.make())


@pytest.mark.parametrize(
    ("form", "kind"),
    [(form, SerialQuery if form == "query" else SerialLine) for form in FORMATS],
)
def test_the_format_chooses_the_driver(form: str, kind: type) -> None:
    value = Value(name="pressure", unit="Pa", field=1, columns=(1, 4), query="?", at=1, type="int8")
    setup = setup_of("port", format=form, values=(value,), start=b"\xaa", length=4)
    assert type(KINDS["serial"].make(setup)) is kind
