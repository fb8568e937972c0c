"""Parquet out and in: exact round trips, an outside reader, damage, foreign files, shifted clocks."""

import gc
import io
import json
import math
import os
import tempfile
from contextlib import suppress
from pathlib import Path

import duckdb
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector import exchange_parquet
from collector.exchange import Span, export_csv, import_csv
from collector.recording import Recording
from drivers.arrow import Group, ParquetReader, ParquetWriter
from drivers.base import InputError
from drivers.codecs.recording_parquet import QUALITIES
from tests.collector.round_trips import DRAFT, SUPPLY, asked, bits, everything, sent, taken, written

NAN = math.nan
EXAMPLES = int(os.environ.get("LIGHTOFF_ROUND_TRIPS", "25"))
"""Random recordings that make the round trip. [1]"""
EVENTS = (
    Event(-5, EventKind.ZEROED, "draft meter was zeroed", DRAFT.key, {"channel": DRAFT.key, "offset": -0.012}),
    Event(7, EventKind.NOTE, 'smelled nothing; "ok"\nroom at 70 °F', None, {}),
    Event(7, EventKind.JOB, "job file call.toml", None, {"text": '[site]\nname = "invented"\n'}),
    Event(8, EventKind.WITHDRAWN, "withdrawn", SUPPLY.key, {"channel": SUPPLY.key, "at": 3}),
    Event(2**63 - 1, EventKind.MARK, "", None, {"nested": {"list": [1, None, True, 1e-300]}}),
)


@pytest.fixture
def whole(tmp_path):
    """A recording with what is hard to carry."""
    readings = [
        Reading(DRAFT.key, -(2**63), -0.0),
        Reading(DRAFT.key, -1, 0.0, Quality.SUSPECT),
        Reading(DRAFT.key, 1_768_372_280_250_000_001, NAN, Quality.BAD),
        Reading(DRAFT.key, 1_768_372_280_250_000_002, 5e-324),
        Reading(DRAFT.key, 2**63 - 1, 0.1 + 0.2, Quality.BAD),
        Reading(SUPPLY.key, 3, 140.25),
        Reading(SUPPLY.key, 4, 1.7976931348623157e308),
    ]
    return written(tmp_path / "a.lightoff", DRAFT, SUPPLY, *readings, *EVENTS)


def test_what_goes_out_comes_in_to_the_last_bit(tmp_path, whole):
    assert sent(whole, tmp_path / "a.parquet") == 7
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert (done.readings, done.kept, done.problem_count, done.conflicts) == (7, 7, 0, 0)
    assert everything(tmp_path / "b.lightoff") == everything(whole)


def test_an_empty_recording_stays_one(tmp_path):
    source = written(tmp_path / "a.lightoff", DRAFT, *EVENTS[:1])
    assert sent(source, tmp_path / "a.parquet") == 0
    taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert everything(tmp_path / "b.lightoff") == everything(source)


INT64 = st.integers(-(2**63), 2**63 - 1)
VALUES = st.one_of(st.floats(), st.sampled_from([NAN, -0.0, 0.0, math.inf, -math.inf, 5e-324]))
TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
JSON = st.recursive(
    st.none() | st.booleans() | INT64 | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)
CHANNEL = st.builds(
    Channel,
    st.sampled_from(["draft_switch", "temp_supply", "a point of later"]),
    TEXT,
    st.sampled_from(["inH2O", "degF", "1"]),
    st.none() | st.floats(allow_nan=False, allow_infinity=False),
    st.none(),
    st.none() | TEXT,
    st.none() | st.floats(0, 1e6),
)
KINDS = [kind for kind in EventKind if kind not in (EventKind.WITHDRAWN, EventKind.JOB)]
EVENT = st.builds(Event, INT64, st.sampled_from(KINDS), TEXT, st.none() | TEXT, st.dictionaries(TEXT, JSON, max_size=3))
ROW = st.tuples(INT64 | st.integers(0, 10**9), VALUES, st.sampled_from(Quality))


@settings(max_examples=EXAMPLES, deadline=None)
@given(
    st.lists(CHANNEL, min_size=1, max_size=3, unique_by=lambda one: one.key),
    st.lists(st.lists(ROW, max_size=30, unique_by=lambda row: row[0]), min_size=3, max_size=3),
    st.lists(EVENT, max_size=4),
)
def test_any_recording_makes_the_round_trip(channels, columns, events):
    with tempfile.TemporaryDirectory() as folder:
        readings = [
            Reading(one.key, *row) for one, rows in zip(channels, columns[: len(channels)], strict=True) for row in rows
        ]
        source = written(Path(folder, "a.lightoff"), *channels, *readings, *events)
        assert sent(source, Path(folder, "a.parquet")) == len(readings)
        assert taken(Path(folder, "a.parquet"), Path(folder, "b.lightoff")).problem_count == 0
        assert everything(Path(folder, "b.lightoff")) == everything(source)


