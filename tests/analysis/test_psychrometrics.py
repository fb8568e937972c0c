"""Moist air: searches that end everywhere, round trips, limits, and what has no meaning."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from analysis import psychrometrics_solve as solve
from analysis.psychrometrics import (
    LOWEST,
    altitude_at_pressure,
    density,
    dew_point,
    enthalpy,
    humidity_from_dew_point,
    humidity_ratio,
    humidity_ratio_from_dew_point,
    humidity_ratio_from_wet_bulb,
    pressure_at_altitude,
    relative_humidity,
    saturation_pressure,
    specific_volume,
    wet_bulb,
)

SURFACES = ("ice", "water")
SEA = 101325.0

TEMPS = np.concatenate(
    [
        np.linspace(-60, 150, 106),
        [-100, -99.99, 199, 200],
        0.01 + np.array([-0.02, -1e-2, -1e-6, -1e-9, 0, 5.9e-7, 1e-3]),
    ]
)
"""From end to end, and close to 0 and 0.01 degC. [degC]"""
HUMIDITIES = np.concatenate([np.logspace(-6, 0, 61), np.linspace(0.02, 1, 50), [0.9999, 1 - 1e-9]])
PRESSURES = np.array([20000.0, 22632.0, 50000.0, 84556.0, SEA, 120000.0])

temps = st.floats(-100, 200)
humidities = st.floats(1e-6, 1)
pressures = st.floats(20000, 120000)
surfaces = st.sampled_from(SURFACES)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def grid() -> tuple[NDArray[np.float64], ...]:
    """Every temperature with every humidity and pressure."""
    return TEMPS[:, None, None], HUMIDITIES[:, None], PRESSURES


# --- Saturation. ---


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


@pytest.mark.parametrize("over", SURFACES)
def test_saturation_rises_without_end(over: str) -> None:
    assert np.all(np.diff(saturation_pressure(np.linspace(-100, 200, 300001), over)) > 0)


# --- Dew point. ---


def test_sensitivity_of_a_rooms_dew_point() -> None:
    # Computed with psychrolib at 70 degF, 40 %: 0.656 degF for each % of humidity, 0.895 degF for each degF.
    humid = (dew_point(celsius(70), 0.405) - dew_point(celsius(70), 0.395)) * 1.8
    warm = (dew_point(celsius(70.5), 0.4) - dew_point(celsius(69.5), 0.4)) * 1.8
    assert_allclose([humid, warm], [0.656, 0.895], atol=1e-3)


@pytest.mark.parametrize("over", SURFACES)
def test_dew_point_is_found_everywhere(over: str) -> None:
    temp, humidity = TEMPS[:, None], HUMIDITIES
    vapour = humidity * saturation_pressure(temp, over)
    dew = dew_point(temp, humidity, over)
    reachable = vapour >= saturation_pressure(LOWEST, over) * (1 + 1e-12)
    assert np.count_nonzero(reachable) > 0.9 * reachable.size
    assert_array_equal(np.isfinite(dew) | ~reachable, True)
    assert_array_equal(np.isnan(dew) | (vapour >= saturation_pressure(LOWEST, over) * (1 - 1e-12)), True)
    assert_allclose(saturation_pressure(dew, over)[reachable], vapour[reachable], rtol=1e-12)
    back = humidity_from_dew_point(temp, dew, over)
    assert_allclose(back[reachable], np.broadcast_to(humidity, back.shape)[reachable], rtol=1e-12)


@settings(deadline=None)
@given(temp=temps, humidity=humidities, over=surfaces)
def test_dew_point_gives_the_humidity_back(temp: float, humidity: float, over: str) -> None:
    dew = float(dew_point(temp, humidity, over))
    if humidity * float(saturation_pressure(temp, over)) < float(saturation_pressure(LOWEST, over)) * (1 + 1e-12):
        return
    assert LOWEST <= dew <= temp
    assert abs(float(humidity_from_dew_point(temp, dew, over)) - humidity) < 1e-9


@settings(deadline=None)
@given(temp=temps, depression=st.floats(0, 150), over=surfaces)
def test_dew_point_comes_back(temp: float, depression: float, over: str) -> None:
    dew = max(temp - depression, LOWEST + 1e-6)
    if dew <= temp:
        back = float(dew_point(temp, humidity_from_dew_point(temp, dew, over), over))
        assert abs(back - dew) < 1e-9


def test_saturated_air_is_at_its_dew_point() -> None:
    temp = np.array([-100.0, -60.0, -10.0, 0.0, 0.01, 0.0100006, 5.0, 150.0, 200.0])
    assert_allclose(dew_point(temp, 1.0), temp, atol=1e-9)


def test_frost_point_is_above_the_dew_point_over_water() -> None:
    # The same vapour saturates ice first. Vapour at -20 degC over ice is 103.24 Pa (table 3), and so at the result.
    humidity = 103.24 / saturation_pressure(-10.0)
    assert_allclose(dew_point(-10.0, humidity), -20.0, atol=0.01)
    over_water = 103.24 / saturation_pressure(-10.0, "water")
    assert dew_point(-10.0, over_water, over="water") < -22


# --- Wet bulb. ---


@pytest.mark.parametrize("over", SURFACES)
def test_wet_bulb_is_found_everywhere(over: str) -> None:
    """On a dense grid with its edges: a value wherever the air exists, between dew point and dry bulb, in balance."""
    temp, humidity, pressure = grid()
    ratio = humidity_ratio(temp, humidity, pressure, over)
    bulb = wet_bulb(temp, humidity, pressure, over)
    exists = np.isfinite(ratio)
    assert 0.7 < exists.mean() < 1
    assert_array_equal(np.isfinite(bulb), exists)
    temp, humidity, pressure = np.broadcast_arrays(temp, humidity, pressure)
    temp, humidity, pressure, ratio, bulb = (one[exists] for one in (temp, humidity, pressure, ratio, bulb))
    assert np.all(bulb <= temp)
    assert bulb.min() > LOWEST - 0.001
    dew = dew_point(temp, humidity, over)
    assert np.all(bulb[np.isfinite(dew)] >= dew[np.isfinite(dew)] - 1e-9)
    inside = bulb >= LOWEST
    back = humidity_ratio_from_wet_bulb(temp[inside], bulb[inside], pressure[inside], over)
    # The smallest ratios are the difference of two terms of the balance: rounding may leave NaN, or 1e-15.
    back = np.where(np.isnan(back) & (ratio[inside] < 1e-9), 0, back)
    assert_allclose(back, ratio[inside], rtol=1e-9, atol=2e-15)


@pytest.mark.parametrize("over", SURFACES)
def test_the_balance_of_the_bulb_rises_wherever_it_is_looked_for(over: str) -> None:
    """One zero only, and Newton's steps lead to it: the slope is right, and positive up to the dry bulb."""
    temp, humidity, pressure = (one.ravel() for one in np.broadcast_arrays(*grid()))
    share = humidity * saturation_pressure(temp, over) / pressure
    temp, share, pressure = (one[share < 1] for one in (temp, share, pressure))
    for iced in (0.0, 1.0) if over == "ice" else (0.0,):
        for part in (0.0, 0.01, 0.3, 0.7, 0.99, 1.0):
            bulb = LOWEST + part * (temp - LOWEST)
            kept = (bulb <= 0) if iced else np.ones_like(bulb, bool)
            air = bulb[kept], temp[kept], share[kept], pressure[kept], np.full(np.count_nonzero(kept), iced)
            assert np.all(solve._bulb(over, *air)[1] > 0)
            for side in (-1e-4, 1e-4):
                away = solve._bulb(over, air[0] + side, *air[1:])
                # Value and slope at both ends of a short step: the trapezium of the slopes is the step of the values.
                value, slope = solve._bulb(over, *air)
                near = np.abs(air[0] - 0.01) > 0.001
                step = (away[0] - value)[near]
                assert_allclose(step, (side * (slope + away[1]) / 2)[near], rtol=1e-6, atol=1e-11)


