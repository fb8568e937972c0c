"""The files are what README promises: three of each, small, whole, read by the program, and the truth only in one."""

import fnmatch
import re
import tomllib
from itertools import pairwise

import numpy as np
import pytest

from analysis.diagnosis.causes import CAUSES
from analysis.model import origin_of
from collector.derived import can_derive
from collector.job import check
from drivers.codecs.recording_csv import CsvReader
from drivers.simulate.attempts import Attempt
from drivers.simulate.causes import Cause
from tests.replay_data.recording import FOLDER, NAMES, SCRIPT, job, lines_of, recording, scenario, truth

ENDINGS = (".csv.gz", ".toml", ".truth.json")
MOST_BYTES = 1_000_000
OUTCOMES = (  # how an attempt can end
    "heat draft_not_proved draft_lost no_ignition flame_lost limit_open gas_off_unexplained call_ended cut_off no_start"
    " switch_found_closed rollout_open no_blower unknown"
).split()
KINDS = [cause for cause in CAUSES if "_" in cause]  # `none` and `other` are words of the language too

each = pytest.mark.parametrize("name", NAMES)


def test_there_are_three_files_of_each_recording_and_nothing_else() -> None:
    assert len(NAMES) == len(set(NAMES)) >= 16
    data = {file.name for file in FOLDER.iterdir() if file.suffix not in (".py", ".md") and file.is_file()}
    assert data == {name + ending for name in NAMES for ending in ENDINGS}


def test_every_file_is_part_of_the_package() -> None:
    patterns = tomllib.loads((FOLDER.parent / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    wanted = patterns["package-data"]["replay_data"]
    files = [file.name for file in FOLDER.iterdir() if file.is_file() and file.suffix != ".py"]
    assert [file for file in files if not any(fnmatch.fnmatch(file, pattern) for pattern in wanted)] == []


@each
def test_file_is_small_and_its_head_names_no_time_and_no_file(name: str) -> None:
    content = (FOLDER / f"{name}.csv.gz").read_bytes()
    assert len(content) <= MOST_BYTES
    assert content[3] & 0b1000 == 0  # RFC 1952: flag FNAME
    assert content[4:8] == bytes(4)  # RFC 1952: MTIME


@each
def test_heads_name_point_instrument_and_unit_and_say_that_it_is_simulated(name: str) -> None:
    meters = {
        (point, meter.name, entry.sensor.unit)
        for meter in scenario(name).meters
        for entry in meter.inputs
        for point in (entry.point, *(move.point for move in entry.moves))
    }
    heads = recording(name).heads
    assert heads[0] == "time"
    assert sorted(heads[1:]) == sorted(f"{point}@simulated: {meter} [{unit}]" for point, meter, unit in meters)
    reader = CsvReader(lines_of(FOLDER / f"{name}.csv.gz")[:1], name)
    assert {origin_of(channel.instrument) for channel in reader.channels} == {"simulated"}


@each
def test_rows_are_full_and_their_times_strictly_increase(name: str) -> None:
    found, wanted = recording(name), scenario(name)
    form = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
    assert all(form.fullmatch(row[0]) for row in found.rows)
    assert all(before < after for before, after in pairwise(found.times))
    slowest = max(1 / meter.rate if meter.rate else 0.0 for meter in wanted.meters)
    assert -0.5 < found.times[0] < slowest
    assert 60 * wanted.minutes - slowest < found.times[-1] < 60 * wanted.minutes + 1
    assert all(len(row) == len(found.heads) and any(row[1:]) for row in found.rows)


@each
def test_the_program_reads_every_cell(name: str) -> None:
    reader = CsvReader(lines_of(FOLDER / f"{name}.csv.gz"), name)
    count = sum(1 for _ in reader)
    assert reader.problem_count == 0
    assert count == sum(cell != "" for row in recording(name).rows for cell in row[1:])


@each
def test_values_come_in_steps_of_the_resolution(name: str) -> None:
    for meter in scenario(name).meters:
        for entry in meter.inputs:
            _, values = recording(name).readings(entry.point)
            steps = values / entry.sensor.resolution
            assert np.allclose(steps, np.round(steps), atol=1e-6), entry.point


@each
def test_job_file_has_no_mistake_and_describes_the_unit(name: str) -> None:
    found = job(name)
    assert check(found.text) == []
    assert "invented" in found.text.splitlines()[0]
    assert found.site.name is not None
    assert "invented" in found.site.name
    plate, baseline = found.plate, found.baseline
    for value in (plate.input, plate.manifold, plate.switch_close, plate.switch_open, plate.rise, plate.gas_inlet):
        assert value
    assert None not in (plate.fuel, plate.efficiency, baseline.draft_collector, baseline.draft_vent, found.altitude)
    measured = frozenset(recording(name).columns)
    assert all(limit.point in measured or can_derive(limit.point, measured) for limit in found.limits)
    wanted = {"draft_margin", "dew_point_margin"}
    assert {limit.point for limit in found.limits} >= {point for point in wanted if can_derive(point, measured)}


@each
def test_truth_is_complete_and_its_attempts_tile(name: str) -> None:
    found = truth(name)
    assert set(found) == {"seed", "causes", "attempts", "events"}
    assert found["seed"] == scenario(name).seed
    assert tuple(Cause(**cause) for cause in found["causes"]) == scenario(name).causes
    for attempt in found["attempts"]:
        assert set(attempt) == set(Attempt.__annotations__)
        assert attempt["outcome"] in OUTCOMES
        phases = attempt["phases"]
        assert (phases[0]["start"], phases[-1]["end"]) == (attempt["start"], attempt["end"])
        assert all(before["end"] == after["start"] for before, after in pairwise(phases))
        assert attempt["start"] <= attempt["deciding_time"] <= attempt["end"] + 1e-9
    assert all(before["end"] <= after["start"] for before, after in pairwise(found["attempts"]))


@each
def test_truth_is_told_in_no_other_file(name: str) -> None:
    text = "\n".join(lines_of(FOLDER / f"{name}.csv.gz")[:1]) + job(name).text
    assert [word for word in (*KINDS, *OUTCOMES[1:-1], "severity", "onset") if re.search(rf"\b{word}\b", text)] == []


def test_two_recordings_of_a_pair_differ_in_nothing_but_the_repair() -> None:
    before, after = scenario("drain_backs_up"), scenario("drain_cleared")
    assert before.causes
    assert not after.causes
    for part in ("seed", "meters", "minutes", "calls", "weather", "humidity"):
        assert getattr(before, part) == getattr(after, part)
    assert job("drain_backs_up").text == job("drain_cleared").text


@each
def test_readme_tells_seed_cause_and_severity(name: str) -> None:
    lines = (FOLDER / "README.md").read_text("utf-8").splitlines()
    (row,) = [line for line in lines if line.startswith(f"| `{name}` |")]
    cells = [cell.strip() for cell in row.strip("|").split("|")]
    assert cells[1] == str(truth(name)["seed"])
    causes = [f"`{cause['cause']}` {cause['severity']:g}" for cause in truth(name)["causes"]]
    assert cells[2] == (", ".join(causes) or "nothing")


def test_readme_says_what_this_is() -> None:
    text = (FOLDER / "README.md").read_text("utf-8")
    assert "Everything here is invented" in text
    assert SCRIPT.name in text
