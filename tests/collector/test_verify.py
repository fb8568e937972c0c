"""Bytes that are flipped anywhere in a recording are found and named, nothing is invented, and the rest is read."""

import json
import math
import os
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import Event, EventKind, Quality, Reading
from collector.attachments import PIECE, Attachment, pieces
from collector.cli import main
from collector.database import RecordingError
from collector.opened import open_data
from collector.recording import Recording
from collector.store import Store
from collector.verify import verified
from tests.collector.older import older
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, T0

CHANNELS = [DRAFT, SUPPLY]
COUNT, SIZE = 3000, 100
PHOTO = Attachment("0123456789abcdef", T0, "plate.jpg", "image/jpeg", "rating plate", PIECE // 8)
GAP = Event(
    T0, EventKind.GAP, "12 readings of 3 s were lost: the disk is full", None, {"from": T0, "to": T0, "count": 12}
)
EVENTS = [*(Event(T0 + n * SECOND, EventKind.NOTE, f"note {n}: trap cleared", DRAFT.key) for n in range(40)), GAP]
FLIPS = int(os.environ.get("LIGHTOFF_KILLS", "20")) * 5


def value(channel: int, place: int) -> float:
    return math.nan if place % 97 == 5 else round(math.sin(place / 40) + channel, 3)


def readings() -> Iterator[Reading]:
    for place in range(COUNT):
        for number, channel in enumerate(CHANNELS):
            quality = Quality.SUSPECT if place % 50 == 7 else Quality.GOOD
            yield Reading(channel.key, T0 + place * SECOND // 10, value(number, place), quality)


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """A finished recording with something of everything."""
    path: Path = tmp_path_factory.mktemp("whole") / "call.lightoff"
    everything = list(readings())
    with Store(path, sealed_after=SIZE) as store:
        store.append([*CHANNELS, *EVENTS, *pieces(PHOTO, bytes(range(256)) * (PHOTO.size // 256)), PHOTO])
        for start in range(0, len(everything), 200):
            store.append(everything[start : start + 200])
    return path


def damaged(whole: Path, folder: Path, *flips: tuple[int, int]) -> Path:
    content = bytearray(whole.read_bytes())
    for place, mask in flips:
        content[place] ^= mask
    path = folder / "damaged.lightoff"
    path.write_bytes(content)
    return path


def rows_of(recording: Recording) -> dict[str, dict[int, tuple[bytes, int]]]:
    found = {}
    for channel in recording.channels:
        rows = recording.read(channel.key)
        values = [one.tobytes() for one in rows.value]
        found[channel.key] = dict(zip(rows.time.tolist(), zip(values, rows.quality.tolist(), strict=True), strict=True))
    return found


def all_of(path: Path) -> tuple[object, ...]:
    with Recording(path) as recording:
        attached = [(one, recording.content(one.id)) for one in recording.attachments()]
        return rows_of(recording), recording.channels, recording.events(), attached, recording.doubtful()


def place_of(path: Path, query: str) -> tuple[int, int]:
    """Where the first of some blobs that stand beside each other stands in the file, and its length."""
    db = sqlite3.connect(path)
    blobs = db.execute(query).fetchone()
    db.close()
    content, sought = path.read_bytes(), b"".join(blobs)
    assert content.count(sought) == 1, "in one run, and once: not what was left where it stood before"
    return content.find(sought), len(blobs[0])


def row_of(path: Path, block: int) -> tuple[int, int, int, int]:
    """Channel, first and last time and count of a block."""
    db = sqlite3.connect(path)
    query = "SELECT channel, first, last, count FROM block ORDER BY channel, first LIMIT 1 OFFSET ?"
    row: tuple[int, int, int, int] = db.execute(query, (block,)).fetchone()
    db.close()
    return row


def test_a_whole_recording_is_said_to_be_whole(whole):
    found = verified(whole)
    assert found.faults == ()
    assert [(one.key, one.count, one.first) for one in found.channels] == [(c.key, COUNT, T0) for c in CHANNELS]
    assert found.events == {"gap": 1, "note": 40}
    assert found.attachments == 1
    assert found.gaps == (GAP,)


@settings(max_examples=FLIPS, deadline=None)
@given(data=st.data())
def test_flipped_bytes_are_found_or_change_nothing_and_nothing_is_invented(whole, tmp_path_factory, data):
    """Anywhere: header, tables, index, blocks, free room. What is not found leaves every answer as it was."""
    folder = tmp_path_factory.mktemp("flipped")
    size = whole.stat().st_size
    flip = st.tuples(st.integers(0, size - 1), st.integers(1, 255))
    path = damaged(whole, folder, *data.draw(st.lists(flip, min_size=1, max_size=3, unique_by=lambda one: one[0])))
    try:
        found = verified(path)
    except RecordingError:
        return  # not even the beginning can be read, and that is said
    before = all_of(whole)
    if not found.faults:
        assert all_of(path) == before
        return
    known = before[0]
    assert isinstance(known, dict)
    with suppress(RecordingError):  # a part of the tables themselves may be out of reach
        with Recording(path, past_damage=True) as recording:
            for key, rows in rows_of(recording).items():
                assert rows.items() <= known[key].items(), "nothing is invented"
            for event in recording.events():
                assert event in EVENTS


@pytest.mark.parametrize("column", ["time", "value"])
@pytest.mark.parametrize("block", [0, 3, 9])
def test_a_damaged_block_is_named_and_the_rest_is_read(whole, tmp_path, column, block):
    columns = "time, value" if column == "time" else "value"
    start, length = place_of(whole, f"SELECT {columns} FROM block ORDER BY channel, first LIMIT 1 OFFSET {block}")
    number, first, last, count = row_of(whole, block)
    path = damaged(whole, tmp_path, (start + length // 2, 0x10))
    channel, other = CHANNELS[number - 1], CHANNELS[2 - number]
    (fault,) = verified(path).faults
    assert (fault.channel, fault.first, fault.last, fault.count) == (channel.key, first, last, count)
    assert "its checksum differs" in fault.text
    with Recording(path) as recording:
        with pytest.raises(RecordingError, match=rf"{count} readings of {channel.key} from 2026-.* are damaged"):
            recording.read(channel.key)
        with pytest.raises(RecordingError, match="lightoff verify says what else is"):
            list(recording.readings())
        before, after = recording.read(channel.key, None, first - 1), recording.read(channel.key, last + 1, None)
        assert before.time.size + after.time.size == COUNT - count, "a span beside it is read as ever"
        assert recording.read(other.key).time.size == COUNT
    with Recording(path, past_damage=True) as recording:
        rows = recording.read(channel.key)
        expected = [t for t in range(T0, T0 + COUNT * SECOND // 10, SECOND // 10) if not first <= t <= last]
        assert rows.time.tolist() == expected
        assert [recording.told(one) for one in recording.damage] == [fault.text]
        assert len(list(recording.readings())) == 2 * COUNT - count


def test_a_time_that_differs_between_a_block_and_the_index_is_not_believed(whole, tmp_path):
    """It stands in both: in either place a flipped bit is found by verify and ends a read of that block.

    It may stand in room that holds nothing any more too, and changes nothing there.
    """
    first, content, places = row_of(whole, 1)[1], whole.read_bytes(), list[int]()
    told = struct.pack(">q", first)
    while (place := content.find(told, places[-1] + 1 if places else 0)) >= 0:
        places.append(place)
    before, found = all_of(whole), 0
    for place in places:
        path = damaged(whole, tmp_path, (place + 7, 0x01))
        if not verified(path).faults:
            assert all_of(path) == before
            continue
        found += 1
        with Recording(path) as recording, pytest.raises(RecordingError, match="are damaged"):
            list(recording.readings())
    assert found >= 2


def test_analyze_and_export_go_on_and_say_what_was_left_out(whole, tmp_path):
    start, length = place_of(whole, "SELECT value FROM block ORDER BY channel, first LIMIT 1 OFFSET 2")
    path = damaged(whole, tmp_path, (start + length // 2, 0x01))
    count = row_of(whole, 2)[3]
    opened = open_data(path)
    assert sum(one.time.size for one in opened.series) == 2 * COUNT - count
    (problem,) = opened.problems
    assert f"{count} readings of {DRAFT.key} from" in str(problem)
    done = CliRunner().invoke(main, ["export", str(path), "-o", str(tmp_path / "out.csv")])
    assert done.exit_code == 1
    assert f"left out: {count} readings of {DRAFT.key} from" in done.stderr
    assert len((tmp_path / "out.csv").read_text().splitlines()) == 1 + COUNT
    done = CliRunner().invoke(main, ["analyze", str(path), "--json"])
    assert done.exit_code == 1
    assert f"{count} readings of {DRAFT.key} from" in done.stdout


def test_events_and_photographs_and_channels_that_are_damaged_are_named(whole, tmp_path):
    content = whole.read_bytes()
    path = damaged(whole, tmp_path, (content.find(b"note 7: trap") + 6, 0x01))
    assert any("row 8 of the table of events: its checksum differs" in one.text for one in verified(path).faults)
    with Recording(path) as recording, pytest.raises(RecordingError, match="row 8 of the table of events"):
        recording.events()
    with Recording(path, past_damage=True) as recording:
        assert len(recording.events()) == len(EVENTS) - 1
    path = damaged(whole, tmp_path, (content.find(bytes(range(100, 140))) + 3, 0x80))
    assert any("plate.jpg" in one.text and "is damaged" in one.text for one in verified(path).faults)


def test_an_overview_that_is_damaged_is_named_and_worked_out_from_the_readings(whole, tmp_path):
    start, _ = place_of(whole, "SELECT content FROM overview WHERE channel=1 AND level=0")
    path = damaged(whole, tmp_path, (start + 20, 0x04))
    assert any("the overview of draft_switch" in one.text for one in verified(path).faults)
    with Recording(whole) as one, Recording(path) as other:
        for points in (10, 200):
            expected, found = (recording.overview(DRAFT.key, points=points) for recording in (one, other))
            assert np.nanmin(expected.low) == np.nanmin(found.low)
            assert np.nanmax(expected.high) == np.nanmax(found.high)


def test_an_overview_that_says_something_else_than_the_readings_is_found(whole, tmp_path):
    """Whole by its checksum, and wrong all the same."""
    from collector import slots

    path = tmp_path / "other.lightoff"
    path.write_bytes(whole.read_bytes())
    db = sqlite3.connect(path)
    row = db.execute("SELECT id, channel, level, place, count, content FROM overview WHERE level=2").fetchone()
    identity, channel, level, place, count, content = row
    one = slots.unpacked(place, count, content)
    high = one.high.copy()
    high[0] += 1
    changed = slots.packed(slots.Slots(one.slot, one.count, one.broken, one.first, one.last, one.apart, one.low, high))
    checksum = slots.checksum_of(channel, level, place, count, changed)
    db.execute("UPDATE overview SET content=?, checksum=? WHERE id=?", (changed, checksum, identity))
    db.commit()
    db.close()
    assert [one.text for one in verified(path).faults] == [
        f"the overview of {DRAFT.key} differs from its readings (level 2)"
    ]


def test_the_command(whole, tmp_path):
    done = CliRunner().invoke(main, ["verify", str(whole)])
    assert done.exit_code == 0, done.output
    assert f"{DRAFT.key}: 3,000 readings  2026-01-14T" in done.stdout
    assert "lost when it was recorded, 2026-01-14T" in done.stdout
    assert "nothing is damaged" in done.stdout
    told = json.loads(CliRunner().invoke(main, ["verify", str(whole), "--json"]).stdout)
    assert told["whole"] is True
    assert told["lost"][0]["data"]["count"] == 12
    start, _ = place_of(whole, "SELECT time, value FROM block WHERE channel=2 ORDER BY first LIMIT 1")
    path = damaged(whole, tmp_path, (start + 30, 0x40))
    done = CliRunner().invoke(main, ["verify", str(path), "--json"])
    assert done.exit_code == 1
    told = json.loads(done.stdout)
    assert told["whole"] is False
    assert [(one["channel"], one["first"]) for one in told["damaged"]] == [(SUPPLY.key, T0)]
    text = tmp_path / "text.lightoff"
    text.write_text("time,temp_room [degF]\n")
    done = CliRunner().invoke(main, ["verify", str(text)])
    assert done.exit_code == 1
    assert "is no recording, or its first bytes are damaged" in done.stderr


def test_a_batch_that_is_damaged_before_it_was_sealed_is_named(tmp_path):
    """Of a recording that was killed: what is fresh has checksums too."""
    path = tmp_path / "call.lightoff"
    store = Store(path)
    store.append([DRAFT, *(Reading(DRAFT.key, T0 + n, float(n)) for n in range(50))])
    store.append([Reading(DRAFT.key, T0 + n, float(n)) for n in range(50, 60)])
    store._db.execute("UPDATE batch SET content=zeroblob(length(content)) WHERE id=1")
    (fault,) = verified(path).faults
    assert (fault.first, fault.last, fault.count) == (T0, T0 + 49, 50)
    with Recording(path, past_damage=True) as recording:
        assert recording.read(DRAFT.key).time.tolist() == [T0 + n for n in range(50, 60)]
    store.close()


def test_older_recordings_are_looked_at_too(tmp_path):
    path = older(tmp_path / "old.lightoff", CHANNELS, readings(), EVENTS)
    found = verified(path)
    assert (found.format, found.faults) == (2, ())
    assert [one.count for one in found.channels] == [COUNT, COUNT]