@settings(deadline=None)
@given(temp=temps, less=st.floats(0, 0.999), more=st.floats(0, 1), pressure=pressures, over=surfaces)
def test_more_vapour_means_a_warmer_bulb(temp: float, less: float, more: float, pressure: float, over: str) -> None:
    cold = wet_bulb(temp, less, pressure, over)
    warm = wet_bulb(temp, max(more, less + 1e-3), pressure, over)
    assert not (warm <= cold)


def test_saturated_air_is_at_its_wet_bulb() -> None:
    temp = np.concatenate([np.linspace(-100, 99, 400), np.linspace(-0.02, 0.02, 401)])
    for over in SURFACES:
        assert_allclose(wet_bulb(temp, 1.0, SEA, over), temp, rtol=0, atol=1e-9)


def test_the_bulb_freezes_with_one_stated_drop() -> None:
    """The handbook's equations for wet and iced bulb overlap near 0 degC: wet as long as it can be, then a drop.

    Its size by hand at 5 degC and 101325 Pa. Saturation at 0 degC is 611.2 Pa, Ws = 0.003774. Wet at 0 degC:
    W = (2501 * 0.003774 - 1.006 * 5) / 2510.3 = 0.001756. Iced at -0.35 degC: 593.9 Pa, Ws = 0.003667,
    W = (2830.1 * 0.003667 - 1.006 * 5.35) / 2840.0 = 0.001759, nearly the same.
    """
    at_zero = float(humidity_ratio_from_wet_bulb(5.0, 0.0, SEA))
    assert_allclose(at_zero, 0.001756, atol=1e-6)
    humidity = float(relative_humidity(5.0, at_zero, SEA))
    wet, iced = wet_bulb(5.0, humidity * np.array([1 + 1e-9, 1 - 1e-9]), SEA)
    assert 0 <= wet < 1e-6
    assert_allclose(iced, -0.35, atol=0.01)
    assert_allclose(humidity_ratio_from_wet_bulb(5.0, iced, SEA), at_zero, rtol=1e-6)


