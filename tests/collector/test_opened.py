"""A CSV file opened for analysis: every row in its place, every doubt kept, every mistake in one sentence."""

import gzip
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from analysis.units import INCH_OF_WATER
from collector.exchange import import_csv
from collector.opened import Opened, open_data
from drivers.base import InputError
from drivers.csv_file import open_csv
from replay_data import __file__ as replay_data

HEAD = "time,draft_collector [inH2O],temp_supply@duct thermometer [degF],switch_closed [1]\n"
ROWS = "0,-1.25,,1\n0.5,,212,\n1.0,-1.5,32,0\n"


def opened(folder: Path, text: str, name: str = "call.csv") -> Opened:
    (folder / name).write_text(text)
    return open_data(folder / name)


def values(found: Opened, point: str) -> tuple[list[float], list[float]]:
    (one,) = (one for one in found.series if one.channel.point == point)
    return one.time.tolist(), one.value.tolist()


def test_every_column_is_a_series_in_the_inside_unit(tmp_path):
    found = opened(tmp_path, HEAD + ROWS)
    assert (found.name, found.kind, found.path, found.job_from) == ("call", "csv", tmp_path / "call.csv", "")
    assert [(one.channel.key, one.channel.unit) for one in found.series] == [
        ("draft_collector@call", "Pa"),
        ("temp_supply@duct thermometer", "degC"),
        ("switch_closed@call", "1"),
    ]
    assert values(found, "draft_collector") == ([0.0, 1.0], [-1.25 * INCH_OF_WATER, -1.5 * INCH_OF_WATER])
    assert values(found, "temp_supply")[0] == [0.5, 1.0]
    assert values(found, "temp_supply")[1] == pytest.approx([100.0, 0.0], abs=1e-9)
    assert (found.start, found.end, found.rows, found.readings) == (0.0, 1.0, 3, 6)
    assert (found.events, found.problem_count, found.doubtful) == ((), 0, {})
    assert found.job.instruments == ()


def test_dates_are_seconds_since_1970(tmp_path):
    found = opened(tmp_path, "time,switch_closed [1]\n2026-01-14T01:31:20.250-05:00,1\n2026-01-14T06:31:21Z,0\n")
    assert (found.start, found.end) == (1_768_372_280.25, 1_768_372_281.0)


def test_what_cannot_be_read_is_told_with_its_line_and_what_is_no_value_is_none(tmp_path):
    found = opened(tmp_path, HEAD + "0,-1,nan,1\n1,x,100,1\nrubbish\n2,-1,100,1\n")
    assert [str(problem) for problem in found.problems] == [
        "line 3: draft_collector@call: 'x' is not a number",
        "line 4: 1 cells where the first line has 4",
    ]
    assert found.problem_count == 2
    assert values(found, "draft_collector")[0] == [0.0, 2.0]
    assert np.isnan(values(found, "temp_supply")[1][0])
    assert (found.rows, found.readings) == (3, 7)


def test_an_unlikely_value_stays_and_is_doubtful(tmp_path):
    found = opened(tmp_path, HEAD + "0,-1,,1\n1,-300,,7\n2,-1,,0\n")
    assert {key: times.tolist() for key, times in found.doubtful.items()} == {
        "draft_collector@call": [1.0],
        "switch_closed@call": [1.0],
    }
    assert values(found, "draft_collector")[1][1] == -300 * INCH_OF_WATER


def test_rows_that_come_late_are_put_in_their_place_and_counted(tmp_path):
    found = opened(tmp_path, HEAD + "0,0,,\n2,2,,\n1,1,,\n3,3,,\n2.5,2.5,,\n")
    assert values(found, "draft_collector")[0] == [0.0, 1.0, 2.0, 2.5, 3.0]
    assert values(found, "draft_collector")[1] == [value * INCH_OF_WATER for value in (0.0, 1.0, 2.0, 2.5, 3.0)]
    assert (found.disordered, found.problem_count) == (2, 0)


