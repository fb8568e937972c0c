"""Where a line and a pattern part."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.codecs.pattern_fit import fitting

PATTERN = r"#(?P<n>\d+);(?P<p>\S+) B(?P<b>\d{2}) (?P<s>\w+)\*"


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("#12;-1.25 B87 OK*", None),
        ("  #12;-1.25 B87 OK*\r\n", None),
        ("#12;-1.25 C87 OK*", (r"#(?P<n>\d+);(?P<p>\S+) ", "#12;-1.25 ")),
        ("#12;-1.25 B8 OK*", (r"#(?P<n>\d+);(?P<p>\S+) B", "#12;-1.25 B")),
        ("#12;-1.25 B87 OK", (PATTERN.removesuffix(r"\*"), "#12;-1.25 B87 OK")),
        ("#12;-1.25 B87 OK*!", (PATTERN, "#12;-1.25 B87 OK*")),
        ("P", ("", "")),
        ("#1" * 300, None),
    ],
)
def test_the_beginning_that_fits_is_told(line: str, expected: tuple[str, str] | None) -> None:
    assert fitting(PATTERN, line) == expected


def test_a_repeat_that_the_message_has_too_few_of_is_left_out_whole() -> None:
    assert fitting(r"A\d{3}", "A12") == ("A", "A")


def test_a_possessive_repeat_is_never_tried_without_its_mark() -> None:
    """`(?:a+)*` in front of something else takes for ever on such a line."""
    assert fitting(r"(?:a+)*+b", "a" * 500) == (r"(?:a+)*+", "a" * 500)


@given(st.text(max_size=30), st.text(max_size=30))
@settings(max_examples=300, deadline=None)
def test_any_pattern_and_line_at_all(pattern: str, line: str) -> None:
    found = fitting(re.escape(pattern), line)
    if found is not None:
        assert line.strip().startswith(found[1])
        assert re.escape(pattern).startswith(found[0])
