"""Lines of text: framing, numbers as instruments write them, and what cannot be read."""

import re
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.model import NANOSECONDS
from drivers.codecs.lines import SUMMARY, LineFramer, LinePattern, Problems, Unreadable


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
    ("line", "reason"),
    [(b"a b", Unreadable.NOT_MATCHED), (b"", Unreadable.NOT_MATCHED), (b"1" * 513, Unreadable.TOO_LONG)],
)
def test_a_line_that_does_not_fit_says_why(line: bytes, reason: Unreadable) -> None:
    assert LinePattern(r"(?P<value>\S+)", ["value"]).texts(line) is reason


def test_a_group_that_took_no_part_is_left_out() -> None:
    pattern = LinePattern(r"T=(?P<temp>\S+)(?: RH=(?P<humidity>\S+))?", {"temp": object(), "humidity": object()})
    assert pattern.texts(b" T=21.5 RH=40 ") == {"temp": "21.5", "humidity": "40"}
    assert pattern.texts(b"T=21.5") == {"temp": "21.5"}


def test_a_pattern_may_name_what_is_not_ascii() -> None:
    assert LinePattern("(?P<t>[-.0-9]+) °C", ["t"]).texts("-3.5 °C".encode()) == {"t": "-3.5"}


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
    assert LinePattern(r"(?:[^,]*,){2}(?P<p>[^,]*)(?:,.*)?", ["p"]).texts(b"12:00,7,-1.25,x") == {"p": "-1.25"}


def test_no_pattern_is_needed_without_fields() -> None:
    with pytest.raises(ValueError, match="no group"):
        LinePattern(r"(?P<value>.)", [])


@given(st.binary(max_size=80))
def test_no_bytes_raise(line: bytes) -> None:
    LinePattern(r".*?(?P<value>[-+.,\deE]+).*", ["value"]).texts(line)


def test_what_is_no_line_is_called_a_message() -> None:
    problems = Problems("sensor", "message")
    assert problems.add("is odd", b"x", 0)[0].text == "sensor: a message is odd: 'x'; further ones are counted"
    problems.add("is odd", b"x", 0)
    assert problems.summary(SUMMARY)[0].text == "sensor: further messages could not be read: 1 x is odd"


def test_problems_are_told_once_then_summed_up() -> None:
    problems = Problems("meter")
    (first,) = problems.add("odd", b"\xff" * 100, 0)
    assert len(str(first.data["line"])) == 80
    assert first.text.startswith("meter: a line odd: ")
    assert problems.add("odd", b"x", 1) == []
    assert len(problems.add("short", b"x", 2)) == 1
    assert problems.summary(SUMMARY + 1) == [], "ten seconds have not passed since the last word"
    (summary,) = problems.summary(SUMMARY + 2)
    assert summary.data["counts"] == {"odd": 1}
    assert summary.text == "meter: further lines could not be read: 1 x odd"
    assert problems.summary(10 * SUMMARY) == []
    problems.add("odd", b"x", 10 * SUMMARY)
    assert len(problems.summary(-NANOSECONDS)) == 1, "a clock that was set back keeps nothing waiting"