@settings(max_examples=EXAMPLES, deadline=None)
@given(
    st.lists(st.tuples(INT64, st.floats(allow_infinity=False)), max_size=30, unique_by=lambda row: row[0]),
    st.lists(st.tuples(INT64, st.floats(allow_infinity=False)), max_size=30, unique_by=lambda row: row[0]),
)
def test_csv_keeps_times_and_values_of_any_recording(first, second):
    """What is no number keeps its place; quality it has not."""
    with tempfile.TemporaryDirectory() as folder:
        readings = [Reading(one.key, *row) for one, rows in ((DRAFT, first), (VALVE, second)) for row in rows]
        source = written(Path(folder, "a.lightoff"), DRAFT, VALVE, *readings)
        with Recording(source) as recording:
            assert export_csv(recording, Path(folder, "a.csv")) == len(readings)
        import_csv(Path(folder, "a.csv"), Path(folder, "b.lightoff"), job=None, start=0, now=1)
        before, after = (everything(Path(folder, name))["readings"] for name in ("a.lightoff", "b.lightoff"))
        assert {key: own[:2] for key, own in after.items()} == {key: own[:2] for key, own in before.items()}


VALVE = Channel("gas_valve", "contact logger", "1")


def test_a_reader_from_outside_sees_every_column(tmp_path, whole):
    sent(whole, tmp_path / "a.parquet")
    described = asked(tmp_path / "a.parquet", "DESCRIBE SELECT * FROM FILE")
    assert [row[0] for row in described] == ["point", "instrument", "unit", "time", "value", "quality", "withdrawn"]
    columns = "point, instrument, unit, epoch_ns(time), value, quality, withdrawn"
    rows = asked(tmp_path / "a.parquet", f"SELECT {columns} FROM FILE WHERE epoch_ns(time) BETWEEN -1 AND 9e18")
    assert rows == [
        ("draft_switch", "draft meter", "inH2O", -1, 0.0, "suspect", False),
        ("draft_switch", "draft meter", "inH2O", 1_768_372_280_250_000_001, None, "bad", False),
        ("draft_switch", "draft meter", "inH2O", 1_768_372_280_250_000_002, 5e-324, "good", False),
        ("temp_supply", 'duct "T", no. 2', "degF", 3, 140.25, "good", True),
        ("temp_supply", 'duct "T", no. 2', "degF", 4, 1.7976931348623157e308, "good", False),
    ]
    texts = dict(asked(tmp_path / "a.parquet", "SELECT decode(key), decode(value) FROM parquet_kv_metadata(FILE)"))
    assert texts["lightoff.format"] == "1"
    assert json.loads(texts["lightoff.channels"])[0] == {
        "point": "draft_switch",
        "instrument": "draft meter",
        "unit": "inH2O",
        "low": -5.0,
        "high": 5.0,
        "accuracy": "0.5 % + 0.01 inH2O",
        "response_time": 0.25,
    }
    told = json.loads(texts["lightoff.events"])
    assert [one["kind"] for one in told] == ["zeroed", "note", "job", "withdrawn", "mark"]
    assert told[2]["data"]["text"] == '[site]\nname = "invented"\n'


def test_row_groups_are_of_one_channel_in_order_and_bounded(tmp_path, monkeypatch):
    monkeypatch.setattr(exchange_parquet, "GROUP", 100)
    many = [Reading(one.key, place * 10**8, place / 7) for place in range(250) for one in (DRAFT, SUPPLY)]
    source = written(tmp_path / "a.lightoff", DRAFT, SUPPLY, *many)
    sent(source, tmp_path / "a.parquet")
    groups = asked(
        tmp_path / "a.parquet",
        "SELECT row_group_num_rows, stats_min_value, stats_max_value FROM parquet_metadata(FILE)"
        " WHERE path_in_schema = 'point' ORDER BY row_group_id",
    )
    assert groups == [
        *((count, "draft_switch", "draft_switch") for count in (100, 100, 50)),
        *((count, "temp_supply", "temp_supply") for count in (100, 100, 50)),
    ]
    taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert everything(tmp_path / "b.lightoff") == everything(source)


