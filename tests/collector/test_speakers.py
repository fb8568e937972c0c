"""Which instrument stands for a point: the first, unless it is silent, bad, or only typed in."""

import pytest

from analysis.model import Quality
from collector.speakers import Speakers

A, B, HAND = "draft_switch@draft meter", "draft_switch@old meter", "draft_switch@by hand: tube"
SECOND = 1_000_000_000


def heard(*readings: tuple[str, float, Quality]) -> list[bool]:
    speakers = Speakers()
    return [speakers.hear("draft_switch", key, round(time * SECOND), quality) for key, time, quality in readings]


def test_the_first_stands_and_stays():
    good = Quality.GOOD
    assert heard((A, 0, good), (B, 0.1, good), (A, 1, good), (B, 1.1, good)) == [True, False, True, False]


def test_a_silent_one_gives_way_and_does_not_take_back():
    good = Quality.GOOD
    assert heard((A, 0, good), (B, 1, good), (B, 9, good), (B, 10.1, good), (A, 11, good)) == [
        True,
        False,
        False,
        True,
        False,
    ]


def test_a_slow_one_is_not_silent_between_its_readings():
    good = Quality.GOOD
    assert heard((A, 0, good), (A, 60, good), (B, 100, good), (A, 120, good), (B, 170, good)) == [
        True,
        True,
        False,
        True,
        False,
    ]


def test_a_bad_one_gives_way_to_a_good_one():
    assert heard((A, 0, Quality.BAD), (B, 0.1, Quality.GOOD), (A, 1, Quality.GOOD)) == [True, True, False]


def test_an_instrument_goes_before_a_number_typed_in():
    good = Quality.GOOD
    assert heard((HAND, 0, good), (HAND, 1, good), (A, 2, good), (HAND, 3, good)) == [True, True, True, False]
    assert heard((A, 0, good), (HAND, 1, good), (HAND, 20, good), (A, 21, good)) == [True, False, True, True]


@pytest.mark.parametrize("origin", ["replay: ", "shared: "])
def test_what_was_typed_in_elsewhere_or_then_was_typed_in_too(origin: str):
    good, (point, _, meter) = Quality.GOOD, A.partition("@")
    hand, meter = f"{point}@{origin}by hand: tube", f"{point}@{origin}{meter}"
    assert heard((hand, 0, good), (meter, 1, good), (hand, 2, good)) == [True, True, False]
