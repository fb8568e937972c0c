"""A medium that takes no more while a call is recorded: said loudly, the page lives on, and nothing is missing."""

import json
import re
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from websockets.sync.client import connect
from websockets.typing import Origin

from analysis.model import NANOSECONDS, EventKind
from collector.recording import Recording
from tests.system.media import FullDisk, SizeLimit
from tests.system.programs import lightoff
from tests.system.test_record import JOB, Meters

DUCT = "temp_supply@duct thermometer"
Message = dict[str, Any]


def heard(address: str, wanted: Callable[[Message], bool], what: str) -> Message:
    """The first message of the page of the wanted kind."""
    host = address.removeprefix("http://").rstrip("/")
    deadline = time.monotonic() + 15
    with connect(f"ws://{host}/live", origin=Origin(f"http://{host}")) as browser:
        while time.monotonic() < deadline:
            for message in json.loads(browser.recv(timeout=15)):
                if wanted(message):
                    return dict(message)
    raise AssertionError(f"the page never said: {what}")


@pytest.mark.timeout(120)
@pytest.mark.parametrize("full", [FullDisk, SizeLimit])
def test_a_medium_that_takes_no_more_is_outlived(full: type[FullDisk] | type[SizeLimit], tmp_path: Path):
    with closing(Meters(tmp_path)) as meters, full.place(tmp_path / "stick") as stick:
        path, medium = stick / "call.lightoff", full(stick / "call.lightoff")
        (tmp_path / "job.toml").write_text(JOB.format(draft=meters.draft.path, duct=meters.duct.path))
        with lightoff("record", "--job", "job.toml", "-o", str(path), "--port", "0", folder=tmp_path) as recorder:
            address = recorder.address
            meters.talk(1.5)
            medium.begin(recorder.process.pid)
            meters.talk(1)
            said = recorder.says("lightoff: recording stands still:")
            assert "cannot record to" in said
            assert medium.says in said
            status = heard(
                address,
                lambda message: message["type"] == "status" and message["recorder"]["state"] != "recording",
                "that it does not record",
            )
            assert medium.says in status["recorder"]["text"]
            event = heard(address, lambda message: "recording stands still" in message.get("text", ""), "the event")
            assert event["kind"] == str(EventKind.RECORDER)
            with Recording(path) as recording:
                acknowledged = recording.read(DUCT).time
            meters.talk(1)
            live = heard(
                address,
                lambda message: (
                    message["type"] == "readings"
                    and any(row[0] == DUCT and row[1] > acknowledged[-1] for row in message["readings"])
                ),
                "a reading that came since",
            )
            assert live
            medium.end(recorder.process.pid)
            recorder.says("lightoff: recording goes on:")
            meters.talk(0.5)
        with Recording(path) as recording:
            time_ = recording.read(DUCT).time
            texts = [event.text for event in recording.events({EventKind.RECORDER})]
            gaps = recording.events({EventKind.GAP})
    assert acknowledged.size > 5
    assert np.array_equal(time_[: acknowledged.size], acknowledged)
    assert time_.size >= meters.said - 2, "the first line of a port is not trusted, every other one is there"
    assert "recording goes on; 0 readings were lost" in texts
    assert gaps == []


@pytest.mark.timeout(120)
def test_a_call_that_ends_while_nothing_can_be_written_says_what_is_lost(tmp_path: Path):
    """Exit status 1 and one sentence; what was acknowledged is there."""
    path, limit = tmp_path / "call.lightoff", (200_000, resource.RLIM_INFINITY)
    arguments = ("demo", "--speed", "100", "--for", "2", "--no-browser", "--port", "0", "-o", str(path))
    done = subprocess.run(
        [sys.executable, "-m", "collector", *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, limit),
    )
    assert done.returncode == 1
    assert re.search(r"^lightoff demo: \d+ readings were lost: cannot record to ", done.stderr, re.MULTILINE)
    with Recording(path) as recording:
        time_ = recording.read("draft_switch@replay: simulated: switch manometer").time
    assert time_.size > 50
    assert np.diff(time_).max() / NANOSECONDS < 0.3, "no hole in what was acknowledged"
