"""The CSV form: literal rows, every mistake named with its place, exact round trips."""

import csv
import io
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.model import Channel, Quality, Reading
from drivers.base import InputError
from drivers.codecs.recording_csv import (
    CsvReader,
    HeadError,
    encode_head,
    encode_rows,
    format_time,
    parse_time,
)

HEAD = "time,draft_collector [inH2O],temp_supply@duct thermometer [degF],switch_closed [1]\n"
T0 = 1_768_372_280_000_000_000


def read(*lines: str) -> tuple[list[Reading], CsvReader]:
    reader = CsvReader([HEAD, *lines], "call")
    return list(reader), reader


def test_a_page_of_rows():
    readings, reader = read(
        "2026-01-14T06:31:20.250Z,-1.25,,1\n",
        "2026-01-14T06:31:20.300Z,,110.5,\n",
        "\n",
        "2026-01-14T06:31:20.500Z,-1.24,,0\n",
    )
    assert [channel.key for channel in reader.channels] == [
        "draft_collector@call",
        "temp_supply@duct thermometer",
        "switch_closed@call",
    ]
    assert readings == [
        Reading("draft_collector@call", T0 + 250_000_000, -1.25),
        Reading("switch_closed@call", T0 + 250_000_000, 1.0),
        Reading("temp_supply@duct thermometer", T0 + 300_000_000, 110.5),
        Reading("draft_collector@call", T0 + 500_000_000, -1.24),
        Reading("switch_closed@call", T0 + 500_000_000, 0.0),
    ]
    assert reader.problem_count == 0


def test_what_cannot_be_read_is_named_with_its_line_and_the_rest_goes_on():
    readings, reader = read(
        "0,-1.25,,1\n",
        "1,-1.2x,100,1\n",
        "yesterday,-1.2,100,1\n",
        "2,-1.2,100\n",
        "3,inf,100,1\n",
        '4,"-1.2,100,1\n',
        "2026-01-14T06:31:20,1,1,1\n",
        "2026-01-14T06:31:20Z,1,1,1\n",
        "6,1_000,,1\n",
        "5,-1.1,,0\n",
    )
    assert [str(problem) for problem in reader.problems] == [
        "line 3: draft_collector@call: '-1.2x' is not a number",
        "line 4: 'yesterday' is neither a time such as 2026-01-14T06:31:20.250Z nor seconds from the start",
        "line 5: 3 cells where the first line has 4",
        "line 6: draft_collector@call: 'inf' is not a finite number",
        "line 7: not CSV text (unexpected end of data)",
        "line 8: '2026-01-14T06:31:20' has no time zone; add Z when it is UTC, else its offset such as -05:00",
        "line 9: '2026-01-14T06:31:20Z' is a date where the rows before have the other",
        "line 10: draft_collector@call: '1_000' is not a number",
    ]
    assert reader.problem_count == 8
    assert [reading.time for reading in readings if reading.channel.startswith("draft")] == [0, 5_000_000_000]
    assert sum(reading.channel.startswith("temp") for reading in readings) == 2


def test_nan_is_a_reading_without_a_value():
    readings, reader = read("0,nan,,\n")
    assert math.isnan(readings[0].value)
    assert readings[0].quality is Quality.BAD
    assert reader.problem_count == 0


@pytest.mark.parametrize(
    ("head", "says"),
    [
        ("time,draft_colector [inH2O]", "column 2: unknown point 'draft_colector'; nearest known: draft_collector"),
        ("time,draft_collector [inH20]", "unknown unit 'inH20'; nearest known: inH2O"),
        ("time,draft_collector [degF]", "unit 'degF' does not measure what 'Pa' does"),
        ("time,draft_collector", "'draft_collector' is not 'point [unit]'"),
        ("zeit,draft_collector [Pa]", "the first column must be headed 'time'"),
        ("time,draft_vent [Pa],draft_vent [inH2O]", "'draft_vent@call' stands twice"),
        ("time", "there is no column beside 'time'"),
        ("", "the first column"),
        ('time,"draft_vent [Pa]', "not CSV text"),
        ("time;draft_vent [Pa];temp_room [degF]", "the cells are separated by semicolons"),
        ("time\tdraft_vent [Pa]", "the cells are separated by tabs"),
        ("t\0i\0m\0e\0", "this is not text in UTF-8"),
    ],
)
def test_a_wrong_first_line_names_the_mistake_and_the_nearest(head, says):
    with pytest.raises(HeadError) as caught:
        CsvReader([head + "\n"], "call")
    assert says in str(caught.value)


def test_every_mistake_of_the_first_line_is_listed():
    with pytest.raises(HeadError) as caught:
        CsvReader(["zeit,draft [Pa],temp_supply [Pa],x\n"], "call")
    assert len(caught.value.mistakes) == 4


def test_an_empty_file_is_said():
    with pytest.raises(InputError, match="the file is empty"):
        CsvReader([], "call")


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("2026-01-14T06:31:20Z", T0),
        ("2026-01-14 06:31:20.25Z", T0 + 250_000_000),
        ("2026-01-14T06:31:20.123456789Z", T0 + 123_456_789),
        ("2026-01-14T08:31:20+0200", T0),
        ("2026-01-14T01:01:20-05:30", T0),
        ("1969-12-31T23:59:59.5Z", -500_000_000),
        ("12.5", 12_500_000_000),
        ("-0.001", -1_000_000),
        ("86400.123456789", 86_400_123_456_789),
    ],
)
def test_times(text, time):
    assert parse_time(text) == time


@given(st.integers(-(10**18), 4 * 10**18))
def test_times_round_trip_to_the_nanosecond(time):
    assert parse_time(format_time(time)) == time


_CHANNELS = (
    Channel("draft_collector", "draft meter", "inH2O"),
    Channel("temp_supply", 'meter, "old"', "degF"),
    Channel("switch_closed", "by hand: look", "1"),
)
_READINGS = st.lists(
    st.builds(
        Reading,
        st.sampled_from([channel.key for channel in _CHANNELS]),
        st.integers(0, 2 * 10**9),
        st.floats(allow_nan=False, allow_infinity=False),
    ),
    unique_by=lambda reading: (reading.channel, reading.time),
)


@given(_READINGS)
def test_readings_round_trip_bit_for_bit(readings):
    ordered = sorted(readings, key=lambda reading: reading.time)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(encode_head(_CHANNELS))
    writer.writerows(encode_rows(_CHANNELS, ordered))
    reader = CsvReader(text.getvalue().splitlines(keepends=True), "call")
    back = list(reader)
    assert reader.channels == _CHANNELS
    assert reader.problem_count == 0
    key = lambda reading: (reading.time, reading.channel)  # noqa: E731
    assert sorted(back, key=key) == sorted(ordered, key=key)
    assert [math.copysign(1, r.value) for r in sorted(back, key=key)] == [
        math.copysign(1, r.value) for r in sorted(ordered, key=key)
    ]


@given(st.lists(st.text(max_size=60)))
def test_any_text_is_read_or_reported(lines):
    reader = CsvReader([HEAD, *lines], "call")
    readings = list(reader)
    assert all(math.isfinite(reading.value) or math.isnan(reading.value) for reading in readings)
    assert reader.problem_count >= len(reader.problems)