def test_a_second_run_put_below_is_told_with_its_line(tmp_path):
    found = opened(tmp_path, HEAD + "100,1,,\n101,2,,\n102,3,,\nx,,,\n50,4,,\n51,5,,\n")
    assert [problem.line for problem in found.problems] == [5, 6]
    assert "goes back by 52 s" in found.problems[1].reason
    assert (found.problem_count, found.disordered) == (2, 0)
    assert values(found, "draft_collector")[0] == [50.0, 51.0, 100.0, 101.0, 102.0]
    assert (found.start, found.end) == (50.0, 102.0)


def test_of_two_values_for_one_instant_the_first_stays_and_both_kinds_are_counted(tmp_path):
    found = opened(tmp_path, HEAD + "0,1,,1\n1,2,nan,1\n1,3,50,1\n0,0,,1\n1,2,nan,0\n")
    assert values(found, "draft_collector")[1] == [INCH_OF_WATER, 2 * INCH_OF_WATER]
    assert values(found, "switch_closed") == ([0.0, 1.0], [1.0, 1.0])
    assert (found.conflicts, found.twice) == (4, 4)


CELLS = st.sampled_from(["", "", "1", "2", "-0.0", "0", "nan", "9999", "x"])
LINES = st.lists(st.tuples(st.integers(0, 8), CELLS, CELLS, CELLS), min_size=1, max_size=14)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@example([(1, "1", "", ""), (1, "x", "nan", "2"), (0, "9999", "1", "1"), (1, "2", "5", "2")])
@given(LINES)
def test_a_file_and_the_recording_made_of_it_are_the_same(tmp_path, lines):
    path, recording = tmp_path / "call.csv", tmp_path / "call.lightoff"
    path.write_text(HEAD + "".join(f"{time},{','.join(cells)}\n" for time, *cells in [*lines, (9, "1", "1", "1")]))
    recording.unlink(missing_ok=True)
    done = import_csv(path, recording, job=None, start=0, now=1)
    table, kept = open_data(path), open_data(recording)
    for one, other in zip(table.series, kept.series, strict=True):
        assert one.channel == other.channel
        assert one.time.tobytes() == other.time.tobytes()
        np.testing.assert_array_equal(one.value, other.value, strict=True)
        assert np.signbit(one.value).tolist() == np.signbit(other.value).tolist()
    assert {key: when.tolist() for key, when in table.doubtful.items()} == {
        key: when.tolist() for key, when in kept.doubtful.items()
    }
    assert table.conflicts == kept.conflicts == done.conflicts
    assert table.conflicts + table.twice == done.readings - done.kept
    assert table.readings == kept.readings
    assert [*table.problems] != [] or not kept.problems
    assert {*kept.problems} <= {*table.problems}


@pytest.mark.parametrize("ending", [".toml", ".job.toml"])
def test_the_job_is_the_one_that_is_named_else_the_one_beside_the_file(tmp_path, ending):
    beside, named = tmp_path / f"call{ending}", tmp_path / "other.toml"
    beside.write_text('[site]\nname = "basement"\n[[instrument]]\nname = "duct thermometer"\naccuracy = "1 degC"\n')
    named.write_text('[site]\nname = "attic"\n')
    found = opened(tmp_path, HEAD + ROWS)
    assert (found.job.site.name, found.job_from) == ("basement", str(beside))
    assert [one.channel.accuracy for one in found.series] == [None, "1 degC", None]
    found = open_data(tmp_path / "call.csv", named)
    assert (found.job.site.name, found.job_from) == ("attic", str(named))


def test_a_job_with_a_mistake_is_told_with_its_line(tmp_path):
    (tmp_path / "call.toml").write_text("[furnace]\n\nfule = 3\n")
    with pytest.raises(InputError, match="line 3"):
        opened(tmp_path, HEAD + ROWS)
    with pytest.raises(InputError, match=r"nowhere\.toml is not there"):
        open_data(tmp_path / "call.csv", tmp_path / "nowhere.toml")


