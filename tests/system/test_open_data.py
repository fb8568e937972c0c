"""Open measurements through import, recording and export: equal to the source, value for value."""

import csv
import math
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from collector.cli import main
from collector.normalize import series
from collector.recording import Recording
from drivers.codecs.recording_csv import parse_time
from tests.system import open_data
from tests.system.open_data import OpenData


def imported(source: Callable[[], OpenData], folder: Path) -> tuple[OpenData, Path, str]:
    data = source()
    (folder / "in.csv").write_text(data.text)
    target = folder / "a.lightoff"
    done = CliRunner().invoke(main, ["import", str(folder / "in.csv"), "-o", str(target)], catch_exceptions=False)
    assert "is not a number" not in done.stderr
    return data, target, done.stderr


@pytest.mark.parametrize("source", [open_data.room, open_data.machine, open_data.office])
def test_every_value_is_recorded_and_exported_as_the_source_has_it(tmp_path, source):
    data, target, _ = imported(source, tmp_path)
    out = tmp_path / "out.csv"
    assert CliRunner().invoke(main, ["export", str(target), "-o", str(out)]).exit_code == 0
    with out.open() as file:
        exported = list(csv.DictReader(file))
    for head, wanted in data.columns.items():
        first: dict[int, float] = {}
        for time, value in wanted:
            first.setdefault(round(datetime.fromisoformat(time).timestamp() * 1000), float(value))
        got = {
            round(datetime.fromisoformat(row["time"]).timestamp() * 1000): float(row[head])
            for row in exported
            if row[head]
        }
        assert len(first) > 2000
        assert got == first, head
        with Recording(target) as recording:
            rows = recording.read(head.split(" [")[0])
        assert rows.time.size == len(first)
        assert dict(zip((rows.time // 10**6).tolist(), rows.value.tolist(), strict=True)) == first


def test_a_second_value_for_an_instant_is_counted_not_lost_silently(tmp_path):
    """Whatever the source has twice is either the same reading or a conflict that the import reports."""
    data, target, said = imported(open_data.machine, tmp_path)
    values: dict[str, set[str]] = {}
    for time, value in data.columns["temp_room@ambient [degF]"]:
        values.setdefault(time, set()).add(value)
    conflicts = sum(len(different) - 1 for different in values.values())
    assert (f"{conflicts} second values" in said) == (conflicts > 0)
    with Recording(target) as recording:
        assert recording.read("temp_room@ambient").time.size == len(values)


def test_the_hour_that_comes_twice_is_two_hours(tmp_path):
    """On 2022-10-30 clocks in Europe went back at 03:00 summer time; 25 hours of readings stay 25 hours."""
    _, target, _ = imported(open_data.room, tmp_path)
    low, high = parse_time("2022-10-30T00:00:00+0200"), parse_time("2022-10-31T00:00:00+0100")
    with Recording(target) as recording:
        time = recording.read("temp_room@room meter", low, high - 1).time
    assert high - low == 25 * 3600 * 10**9
    assert np.all(np.diff(time) > 0)
    hours = set(((time - low) // (3600 * 10**9)).tolist())
    assert {1, 2, 3} <= hours, "both hours that the wall clock called two are there"


def test_units_are_applied_on_reading_only(tmp_path):
    _, target, _ = imported(open_data.office, tmp_path)
    with Recording(target) as recording:
        (_, humidity) = recording.channels
        native = recording.read(humidity.key).value
        inside = series(recording, humidity).value
    assert math.isclose(native[0], 26.272)
    assert inside == pytest.approx(native / 100)
