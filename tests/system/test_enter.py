"""`lightoff enter` and `lightoff attach` from another process, into the recording that is being made."""

import subprocess
import sys
from pathlib import Path

import pytest

from analysis.model import EventKind
from collector.recording import Recording
from tests.collector.pictures import JPEG
from tests.system.programs import lightoff

CONTENT = JPEG + bytes(range(256)) * 8000
"""Two megabytes: several parts on the way, several pieces in the file."""


@pytest.fixture(autouse=True)
def runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "runtime"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder))
    return folder / "lightoff"


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "collector", *arguments]
    return subprocess.run(command, capture_output=True, text=True, cwd=folder, timeout=30, check=False)


@pytest.mark.timeout(120)
def test_what_another_process_enters_is_in_the_recording(tmp_path: Path, runtime: Path):
    (tmp_path / "plate.jpg").write_bytes(CONTENT)
    with lightoff("record", "-o", "a.lightoff", "--port", "0", folder=tmp_path) as recorder:
        recorder.says("recording:")
        done = run(tmp_path, "enter", "gas_manifold", "3.50 inH2O", "--meter", "dial gauge", "--at", "-5min")
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.startswith("gas manifold: 3.50 inH2O recorded at ")
        named = ("--text", "rating plate", "--recording", "a.lightoff")
        assert run(tmp_path, "attach", "plate.jpg", *named).returncode == 0
        wrong = run(tmp_path, "enter", "gas_manfold", "-3.5 hPa")
        assert wrong.returncode == 1
        assert wrong.stderr == (
            "lightoff enter: by hand: there is no point 'gas_manfold'; nearest known: gas_manifold, gas_valve\n"
        )
    assert list(runtime.iterdir()) == [], "with the recording its token is gone"
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read("gas_manifold@by hand: dial gauge").value.tolist() == [3.5]
        (photo,) = recording.events({EventKind.PHOTO})
        assert recording.content(str(photo.data["attachment"])) == CONTENT
        assert [str(event.data["typed"]) for event in recording.events({EventKind.ENTRY})] == ["3.50 inH2O"]
