"""Attachments in a recording: whole or not there, older recordings too, and readings that do not wait for them."""

import sqlite3
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from analysis.model import Channel, Event, EventKind, Reading
from collector.attachments import LARGEST, PIECE, Attachment, Piece, pieces
from collector.database import FORMAT, RecordingError
from collector.recorder import Recorder
from collector.recording import Recording
from collector.store import Store
from drivers.base import InputError
from tests.collector.older import older as older_recording
from tests.collector.pictures import JPEG
from tests.collector.recordings import DRAFT, T0
from tests.collector.test_recorder import Shaky, running
from tests.support import StillClock, until

CONTENT = JPEG + bytes(5 * PIECE)
PHOTO = Attachment("0123456789abcdef", T0, "plate.jpg", "image/jpeg", "rating plate", len(CONTENT))


def version(path: Path) -> int:
    with sqlite3.connect(path) as db:
        found = int(db.execute("PRAGMA user_version").fetchone()[0])
    db.close()
    return found


@pytest.fixture
def older(tmp_path: Path) -> Path:
    """A recording as the program of format 1 left it."""
    readings = [Reading(DRAFT.key, T0 + number, float(number)) for number in range(4)]
    return older_recording(
        tmp_path / "old.lightoff", [DRAFT], readings, [Event(T0, EventKind.NOTE, "trap cleared")], version=1
    )


def test_what_was_attached_comes_back_byte_for_byte(tmp_path: Path):
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([*pieces(PHOTO, CONTENT), PHOTO])
    with Recording(path) as recording:
        assert recording.attachments() == (PHOTO,)
        assert recording.content(PHOTO.id) == CONTENT
        with pytest.raises(RecordingError, match="has no attachment 'x'"):
            recording.content("x")


def test_a_recording_of_format_1_is_read_as_it_is_and_raised_when_it_goes_on(older: Path):
    with Recording(older) as recording:
        assert recording.attachments() == ()
        assert recording.read(DRAFT.key).value.tolist() == [0, 1, 2, 3]
        assert [event.text for event in recording.events()] == ["trap cleared"]
    assert version(older) == 1, "reading changes nothing"
    with Store(older) as store:
        store.append([*pieces(PHOTO, CONTENT), PHOTO])
    assert version(older) == FORMAT == 4
    with Recording(older) as recording:
        assert recording.content(PHOTO.id) == CONTENT
        assert recording.read(DRAFT.key).value.tolist() == [0, 1, 2, 3]


def test_what_was_cut_off_in_the_middle_is_not_there_and_takes_no_room(tmp_path: Path):
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([*pieces(PHOTO, CONTENT)][:3])
    with Recording(path) as recording:
        assert recording.attachments() == ()
    with Store(path):
        pass
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT count(*) FROM attachment_piece").fetchone() == (0,)
    db.close()


def test_a_missing_piece_is_an_error_and_never_a_shorter_picture(tmp_path: Path):
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([*[*pieces(PHOTO, CONTENT)][:3], PHOTO])
    with Recording(path) as recording, pytest.raises(RecordingError, match=f"has {3 * PIECE} of its {len(CONTENT)} by"):
        recording.content(PHOTO.id)


async def test_each_batch_has_one_piece_at_the_most_and_readings_go_with_it(tmp_path: Path):
    store: Any = Shaky(tmp_path / "call.lightoff")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None)
    done: list[int] = []
    recorder.attach(PHOTO, CONTENT, lambda: done.append(len(store.batches)))
    async with running(recorder):
        for number in range(6):
            recorder.put(Reading("x", number, 1.0))
            await until(partial(_has_more_than, store, number), what="a batch")
        await recorder.caught_up()
    for number in range(6):
        assert Reading("x", number, 1.0) in store.batches[number], "it did not wait for the whole picture"
        assert sum(isinstance(item, Piece) for item in store.batches[number]) == 1
    assert store.batches[5][-1] == PHOTO, "told of with its last piece"
    assert done == [6]


def _has_more_than(store: Any, count: int) -> bool:
    return len(store.batches) > count


async def test_a_store_that_cannot_write_keeps_the_piece_for_later(tmp_path: Path):
    store: Any = Shaky(tmp_path / "call.lightoff")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None, retry=0.02)
    store.failing = RecordingError("full", "free some space")
    recorder.attach(PHOTO, CONTENT, lambda: None)
    async with running(recorder):
        await until(lambda: recorder.failure, what="it is heard")
        store.failing = None
        await recorder.caught_up()
    found = [item for item in store.items if isinstance(item, Piece)]
    assert b"".join(piece.content for piece in found) == CONTENT
    assert [piece.number for piece in found] == list(range(6))


async def test_a_stop_writes_what_is_left_of_it(tmp_path: Path):
    path = tmp_path / "call.lightoff"
    channel = Channel("draft_switch", "meter", "Pa")
    with Store(path) as store:
        recorder = Recorder(store, now=StillClock(), announce=lambda _: None)
        async with running(recorder):
            recorder.put(channel)
            recorder.attach(PHOTO, CONTENT, lambda: recorder.put(Event(T0, EventKind.PHOTO, "rating plate")))
    with Recording(path) as recording:
        assert recording.content(PHOTO.id) == CONTENT
        assert [event.text for event in recording.events()] == ["rating plate"]


async def test_what_waits_to_be_written_is_bounded(tmp_path: Path):
    store: Any = Shaky(tmp_path / "call.lightoff")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None)
    for _ in range(2):
        recorder.attach(PHOTO, bytes(LARGEST), lambda: None)
    with pytest.raises(InputError, match="42 MB of photographs wait to be written; try again in a moment"):
        recorder.attach(PHOTO, CONTENT, lambda: None)