def test_how_far_it_is_is_told_up_to_the_end(tmp_path):
    (tmp_path / "call.csv").write_text(HEAD + ROWS)
    shares: list[float] = []
    open_data(tmp_path / "call.csv", progress=shares.append)
    assert shares[-1] == 1.0


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("missing.csv", None, "there is no file"),
        ("missing/call.csv", None, "there is no file"),
        ("folder.csv", "folder", "is a folder"),
        ("a" * 300 + ".csv", None, "cannot be opened"),
        ("empty.csv", b"", "the file is empty"),
        ("empty.csv.gz", b"", "the file is empty"),
        ("head.csv", HEAD.encode(), "has no reading that could be read"),
        ("headless.csv", ROWS.encode(), "line 1: the first column must be headed 'time'"),
        ("point.csv", b"time,draft_colector [inH2O]\n0,1\n", "line 1: column 2: unknown point 'draft_colector'"),
        ("twice.csv", b"time,draft_vent@a [Pa],draft_vent@a [inH2O]\n0,1,2\n", "column 3: 'draft_vent@a' stands twice"),
        ("rubbish.csv", HEAD.encode() + b"rubbish\n" * 9, "no reading that could be read (line 2: 1 cells"),
        ("binary.csv", bytes(range(256)) * 40, "line 1: this is not text in UTF-8"),
        ("binary.lightoff", bytes(range(256)) * 40, "line 1: this is not text in UTF-8"),
        ("plain.csv.gz", (HEAD + ROWS).encode(), "is damaged or not compressed as its name says"),
        ("cut.csv.gz", gzip.compress((HEAD + ROWS).encode(), mtime=0)[:30], "is damaged"),
    ],
)
def test_a_file_that_cannot_be_read_is_said_in_one_sentence(tmp_path, name, content, says):
    path = tmp_path / name
    if content == "folder":
        path.mkdir()
    elif content is not None:
        path.write_bytes(content)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputError) as caught:
        open_data(path)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_file_that_may_not_be_read_is_said(tmp_path):
    path = tmp_path / "call.csv"
    path.write_text(HEAD + ROWS)
    path.chmod(0)
    administrator = os.geteuid() == 0  # who may read everything
    if administrator:
        os.seteuid(65534)
    try:
        with pytest.raises(InputError, match="no permission to read"):
            open_data(path)
    finally:
        if administrator:
            os.seteuid(0)


def test_a_file_cut_in_a_row_gives_what_stands_before(tmp_path):
    text = HEAD + ROWS * 100
    found = opened(tmp_path, text[: len(text) - 6])
    assert [problem.line for problem in found.problems if "cells" in problem.reason] == [301]
    packed = gzip.compress((HEAD + "".join(f"{n},{n % 7},,{n % 2}\n" for n in range(40_000))).encode())
    (tmp_path / "cut.csv.gz").write_bytes(packed[: len(packed) // 2])
    found = open_data(tmp_path / "cut.csv.gz")
    assert 5_000 < found.rows < 35_000
    assert "is damaged" in found.problems[0].reason
    assert found.problems[0].line == found.rows + 1


@pytest.mark.parametrize("path", sorted(Path(replay_data).parent.glob("*.csv.gz")), ids=lambda path: path.name)
def test_every_bundled_recording_opens_as_it_is(path):
    found = open_data(path)
    with open_csv(path) as reader:
        times: dict[str, list[int]] = {channel.key: [] for channel in reader.channels}
        for reading in reader:
            times[reading.channel].append(reading.time)
    assert {one.channel.key: one.time.size for one in found.series} == {key: len(own) for key, own in times.items()}
    assert (found.problem_count, found.conflicts, found.twice) == (0, 0, 0)
    assert found.job_from.endswith(path.name.replace(".csv.gz", ".toml"))
    assert not found.doubtful
