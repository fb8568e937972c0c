"""Many rows at once give what the reader of single lines gives, to the last bit and with the same complaints."""

import gzip
import math
import struct
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from drivers.base import InputError
from drivers.codecs.recording_csv import Problem
from drivers.csv_file import LONGEST_LINE, BlockReader, open_blocks, open_csv

HEAD = "time,draft_collector [inH2O],temp_supply@duct thermometer [degF],switch_closed [1]\n"
MANY = 3000
"""Rows in a row that cannot be read, after which these tests give up. [1]"""
Told = tuple[list[tuple[str, int, bytes]], list[Problem], int, int | None, str]
"""Readings with the bits of their value, problems, their number, the last line, and why it ended."""


def one_by_one(path: Path, start: int = 0) -> Told:
    readings, reader, why = [], None, ""
    try:
        with open_csv(path, start=start) as reader:
            for reading in reader:
                readings.append((reading.channel, reading.time, bits(reading.value)))  # noqa: PERF401 - it may end badly
    except InputError as error:
        why = str(error)
    return told(readings, reader, why)


def at_once(path: Path, start: int = 0, **sizes: Any) -> Told:
    readings, reader, why = [], None, ""
    try:
        with open_blocks(path, start=start, **sizes) as reader:
            keys = [channel.key for channel in reader.channels]
            for block in reader:
                cells: list[tuple[int, int, float]] = []
                for place, (rows, value) in enumerate(block.columns):
                    where = range(block.time.size) if rows is None else rows.tolist()
                    cells += zip(where, [place] * value.size, value.tolist(), strict=True)
                readings += [(keys[place], int(block.time[row]), bits(value)) for row, place, value in sorted(cells)]
    except InputError as error:
        why = str(error)
    return told(readings, reader.careful if reader else None, why)


def told(readings, reader, why) -> Told:
    if reader is None:
        return readings, [], 0, None, why
    return readings, reader.problems, reader.problem_count, reader.line, why


def bits(value: float) -> bytes:
    return b"none" if math.isnan(value) else struct.pack(">d", value)


def written(folder: Path, text: str | bytes, name: str = "call.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogateescape"))
    return path


NUMBERS = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.floats(-200, 200).map("{:.3f}".format),
    st.from_regex(r"-?[0-9]{1,25}(\.[0-9]{0,25})?([eE][-+]?[0-9]{1,3})?", fullmatch=True),
    st.sampled_from(["", "", "", "0", "-0", "-0.0", "5.", ".5", " 1", "2 ", "\t3", "5e-324", "2e-324", "1e308", "nan"]),
)
ODD = st.sampled_from(
    "+1|nan(1)|NaN|-nan|+nan|inf|-Infinity|1e400|1_000|0x1p3|0b1|1d5|1f|1.2.3|--1|- 1|\0|1\0|\x0b|\x0c1|true|NULL|N/A|#"
    '|null|\'1\'|"1"|"1|1"|"1""2"|"1,2"|é|\u0661|\u30001|\udcff|1e|e5|.|-|1,5'.split("|")
)
SECONDS = st.one_of(
    st.integers(0, 10**11).map(lambda time: f"{time // 1000}.{time % 1000:03d}"),
    st.from_regex(r"[-+]?[0-9]{1,11}(\.[0-9]{0,12})?", fullmatch=True),
)
DATES = st.one_of(
    st.integers(0, 86_399_999).map(
        lambda time: (
            f"2026-01-14T{time // 3_600_000:02d}:{time // 60_000 % 60:02d}:{time // 1000 % 60:02d}.{time % 1000:03d}Z"
        )
    ),
    st.from_regex(
        r"(19|20|[0-9]{2})[0-9]{2}-(0[0-9]|1[0-3])-[0-3][0-9][T ][0-2][0-9]:[0-6][0-9]:[0-6][0-9]"
        r"([.,][0-9]{0,12})?( ?Z|[+-][0-2][0-9]:?[0-7][0-9])?",
        fullmatch=True,
    ),
)
ODD_TIMES = st.sampled_from(
    "|yesterday| 2026-01-14T06:31:20Z"
    "|2026-01-14|2026-01-14T06:31Z|2026-02-30T06:31:20Z|2026-01-14T24:00:00Z|NaN|1e3|.5|5."
    "|2026-01-14T06:31:60Z|2026-01-14T06:31:20+24:00|0001-01-01T00:00:00Z|2500-01-01T00:00:00Z|1600-01-01T00:00:00Z"
    '|9223372036854775808|99999999999|1768372280.123456789|-0|"1"|"2\n'.split("|")
)