@pytest.mark.parametrize(("pressure", "largest"), [(SEA, 0.7), (20000.0, 1.2)])
def test_elsewhere_the_wet_bulb_has_no_step(pressure: float, largest: float) -> None:
    for temp in np.linspace(0.0, 48.0, 17):
        humidity = np.linspace(0, 1, 50001)
        ratio = humidity_ratio(temp, humidity, pressure)
        steps = np.diff(wet_bulb(temp, humidity, pressure))
        # Without a drop a step follows from that of the humidity ratio: dx < 2830/1.006 dW.
        smooth = 2900 * np.diff(ratio)
        drops = np.flatnonzero(steps > smooth + 1e-9)
        assert drops.size <= 1
        assert np.all(steps[drops] < largest)
        over_water = np.diff(wet_bulb(temp, humidity, pressure, over="water"))
        assert np.all(over_water < 2900 * np.diff(humidity_ratio(temp, humidity, pressure, "water")) + 1e-9)
    assert pressure == SEA or drops.size == 1


def test_along_a_line_of_humidity_the_wet_bulb_crosses_freezing_upwards() -> None:
    for over, most in (("ice", 0.7), ("water", 0.003)):
        bulb = wet_bulb(np.linspace(-5, 15, 20001), 0.3, SEA, over)
        steps = np.diff(bulb)
        assert np.all(steps > 0)
        assert np.count_nonzero(steps > 0.003) <= 1
        assert steps.max() < most


# --- Humidity ratio and the others. ---


@settings(deadline=None)
@given(temp=temps, humidity=st.floats(0, 1), pressure=pressures, over=surfaces)
def test_humidity_ratio_gives_the_humidity_back(temp: float, humidity: float, pressure: float, over: str) -> None:
    ratio = float(humidity_ratio(temp, humidity, pressure, over))
    if np.isnan(ratio):
        assert humidity * float(saturation_pressure(temp, over)) >= pressure * (1 - 1e-12)
        return
    assert ratio >= 0
    assert_allclose(relative_humidity(temp, ratio, pressure, over), humidity, rtol=1e-9, atol=1e-300)


@settings(deadline=None)
@given(temp=st.floats(-60, 90), humidity=st.floats(2e-3, 1), pressure=pressures, over=surfaces)
def test_both_ways_to_the_humidity_ratio_agree(temp: float, humidity: float, pressure: float, over: str) -> None:
    ratio = humidity_ratio(temp, humidity, pressure, over)
    dew = dew_point(temp, humidity, over)
    if humidity * saturation_pressure(temp, over) < 0.999 * pressure:
        assert_allclose(humidity_ratio_from_dew_point(dew, pressure, over), ratio, rtol=1e-9)


