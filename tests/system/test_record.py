"""A call recorded from real serial ports: unplugged and plugged again, gaps shown as gaps."""

import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from analysis.model import NANOSECONDS, EventKind
from collector.recording import Recording
from dashboard.charts import TREND_POINTS
from dashboard.figures import View, trend_figures
from dashboard.history import read
from tests.drivers.ptys import PtyPort
from tests.system.programs import lightoff

JOB = """
[[instrument]]
name = "draft meter"
driver = "serial"
address = "{draft}"
line = 'P=(?P<pressure>\\S+) inH2O'
channels = {{ pressure = "draft_collector" }}
units = {{ pressure = "inH2O" }}
[[instrument]]
name = "duct thermometer"
driver = "serial"
address = "{duct}"
line = 'T=(?P<supply>\\S+) F R=(?P<return>\\S+) F'
channels = {{ supply = "temp_supply", return = "temp_return" }}
units = {{ supply = "degF", return = "degF" }}
"""


class Meters:
    """Two instruments that say a line ten times a second, each as long as it is plugged in."""

    def __init__(self, folder: Path) -> None:
        (folder / "draft").mkdir()
        (folder / "duct").mkdir()
        self.draft, self.duct = PtyPort(folder / "draft"), PtyPort(folder / "duct")
        self.said = 0
        self._next = time.monotonic()

    def talk(self, seconds: float, *, draft: bool = True) -> None:
        """Both talk for a while, or the thermometer alone."""
        for _ in range(round(seconds * 10)):
            time.sleep(max(0.0, self._next - time.monotonic()))  # this is the instruments' own pace
            self._next = max(self._next + 0.1, time.monotonic())
            if draft:
                self.draft.say(b"P=-1.250 inH2O\r\n")
            self.duct.say(f"T={110 + self.said % 10 / 10:.1f} F R=69.9 F\r\n".encode())
            self.said += 1

    def close(self) -> None:
        """Take the ports down."""
        self.draft.close()
        self.duct.close()


def times(path: Path, channel: str) -> np.ndarray:
    with Recording(path) as recording:
        return recording.read(channel).time / NANOSECONDS


@pytest.mark.alone
@pytest.mark.timeout(120)
def test_an_instrument_unplugged_and_plugged_again(tmp_path: Path):
    path = tmp_path / "call.lightoff"
    with closing(Meters(tmp_path)) as meters:
        (tmp_path / "job.toml").write_text(JOB.format(draft=meters.draft.path, duct=meters.duct.path))
        with lightoff("record", "--job", "job.toml", "-o", str(path), "--port", "0", folder=tmp_path) as recorder:
            assert recorder.address
            meters.talk(3)
            meters.draft.unplug()
            meters.talk(5, draft=False)
            meters.draft.plug_in()
            back = time.time()
            meters.talk(6)
    assert any(line.startswith("lightoff: draft meter: lost once, ") for line in recorder.lines), recorder.lines
    draft, duct = times(path, "draft_collector@draft meter"), times(path, "temp_supply@duct thermometer")
    gaps = np.flatnonzero(np.diff(draft) > 2)
    assert gaps.size == 1, "one gap, where it was unplugged"
    assert draft[gaps[0] + 1] - back < 5, "it reads again within 5 s of its return"
    assert draft[gaps[0] + 1] - draft[gaps[0]] > 4.5
    assert np.diff(duct).max() < 0.5, "the other instrument was not disturbed"
    assert duct.size >= meters.said - 2, "the first line of a port is not trusted, every other one is there"
    with Recording(path) as recording:
        said = [event.text for event in recording.events({EventKind.INSTRUMENT}) if event.subject == "draft meter"]
    assert said[0] == "draft meter: reading"
    assert said[1].startswith("draft meter: trying again")
    assert "draft meter: reading" in said[2:]
    figures = trend_figures(read(path, TREND_POINTS, None, None), View(draft[0], draft[-1]))
    (trace,) = [trace for trace in figures["draft"]["data"] if trace["meta"]["key"] == "draft_collector@draft meter"]
    hole = [x / 1000 for x, y in zip(trace["x"], trace["y"], strict=True) if y is None]
    assert len(hole) == 1, "the line is broken once"
    assert draft[gaps[0]] < hole[0] < draft[gaps[0] + 1]
