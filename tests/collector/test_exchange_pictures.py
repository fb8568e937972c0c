"""Photographs make the way through Parquet, and what is wrong with one costs nothing else."""

from dataclasses import asdict
from pathlib import Path

import pytest

from analysis.model import Reading
from collector import exchange_parquet
from collector.attachments import PIECE, Attachment, pieces
from collector.exchange_parquet import export_parquet
from collector.exchange_pictures import put_pictures
from collector.recording import Recording
from tests.collector.pictures import JPEG, PNG
from tests.collector.round_trips import DRAFT, asked, everything, sent, taken, written

PICTURES = {
    Attachment("p1", 5, "trap.jpg", "image/jpeg", "the trap", len(JPEG)): JPEG,
    Attachment("p2", -7, "plate.png", "image/png", "", PIECE + 4 + len(PNG)): PNG + bytes(PIECE + 4),
}


@pytest.fixture
def pictured(tmp_path) -> Path:
    attached = [item for one, content in PICTURES.items() for item in (*pieces(one, content), one)]
    return written(tmp_path / "a.lightoff", DRAFT, Reading(DRAFT.key, 1, 1.0), *attached)


def pictures_of(path: Path) -> dict[Attachment, bytes]:
    with Recording(path) as recording:
        return {one: recording.content(one.id) for one in recording.attachments()}


def test_photographs_make_the_round_trip_and_no_reader_of_parquet_sees_them(tmp_path, pictured):
    sent(pictured, tmp_path / "a.parquet")
    assert asked(tmp_path / "a.parquet", "SELECT point, value FROM FILE") == [("draft_switch", 1.0)]
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert (done.lacking, done.problem_count) == ("", 0)
    assert pictures_of(tmp_path / "b.lightoff") == PICTURES
    assert everything(tmp_path / "b.lightoff") == everything(pictured)


def test_a_photograph_that_is_damaged_in_the_file_is_told_and_the_rest_comes_back(tmp_path, pictured):
    sent(pictured, tmp_path / "a.parquet")
    content = bytearray((tmp_path / "a.parquet").read_bytes())
    content[content.find(JPEG) + len(JPEG) - 3] ^= 1
    (tmp_path / "a.parquet").write_bytes(content)
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert [str(one) for one in done.problems] == [
        "photograph 2: trap.jpg is damaged, or was lost when another program wrote the file anew"
    ]
    assert [one.id for one in pictures_of(tmp_path / "b.lightoff")] == ["p2"]
    assert done.readings == 1


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"size": 2**40}, "has 1099511627776 bytes at"),
        ({"at": -1}, "at -1, which cannot be"),
        ({"at": 10**15}, "which cannot be"),
        ({"at": 9}, "is damaged, or was lost"),
        ({"checksum": "x"}, "cannot be understood"),
        ({"media_type": "text/html"}, "is no picture of the kind that it is said to be"),
    ],
)
def test_what_is_said_of_a_photograph_is_not_believed(tmp_path, pictured, monkeypatch, told, says):
    real = put_pictures
    monkeypatch.setattr(exchange_parquet, "put_pictures", lambda *given: [one | told for one in real(*given)])
    sent(pictured, tmp_path / "a.parquet")
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert done.problem_count == 2
    assert all(says in one.reason for one in done.problems)
    assert pictures_of(tmp_path / "b.lightoff") == {}


def test_a_file_of_before_that_only_names_its_photographs_is_read(tmp_path, pictured, monkeypatch):
    monkeypatch.setattr(exchange_parquet, "put_pictures", lambda _, recording: map(asdict, recording.attachments()))
    sent(pictured, tmp_path / "a.parquet")
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert done.lacking == "2 photographs of the recording are not in it"
    assert done.readings == 1


def test_a_photograph_that_is_damaged_in_the_recording_is_left_out_and_told(tmp_path, pictured):
    content = bytearray(pictured.read_bytes())
    content[content.find(JPEG) + len(JPEG) - 3] ^= 1
    pictured.write_bytes(content)
    with Recording(pictured, past_damage=True) as recording:
        export_parquet(recording, tmp_path / "a.parquet")
        assert ["trap.jpg" in recording.told(one) for one in recording.damage] == [True]
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert done.lacking == "1 photograph of the recording is not in it"
    assert [one.id for one in pictures_of(tmp_path / "b.lightoff")] == ["p2"]
