"""Into a finished recording from the command line, and photographs out of it again."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from analysis.model import EventKind
from collector.cli import main
from collector.recording import Recording
from collector.store import Store
from tests.collector.pictures import JPEG, PNG
from tests.collector.recordings import DRAFT, SECOND, T0, ramp, recorded

TUBE = "draft_collector@by hand: slanted tube"


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a finished recording of two minutes and a picture; nothing is being recorded."""
    (tmp_path / "runtime").mkdir(mode=0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.chdir(tmp_path)
    recorded(tmp_path / "a.lightoff", ramp(DRAFT, 120))
    Path("plate.jpeg").write_bytes(JPEG)
    return tmp_path


def lightoff(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), catch_exceptions=False)


def enter(*arguments: str) -> Result:
    return lightoff("enter", "draft_collector", *arguments, "--meter", "slanted tube", "--recording", "a.lightoff")


def test_a_reading_stands_where_it_was_read_and_says_that_it_came_afterwards(here: Path):
    done = enter("-1.25 inH2O", "--at", "-1min", "--photo", "plate.jpeg")
    assert (done.exit_code, done.stderr) == (0, "")
    assert "collector box: -1.25 inH2O, slanted tube recorded at " in done.stdout
    with Recording(here / "a.lightoff") as recording:
        rows = recording.read(TUBE)
        (entry,), (photo,) = recording.events({EventKind.ENTRY}), recording.events({EventKind.PHOTO})
        assert recording.content(str(photo.data["attachment"])) == JPEG
    assert (rows.time.tolist(), rows.value.tolist()) == ([T0 + 60 * SECOND], [-1.25]), "a minute before its end"
    assert (entry.time, entry.data["typed"], entry.data["late"]) == (T0 + 60 * SECOND, "-1.25 inH2O", True)
    assert "(entered afterwards, " in entry.text
    assert (photo.data["channel"], photo.data["at"]) == (TUBE, T0 + 60 * SECOND)


def test_another_number_of_the_same_moment_is_kept_beside_the_first(here: Path):
    assert enter("-1.25 inH2O", "--at", "-1min").exit_code == 0
    assert enter("-1.30 in. w.c.", "--at", "-1min").exit_code == 0
    with Recording(here / "a.lightoff") as recording:
        assert recording.read(TUBE).value.tolist() == [-1.25, -1.3], "one meter, however its unit is spelled"
        assert recording.events({EventKind.CONFLICT}) == []


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("-1.25 inH2O",), "when the meter was read is not said; add --at"),
        (("-1.25", "--at", "-1min"), "has no unit"),
        (("-1.25 inH2O", "--at", "-14h"), " before the recording, which began "),
        (("-1.25 inH2O", "--at", "2099-01-01 06:31"), "lies in the future"),
    ],
)
def test_what_cannot_be_changes_nothing(here: Path, arguments: tuple[str, ...], says: str):
    before = Path("a.lightoff").read_bytes()
    done = enter(*arguments)
    assert done.exit_code == 1
    assert says in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert Path("a.lightoff").read_bytes() == before


def test_a_file_that_is_none_is_not_made_one(here: Path):
    Path("letter.lightoff").write_text("dear Sir")
    done = lightoff("attach", "plate.jpeg", "--recording", "letter.lightoff")
    assert "letter.lightoff is no recording" in done.stderr
    assert Path("letter.lightoff").read_text() == "dear Sir"


def test_one_that_another_program_writes_is_left_alone(here: Path):
    with Store(here / "a.lightoff"):
        done = enter("-1.25 inH2O", "--at", "-1min")
    assert done.exit_code == 1
    assert "a.lightoff is being recorded by another program" in done.stderr


def test_photographs_come_out_byte_for_byte_with_a_list(here: Path):
    Path("meter.png").write_bytes(PNG)
    assert lightoff("photos", "a.lightoff", "-o", "out").stderr.startswith("lightoff photos: a.lightoff has no photo")
    for arguments in (("plate.jpeg", "--text", "rating plate, high", "--at", "-90s"), ("meter.png",)):
        assert lightoff("attach", *arguments, "--recording", "a.lightoff").exit_code == 0
    assert lightoff("photos", "a.lightoff", "-o", "out").stdout == "out: 2 photographs\n"
    assert Path("out/01 plate.jpeg").read_bytes() == JPEG
    assert Path("out/02 meter.png").read_bytes() == PNG
    assert Path("out/photographs.csv").read_text().splitlines() == [
        "time,file,text",
        '2026-01-14T06:31:50.000Z,01 plate.jpeg,"rating plate, high"',
        "2026-01-14T06:33:20.000Z,02 meter.png,",
    ]
    Path("out/02 meter.png").write_text("mine")
    again = lightoff("photos", "a.lightoff", "-o", "out")
    assert "is there already; choose another folder or say --force" in again.stderr
    assert Path("out/02 meter.png").read_text() == "mine"
    assert lightoff("photos", "a.lightoff", "-o", "out", "--force").exit_code == 0
    assert Path("out/02 meter.png").read_bytes() == PNG
