"""docs/exchange.md: its tables are the file that is written, its questions are answered by an outside reader."""

import re
from pathlib import Path

import duckdb
import pytest

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector.analysis_line import Task, line_of
from collector.exchange_parquet import GROUP, export_parquet
from collector.recording import Recording
from collector.store import Store

DOCS = Path(__file__).parents[1] / "docs"
TEXT = (DOCS / "exchange.md").read_text()
SUPPLY = Channel("temp_supply", "duct thermometer", "degF")
MINUTE = 1_768_372_560 * 10**9
"""2026-01-14T06:36:00Z. [ns]"""


@pytest.fixture
def call(tmp_path, monkeypatch):
    """A recording named as in the document, exported."""
    monkeypatch.chdir(tmp_path)
    readings = [
        Reading(SUPPLY.key, MINUTE, 110.0),
        Reading(SUPPLY.key, MINUTE + 1, 112.0),
        Reading(SUPPLY.key, MINUTE + 2, 900.0, Quality.SUSPECT),
        Reading(SUPPLY.key, MINUTE + 3, 700.0),
        Reading(SUPPLY.key, MINUTE + 3600 * 10**9, 500.0),
    ]
    gone = Event(MINUTE, EventKind.WITHDRAWN, "withdrawn", None, {"channel": SUPPLY.key, "at": MINUTE + 3})
    with Store(Path("call.lightoff")) as store:
        store.append([SUPPLY, *readings, gone])
    with Recording(Path("call.lightoff")) as recording:
        export_parquet(recording, Path("call.parquet"))
    return Path("call.parquet")


def rows_below(head: str, text: str = TEXT) -> list[str]:
    table = text.partition(head)[2].partition("\n\n")[0]
    first = [row.split("|")[1] for row in table.splitlines() if row.startswith("|")]
    return [name for cell in first for name in re.findall(r"`([\w.]+)`", cell)]


def test_the_columns_are_those_of_the_file(call):
    with duckdb.connect() as db:
        described = db.execute(f"DESCRIBE SELECT * FROM '{call}'").fetchall()
    assert rows_below("| column | type | what |\n") == [row[0] for row in described]


def test_the_keys_are_those_of_the_file(call):
    with duckdb.connect() as db:
        found = db.execute(f"SELECT decode(key) FROM parquet_kv_metadata('{call}')").fetchall()
    ours = {key for (key,) in found if key.startswith("lightoff.")}
    assert {*rows_below("| key | what |\n")} == ours


def test_the_questions_are_answered(call):
    (block,) = re.findall(r"^```sql\n(.*?)^```", TEXT, re.MULTILINE | re.DOTALL)
    average, events = [question for question in block.split(";") if question.strip()]
    with duckdb.connect() as db:
        db.execute("SET TimeZone = 'America/Denver'")
        assert db.execute(average).fetchall() == [("degF", 111.0)]
        assert '"withdrawn"' in db.execute(events).fetchall()[0][0]


def test_the_size_of_a_row_group_is_said():
    assert f"{GROUP:,} at the most" in TEXT


def test_the_keys_of_a_line_are_told(tmp_path):
    (tmp_path / "a.csv").write_text("time,draft_switch [inH2O]\n0,0.5\n1,0.5\n")
    told = set(rows_below("| key of a line | what it holds |\n", (DOCS / "analyze.md").read_text()))
    found = set()
    for name in ("a.csv", "none.csv"):
        line = line_of(Task(name, str(tmp_path / name)))
        found |= {*re.findall(r'"(\w+)": ', (line or "").partition('"analysis": ')[0])}
        found |= {key for key in ("analysis", "error") if f'"{key}": ' in (line or "")}
    assert found == told
