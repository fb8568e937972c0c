"""Temperature rise, static, switch margins and surface margin by hand arithmetic."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from analysis.airflow import external_static, temperature_rise
from analysis.draft import margin, switch_margin
from analysis.humidity import surface_margin
from analysis.psychrometrics import dew_point

INCH = 249.08891
"""[Pa]"""
PRESSURES = st.floats(-5000, 5000)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def test_rise_of_a_furnace() -> None:
    # 118 degF - 68 degF = 50 degF of difference = 50 / 1.8 = 27.777... K
    assert_allclose(temperature_rise(celsius(68), celsius(118)), 50 / 1.8, rtol=1e-12)
    # 57 000 Btu/h into 1200 cfm: 57 000 / (1.08 * 1200) = 43.98 degF; from 70 degF the supply is at 113.98 degF
    supply = celsius(70 + 57_000 / (1.08 * 1200))
    assert_allclose(temperature_rise(celsius(70), supply) * 1.8, 43.98, atol=0.005)


def test_rise_is_negative_while_cooling() -> None:
    assert temperature_rise(24.0, 13.5) == -10.5


def test_rise_of_what_cannot_be_is_nan() -> None:
    returned = [20.0, np.nan, 20.0, np.inf, -300.0, -273.15]
    supplied = [50.0, 50.0, np.nan, 50.0, 50.0, 0.0]
    assert_array_equal(np.isnan(temperature_rise(returned, supplied)), [0, 1, 1, 1, 1, 0])


def test_external_static_adds_the_suction_of_the_return() -> None:
    # +0.30 in. w.c. in the supply, -0.20 in. w.c. in the return: 0.30 + 0.20 = 0.50 in. w.c. = 124.544 Pa
    assert_allclose(external_static(0.30 * INCH, -0.20 * INCH), 124.544455, rtol=1e-9)


@given(supply=PRESSURES, return_=PRESSURES, room=st.floats(-100, 100))
def test_external_static_does_not_depend_on_the_common_reference(supply: float, return_: float, room: float) -> None:
    moved = external_static(supply + room, return_ + room)
    assert_allclose(moved, external_static(supply, return_), atol=1e-9)


def test_external_static_without_a_side_is_nan() -> None:
    assert_array_equal(np.isnan(external_static([1.0, np.nan, np.inf], [np.nan, 1.0, 1.0])), [1, 1, 1])


def test_margin_to_make_and_to_break() -> None:
    # Closing point 0.50, opening point 0.42, pressure 0.46 in. w.c.: 0.46 - 0.50 = -0.04 to make, 0.46 - 0.42 = +0.04
    # to break: open it will not close, closed it will not open.
    pressure, closing, opening = 0.46 * INCH, 0.50 * INCH, 0.42 * INCH
    assert_allclose(margin(pressure, closing), -0.04 * INCH, rtol=1e-9)
    both = switch_margin(pressure, [0.0, 1.0], closing, opening)
    assert_allclose(both, [-0.04 * INCH, 0.04 * INCH], rtol=1e-9)


@given(pressure=PRESSURES, closing=PRESSURES, band=st.floats(0, 100))
def test_margins_of_one_pressure_differ_by_the_hysteresis(pressure: float, closing: float, band: float) -> None:
    make, break_ = switch_margin(pressure, [0.0, 1.0], closing, closing - band)
    assert_allclose(break_ - make, band, atol=1e-9)
    assert make == margin(pressure, closing)
    assert (make > 0) == (pressure > closing)


def test_margin_without_a_known_contact_is_nan() -> None:
    contacts = [np.nan, 0.5, 2.0, -1.0, 0.0, 1.0]
    assert_array_equal(np.isnan(switch_margin(100.0, contacts, 90.0, 80.0)), [1, 1, 1, 1, 0, 0])


def test_set_points_the_wrong_way_round_give_no_margin() -> None:
    assert np.isnan(switch_margin(100.0, [0.0, 1.0], 80.0, 90.0)).all()
    assert switch_margin(100.0, 1.0, 90.0, 90.0) == 10.0


def test_margin_needs_only_the_set_point_that_counts() -> None:
    assert switch_margin(100.0, 0.0, 90.0, np.nan) == 10.0
    assert np.isnan(switch_margin(100.0, 1.0, 90.0, np.nan))
    assert np.isnan(switch_margin(np.nan, 1.0, 90.0, 80.0))
    assert np.isnan(margin(np.inf, 90.0))


@pytest.mark.parametrize(
    ("factor", "outdoor", "humidity"),
    [
        (0.55, -20, 0.217504),
        (0.55, 0, 0.316007),
        (0.55, 20, 0.44648),
        (0.67, -20, 0.339003),
        (0.67, 0, 0.436497),
        (0.67, 20, 0.557934),
        (0.79, -20, 0.510714),
        (0.79, 0, 0.595828),
        (0.79, 20, 0.693174),
    ],
)
def test_surface_is_at_the_dew_point_at_the_largest_humidity(factor: float, outdoor: float, humidity: float) -> None:
    # Largest humidity without condensation at 70 degF indoors for a surface of temperature factor f (EN ISO 13788):
    # computed with psychrolib as pws(surface) / pws(room), surface = outdoor + f * (70 - outdoor). [degF]
    surface = celsius(outdoor + factor * (70 - outdoor))
    assert abs(surface_margin(surface, celsius(70), humidity)) < 0.01
    # 1 % more wets it: at 70 % the dew point rises by 0.01 / 0.70 / (0.063 / K) = 0.23 K, at less humidity by more.
    assert surface_margin(surface, celsius(70), humidity + 0.01) < -0.2


@given(surface=st.floats(-40, 60), air=st.floats(-40, 60), humidity=st.floats(0.01, 1))
def test_surface_margin_is_what_is_left_above_the_dew_point(surface: float, air: float, humidity: float) -> None:
    assert_allclose(surface_margin(surface, air, humidity) + dew_point(air, humidity), surface, atol=1e-9)


def test_surface_margin_without_a_usable_input_is_nan() -> None:
    assert_array_equal(
        np.isnan(surface_margin([np.nan, 10.0, 10.0, 300.0], [20.0, np.nan, 20.0, 20.0], 0.5)), [1, 1, 0, 1]
    )
    assert_array_equal(np.isnan(surface_margin(10.0, 20.0, [0.0, 1.2, np.nan])), [1, 1, 1])
