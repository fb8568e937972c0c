"""Derived quantities, stepped as readings arrive."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.model import NANOSECONDS, Plate, Quality
from analysis.points import DERIVED, POINTS
from collector.derived import Derivation, Derived, can_derive

INCH = 249.08891
"""[Pa]"""
GOOD, SUSPECT, BAD = Quality.GOOD, Quality.SUSPECT, Quality.BAD
TWO_STAGE = Plate(switch_close=(0.95 * INCH, 0.50 * INCH), switch_open=(0.85 * INCH, 0.42 * INCH))


class Feed:
    """Readings at times in seconds."""

    def __init__(self, plate: Plate = TWO_STAGE) -> None:
        self.derived = Derived(plate)

    def __call__(self, point: str, value: float, at: float = 0.0, quality: Quality = GOOD) -> list[Derivation]:
        return self.derived.step(point, round(at * NANOSECONDS), value, quality)


def test_rise_comes_with_its_second_input() -> None:
    feed = Feed()
    assert feed("temp_return", 20.0) == []
    assert feed("temp_supply", 47.5, 0.1) == [("temp_rise", 27.5, GOOD)]
    assert feed("temp_return", 20.5, 0.2) == [("temp_rise", 27.0, GOOD)]


def test_static_and_return_temperature_do_not_mix() -> None:
    feed = Feed()
    feed("static_return", -50.0)
    assert feed("static_supply", 75.0, 0.1) == [("static_external", 125.0, GOOD)]
    assert feed("temp_supply", 40.0, 0.2) == []


def test_point_that_enters_nothing() -> None:
    feed = Feed()
    assert feed("flame_current", 2e-6) == []
    assert feed("temp_rise", 27.0) == []


@pytest.mark.parametrize(("first", "second"), [(GOOD, SUSPECT), (SUSPECT, GOOD), (SUSPECT, SUSPECT)])
def test_quality_is_the_worse_of_the_inputs(first: Quality, second: Quality) -> None:
    feed = Feed()
    feed("temp_return", 20.0, 0, first)
    assert feed("temp_supply", 50.0, 1, second) == [("temp_rise", 30.0, SUSPECT)]


@pytest.mark.parametrize(("value", "quality"), [(20.0, BAD), (math.nan, GOOD), (math.nan, BAD)])
def test_bad_input_gives_no_value(value: float, quality: Quality) -> None:
    feed = Feed()
    feed("temp_return", value, 0, quality)
    [(name, rise, worst)] = feed("temp_supply", 50.0, 1)
    assert (name, worst) == ("temp_rise", BAD)
    assert math.isnan(rise)


@pytest.mark.parametrize(
    ("held", "moving", "name", "limit"),
    [
        ("static_return", "static_supply", "static_external", 5.0),
        ("temp_return", "temp_supply", "temp_rise", 60.0),
        ("switch_closed", "draft_switch", "draft_margin", 30.0),
    ],
)
def test_old_input_gives_no_value(held: str, moving: str, name: str, limit: float) -> None:
    feed = Feed()
    feed(held, 1.0, 100)
    [(fresh_name, value, quality)] = feed(moving, 150.0, 100 + limit)
    assert (fresh_name, quality) == (name, GOOD)
    assert math.isfinite(value)
    [(_, value, quality)] = feed(moving, 150.0, 100 + limit + 0.001)
    assert quality is BAD
    assert math.isnan(value)
    assert feed(held, 1.0, 100 + limit + 0.002)[0][2] is GOOD


def test_old_humidity_gives_no_value() -> None:
    feed = Feed()
    feed("humidity_room", 0.4, 0)
    feed("temp_room", 21.0, 119)
    assert feed("temp_surface", 15.0, 120)[0][2] is GOOD
    assert feed("temp_surface", 15.0, 120.001)[0][2] is BAD


def test_input_from_before_a_replay_went_back_is_not_used() -> None:
    feed = Feed()
    feed("temp_return", 20.0, 3600)
    assert feed("temp_supply", 50.0, 0)[0][2] is BAD
    assert feed("temp_return", 20.0, 0.1) == [("temp_rise", 30.0, GOOD)]


def test_margin_turns_with_the_contact() -> None:
    # Low stage closes at 0.50, opens at 0.42 in. w.c.; 0.60 in. w.c. is 0.10 over the one and 0.18 over the other.
    feed = Feed()
    feed("switch_closed", 0.0)
    [(name, value, quality)] = feed("draft_switch", 0.60 * INCH, 0.1)
    assert (name, quality, feed.derived.making) == ("draft_margin", GOOD, True)
    assert value == pytest.approx(0.10 * INCH)
    [(name, value, quality)] = feed("switch_closed", 1.0, 0.2)
    assert (name, quality, feed.derived.making) == ("draft_margin", GOOD, False)
    assert value == pytest.approx(0.18 * INCH)


def test_margin_of_the_high_stage_has_its_own_set_points() -> None:
    feed = Feed()
    feed("switch_high_closed", 1.0)
    [(name, value, quality)] = feed("draft_switch_high", 1.00 * INCH, 0.1)
    assert (name, quality) == ("draft_margin_high", GOOD)
    assert value == pytest.approx(0.15 * INCH)
    assert feed.derived.making_high is False
    assert feed.derived.making is None


def test_margin_to_make_is_suspect_without_the_contact() -> None:
    feed = Feed()
    [(_, value, quality)] = feed("draft_switch", 0.60 * INCH)
    assert (quality, feed.derived.making) == (SUSPECT, True)
    assert value == pytest.approx(0.10 * INCH)
    assert feed("draft_switch", 0.60 * INCH, 1, BAD)[0][2] is BAD


def test_margin_to_break_is_suspect_without_the_opening_point() -> None:
    feed = Feed(Plate(switch_close=(0.50 * INCH,)))
    feed("switch_closed", 0.0)
    assert feed("draft_switch", 0.60 * INCH, 0.1)[0][2] is GOOD
    [(_, value, quality)] = feed("switch_closed", 1.0, 0.2)
    assert (quality, feed.derived.making) == (SUSPECT, False)
    assert value == pytest.approx(0.10 * INCH)


def test_one_opening_point_of_two_stages_is_the_low_one() -> None:
    feed = Feed(Plate(switch_close=(0.95 * INCH, 0.50 * INCH), switch_open=(0.42 * INCH,)))
    feed("switch_closed", 1.0)
    feed("switch_high_closed", 1.0)
    [(_, low, low_quality)] = feed("draft_switch", 0.60 * INCH)
    [(_, high, high_quality)] = feed("draft_switch_high", 1.00 * INCH)
    assert [low, high] == pytest.approx([0.18 * INCH, 0.05 * INCH])
    assert (low_quality, high_quality) == (GOOD, SUSPECT)


def test_no_margin_and_no_making_from_a_lost_contact() -> None:
    feed = Feed()
    feed("switch_closed", 1.0)
    feed("draft_switch", 150.0, 1)
    assert feed("draft_switch", 150.0, 31)[0][2] is BAD
    assert feed.derived.making is None


def test_no_margin_without_set_points() -> None:
    feed = Feed(Plate())
    feed("switch_closed", 1.0)
    assert feed("draft_switch", 150.0) == []
    single = Feed(Plate(switch_close=(100.0,), switch_open=(90.0,)))
    assert single("draft_switch_high", 150.0) == []
    assert single.derived.making is None


def test_surface_against_the_air_of_the_room() -> None:
    # Room at 70 degF, 40 %: dew point 44.598 degF (psychrolib 2.5.0); surface at 50 degF: 5.402 degF = 3.001 K above.
    feed = Feed()
    feed("temp_room", (70 - 32) / 1.8)
    feed("humidity_room", 0.40)
    [(name, value, quality)] = feed("temp_surface", (50 - 32) / 1.8)
    assert (name, quality) == ("dew_point_margin", GOOD)
    assert value == pytest.approx(3.001, abs=0.02)


def test_surface_takes_the_return_air_where_the_room_is_not_measured() -> None:
    feed = Feed()
    feed("temp_return", 20.0)
    feed("humidity_return", 0.5)
    dry = feed("temp_surface", 12.0)[0]
    assert (dry[0], dry[2]) == ("dew_point_margin", GOOD)
    assert dry[1] == pytest.approx(12.0 - 9.27, abs=0.02)  # 20 degC, 50 %: 9.27 degC (psychrolib 2.5.0)
    feed("temp_room", 25.0, 1)
    assert feed("humidity_room", 0.5, 1)[0][1] == pytest.approx(12.0 - 13.864, abs=0.03)
    assert feed("humidity_return", 0.3, 2) == [], "the room's air counts, and nothing of it changed"
    feed("humidity_room", math.nan, 3, BAD)
    assert feed("temp_surface", 12.0, 4)[0][2] is GOOD, "the return's air again"
    assert feed("humidity_return", math.nan, 5, BAD)[0][2] is BAD


def test_sensor_a_little_over_saturation_counts_as_saturated() -> None:
    feed = Feed()
    feed("temp_room", 20.0)
    feed("temp_surface", 20.0)
    [(name, value, quality)] = feed("humidity_room", 1.02)
    assert (name, quality) == ("dew_point_margin", SUSPECT)
    assert value == pytest.approx(0.0, abs=1e-6)
    assert feed("humidity_room", 1.2)[0][2] is BAD
    assert feed("humidity_room", 0.0)[0][2] is BAD


POINT_NAMES = sorted(POINTS)
STEPS = st.lists(
    st.tuples(
        st.sampled_from(POINT_NAMES),
        st.floats(0, 10),
        st.floats(0, 300) | st.just(math.nan) | st.sampled_from([0.0, 1.0]),
        st.sampled_from(Quality),
    ),
    max_size=60,
)


@given(steps=STEPS)
def test_each_quantity_at_most_once_and_no_value_without_quality(
    steps: list[tuple[str, float, float, Quality]],
) -> None:
    feed, now = Feed(), 0.0
    for point, wait, value, quality in steps:
        now += wait
        results = feed(point, value, now, quality)
        names = [name for name, _, _ in results]
        assert len(set(names)) == len(names)
        assert set(names) <= set(DERIVED)
        for _, result, worst in results:
            assert math.isnan(result) == (worst is BAD)


@pytest.mark.parametrize(
    ("name", "measured", "possible"),
    [
        ("temp_rise", {"temp_return", "temp_supply"}, True),
        ("temp_rise", {"temp_return"}, False),
        ("draft_margin", {"draft_switch"}, True),
        ("draft_margin_high", {"draft_switch"}, False),
        ("dew_point_margin", {"temp_surface", "temp_room", "humidity_return"}, False),
        ("dew_point_margin", {"temp_surface", "temp_return", "humidity_return"}, True),
        ("static_external", {"static_supply", "static_return"}, True),
    ],
)
def test_what_the_measured_points_suffice_for(name: str, measured: set[str], possible: bool) -> None:
    assert can_derive(name, frozenset(measured)) is possible


def test_every_derived_quantity_says_what_it_needs() -> None:
    assert all(can_derive(name, frozenset(POINTS)) for name in DERIVED)
