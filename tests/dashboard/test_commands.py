"""What a browser may ask is what the recorder can do."""

from pathlib import Path

from analysis.model import Plate
from collector.checks import Checklists
from collector.clock import Clock
from collector.collector import Collector
from collector.session import commands_of
from collector.store import Store
from dashboard.feed import COMMANDS


def test_a_browser_may_ask_for_every_command_of_the_recorder(tmp_path: Path) -> None:
    with Store(tmp_path / "call.lightoff") as store:
        collector = Collector(store, plate=Plate(), rules=(), clock=Clock())
        assert set(commands_of(collector, Checklists(collector)).names) == COMMANDS