@settings(deadline=None)
@given(temp=temps, ratio=st.floats(0, 5), pressure=pressures)
def test_density_is_mass_by_volume(temp: float, ratio: float, pressure: float) -> None:
    mass = density(temp, ratio, pressure) * specific_volume(temp, ratio, pressure)
    assert_allclose(mass, 1 + ratio, rtol=1e-12)
    # Vapour is lighter than air, and heat content grows with both.
    assert density(temp, ratio + 0.01, pressure) < density(temp, ratio, pressure)
    assert enthalpy(temp, ratio + 0.01) > enthalpy(temp, ratio)


@given(altitude=st.floats(-5000, 11000))
def test_altitude_comes_back(altitude: float) -> None:
    assert_allclose(altitude_at_pressure(pressure_at_altitude(altitude)), altitude, rtol=0, atol=1e-7)


# --- What has no meaning. ---


def test_what_is_missing_or_out_of_range_is_nan() -> None:
    assert_array_equal(np.isnan(saturation_pressure([-100.1, -100, 200, 200.1, np.nan, np.inf])), [1, 0, 0, 1, 1, 1])
    humidity = [-0.1, 0.0, 1.0, 1.0001, np.nan, np.inf]
    assert_array_equal(np.isnan(dew_point(20.0, humidity)), [1, 1, 0, 1, 1, 1])
    assert_array_equal(np.isnan(wet_bulb(20.0, humidity, SEA)), [1, 0, 0, 1, 1, 1])
    assert_array_equal(np.isnan(humidity_ratio(20.0, humidity, SEA)), [1, 0, 0, 1, 1, 1])
    assert_array_equal(np.isnan(dew_point([np.nan, 20.0, 201.0, -101.0], 0.5)), [1, 0, 1, 1])
    assert_array_equal(
        np.isnan(humidity_ratio(20.0, 0.5, [19999, 20000, 120000, 120001, -1, np.inf])), [1, 0, 0, 1, 1, 1]
    )
    assert_array_equal(np.isnan(enthalpy(20.0, [-1e-9, 0, 1, 1e12, 1.7e308, np.inf])), [1, 0, 0, 0, 1, 1])
    assert_array_equal(np.isnan(density([20.0, -100.1, 200.1], 0.01, SEA)), [0, 1, 1])


def test_air_that_cannot_be_is_nan() -> None:
    boiling = 99.6  # degC at sea level: table 3 has 101418 Pa at 100 degC, more than the barometric pressure
    assert np.isfinite(humidity_ratio(boiling, 1.0, SEA))
    assert np.isnan(humidity_ratio(100.0, 1.0, SEA))
    assert np.isnan(wet_bulb(100.0, 1.0, SEA))
    assert np.isnan(humidity_ratio_from_dew_point(100.0, SEA))
    assert np.isfinite(wet_bulb(150.0, 0.2, SEA))
    exact = float(saturation_pressure(70.0))
    assert np.isnan(humidity_ratio(70.0, 1.0, exact))
    assert np.isfinite(humidity_ratio(70.0, 1.0, exact * (1 + 1e-15)))
    saturated = float(humidity_ratio(20.0, 1.0, SEA))
    assert relative_humidity(20.0, saturated, SEA) == 1
    assert np.isnan(relative_humidity(20.0, saturated * (1 + 1e-9), SEA))
    assert np.isnan(humidity_ratio_from_wet_bulb(20.0, 20.0001, SEA))
    assert np.isfinite(humidity_ratio_from_wet_bulb(20.0, 20.0, SEA))
    assert np.isnan(humidity_ratio_from_wet_bulb(40.0, 5.0, SEA)), "colder than in perfectly dry air"
    assert np.isnan(humidity_from_dew_point(20.0, 20.0001))
    assert humidity_from_dew_point(20.0, 20.0) == 1


def test_supercooled_fog_has_a_value_over_water_only() -> None:
    """Saturated over liquid at -10 degC is 10 % above saturation over ice (1.103, as above)."""
    ratio = float(humidity_ratio(-10.0, 1.0, SEA, over="water"))
    assert_allclose(relative_humidity(-10.0, ratio, SEA, over="water"), 1, rtol=1e-14)
    assert np.isnan(relative_humidity(-10.0, ratio, SEA))
    assert wet_bulb(-10.0, 1.0, SEA, over="water") == -10
    assert_allclose(humidity_ratio_from_wet_bulb(-10.0, -10.0, SEA, over="water"), ratio, rtol=1e-12)


