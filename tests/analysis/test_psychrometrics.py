"""Saturation and dew point against the handbook's table, a general library, and their own inverse."""

from collections.abc import Iterator
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from analysis.psychrometrics import LOWEST, dew_point, saturation_pressure

SURFACES = ("ice", "water")


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


@pytest.fixture
def library() -> Iterator[ModuleType]:
    """The general library with its global unit system set to SI, and put back."""
    import psychrolib

    before = psychrolib.PSYCHROLIB_UNITS
    psychrolib.SetUnitSystem(psychrolib.SI)
    yield psychrolib
    psychrolib.PSYCHROLIB_UNITS = before


# ASHRAE Handbook - Fundamentals 2017, chapter 1, table 3 (as quoted in psychrolib's own tests).
# Agreement achieved: 0.02 %, at -60 degC 0.2 % because the table has three digits there.
@pytest.mark.parametrize(
    ("temp", "pressure", "tolerance"),
    [
        (-60, 1.08, 0.01),
        (-20, 103.24, 3e-4),
        (-5, 401.74, 3e-4),
        (5, 872.6, 3e-4),
        (25, 3169.7, 3e-4),
        (50, 12351.3, 3e-4),
        (100, 101418.0, 3e-4),
        (150, 476101.4, 3e-4),
    ],
)
def test_saturation_pressure_as_in_the_handbook(temp: float, pressure: float, tolerance: float) -> None:
    assert_allclose(saturation_pressure(temp), pressure, rtol=tolerance)


# Hyland and Wexler's liquid formula extrapolated, over their ice formula: an independent calculation to three decimals.
@pytest.mark.parametrize(("temp", "ratio"), [(-5, 1.050), (-10, 1.103), (-20, 1.217), (-30, 1.343)])
def test_supercooled_water_has_the_higher_pressure(temp: float, ratio: float) -> None:
    assert_allclose(saturation_pressure(temp, over="water") / saturation_pressure(temp), ratio, atol=6e-4)


def test_surfaces_agree_above_freezing() -> None:
    temp = np.linspace(0.02, 200, 500)
    assert_array_equal(saturation_pressure(temp), saturation_pressure(temp, over="water"))


def test_no_step_where_ice_gives_way_to_water() -> None:
    around = saturation_pressure(np.array([0.0100005, 0.0100007]))
    # Slope 0.08/K (ice) to 0.07/K (water): over 2e-7 K the pressure grows by about 1.5e-8 of itself.
    assert 1.2e-8 < around[1] / around[0] - 1 < 1.8e-8


def test_against_the_library(library: ModuleType) -> None:
    generator = np.random.default_rng(1909)
    temp = generator.uniform(-60, 150, 400)
    humidity = generator.uniform(0.02, 1, 400)
    expected = [library.GetSatVapPres(float(one)) for one in temp]
    assert_allclose(saturation_pressure(temp), expected, rtol=5e-4)
    dew = [library.GetTDewPointFromRelHum(float(one), float(part)) for one, part in zip(temp, humidity, strict=True)]
    assert_allclose(dew_point(temp, humidity), dew, atol=0.03)


# Computed with psychrolib 2.5.0; CoolProp's real-gas model lies within 0.021 K of each.
@pytest.mark.parametrize(
    ("temp", "humidity", "dew"),
    [
        (-20, 0.80, -22.30),
        (-5, 0.70, -9.10844),
        (5, 0.50, -4.03323),
        (20, 0.35, 4.08894),
        (25, 0.50, 13.864),
        (40, 0.10, 2.62936),
        (60, 0.02, -5.0844),
    ],
)
def test_dew_point_of_outdoor_and_indoor_air(temp: float, humidity: float, dew: float) -> None:
    assert_allclose(dew_point(temp, humidity), dew, atol=0.03)


# Room air at 70 degF: computed with psychrolib 2.5.0. [degF]
@pytest.mark.parametrize(
    ("humidity", "dew"), [(0.30, 37.1774), (0.35, 41.1228), (0.40, 44.598), (0.45, 47.71), (0.50, 50.5283)]
)
def test_dew_point_of_a_room(humidity: float, dew: float) -> None:
    assert_allclose(dew_point(celsius(70), humidity), celsius(dew), atol=0.03 / 1.8)


