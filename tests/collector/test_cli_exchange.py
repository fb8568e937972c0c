"""The commands import and export as people type them: forms, spans, bad rows, files in the way."""

import csv
import io
import signal
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import pytest
from click.testing import CliRunner, Result

from analysis.model import EventKind
from collector.cli import main
from collector.recording import Recording

GOOD = """time,draft_collector@draft meter [inH2O],gas_valve@contact logger [1]
2026-01-14T06:31:20.000Z,-1.25,0
2026-01-14T06:31:21.000Z,-1.2,
2026-01-14T06:31:22.500Z,nan,1
"""


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder with a recording and what it was made of."""
    monkeypatch.chdir(tmp_path)
    Path("in.csv").write_text(GOOD)
    Path("job.toml").write_text('[site]\nname = "invented"\n')
    assert lightoff("import", "in.csv", "--job", "job.toml", "-o", "a.lightoff").exit_code == 0
    return tmp_path


def lightoff(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), catch_exceptions=False)


def csv_of(recording: str) -> str:
    return lightoff("export", recording, "-o", "-").stdout


def test_parquet_out_and_in(here):
    done = lightoff("export", "a.lightoff", "-o", "a.parquet")
    assert (done.exit_code, done.stdout, done.stderr) == (0, "a.parquet: 5 readings\n", "")
    done = lightoff("import", "a.parquet", "-o", "b.lightoff")
    assert (done.exit_code, done.stdout, done.stderr) == (0, "b.lightoff: 5 readings\n", "")
    assert csv_of("b.lightoff") == csv_of("a.lightoff") == GOOD
    with Recording(Path("a.lightoff")) as first, Recording(Path("b.lightoff")) as second:
        assert second.events() == first.events()
        assert second.job() == '[site]\nname = "invented"\n'


def test_a_file_is_known_by_what_is_in_it(here):
    lightoff("export", "a.lightoff", "-o", "a.parquet")
    Path("a.parquet").rename("a.csv")
    assert lightoff("import", "a.csv", "-o", "b.lightoff").exit_code == 0
    assert csv_of("b.lightoff") == GOOD


def test_parquet_goes_to_standard_output(here):
    command = [sys.executable, "-m", "collector", "export", "a.lightoff", "-o", "-", "--format", "parquet"]
    done = subprocess.run(command, capture_output=True, check=True)
    assert done.stderr == b"-: 5 readings\n"
    lightoff("export", "a.lightoff", "-o", "a.parquet")
    assert done.stdout == Path("a.parquet").read_bytes()


@pytest.mark.parametrize(
    ("span", "rows"),
    [
        (("--from", "1"), [1, 2]),
        (("--to", "1"), [0, 1]),
        (("--from", "2026-01-14T06:31:20.001Z", "--to", "2.499999999"), [1]),
        (("--from", "-60", "--to", "3600"), [0, 1, 2]),
    ],
)
def test_a_span(here, span, rows):
    lines = GOOD.splitlines()
    assert lightoff("export", "a.lightoff", *span, "-o", "-").stdout.splitlines() == [
        lines[0],
        *(lines[1 + row] for row in rows),
    ]
    lightoff("export", "a.lightoff", *span, "-o", "p.parquet")
    with duckdb.connect() as db:
        (count,) = db.execute("SELECT count(DISTINCT time) FROM 'p.parquet'").fetchone() or (0,)
    assert count == len(rows)


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["export", "a.lightoff", "-o", "a.xlsx"], 2, "ends neither in .csv, .csv.gz, .parquet nor in .lightoff"),
        (["export", "a.lightoff", "-o", "a.csv", "--format", "parquet"], 2, "a.csv ends as csv does"),
        (["export", "a.lightoff", "-o", "x.csv", "--from", "noon"], 2, "'noon' is neither a time"),
        (["export", "a.lightoff", "-o", "x.csv", "--from", "2", "--to", "1"], 2, "1 is before 2"),
        (["export", "a.lightoff", "-o", "x.csv", "--from", "9"], 1, "no reading in that span"),
        (["export", "a.lightoff", "-o", "there.parquet"], 1, "there.parquet is there already"),
        (["export", "a.lightoff", "-o", "nowhere/x.parquet"], 1, "cannot write nowhere/x.parquet (No such file"),
        (["import", "there.parquet", "-o", "x.lightoff"], 1, "there.parquet is damaged or was not written to its end"),
        (["import", "there.parquet", "-o", "x.lightoff", "--start", "0"], 2, "the times of there.parquet are dates"),
        (["import", "in.csv", "-o", "x.lightoff", "--shift", "draft meter"], 2, "is not INSTRUMENT=SECONDS"),
        (["import", "in.csv", "-o", "x.lightoff", "--shift", "drift meter=1"], 1, "nearest known: draft meter"),
        (["import", "in.csv", "-o", "x.lightoff", "--bad", "job.toml"], 1, "job.toml is there already"),
        (["import", "in.csv", "-o", "x.lightoff", "--bad", "x.lightoff"], 2, "is where the recording goes"),
    ],
)
def test_mistakes_are_one_sentence_and_make_nothing(here, arguments, status, says):
    Path("there.parquet").write_bytes(b"PAR1 and no more")
    before = {path.name: path.read_bytes() for path in here.iterdir()}
    done = lightoff(*arguments)
    assert done.exit_code == status
    assert says in done.stderr
    assert {path.name: path.read_bytes() for path in here.iterdir()} == before


def test_force_replaces_an_export_and_never_the_recording_itself(here):
    Path("there.parquet").write_bytes(b"PAR1")
    assert lightoff("export", "a.lightoff", "-o", "there.parquet", "--force").exit_code == 0
    assert Path("there.parquet").read_bytes().endswith(b"PAR1")
    Path("a.csv").symlink_to("a.lightoff")
    done = lightoff("export", "a.lightoff", "-o", "a.csv", "--force")
    assert (done.exit_code, "is what is to be read" in done.stderr) == (1, True)
    assert csv_of("a.lightoff") == GOOD


def test_everything_that_could_not_be_read_goes_to_a_file(here):
    rubbish = 'rubbish\n2026-01-14T06:31:25.000Z,"1,5",x\n' + "2026-01-14T06:31:26.000Z,\n" * 1200
    Path("bad.csv").write_text(GOOD + rubbish)
    done = lightoff("import", "bad.csv", "-o", "b.lightoff", "--bad", "left.csv")
    assert (done.exit_code, done.stdout) == (1, "b.lightoff: 5 readings\n")
    assert done.stderr == "bad.csv: 1203 problems, listed in left.csv\n"
    rows = list(csv.reader(io.StringIO(Path("left.csv").read_text())))
    assert rows[:4] == [
        ["line", "reason", "text"],
        ["5", "1 cells where the first line has 3", "rubbish"],
        ["6", "draft_collector@draft meter: '1,5' is not a number", '2026-01-14T06:31:25.000Z,"1,5",x'],
        ["6", "gas_valve@contact logger: 'x' is not a number", '2026-01-14T06:31:25.000Z,"1,5",x'],
    ]
    assert len(rows) == 1204
    assert rows[-1] == ["1206", "2 cells where the first line has 3", "2026-01-14T06:31:26.000Z,"]
    with Recording(Path("b.lightoff")) as recording:
        assert len(recording.events({EventKind.PROBLEM})) == 1000


def test_without_a_file_for_them_the_first_are_listed_and_the_rest_counted(here):
    Path("bad.csv").write_text(GOOD + "rubbish\n" * 1003)
    done = lightoff("import", "bad.csv", "-o", "b.lightoff")
    lines = done.stderr.splitlines()
    assert lines[0] == "bad.csv: line 5: 1 cells where the first line has 3"
    assert lines[-1] == "bad.csv: 3 further problems are not listed; say --bad FILE for all"
    assert len(lines) == 1001


def test_a_clock_that_was_off_is_put_right(here):
    done = lightoff(
        "import", "in.csv", "-o", "b.lightoff", "--shift", "contact logger=-1.5", "--shift", "draft meter=0"
    )
    assert done.exit_code == 0, done.stderr
    assert csv_of("b.lightoff").splitlines()[1:] == [
        "2026-01-14T06:31:18.500Z,,0",
        "2026-01-14T06:31:20.000Z,-1.25,",
        "2026-01-14T06:31:21.000Z,-1.2,1",
        "2026-01-14T06:31:22.500Z,nan,",
    ]
    with Recording(Path("b.lightoff")) as recording:
        (told,) = recording.events({EventKind.CLOCK})
    assert told.text == "contact logger: its times were moved by -1.5 s when in.csv was imported, as stated then"


@pytest.mark.parametrize("name", ["out.csv", "out.csv.gz", "out.parquet"])
def test_an_export_that_is_asked_to_stop_leaves_nothing(here, name):
    rows = "".join(f"{n // 10}.{n % 10},{n % 7 / 8},1\n" for n in range(200_000))
    Path("long.csv").write_text("time,draft_collector@draft meter [inH2O],gas_valve@contact logger [1]\n" + rows)
    assert lightoff("import", "long.csv", "-o", "long.lightoff").exit_code == 0
    before = sorted(path.name for path in here.iterdir())
    command = [sys.executable, "-m", "collector", "export", "long.lightoff", "-o", name]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as run:
        deadline = time.monotonic() + 30
        while not Path(f"{name}.part").exists():
            assert time.monotonic() < deadline
            time.sleep(0.001)  # looks at another process's files
        run.send_signal(signal.SIGTERM)
        _, said = run.communicate(timeout=30)
    assert (run.returncode, said) == (130, "lightoff export: interrupted\n")
    assert sorted(path.name for path in here.iterdir()) == before
