"""What a browser may ask is what the recorder can do."""

from pathlib import Path

from analysis.model import Plate
from collector.clock import Clock
from collector.collector import Collector
from collector.commands import Commands
from collector.library import Library
from collector.library_commands import library_commands
from collector.replays import Replays
from collector.store import Store
from dashboard.feed import COMMANDS


def test_a_browser_may_ask_for_every_command_of_the_recorder(tmp_path: Path) -> None:
    with Store(tmp_path / "call.lightoff") as store:
        collector = Collector(store, plate=Plate(), rules=(), clock=Clock())
        more = library_commands(Library(tmp_path), Replays(()))
        assert set(Commands(collector, more=more).names) == COMMANDS
