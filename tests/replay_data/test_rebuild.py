"""The script makes every file again: byte for byte with the pinned versions, elsewhere to the last digit shown."""

import csv
import gzip
import json
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

from tests.replay_data.recording import FOLDER, NAMES, SCRIPT

PINNED = f"numpy=={version('numpy')}" in (FOLDER.parent / "constraints.txt").read_text("utf-8").split()
"""Whether what is drawn and computed here comes of the versions with which the files were made."""


def run_script(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(SCRIPT), *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)


@pytest.fixture(scope="module")
def rebuilt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with every file made again."""
    folder = tmp_path_factory.mktemp("recordings")
    result = run_script("--out", str(folder))
    assert result.returncode == 0, result.stderr
    assert len(result.stdout.splitlines()) == len(NAMES)
    return folder


@pytest.mark.timeout(300)
@pytest.mark.parametrize("name", NAMES)
def test_script_makes_the_shipped_files_again(name: str, rebuilt: Path) -> None:
    shipped, again = (gzip.decompress((folder / f"{name}.csv.gz").read_bytes()) for folder in (FOLDER, rebuilt))
    texts = [[(folder / f"{name}{ending}").read_text("utf-8") for folder in (FOLDER, rebuilt)] for ending in TEXTS]
    assert differences(again.decode(), shipped.decode()) == []
    assert texts[0][0] == texts[0][1]
    assert told(texts[1][0]) == told(texts[1][1])
    if PINNED:
        assert again == shipped
        assert texts[1][0] == texts[1][1]


TEXTS = (".toml", ".truth.json")


def told(text: str) -> list[object]:
    """What stays the same of a truth when a last digit changes."""
    truth = json.loads(text)
    return [truth["seed"], truth["causes"], [attempt["outcome"] for attempt in truth["attempts"]]]


def differences(one: str, other: str) -> list[str]:
    """Where two recordings differ by more than one step of the last digit of a cell; the first few."""
    rows = [list(csv.reader(text.splitlines())) for text in (one, other)]
    if rows[0][0] != rows[1][0] or len(rows[0]) != len(rows[1]):
        return [f"head, or {len(rows[0])} rows for {len(rows[1])}"]
    found = []
    for number, pair in enumerate(zip(*rows, strict=True), 1):
        if pair[0] != pair[1]:
            found += [f"line {number}: {a} for {b}" for a, b in zip(*pair, strict=True) if apart(a, b)]
    return found[:5]


def apart(one: str, other: str) -> bool:
    """Whether two cells differ by more than a step of their last digit."""
    if one == other:
        return False
    if ":" in one or not one or not other or len(one.partition(".")[2]) != len(other.partition(".")[2]):
        return True
    return abs(float(one) - float(other)) > 1.001 * 10.0 ** -len(one.partition(".")[2])


@pytest.mark.parametrize(
    ("line", "same"),
    [
        ("2026-01-07T13:10:00.250Z,-1.231,70.4,1", True),
        ("2026-01-07T13:10:00.250Z,-1.230,70.3,1", True),
        ("2026-01-07T13:10:00.250Z,-1.230,70.6,1", False),
        ("2026-01-07T13:10:00.250Z,-1.229,70.4,1", False),
        ("2026-01-07T13:10:00.250Z,-1.23,70.4,1", False),
        ("2026-01-07T13:10:00.251Z,-1.231,70.4,1", False),
        ("2026-01-07T13:10:00.250Z,,70.4,1", False),
    ],
)
def test_a_last_digit_may_differ_and_nothing_else(line: str, same: bool) -> None:
    head, shipped = "time,a [inH2O],b [degF],c [1]", "2026-01-07T13:10:00.250Z,-1.231,70.4,1"
    assert (differences(f"{head}\n{line}\n", f"{head}\n{shipped}\n") == []) is same
    assert differences(f"{head}\n{shipped}\n{line}\n", f"{head}\n{shipped}\n") != []


def test_script_refuses_a_folder_that_is_not_there_and_a_name_that_is_none(tmp_path: Path) -> None:
    result = run_script("--out", str(tmp_path / "missing"))
    assert result.returncode == 2
    assert str(tmp_path / "missing") in result.stderr
    assert not (tmp_path / "missing").exists()
    result = run_script("--out", str(tmp_path), "--only", "nothing_like_that")
    assert result.returncode == 2
    assert list(tmp_path.iterdir()) == []