def test_unknown_surface_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown surface 'snow'"):
        saturation_pressure(-5.0, over="snow")
    with pytest.raises(ValueError, match="'ice' and 'water'"):
        dew_point(-5.0, 0.5, over="")
    with pytest.raises(ValueError, match="unknown surface"):
        wet_bulb(-5.0, 0.5, SEA, over="frost")


# --- Blocks. ---


def test_a_long_array_gives_what_its_elements_give() -> None:
    """Across the ends of blocks, with what is missing or cold in some blocks and not in others."""
    size = 2 * solve.BLOCK + 77
    generator = np.random.default_rng(3)
    temp = np.concatenate([generator.uniform(1, 40, solve.BLOCK), generator.uniform(-60, 40, size - solve.BLOCK)])
    humidity, pressure = generator.uniform(0.05, 1, size), generator.uniform(70000, 105000, size)
    temp[[5, -5]] = np.nan, 300.0
    humidity[solve.BLOCK + 3] = 1.5
    ratio = humidity_ratio(temp, humidity, pressure)
    cases: list[tuple[Callable[..., NDArray[np.float64]], tuple[NDArray[np.float64], ...]]] = [
        (saturation_pressure, (temp,)),
        (humidity_ratio, (temp, humidity, pressure)),
        (relative_humidity, (temp, ratio, pressure)),
        (dew_point, (temp, humidity)),
        (wet_bulb, (temp, humidity, pressure)),
        (enthalpy, (temp, ratio)),
        (density, (temp, ratio, pressure)),
        (humidity_ratio_from_wet_bulb, (temp, wet_bulb(temp, humidity, pressure), pressure)),
        (humidity_ratio_from_dew_point, (temp - 3, pressure)),
        (humidity_from_dew_point, (temp, temp - 3)),
    ]
    second, third = solve.BLOCK, 2 * solve.BLOCK
    ends = (0, 1, 5, second - 1, second, second + 3, third - 1, third, size - 5, size - 1)
    for function, inputs in cases:
        whole = function(*inputs)
        assert whole.shape == (size,)
        alone = [function(*(float(one[place]) for one in inputs)) for place in ends]
        assert_allclose(whole[list(ends)], alone, rtol=1e-9, err_msg=function.__name__)
        assert 2 <= np.count_nonzero(np.isnan(whole)) <= 3, function.__name__


def test_inputs_are_left_alone_and_may_lie_anyhow() -> None:
    temp = np.linspace(-20, 40, 60_000).reshape(300, 200)
    humidity = np.linspace(0.1, 1, 200)
    before = temp.copy()
    straight = wet_bulb(temp, humidity, SEA)
    assert straight.shape == (300, 200)
    assert_array_equal(temp, before)
    assert_allclose(wet_bulb(temp.T, humidity[:, None], SEA).T, straight, atol=1e-12)
    assert_allclose(wet_bulb(temp[::-3, ::2], humidity[::2], SEA), straight[::-3, ::2], atol=1e-12)
    assert_array_equal(saturation_pressure([20, 30]), saturation_pressure(np.array([20.0, 30.0], np.float32)))
    assert wet_bulb(np.empty((0, 3)), 0.5, SEA).shape == (0, 3)


# --- The search itself. ---


def test_a_step_out_of_the_bracket_is_halved() -> None:
    """Newton alone runs away from the arctangent's zero when it starts beyond 1.39."""
    tried = []

    def curve(x: NDArray[np.float64], shift: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        tried.append(x)
        return np.arctan(x - shift), 1 / (1 + (x - shift) ** 2)

    shift = np.array([0.0, 1.0, -3.0, np.nan])
    low, high = np.full(4, -1000.0), np.full(4, 1000.0)
    start = np.array([900.0, -900.0, -3.0, np.nan])
    assert_allclose(solve.rising_root(curve, low, high, start, shift), shift, atol=1e-9)
    assert len(tried) < 40
    assert tried[-1].size < 4, "what has settled is left out"
