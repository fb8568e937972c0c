"""Lines of text: framing, numbers as instruments write them, and what cannot be read."""

import random
import re
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.model import NANOSECONDS
from drivers.codecs.lines import SUMMARY, LineFramer, LinePattern, Problems, Unreadable

ANYTHING = r"(?P<value>\S+)"


@pytest.mark.parametrize(
    ("stream", "lines"),
    [
        (b"a\nb\n", [b"a", b"b"]),
        (b"a\rb\r", [b"a", b"b"]),
        (b"a\r\nb\r\n", [b"a", b"b"]),
        (b"a\n\nb\n", [b"a", b"", b"b"]),
        (b"a\r\r\nb\n", [b"a", b"", b"b"]),
        (b"a\n\rb\n", [b"a", b"", b"b"]),
        (b"a\nb", [b"a"]),
        (b"", []),
        (b"\x00\xff\n", [b"\x00\xff"]),
    ],
)
def test_line_ends(stream: bytes, lines: list[bytes]) -> None:
    assert LineFramer().feed(stream) == lines
    framer = LineFramer()
    assert [line for byte in stream for line in framer.feed(bytes([byte]))] == lines


@given(st.lists(st.sampled_from([b"\r", b"\n", b"a", b"bc", b"defgh", b"\xff\x00"]), max_size=40), st.data())
def test_any_cut_into_chunks_gives_the_same_lines_and_counts(parts: list[bytes], data: st.DataObject) -> None:
    stream, limit = b"".join(parts), 6
    *whole, tail = re.split(rb"\r\n|\r|\n", stream)
    expected = [line for line in whole if len(line) <= limit]
    overlong = [line for line in (*whole, tail) if len(line) > limit]

    framer = LineFramer(limit=limit)
    lines = []
    while stream:
        size = data.draw(st.integers(1, len(stream)))
        lines += framer.feed(stream[:size])
        stream = stream[size:]
    assert lines == expected
    assert framer.overlong_lines == len(overlong)
    assert framer.discarded_bytes == sum(map(len, overlong))


def test_an_endless_line_is_not_kept() -> None:
    framer = LineFramer(limit=4096)
    framer.feed(b"x" * 4096)
    tracemalloc.start()
    before, _ = tracemalloc.get_traced_memory()
    for _ in range(10_000):
        assert framer.feed(b"x" * 100) == []
    after, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert after - before < 1_000
    assert framer.discarded_bytes == 4096 + 1_000_000
    assert framer.feed(b"x\n0.5\n") == [b"0.5"]
    assert framer.overlong_lines == 1


def test_a_cut_discards_what_is_before_it_and_the_rest_of_the_line_behind_it() -> None:
    framer = LineFramer()
    assert framer.feed(b"P=0.") == []
    framer.cut()
    assert framer.feed(b"77") == []
    assert framer.feed(b"7\nP=2.000\nP=") == [b"P=2.000"]
    assert (framer.discarded_bytes, framer.cut_lines) == (len(b"P=0.777"), 1)
    framer.clear()
    assert framer.feed(b"3\n") == [b"3"]
    assert (framer.discarded_bytes, framer.cut_lines) == (len(b"P=0.777P="), 1)


@pytest.mark.parametrize(
    ("line", "value"),
    [
        # NR1, NR2 and NR3 numeric response data: IEEE 488.2-1992 sections 8.7.2 to 8.7.4, which SCPI-99 volume 1
        # takes over; the sections' own form (sign optional, digits, point, E with signed exponent)
        (b"146", 146.0),
        (b"+146", 146.0),
        (b"-12345", -12345.0),
        (b"12.3", 12.3),
        (b"+1.2345", 1.2345),
        (b"-0.123", -0.123),
        (b"1.23E+5", 123000.0),
        (b"123.4E-56", 123.4e-56),
        (b"-12345.678E+9", -12345678000000.0),
        # forgiving listening, NRf: the same standard, section 7.7.2
        (b".5", 0.5),
        (b"5.", 5.0),
        (b"1e3", 1000.0),
        # decimal comma
        (b"-0,52", -0.52),
        (b" 0.52 \t", 0.52),
        (b"-0", 0.0),
    ],
)
def test_numbers(line: bytes, value: float) -> None:
    decoded = LinePattern(ANYTHING, ["value"]).decode(line)
    assert decoded == {"value": value}


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"OL", Unreadable.NOT_A_NUMBER),
        (b"----", Unreadable.NOT_A_NUMBER),
        (b"nan", Unreadable.NOT_A_NUMBER),
        (b"inf", Unreadable.NOT_A_NUMBER),
        (b"1_000", Unreadable.NOT_A_NUMBER),
        (b"0x10", Unreadable.NOT_A_NUMBER),
        (b"1,234.5", Unreadable.NOT_A_NUMBER),
        (b"1.2.3", Unreadable.NOT_A_NUMBER),
        ("٣".encode(), Unreadable.NOT_A_NUMBER),
        (b"\xff\xfe", Unreadable.NOT_A_NUMBER),
        (b"1e999", Unreadable.NOT_FINITE),
        # infinity, negative infinity, not a number: SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5 (sections from memory)
        (b"9.9E37", Unreadable.NOT_FINITE),
        (b"-9.9E37", Unreadable.NOT_FINITE),
        (b"9.91E37", Unreadable.NOT_FINITE),
        (b"+9.91000E+37", Unreadable.NOT_FINITE),
        (b"a b", Unreadable.NOT_MATCHED),
        (b"", Unreadable.NOT_MATCHED),
        (b"1" * 513, Unreadable.TOO_LONG),
    ],
)
def test_what_is_no_number_is_refused_and_counted(line: bytes, reason: Unreadable) -> None:
    pattern = LinePattern(ANYTHING, ["value"])
    assert pattern.decode(line) is None
    assert pattern.reason is reason
    assert pattern.unreadable == {reason: 1}


