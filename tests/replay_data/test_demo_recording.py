"""The bundled recording is what its script makes, and is read as instruments read."""

import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from tests.replay_data.recording import CONTACTS, FOLDER, RECORDING, SCRIPT, Recording, lines_of

INSTRUMENTS = {  # name: points, unit, readings a second
    "draft meter": ("draft_burner_box draft_transition draft_collector draft_vent", "inH2O", 10.0),
    "switch manometer": ("draft_switch", "inH2O", 10.0),
    "gas manometer": ("gas_manifold gas_inlet", "inH2O", 5.0),
    "static manometer": ("static_supply static_return", "inH2O", 2.0),
    "duct thermometer": ("temp_supply temp_return", "degF", 1.0),
    "house thermometer": ("temp_outdoor temp_room temp_surface", "degF", 1.0),
    "hygrometer": ("humidity_room humidity_supply", "%", 0.5),
    "flame meter": ("flame_current", "uA", 5.0),
    "volt meter": ("volts_control", "V", 5.0),
    "room CO meter": ("room_co", "ppm", 0.2),
}


def run_script(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(SCRIPT), "--out", str(folder)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=50)


def test_script_makes_the_shipped_values_again(tmp_path: Path) -> None:
    assert run_script(tmp_path).returncode == 0
    rebuilt, shipped = lines_of(tmp_path / RECORDING.name), lines_of(RECORDING)
    assert len(rebuilt) == len(shipped)
    different = [number for number, pair in enumerate(zip(rebuilt, shipped, strict=True), 1) if pair[0] != pair[1]]
    assert not different, f"first at line {different[0]}"


def test_script_refuses_a_folder_that_is_not_there(tmp_path: Path) -> None:
    result = run_script(tmp_path / "missing")
    assert result.returncode == 2
    assert str(tmp_path / "missing") in result.stderr
    assert not (tmp_path / "missing").exists()


def test_file_is_small_and_its_head_names_no_time_and_no_file() -> None:
    content = RECORDING.read_bytes()
    assert len(content) <= 500_000
    assert content[3] & 0b1000 == 0  # RFC 1952: flag FNAME
    assert content[4:8] == bytes(4)  # RFC 1952: MTIME


def test_heads_name_point_instrument_and_unit(recording: Recording) -> None:
    expected = {
        f"{point}@{name} [{unit}]" for name, (points, unit, _) in INSTRUMENTS.items() for point in points.split()
    }
    expected |= {f"{contact}@contact logger [1]" for contact in CONTACTS}
    assert recording.heads[0] == "time"
    assert sorted(recording.heads[1:]) == sorted(expected)


def test_rows_are_full_and_their_times_strictly_increase(recording: Recording) -> None:
    assert recording.rows[0][0] == "2026-01-14T06:31:20.000Z"
    form = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
    assert all(form.fullmatch(row[0]) for row in recording.rows)
    assert all(before < after for before, after in pairwise(recording.stamps))
    assert 20 * 60 <= recording.times[-1] <= 25 * 60
    assert all(len(row) == len(recording.heads) and any(row[1:]) for row in recording.rows)


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_instrument_reads_at_its_rate_with_jitter_and_gaps_only_where_promised(name: str, recording: Recording) -> None:
    points, _, rate = INSTRUMENTS[name]
    times, _ = recording.readings(points.split()[0])
    steps = np.diff(times)
    assert np.median(steps) == pytest.approx(1 / rate, abs=0.0021)
    assert np.std(steps[steps < 1.5 / rate]) > 0.001
    assert all(np.array_equal(times, recording.readings(point)[0]) for point in points.split())
    gaps = [pytest.approx(13.0, abs=1.5)] if name == "hygrometer" else []
    assert [step for step in steps if step > 1.5 / rate] == gaps


def test_instruments_have_phases_of_their_own(recording: Recording) -> None:
    instruments = [head.split("@")[1] for head in recording.heads[1:]]
    together = [len({name for name, cell in zip(instruments, row[1:], strict=True) if cell}) for row in recording.rows]
    assert sum(count > 1 for count in together) < 0.1 * len(together)


def test_contacts_are_read_on_change_and_every_five_seconds(recording: Recording) -> None:
    times, _ = recording.readings("gas_valve")
    assert np.diff(times).max() <= 5.001
    assert any(time % 5 > 0.01 for time in recording.changes("gas_valve", 1))
    assert all(set(recording.readings(contact)[1]) <= {0.0, 1.0} for contact in CONTACTS)


@pytest.mark.parametrize(("point", "step"), [("draft_switch", 0.001), ("gas_manifold", 0.01), ("temp_supply", 0.1)])
def test_values_come_in_steps_of_the_resolution(point: str, step: float, recording: Recording) -> None:
    steps = recording.readings(point)[1] / step
    assert np.allclose(steps, np.round(steps), atol=1e-6)
    assert any(np.round(steps) % 10)


def test_readme_says_what_this_is(script: ModuleType) -> None:
    text = (FOLDER / "README.md").read_text("utf-8")
    assert "Everything here is invented" in text
    assert f"seed {script.SEED}" in text
    assert "drain_blocked" in text
