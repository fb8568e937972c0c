"""A call that records goes to a real server; recorder and server are killed, and in the end it has the recording."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from collector.recording import Recording
from tests.collector.archive_bench import serving, stored
from tests.system.page_bench import empty_bench
from tests.system.programs import browser, lightoff, looking

__all__ = ["browser"]

JOB = """
[archive]
url = "{url}"
technician = "van 7"
[[instrument]]
name = "unit"
driver = "simulate"
address = "seed=7"
"""


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "collector", *arguments]
    return subprocess.run(command, capture_output=True, text=True, cwd=folder, timeout=100, check=False)


def recorded(path: Path) -> int:
    with Recording(path) as recording:
        return sum(len(recording.read(channel.key).time) for channel in recording.channels)


@pytest.mark.timeout(180)
def test_recorder_and_server_killed_in_the_end_the_server_has_the_recording(tmp_path: Path):
    recording = tmp_path / "a.lightoff"
    with serving(tmp_path) as server:
        (tmp_path / "job.toml").write_text(JOB.format(url=server.url))
        command = ("record", "--job", "job.toml", "-o", "a.lightoff", "--port", "0", "--no-browser")

        def arrived(more: int) -> None:
            deadline = time.monotonic() + 40
            while (found := sum(len(rows) for rows in server.holds().values())) < more:
                assert time.monotonic() < deadline, f"only {found} arrived"
                time.sleep(0.2)

        first = subprocess.Popen(
            [sys.executable, "-m", "collector", *command],
            cwd=tmp_path,
            stdout=subprocess.DEVNULL,
            start_new_session=True,
        )
        try:
            arrived(300)
            os.kill(first.pid, signal.SIGKILL)
        finally:
            first.kill()
            first.wait()
        before = recorded(recording)
        assert before >= 300
        with lightoff(*command, folder=tmp_path) as second:
            second.says("recording:")
            arrived(before + 300)
            server.kill()
            deadline = time.monotonic() + 20
            more = recorded(recording)
            while recorded(recording) < more + 300:
                assert time.monotonic() < deadline, "the recording stood still"
                time.sleep(0.1)
        told = "\n".join(second.lines)
        assert re.search(r"does not have all of a.lightoff yet .*lightoff archive a.lightoff sends", told), told
        server.start()
        done = run(tmp_path, "archive", "a.lightoff", "--settle", "1")
        assert (done.returncode, done.stderr) == (0, "")
        server.until_it_holds(stored(recording))
        (tags,) = {(tags["technician"], tags["origin"]) for tags, _, _ in server.series()}
        assert tags == ("van 7", "simulated"), "nobody takes it for a live instrument"


@pytest.mark.timeout(120)
def test_the_page_says_how_far_behind_the_archive_is_and_why(tmp_path: Path, browser: Browser):
    with empty_bench(tmp_path) as bench:
        bench.greet("draft_switch@new meter")
        archive = {"state": "up to date", "text": "", "behind": 0.0, "aside": 0, "since": bench.now, "server": "x:8428"}
        with looking(browser, bench.address) as look:
            bench.tell()
            look.until("document.querySelector('#archive-state').hidden")
            bench.tell(archive=archive)
            look.until("document.querySelector('#archive-state').innerText === 'archive up to date'")
            away = {"state": "waiting", "behind": 720.0, "text": "x:8428 takes no connection", "aside": 3}
            bench.tell(archive={**archive, **away})
            words = "archive waiting since [0-9:]{5}, 12 min behind · 3 readings REFUSED"
            look.until(f"new RegExp({words!r}).test(document.querySelector('#archive-state').innerText)")
            look.until("document.querySelector('#archive-state').title === 'x:8428: x:8428 takes no connection'")
            look.until("document.querySelector('#archive-state').classList.contains('bad')")