def test_groups_of_one_line_are_read_each_for_itself() -> None:
    pattern = LinePattern(r"T=(?P<temp>\S+)(?: RH=(?P<humidity>\S+))?", {"temp": object(), "humidity": object()})
    assert pattern.decode(b"T=21.5 RH=40") == {"temp": 21.5, "humidity": 40.0}
    assert pattern.reason is None
    assert pattern.decode(b"T=21.5") == {"temp": 21.5}
    assert pattern.reason is None
    assert pattern.decode(b"T=OL RH=40") == {"humidity": 40.0}
    assert pattern.reason is Unreadable.NOT_A_NUMBER
    assert pattern.decode(b"T=OL RH=OL") is None
    assert pattern.decode(b"xT=21.5") is None
    assert pattern.unreadable.total() == 3


def test_a_pattern_may_name_what_is_not_ascii() -> None:
    assert LinePattern("(?P<t>[-.0-9]+) °C", ["t"]).decode("-3.5 °C".encode()) == {"t": -3.5}


@pytest.mark.parametrize(
    ("pattern", "word"),
    [
        ("(?P<value>", "regular expression"),
        ("(?P<value>[)", "regular expression"),
        ("(?u)(?P<value>.)", "regular expression"),
        ("(?P<value>a{99999999999})", "regular expression"),
        ("(" * 5000 + "(?P<value>.)" + ")" * 5000, "regular expression"),
        (r"(\d+)", r"\(\?P<value>"),
        (r"(?P<other>\d+)", "other"),
        ("", "none"),
        (r"(?P<value>(\d+)+)", "for ever"),
        (r"P=(?P<value>(?:\d|\d\d*)*)", "for ever"),
        (r"(?:(a{2,9})b?)+(?P<value>.)", "for ever"),
        (r"(?:\w+\s?){3,}(?P<value>.)", "for ever"),
    ],
)
def test_patterns_that_cannot_work_are_refused_in_one_sentence(pattern: str, word: str) -> None:
    with pytest.raises(ValueError, match=word) as raised:
        LinePattern(pattern, ["value"])
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?:[^,]*,){3}(?P<value>[^,]*)(?:,.*)?",
        r"(?:\d++,)+(?P<value>.*)",
        r"\(a+\)+(?P<value>.)",
        r"[(+]+[*)]+(?P<value>.)",
        r"(?P<value>(?:\d|\.)+)",
    ],
)
def test_harmless_repeats_are_allowed(pattern: str) -> None:
    LinePattern(pattern, ["value"])


def test_columns_are_counted_off() -> None:
    assert LinePattern(r"(?:[^,]*,){2}(?P<p>[^,]*)(?:,.*)?", ["p"]).decode(b"12:00,7,-1.25,x") == {"p": -1.25}


def test_no_pattern_is_needed_without_fields() -> None:
    with pytest.raises(ValueError, match="no group"):
        LinePattern(r"(?P<value>.)", [])


def test_fifty_thousand_mutated_lines_raise_nothing_and_keep_nothing() -> None:
    chance = random.Random(20260114)
    framer = LineFramer(limit=64)
    pattern = LinePattern(r"P=(?P<pressure>\S+) T=(?P<temp>\S+)", ["pressure", "temp"], longest=60)
    read = 0

    def feed(count: int) -> None:
        nonlocal read
        for _ in range(count):
            line = bytearray(b"P=%.3f T=%.1f\n" % (chance.uniform(-2, 2), chance.uniform(-40, 80)))
            for _ in range(chance.choice((0, 0, 1, 2, 8))):
                where = chance.randrange(len(line))
                line[where : where + chance.randrange(3)] = chance.randbytes(chance.choice((0, 1, 2, 90)))
            for got in framer.feed(bytes(line)):
                values = pattern.decode(got)
                read += values is not None
                assert values is None or all(abs(value) < 9.9e37 for value in values.values())

    feed(10_000)
    tracemalloc.start()
    before, _ = tracemalloc.get_traced_memory()
    feed(40_000)
    after, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert after - before < 10_000, f"{after - before} bytes are kept"
    assert 20_000 < read < 45_000
    assert pattern.unreadable.total() > 1_000
    assert framer.overlong_lines > 100


@given(st.binary(max_size=80))
def test_no_bytes_raise(line: bytes) -> None:
    LinePattern(r".*?(?P<value>[-+.,\deE]+).*", ["value"]).decode(line)


def test_problems_are_told_once_then_summed_up() -> None:
    problems = Problems("meter")
    (first,) = problems.add("odd", b"\xff" * 100, 0)
    assert len(str(first.data["line"])) == 80
    assert problems.add("odd", b"x", 1) == []
    assert len(problems.add("short", b"x", 2)) == 1
    assert problems.summary(SUMMARY + 1) == [], "ten seconds have not passed since the last word"
    (summary,) = problems.summary(SUMMARY + 2)
    assert summary.data["counts"] == {"odd": 1}
    assert problems.summary(10 * SUMMARY) == []
    problems.add("odd", b"x", 10 * SUMMARY)
    assert len(problems.summary(-NANOSECONDS)) == 1, "a clock that was set back keeps nothing waiting"