def test_sensitivity_of_a_rooms_dew_point() -> None:
    # Computed with psychrolib at 70 degF, 40 %: 0.656 degF for each % of humidity, 0.895 degF for each degF.
    humid = (dew_point(celsius(70), 0.405) - dew_point(celsius(70), 0.395)) * 1.8
    warm = (dew_point(celsius(70.5), 0.4) - dew_point(celsius(69.5), 0.4)) * 1.8
    assert_allclose([humid, warm], [0.656, 0.895], atol=1e-3)


@pytest.mark.parametrize("over", SURFACES)
@settings(deadline=None)
@given(temp=st.floats(-60, 150), humidity=st.floats(1e-6, 1))
def test_dew_point_gives_the_humidity_back(over: str, temp: float, humidity: float) -> None:
    dew = float(dew_point(temp, humidity, over))
    vapour = humidity * float(saturation_pressure(temp, over))
    if vapour < float(saturation_pressure(LOWEST, over)):
        assert np.isnan(dew)
        return
    assert LOWEST <= dew <= temp
    assert abs(float(saturation_pressure(dew, over)) / float(saturation_pressure(temp, over)) - humidity) < 1e-9


@pytest.mark.parametrize("over", SURFACES)
def test_dew_point_converges_everywhere(over: str) -> None:
    temp = np.linspace(-60, 150, 211)[:, np.newaxis]
    humidity = np.concatenate([np.logspace(-6, 0, 120), np.linspace(0.01, 1, 100)])[np.newaxis]
    vapour = humidity * saturation_pressure(temp, over)
    dew = dew_point(temp, humidity, over)
    reachable = vapour >= saturation_pressure(LOWEST, over)
    assert_array_equal(np.isfinite(dew), reachable)
    assert_allclose(saturation_pressure(dew, over)[reachable], vapour[reachable], rtol=1e-9)


def test_saturated_air_is_at_its_dew_point() -> None:
    temp = np.array([-60.0, -10.0, 0.0, 0.01, 0.0100006, 5.0, 150.0])
    assert_allclose(dew_point(temp, 1.0), temp, atol=1e-9)


def test_frost_point_is_above_the_dew_point_over_water() -> None:
    # The same vapour saturates ice first. Vapour at -20 degC over ice is 103.24 Pa (table 3), and so at the result.
    humidity = 103.24 / saturation_pressure(-10.0)
    assert_allclose(dew_point(-10.0, humidity), -20.0, atol=0.01)
    over_water = 103.24 / saturation_pressure(-10.0, "water")
    assert dew_point(-10.0, over_water, over="water") < -22


def test_scalars_stay_scalars_and_arrays_broadcast() -> None:
    assert np.ndim(saturation_pressure(20)) == 0
    assert np.ndim(dew_point(20, 0.5)) == 0
    both = dew_point(np.array([[20.0], [25.0]]), np.array([0.3, 0.5, 0.7]))
    assert both.shape == (2, 3)
    assert_allclose(both[1, 1], dew_point(25.0, 0.5), atol=1e-9)
    assert dew_point(np.array([]), 0.5).shape == (0,)


def test_what_is_missing_or_out_of_range_is_nan() -> None:
    assert_array_equal(np.isnan(saturation_pressure([-100.1, -100, 200, 200.1, np.nan, np.inf])), [1, 0, 0, 1, 1, 1])
    humidity = [-0.1, 0.0, 1.0, 1.0001, np.nan, np.inf]
    assert_array_equal(np.isnan(dew_point(20.0, humidity)), [1, 1, 0, 1, 1, 1])
    assert_array_equal(np.isnan(dew_point([np.nan, 20.0, 201.0, -101.0], 0.5)), [1, 0, 1, 1])


def test_unknown_surface_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown surface 'snow'"):
        saturation_pressure(-5.0, over="snow")
    with pytest.raises(ValueError, match="'ice' and 'water'"):
        dew_point(-5.0, 0.5, over="")