@st.composite
def files(draw) -> str:
    """A file of mostly good rows: dates or seconds, the mistakes few, so that plain rows stand between them."""
    odd = draw(st.sampled_from([0, 0, 1, 5]))
    times, others = draw(st.permutations([DATES, SECONDS]))
    lines = []
    for _ in range(draw(st.integers(0, 12))):
        kind = draw(st.integers(0, 20))
        if kind < odd:
            time = draw(st.one_of(ODD_TIMES, others))
            cells = draw(st.lists(st.one_of(NUMBERS, ODD), min_size=0, max_size=5))
            lines.append(draw(st.sampled_from([",".join([time, *cells]), "", "  ", "\x0c", "rubbish"])))
        else:
            cells = [draw(NUMBERS) for _ in range(3)]
            if draw(st.integers(0, 20)) < odd:
                cells[draw(st.integers(0, 2))] = draw(ODD)
            lines.append(",".join([draw(times), *cells]))
    end: str = draw(st.sampled_from(["\n", "\n", "\r\n", "\n\n", "\r"]))
    last: str = draw(st.sampled_from([end, "", "\r"]))
    mark: str = draw(st.sampled_from(["", "\ufeff"]))
    return mark + HEAD.replace("\n", end) + end.join(lines) + last


@settings(max_examples=100, deadline=None)
@example(HEAD + "0,1,2,nan(1)\n", 1, 1, 0)
@example(HEAD + "0,1,2,3\n2026-01-14T06:31:20Z,1,2,3\n", 1000, 1, 0)
@example(HEAD + "0,1,2,3\r1,1,2,3\n", 1000, 1, 0)
@example(HEAD + "0,1,2,3\n\n1,1,2,x\n", 1000, 1000, 0)
@example(HEAD + "0,1e400,,1\n", 1000, 1000, 0)
@given(files(), st.integers(1, 400), st.integers(1, 200), st.sampled_from([0, 0, -1, 1_768_372_280 * 10**9, 2**63 - 1]))
def test_whatever_the_blocks_the_same_is_read_and_the_same_reported(text, size, least, start):
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), text)
        assert at_once(path, start, size=size, least=least) == one_by_one(path, start)


@settings(max_examples=50, deadline=None)
@given(st.binary(max_size=200), st.integers(1, 50))
def test_whatever_bytes_the_same_is_read_and_the_same_reported(junk, size):
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), HEAD.encode() + b"0,1,2,3\n" + junk)
        assert at_once(path, size=size, least=1) == one_by_one(path)


def rows(count: int, *, first: int = 0) -> Iterator[str]:
    return (f"{n / 10:.1f},{-n / 7:.4f},{'' if n % 3 else n},{n % 2}\n" for n in range(first, first + count))


def read(path: Path, **sizes: Any) -> tuple[BlockReader, int]:
    with open_blocks(path, **sizes) as reader:
        count = sum(block.time.size for block in reader)
    return reader, count


@pytest.mark.parametrize("stamp", ["{:.1f}", "2026-01-14T06:{:04.1f}Z"])
def test_plain_rows_are_read_at_once_and_around_a_mistake_only_few_are_not(tmp_path, stamp):
    def line(n: int) -> str:
        time = f"2026-01-14T06:{n // 600:02d}:{n // 10 % 60:02d}.{n % 10}Z" if "T" in stamp else stamp.format(n / 10)
        return f"{time},{-n / 7:.4f},{'' if n % 3 else n},{n % 2}\n"

    good = [line(n) for n in range(20_000)]
    reader, count = read(written(tmp_path, HEAD + "".join(good)))
    assert reader.at_once == count == 20_000
    good[11_000] = good[11_000].replace(",", ";", 1)
    reader, count = read(written(tmp_path, HEAD + "".join(good)))
    assert count == 19_999
    assert 19_000 < reader.at_once < 20_000
    assert [problem.line for problem in reader.careful.problems] == [11_002]


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_lines_end_as_the_system_has_it(tmp_path, end):
    path = written(tmp_path, (HEAD + "".join(rows(500))).replace("\n", end))
    assert at_once(path, size=1000) == one_by_one(path)
    assert read(path, size=1000)[0].at_once == (500 if end == "\r\n" else 0)


