"""Moments as people write them; the local zone is passed in."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from analysis.model import NANOSECONDS
from drivers.base import InputError
from drivers.codecs.moments import parse_moment, told

HERE = ZoneInfo("America/Denver")


def at(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp()) * NANOSECONDS


NOW = at("2026-01-14T06:40:10-07:00")


@pytest.mark.parametrize(
    ("text", "means"),
    [
        ("", "2026-01-14T06:40:10-07:00"),
        ("now", "2026-01-14T06:40:10-07:00"),
        ("06:31", "2026-01-14T06:31:00-07:00"),
        ("6:31", "2026-01-14T06:31:00-07:00"),
        ("06:40", "2026-01-14T06:40:00-07:00"),
        ("06:31:20", "2026-01-14T06:31:20-07:00"),
        ("23:55", "2026-01-13T23:55:00-07:00"),
        ("07:15", "2026-01-13T07:15:00-07:00"),
        ("-5min", "2026-01-14T06:35:10-07:00"),
        ("−5 min", "2026-01-14T06:35:10-07:00"),  # noqa: RUF001
        ("-90s", "2026-01-14T06:38:40-07:00"),
        ("-1.5 h", "2026-01-14T05:10:10-07:00"),
        ("5  min ago", "2026-01-14T06:35:10-07:00"),
        ("2026-01-14 06:31", "2026-01-14T06:31:00-07:00"),
        ("2026-01-14T13:31:20Z", "2026-01-14T06:31:20-07:00"),
        ("2026-01-14T08:31:20-05:00", "2026-01-14T06:31:20-07:00"),
    ],
)
def test_a_moment_is_what_its_words_mean(text: str, means: str):
    assert parse_moment(text, NOW, HERE) == at(means)


def test_fractions_of_a_second_are_kept():
    assert parse_moment("06:31:20.25", NOW, HERE) == at("2026-01-14T06:31:20-07:00") + NANOSECONDS // 4
    assert parse_moment("2026-01-14T13:31:20.000000001Z", NOW, HERE) == at("2026-01-14T06:31:20-07:00") + 1


@pytest.mark.parametrize("text", ["06:41", "06:50:10", "2026-01-14 06:41", "2027-01-01T00:00Z"])
def test_what_lies_in_the_future_is_refused_and_not_taken_for_yesterday(text: str):
    with pytest.raises(InputError, match=f"the time {text} lies in the future; correct the time"):
        parse_moment(text, NOW, HERE)


@pytest.mark.parametrize("text", ["25:00", "06:61", "half past six", "5", "2026-13-01 06:31", "-5", "06:31 pm"])
def test_what_is_no_moment_is_refused_in_one_sentence(text: str):
    with pytest.raises(InputError, match=r"no time|no date") as caught:
        parse_moment(text, NOW, HERE)
    assert caught.value.hint.startswith("write ")


BEGAN = at("2026-01-14T06:20:00-07:00")


@pytest.mark.parametrize(
    ("text", "hours", "meant"),
    [("06:55", 23, "2026-01-13 06:55:00"), ("23:55", 6, "2026-01-13 23:55:00"), ("-2h", 2, "2026-01-14 04:40:10")],
)
def test_a_time_long_before_the_recording_is_refused_unless_its_date_is_written(text: str, hours: int, meant: str):
    with pytest.raises(InputError) as caught:
        parse_moment(text, NOW, HERE, began=BEGAN)
    assert caught.value.what == (
        f"the time {text} is {meant}, {hours} h before the recording, which began 2026-01-14 06:20:00"
    )
    assert caught.value.hint.endswith(meant)
    assert parse_moment(meant, NOW, HERE, began=BEGAN) == at(meant.replace(" ", "T") + "-07:00")


def test_a_time_up_to_an_hour_before_the_recording_is_taken():
    assert parse_moment("05:20", NOW, HERE, began=BEGAN) == at("2026-01-14T05:20:00-07:00")
    with pytest.raises(InputError, match="1 h before the recording"):
        parse_moment("05:19:59", NOW, HERE, began=BEGAN)


def test_of_an_hour_that_clocks_show_twice_the_last_that_has_been_is_meant():
    """Clocks go back at 2:00 on 2026-11-01 in this zone (the time zone database, America/Denver)."""
    first, second = at("2026-11-01T01:30:00-06:00"), at("2026-11-01T01:30:00-07:00")
    assert parse_moment("01:30", second + 60 * NANOSECONDS, HERE) == second
    assert parse_moment("01:30", first + 1200 * NANOSECONDS, HERE) == first


def test_a_moment_is_told_with_its_date_where_that_is_another():
    assert told(at("2026-01-14T06:31:20-07:00"), NOW, HERE) == "06:31:20"
    assert told(at("2026-01-13T23:55:00-07:00"), NOW, HERE) == "2026-01-13 23:55:00"
    assert told(at("2026-01-14T00:00:00+00:00"), at("2026-01-14T00:00:01+00:00"), UTC) == "00:00:00"