def test_a_span_of_a_recording(tmp_path):
    many = [Reading(DRAFT.key, place, float(place)) for place in range(10)]
    source = written(tmp_path / "a.lightoff", DRAFT, *many)
    assert sent(source, tmp_path / "a.parquet", span=Span(3, 5)) == 3
    assert asked(tmp_path / "a.parquet", "SELECT value FROM FILE") == [(3.0,), (4.0,), (5.0,)]
    with Recording(source) as recording:
        assert export_csv(recording, tmp_path / "a.csv", span=Span(3, 5)) == 3
    assert (tmp_path / "a.csv").read_text().splitlines()[1:] == [
        "1970-01-01T00:00:00.000000003Z,3",
        "1970-01-01T00:00:00.000000004Z,4",
        "1970-01-01T00:00:00.000000005Z,5",
    ]


def test_an_export_that_is_interrupted_leaves_nothing(tmp_path, whole):
    def interrupt(_: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sent(whole, tmp_path / "a.parquet", progress=interrupt)
    sent(whole, tmp_path / "b.parquet")
    with pytest.raises(KeyboardInterrupt):
        taken(tmp_path / "b.parquet", tmp_path / "b.lightoff", progress=interrupt)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.lightoff", "b.parquet"]


def empty(count: int):
    """Quality and withdrawn of readings of which nothing is to be said."""
    return np.zeros(count, np.int8), np.zeros(count, np.bool_)


def test_what_is_not_whole_gets_no_end_that_would_make_it_look_so():
    """As on standard output, where what was written cannot be taken back."""
    file = io.BytesIO()
    group = Group(("draft_switch", "m", "Pa"), np.arange(3), np.ones(3), *empty(3))
    with suppress(KeyboardInterrupt), ParquetWriter(file, QUALITIES) as writer:
        writer.write(group)
        raise KeyboardInterrupt
    del writer
    gc.collect()
    assert file.getvalue().startswith(b"PAR1")
    assert not file.getvalue().endswith(b"PAR1")


def test_no_bit_of_a_value_is_lost(tmp_path):
    """Also of those that are no number, and of both zeros, in one dictionary."""
    patterns = [0x7FF8 << 48, 0xFFF8 << 48, (0x7FF8 << 48) + 7, (0x7FF0 << 48) + 1, 1 << 63, 0, 1, 0x7FF0 << 48]
    bits = np.array(patterns * 3, np.uint64)
    group = Group(("draft_switch", "m", "Pa"), np.arange(bits.size), bits.view(np.float64), *empty(bits.size))
    with (tmp_path / "a.parquet").open("wb") as file, ParquetWriter(file, QUALITIES) as writer:
        writer.write(group)
        writer.finish({})
    with ParquetReader(tmp_path / "a.parquet") as reader:
        (one,) = reader.slices(0)
    assert one.value.view(np.uint64).tolist() == bits.tolist()
    assert asked(tmp_path / "a.parquet", "SELECT count(*) - count(value) FROM FILE") == [(3,)]


@pytest.mark.parametrize("share", [0.02, 0.5, 0.98])
def test_a_file_that_was_cut_off_is_one_sentence(tmp_path, whole, share):
    sent(whole, tmp_path / "a.parquet")
    content = (tmp_path / "a.parquet").read_bytes()
    (tmp_path / "a.parquet").write_bytes(content[: max(int(len(content) * share), 4)])
    with pytest.raises(InputError, match="is damaged or was not written to its end") as caught:
        taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
    assert "\n" not in str(caught.value)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.lightoff", "a.parquet"]


def test_a_row_group_that_is_damaged_costs_itself_alone(tmp_path):
    """Its page is overwritten in the middle of the file; checksums tell, and the other channel is read."""
    generator = np.random.default_rng(7)
    noise = generator.normal(size=5000).tolist()
    readings = [Reading(one.key, place, noise[place]) for one in (DRAFT, SUPPLY) for place in range(5000)]
    source = written(tmp_path / "a.lightoff", DRAFT, SUPPLY, *readings)
    sent(source, tmp_path / "a.parquet")
    content = bytearray((tmp_path / "a.parquet").read_bytes())
    content[20_000:20_016] = b"\xff" * 16
    (tmp_path / "a.parquet").write_bytes(content)
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff", bad=tmp_path / "bad.csv")
    assert (done.readings, done.problem_count) == (5000, 1)
    assert "row group 1 of 2 is damaged" in str(done.problems[0])
    assert "rows up to 5000 are lost" in str(done.problems[0])
    with Recording(tmp_path / "b.lightoff") as recording:
        assert bits(recording.read(SUPPLY.key).value.tolist()) == bits(noise)
        assert [event.kind for event in recording.events()] == [EventKind.RECORDER, EventKind.PROBLEM]
    assert (tmp_path / "bad.csv").read_text().count("\n") == 2


def copied(source: Path, target: Path, question: str) -> None:
    """A Parquet file that DuckDB makes of another one."""
    with duckdb.connect() as db:
        db.execute(f"COPY ({question.replace('FILE', repr(str(source)))}) TO '{target}' (FORMAT parquet)")


def test_a_file_that_another_program_wrote_is_read(tmp_path, whole):
    """Without what only we write: plain text columns, no events; what was withdrawn stays so."""
    sent(whole, tmp_path / "a.parquet")
    copied(tmp_path / "a.parquet", tmp_path / "c.parquet", "SELECT * FROM FILE ORDER BY time DESC")
    done = taken(tmp_path / "c.parquet", tmp_path / "b.lightoff")
    assert (done.kept, done.problem_count) == (7, 0)
    before, after = everything(whole), everything(tmp_path / "b.lightoff")
    assert after["readings"] == before["readings"]
    assert after["withdrawn"] == before["withdrawn"]


def test_bad_rows_are_reported_with_their_number_and_the_rest_is_read(tmp_path):
    rows = [
        "('draft_switch', 'm', 'inH2O', 1, 0.5)",
        "('draft_swich', 'm', 'inH2O', 1, 0.5)",
        "('draft_switch', 'm', 'degF', 2, 0.5)",
        "('draft_switch', 'm', 'Pa', 3, 0.5)",
        "('draft_switch', 'm', 'inH2O', NULL, 0.5)",
        "(NULL, 'm', 'inH2O', 4, 0.5)",
        "('draft_switch', 'm', 'inH2O', 5, NULL)",
        "('draft_switch', ' ', 'inH2O', 5, 1)",
        "('draft_switch', 'm', 'inH2O', 6, 7)",
    ]
    columns = "point, instrument, unit, make_timestamptz(time * 1000000) AS time, value::DOUBLE AS value"
    values = f"SELECT {columns} FROM (VALUES {', '.join(rows)}) AS t(point, instrument, unit, time, value)"
    copied(tmp_path, tmp_path / "a.parquet", values)
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff", bad=tmp_path / "bad.csv")
    assert sorted(map(str, done.problems)) == [
        "row 2: unknown point 'draft_swich'; nearest known: draft_switch, draft_switch_high",
        "row 3: 'draft_switch': unit 'degF' does not measure what 'Pa' does",
        "row 4: draft_switch@m is in Pa here and in inH2O before",
        "row 5: there is no time, or one that nanoseconds since 1970 cannot say",
        "row 6: unknown point ''",
        "row 8: 'draft_switch': the instrument has no name",
    ]
    assert done.problem_count == 6
    assert (tmp_path / "bad.csv").read_text().splitlines()[0] == "line,reason,text"
    assert len((tmp_path / "bad.csv").read_text().splitlines()) == 7
    with Recording(tmp_path / "b.lightoff") as recording:
        own = recording.read("draft_switch@m")
        assert own.time.tolist() == [10**9, 5 * 10**9, 6 * 10**9]
        assert bits(own.value.tolist()) == bits([0.5, NAN, 7.0])
        assert own.quality.tolist() == [Quality.GOOD, Quality.BAD, Quality.GOOD]
        assert len(recording.events({EventKind.PROBLEM})) == 6


@pytest.mark.parametrize(
    ("question", "says"),
    [
        ("SELECT 1 AS value", "has no column point and no column instrument and no column unit and no column time"),
        ("SELECT * REPLACE (epoch_ns(time) AS time) FROM FILE", "column time is int64 and no timestamp in UTC"),
        ("SELECT * REPLACE (time::TIMESTAMP AS time) FROM FILE", r"column time is timestamp\[us\] and no timestamp"),
        ("SELECT * REPLACE ('x' AS value) FROM FILE", "column value is string and no number"),
        ("SELECT * REPLACE (1 AS unit) FROM FILE", "column unit is int32 and no text"),
        ("SELECT * FROM FILE WHERE false", "has no reading that could be read"),
    ],
)
def test_other_columns_are_one_sentence(tmp_path, whole, question, says):
    sent(whole, tmp_path / "a.parquet", span=Span(0, 10))
    copied(tmp_path / "a.parquet", tmp_path / "c.parquet", question)
    with pytest.raises(InputError, match=says):
        taken(tmp_path / "c.parquet", tmp_path / "b.lightoff")
    assert not (tmp_path / "b.lightoff").exists()


def test_a_format_of_later_is_not_guessed_at(tmp_path, whole, monkeypatch):
    monkeypatch.setattr("drivers.codecs.recording_parquet.FORMAT", 2)
    sent(whole, tmp_path / "a.parquet")
    monkeypatch.undo()
    with pytest.raises(InputError, match="has format 2, which this program does not know; use a newer lightoff"):
        taken(tmp_path / "a.parquet", tmp_path / "b.lightoff")
