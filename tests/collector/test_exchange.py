"""Import and export: exact round trips, problems reported and kept, no half-written file."""

import csv
import gzip
import itertools
import math
from pathlib import Path

import pytest

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector.exchange import export_csv, export_events, import_csv, untold
from collector.recording import Recording
from collector.store import Store
from drivers.base import InputError
from drivers.codecs.recording_csv import HeadError

ROWS = (
    "time,draft_collector@draft meter [inH2O],humidity_room@hygrometer [%]\n"
    "2026-01-14T06:31:20.250Z,-1.25,\n"
    "2026-01-14T06:31:20.500Z,-1.2500001,35.5\n"
    "2026-01-14T06:31:21.000Z,,0.1\n"
)


def imported(source: Path, target: Path):
    return import_csv(source, target, job=None, start=0, now=1)


@pytest.mark.parametrize("ending", [".csv", ".csv.gz"])
def test_what_goes_in_comes_out(tmp_path, ending):
    source, target, out = tmp_path / f"in{ending}", tmp_path / "a.lightoff", tmp_path / f"out{ending}"
    opened = gzip.open if ending.endswith("gz") else open
    with opened(source, "wt") as file:
        file.write(ROWS)
    assert imported(source, target).readings == 4
    with Recording(target) as recording:
        assert export_csv(recording, out) == 4
    with opened(out, "rt") as file:
        assert file.read() == ROWS


def test_problems_are_reported_and_kept_in_the_recording(tmp_path):
    source = tmp_path / "in.csv"
    source.write_text(ROWS + "2026-01-14T06:31:22Z,x,1\nrubbish\n2026-01-14T06:31:20.250Z,-9,\n")
    done = imported(source, tmp_path / "a.lightoff")
    assert done.problem_count == 2
    assert done.conflicts == 1
    with Recording(tmp_path / "a.lightoff") as recording:
        texts = [event.text for event in recording.events({EventKind.PROBLEM})]
        assert texts == [
            "in.csv: line 5: draft_collector@draft meter: 'x' is not a number",
            "in.csv: line 6: 1 cells where the first line has 3",
        ]
        assert recording.read("draft_collector@draft meter").value.tolist() == [-1.25, -1.2500001]


def test_a_wrong_first_line_records_nothing(tmp_path):
    source = tmp_path / "in.csv"
    source.write_text("time,draft [inH2O]\n0,1\n")
    with pytest.raises(HeadError):
        imported(source, tmp_path / "a.lightoff")
    assert [file.name for file in tmp_path.iterdir()] == ["in.csv"]


@pytest.mark.parametrize("damage", ["cut", "overwritten"])
def test_a_file_that_is_damaged_in_its_middle_gives_what_stands_before(tmp_path, damage):
    """The compressed file ends too early, or its middle is overwritten: what could be read is kept and that is said."""
    rows = "".join(f"{n},{n % 7 / 8}\n" for n in range(200_000))
    packed = bytearray(gzip.compress(("time,draft_collector [inH2O]\n" + rows).encode()))
    if damage == "cut":
        del packed[len(packed) // 2 :]
    else:
        packed[len(packed) // 2 : len(packed) // 2 + 2000] = b"\xff" * 2000
    (tmp_path / "in.csv.gz").write_bytes(packed)
    done = imported(tmp_path / "in.csv.gz", tmp_path / "a.lightoff")
    assert "is damaged" in done.damaged
    assert 10_000 < done.kept < 200_000
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read("draft_collector@in").time.size == done.kept
        assert recording.events({EventKind.PROBLEM})[-1].text == done.damaged


def test_an_import_that_is_interrupted_leaves_nothing(tmp_path):
    source = tmp_path / "in.csv"
    source.write_text("time,draft_collector [inH2O]\n" + "".join(f"{n},1\n" for n in range(50_000)))

    def interrupt(_: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        import_csv(source, tmp_path / "a.lightoff", job=None, start=0, now=1, progress=interrupt)
    assert [file.name for file in tmp_path.iterdir()] == ["in.csv"]


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("missing.csv", None, "there is no file"),
        ("folder.csv", "folder", "is a folder"),
        ("not.csv.gz", b"plain text", "damaged or not compressed"),
    ],
)
def test_files_that_cannot_be_read_are_said(tmp_path, name, content, says):
    source = tmp_path / name
    if content == "folder":
        source.mkdir()
    elif content is not None:
        source.write_bytes(content)
    with pytest.raises(InputError, match=says) as caught:
        imported(source, tmp_path / "a.lightoff")
    assert name in str(caught.value)


def test_an_export_that_fails_leaves_no_file_under_the_name(tmp_path):
    with Store(tmp_path / "a.lightoff") as store:
        store.append([])
    with Recording(tmp_path / "a.lightoff") as recording, pytest.raises(InputError, match="cannot write"):
        export_csv(recording, tmp_path / "nowhere" / "out.csv")
    assert [file.name for file in tmp_path.iterdir()] == ["a.lightoff"]


def test_many_channels_are_merged_in_the_order_of_time(tmp_path):
    channels = [Channel("temp_supply", f"meter {n}", "degF") for n in range(5)]
    with Store(tmp_path / "a.lightoff") as store:
        store.append(channels)
        for start in range(0, 1000, 100):
            store.append(
                [Reading(c.key, (start + i) * 10**6 + n, i / 3) for i in range(100) for n, c in enumerate(channels)]
            )
    with Recording(tmp_path / "a.lightoff") as recording:
        assert export_csv(recording, tmp_path / "out.csv") == 5000
        times = [reading.time for reading in recording.readings()]
    assert times == sorted(times)
    with (tmp_path / "out.csv").open() as file:
        rows = list(csv.reader(file))
    assert len(rows) == 5001
    assert all(sum(bool(cell) for cell in row[1:]) == 1 for row in itertools.islice(rows, 1, None))


def test_what_happened_is_a_table_of_its_own_and_a_table_of_readings_says_that_it_lacks_it(tmp_path):
    path, out = tmp_path / "a.lightoff", tmp_path / "events.csv"
    channel = Channel("draft_collector", "draft meter", "inH2O")
    with Store(path) as store:
        store.append([channel, Reading(channel.key, 10**9, -1.25), Event(0, EventKind.NOTE, 'a note,\nin "two" lines')])
    with Recording(path) as recording:
        assert untold(recording) == ""
    with Store(path) as store:
        held = Event(2 * 10**9, EventKind.PROBLEM, "draft meter: display held", "draft meter")
        missing = Event(3 * 10**9, EventKind.GAP, "draft meter: 2 messages are missing", "draft meter")
        store.append([held, Reading(channel.key, 2 * 10**9, -1.25, Quality.SUSPECT), missing])
        store.append([Reading(channel.key, 3 * 10**9, math.nan, Quality.BAD)])
    with Recording(path) as recording:
        assert untold(recording) == (
            "the table does not show 1 doubtful reading and 2 problems and gaps; write what happened with --events FILE"
        )
        assert export_events(recording, out) == 3
    with out.open(newline="") as file:
        rows = list(csv.reader(file))
    assert rows == [
        ["time", "kind", "about", "text"],
        ["1970-01-01T00:00:00.000Z", "note", "", 'a note,\nin "two" lines'],
        ["1970-01-01T00:00:02.000Z", "problem", "draft meter", "draft meter: display held"],
        ["1970-01-01T00:00:03.000Z", "gap", "draft meter", "draft meter: 2 messages are missing"],
    ]
