"""docs/recording-format.md is true: its reader, which knows nothing of this program, reads what the store wrote."""

import re
import sqlite3
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.model import Event, EventKind, Quality, Reading
from collector.database import FORMAT
from collector.recording import Recording
from collector.store import Store
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, T0

PAGE = (Path(__file__).parents[2] / "docs" / "recording-format.md").read_text()


@pytest.fixture(scope="module")
def reader() -> Any:
    (program,) = re.findall(r"^```python\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    assert len(program.splitlines()) <= 40
    assert "lightoff" not in program
    assert "collector" not in program
    names: dict[str, Any] = {}
    exec(compile(program, "recording-format.md", "exec"), names)
    return names["readings"]


def some(start: int, count: int) -> list[Reading]:
    return [
        Reading(key, T0 + place * SECOND // 10, -0.0 if place % 7 == 3 else place / 8, Quality(place % 3))
        for place in range(start, start + count)
        for key in (DRAFT.key, SUPPLY.key)
    ]


def same(reader: Any, path: Path) -> int:
    found, count = reader(path), 0
    with Recording(path) as recording:
        assert list(found) == [channel.key for channel in recording.channels]
        for key, columns in found.items():
            rows = recording.read(key)
            for name, theirs in zip(("time", "value", "quality"), columns, strict=True):
                ours = getattr(rows, name)
                assert ours.tobytes() == np.asarray(theirs).astype(ours.dtype).tobytes()
            count += rows.time.size
    return count


def test_the_reader_of_the_page_reads_a_recording_while_and_after_it_is_made(tmp_path, reader):
    path = tmp_path / "call.lightoff"
    with Store(path, sealed_after=100) as store:
        store.append([DRAFT, SUPPLY])
        assert same(reader, path) == 0
        store.append(some(100, 50))
        assert same(reader, path) == 100
        for start in range(150, 600, 25):
            store.append(some(start, 25))
        store.append(some(20, 30))
        assert same(reader, path) == 2 * 530, "sealed, fresh and late"
    assert same(reader, path) == 2 * 530


def test_the_reader_of_the_page_names_what_is_damaged(tmp_path, reader, capsys):
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([DRAFT, SUPPLY, *some(0, 50)])
    db = sqlite3.connect(path)
    db.execute("UPDATE block SET high=high + 1 WHERE channel=1")
    db.commit()
    db.close()
    assert reader(path)[DRAFT.key][0].size == 0
    assert capsys.readouterr().out == f"{DRAFT.key}: 50 readings from {T0} to {T0 + 49 * SECOND // 10} are damaged\n"


def test_the_page_names_every_table_and_column_and_the_version(tmp_path):
    path = tmp_path / "call.lightoff"
    Store(path).close()
    db = sqlite3.connect(path)
    tables = [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type='table'")]
    assert re.findall(r"^\| `(\w+)` \| .+ \| (.+) \|$", PAGE, re.MULTILINE)
    told = {
        name: re.findall(r"`(\w+)`", columns)
        for name, columns in re.findall(r"^\| `(\w+)` \| .+ \| (.+) \|$", PAGE, re.M)
    }
    for name in tables:
        columns = [row[1] for row in db.execute(f"PRAGMA table_info({name})")]
        assert told.pop(name) == columns
    db.close()
    assert told == {}
    assert f"`PRAGMA user_version` is {FORMAT}" in PAGE


def test_the_checksums_of_the_small_tables_are_as_the_page_says(tmp_path):
    import json
    import zlib

    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([DRAFT, SUPPLY, Event(T0, EventKind.NOTE, "1½ cups", None, {"a": [1.5]})])
    db = sqlite3.connect(path)
    for query in (
        "SELECT id, key, point, instrument, unit, low, high, accuracy, response_time, checksum FROM channel",
        "SELECT * FROM event",
    ):
        rows = db.execute(query).fetchall()
        assert rows
        for *columns, checksum in rows:
            text = json.dumps(columns, ensure_ascii=False, separators=(",", ":"))
            assert zlib.crc32(text.encode()) == checksum
    db.close()
