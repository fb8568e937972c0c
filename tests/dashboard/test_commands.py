"""What a browser may ask is what the recorder can do."""

from pathlib import Path

from analysis.model import Plate
from collector.checks import Checklists
from collector.clock import Clock
from collector.collector import Collector
from collector.commands import Commands
from collector.deeds import Deeds
from collector.files import job_at
from collector.job_commands import JobDesk, Place
from collector.library import Library
from collector.replays import Replays
from collector.running import Running
from collector.searches import Searches
from collector.session import more_commands, rules
from collector.store import Store
from collector.talks import Talking
from collector.trials import Trials
from dashboard.feed import COMMANDS


def test_a_browser_may_ask_for_every_command_of_the_recorder(tmp_path: Path) -> None:
    with Store(tmp_path / "call.lightoff") as store:
        collector = Collector(store, plate=Plate(), rules=(), clock=Clock())
        desk = JobDesk(collector, job_at(None), Place(None), rules=rules)
        running = Running(collector, ())
        searches, trials = Searches(running=tuple), Trials(desk.with_instrument, running, now=collector.now)
        parts = Checklists(collector), desk, Library(tmp_path), Replays(())
        talking, deeds = Talking(collector), Deeds(collector)
        more = more_commands(*parts, searches=searches, trials=trials, talking=talking, deeds=deeds)
        assert set(Commands(collector, more=more).names) == COMMANDS
