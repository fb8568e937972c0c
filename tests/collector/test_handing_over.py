"""A recording handed over while it is recorded: whole, of one moment, sealed."""

import threading
import time

import pytest
from click.testing import CliRunner

from analysis.model import Event, EventKind, Reading
from collector.cli import main
from collector.database import FORMAT, RecordingError, version_of
from collector.handing_over import handed_over
from collector.recording import Recording
from collector.store import Store
from collector.verify import verified
from tests.collector.older import older
from tests.collector.recordings import DRAFT, SECOND, T0


def test_what_is_handed_over_while_it_is_recorded_is_whole_and_of_one_moment(tmp_path):
    path, stop = tmp_path / "call.lightoff", threading.Event()
    with Store(path, sealed_after=64) as store:
        store.append([DRAFT, Event(T0, EventKind.NOTE, "trap cleared")])

        def record() -> None:
            number = 0
            while not stop.is_set():
                store.append([Reading(DRAFT.key, T0 + (number + n) * SECOND, float(number + n)) for n in range(10)])
                number += 10

        recorder = threading.Thread(target=record)
        recorder.start()
        try:
            deadline, counts = time.monotonic() + 30, []
            while store.kept < 200 and time.monotonic() < deadline:
                time.sleep(0.01)  # another thread's work
            for turn in range(5):
                target = tmp_path / f"{turn}.lightoff"
                counts.append(handed_over(path, target, lambda share: None))
                assert verified(target).faults == ()
                with Recording(target) as copy:
                    assert copy.read(DRAFT.key).value.tolist() == list(range(counts[-1]))
                    assert counts[-1] % 10 == 0, "whole batches"
                    assert [event.text for event in copy.events()] == ["trap cleared"]
        finally:
            stop.set()
            recorder.join()
    assert counts == sorted(counts)
    assert counts[-1] > 0
    assert {file.name for file in tmp_path.iterdir()} == {"call.lightoff", *(f"{turn}.lightoff" for turn in range(5))}


def test_the_command_makes_a_recording_and_refuses_what_it_must(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    older(tmp_path / "old.lightoff", [DRAFT], [Reading(DRAFT.key, T0, 1.0), Reading(DRAFT.key, T0 + 1, 2.0)])
    run = CliRunner().invoke
    done = run(main, ["export", "old.lightoff", "-o", "new.lightoff"])
    assert (done.exit_code, done.stdout) == (0, "new.lightoff: 2 readings\n")
    assert version_of(tmp_path / "old.lightoff") == 2, "the source stays as it is"
    assert version_of(tmp_path / "new.lightoff") == FORMAT
    done = run(main, ["export", "old.lightoff", "-o", "new.lightoff"])
    assert (done.exit_code, "is there already" in done.stderr) == (1, True)
    assert run(main, ["export", "old.lightoff", "-o", "new.lightoff", "--force"]).exit_code == 0
    assert run(main, ["export", "old.lightoff", "-o", "old.lightoff", "--force"]).exit_code == 1
    assert run(main, ["export", "old.lightoff", "-o", "x.lightoff", "--events", "x.csv"]).exit_code == 2
    assert run(main, ["export", "old.lightoff", "-o", "none/x.lightoff"]).exit_code == 1
    assert sorted(file.name for file in tmp_path.iterdir()) == ["new.lightoff", "old.lightoff"]


def test_a_recording_that_is_not_there_is_said(tmp_path):
    with pytest.raises(RecordingError, match="there is no recording"):
        handed_over(tmp_path / "none.lightoff", tmp_path / "x.lightoff", lambda share: None)
    assert list(tmp_path.iterdir()) == []