@pytest.mark.parametrize(
    "content", ["1" * 2 * LONGEST_LINE, "0,1,2," + "1" * LONGEST_LINE, "é" * LONGEST_LINE + "\n0,1,"]
)
def test_a_line_without_end_is_cut_as_the_careful_reader_cuts_it(tmp_path, content):
    path = written(tmp_path, HEAD + "0,1,2,3\n" + content + "\n2,1,1,1\n")
    found = at_once(path)
    assert found == one_by_one(path)
    assert [time for key, time, _ in found[0] if key == "switch_closed@call"] == [0, 2_000_000_000]


@pytest.mark.parametrize("name", ["call.csv.gz", "call.csv"])
@pytest.mark.parametrize("damage", ["cut", "overwritten"])
def test_of_a_damaged_file_what_stands_before_is_read(tmp_path, name, damage):
    packed = bytearray(gzip.compress((HEAD + "".join(rows(30_000))).encode()))
    if damage == "cut":
        del packed[len(packed) // 2 :]
    else:
        packed[len(packed) // 2 : len(packed) // 2 + 2000] = b"\xff" * 2000
    path = written(tmp_path, bytes(packed), name)
    found = at_once(path)
    assert f"{path} is damaged" in found[4]
    assert 5_000 < len(found[0]) < 70_000
    assert found[0] == one_by_one(path)[0][: len(found[0])], "and nothing of the row in which it was cut"
    assert found[2] == 0 or damage == "overwritten"  # what was overwritten may unpack as rubbish for a while


def test_a_compressed_file_is_told_by_its_content(tmp_path):
    text = HEAD + "".join(rows(50))
    plain, packed = written(tmp_path, text), written(tmp_path, gzip.compress(text.encode()), "packed.csv")
    assert at_once(packed)[0] == [(key.replace("@call", "@packed"), *rest) for key, *rest in at_once(plain)[0]]


@pytest.mark.parametrize("head", ["0,1,2,3\n", ""])
@pytest.mark.parametrize("junk", ["rubbish\n", "0,x,y,z\n", ",,,\n", "1;2;3;4\n", "\n"])
def test_rubbish_without_end_is_given_up_and_what_stands_before_stays(tmp_path, monkeypatch, head, junk):
    monkeypatch.setattr("drivers.codecs.recording_csv.MOST_UNREADABLE", MANY)
    path = written(tmp_path, HEAD + head + junk * (MANY * 2))
    found = at_once(path)
    assert found == one_by_one(path)
    assert f"from line {3 if head else 2} on no row can be read" in found[4]
    assert found[3] == MANY + (2 if head else 1)
    assert len(found[0]) == (3 if head else 0)


def test_rubbish_in_one_line_without_end_is_given_up_too(tmp_path):
    path = tmp_path / "call.csv"
    with path.open("wb") as file:
        file.write(HEAD.encode())
        file.truncate(400_000_000)
    found = at_once(path)
    assert "from line 2 on no row can be read" in found[4]
    assert found[3] == 101


def test_readable_rows_between_rubbish_keep_it_going(tmp_path, monkeypatch):
    monkeypatch.setattr("drivers.codecs.recording_csv.MOST_UNREADABLE", MANY)
    junk = "rubbish\n" * (MANY - 1)
    path = written(tmp_path, HEAD + junk + "0,1,2,3\n" + junk + "1,1,2,x\n" + junk + "2,1,2,3\n")
    found = at_once(path)
    assert found == one_by_one(path)
    assert found[4] == ""
    assert found[2] == 3 * (MANY - 1) + 1


def test_how_far_it_is_is_told(tmp_path):
    path = written(tmp_path, gzip.compress((HEAD + "".join(rows(5000))).encode()), "call.csv.gz")
    shares: list[float] = []
    with open_blocks(path, progress=shares.append, size=10_000) as reader:
        assert sum(block.time.size for block in reader) == 5000
    assert shares == sorted(shares)
    assert 0 < shares[0] <= shares[-1] == 1.0
    assert len(shares) > 5
