"""Heat pump and its balance points against the drawn lines and a general root finder."""

import math
from collections.abc import Callable

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from analysis.heatpump import (
    Rated,
    balance_point,
    balance_point_straight,
    balance_state,
    break_even_cop,
    break_even_state,
    break_even_temp,
    capacity,
    capacity_straight,
    cop,
    power,
)

BTU = 0.2930710701722222
"""One Btu/h. [W]"""
KILOWATT = 1000 / BTU
"""One kW. [Btu/h]"""
UNITS = 2000


def celsius(fahrenheit: float | NDArray[np.float64]) -> NDArray[np.float64]:
    return (np.asarray(fahrenheit) - 32) / 1.8


def fahrenheit(degrees: float | NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(degrees) * 1.8 + 32


COMMON = Rated(36_000 * BTU, 22_000 * BTU, 27_500 * BTU, 3050.0, 2750.0, 2950.0)
NO_FROST = Rated(36_000 * BTU, 22_000 * BTU, 30_400 * BTU, 3050.0, 2750.0, 2930.0)
"""Rated at 35 degF on the straight line."""


class Units:
    """Random heat pumps in the trade's units: columns of ratings, houses and break-even COPs."""

    def __init__(self, seed: int) -> None:
        draw = np.random.default_rng(seed).uniform
        self.q47 = draw(12e3, 60e3, UNITS)
        self.q17 = self.q47 * draw(0.40, 1.05, UNITS)
        self.q35 = (self.q17 + 0.6 * (self.q47 - self.q17)) * draw(0.75, 1.1, UNITS)
        self.p47 = self.q47 / KILOWATT / draw(2.2, 4.8, UNITS)
        self.p17 = self.p47 * draw(0.75, 1.1, UNITS)
        self.p35 = (self.p17 + 0.6 * (self.p47 - self.p17)) * draw(0.9, 1.1, UNITS)
        self.loss = 10 ** draw(1.5, 3.6, UNITS)
        self.base = draw(52, 76, UNITS)
        self.cop = draw(0.8, 5.5, UNITS)
        watts = [1000 * p for p in (self.p47, self.p17, self.p35)]
        self.rated = Rated(self.q47 * BTU, self.q17 * BTU, self.q35 * BTU, *watts)


def drawn(t: float, at_17: float, at_35: float, at_47: float) -> float:
    """The line of the rating procedure, in degF: frost strictly between 17 and 45."""
    if 17 < t < 45:
        return at_17 + (at_35 - at_17) * (t - 17) / 18
    return at_17 + (at_47 - at_17) * (t - 17) / 30


def crossings(excess: Callable[[float], float], top: float) -> list[float]:
    """All changes of sign between -22 degF and the top: on a grid, each then found by Brent's method or a step."""
    from scipy.optimize import brentq

    found = []
    grid = np.unique([*np.linspace(-22, top, 40), 17.0, 45 - 1e-9, 45.0])
    values = [excess(t) for t in grid]
    for low, high, left, right in zip(grid, grid[1:], values, values[1:], strict=False):
        if left * right <= 0:
            step = low == 45 - 1e-9
            found.append(45.0 if step else float(brentq(excess, low, high, xtol=1e-11)))
    return found


def compared(found: float, state: float, excess: Callable[[float], float], top: float) -> float:
    """Deviation of a temperature from the highest crossing. [degF]"""
    expected = crossings(excess, top)
    if not expected:
        assert math.isnan(found)
        assert state == math.copysign(1, excess(top))
        assert state == math.copysign(1, excess(-22.0))
        return 0.0
    assert state == 0
    return abs(float(fahrenheit(found)) - max(expected))


def test_balance_points_of_random_units_by_a_root_finder() -> None:
    units = Units(47)
    found = balance_point(units.loss * BTU * 1.8, celsius(units.base), units.rated)
    state = balance_state(units.loss * BTU * 1.8, celsius(units.base), units.rated)
    worst, kinds = 0.0, {"step": 0, "frost": 0, "line": 0, "none": 0}
    for i in range(UNITS):

        def excess(t: float, i: int = i) -> float:
            load = units.loss[i] * (units.base[i] - t)
            return float(drawn(t, units.q17[i], units.q35[i], units.q47[i]) - load)

        worst = max(worst, compared(float(found[i]), float(state[i]), excess, float(units.base[i])))
        at = float(fahrenheit(found[i]))
        kinds["none" if math.isnan(at) else "step" if at == 45 else "frost" if 17 < at < 45 else "line"] += 1
    print(f"balance point: largest deviation {worst:.1e} degF; {kinds}")  # noqa: T201
    assert worst < 1e-6
    assert min(kinds.values()) >= 20, kinds


def test_break_even_of_random_units_by_a_root_finder() -> None:
    units = Units(17)
    found, state = break_even_temp(units.cop, units.rated), break_even_state(units.cop, units.rated)
    worst, kinds = 0.0, {"always": 0, "never": 0, "step": 0, "point": 0}
    for i in range(UNITS):

        def excess(t: float, i: int = i) -> float:
            taken = drawn(t, units.p17[i], units.p35[i], units.p47[i]) * KILOWATT
            return float(drawn(t, units.q17[i], units.q35[i], units.q47[i]) / taken - units.cop[i])

        worst = max(worst, compared(float(found[i]), float(state[i]), excess, 77.0))
        at = float(fahrenheit(found[i]))
        kinds[{1: "always", -1: "never", 0: "step" if at == 45 else "point"}[int(state[i])]] += 1
    print(f"break-even: largest deviation {worst:.1e} degF; {kinds}")  # noqa: T201
    assert worst < 1e-6
    assert min(kinds.values()) >= 20, kinds


def test_lines_of_random_units_point_by_point() -> None:
    units = Units(35)
    temp = np.random.default_rng(35).uniform(-22, 77, UNITS)
    heat = np.array([drawn(*one) for one in zip(temp, units.q17, units.q35, units.q47, strict=True)])
    electric = np.array([drawn(*one) for one in zip(temp, units.p17, units.p35, units.p47, strict=True)])
    heat[heat <= 0] = np.nan
    assert np.isnan(heat).sum() >= 1
    assert_allclose(capacity(celsius(temp), units.rated), heat * BTU, rtol=1e-9)
    assert_allclose(power(celsius(temp), units.rated), electric * 1000, rtol=1e-9)
    assert_allclose(cop(celsius(temp), units.rated), heat / (electric * KILOWATT), rtol=1e-9)


def test_a_meeting_exactly_at_a_rating_temperature_is_found() -> None:
    rated = Rated(9000.0, 6000.0, power_47=2500.0, power_17=2000.0)
    base = float(celsius(17)) + 20.0
    assert_allclose(balance_point(300.0, base, rated), celsius(17), rtol=1e-12)
    assert balance_state(300.0, base, rated) == 0
    assert_allclose(break_even_temp(3.0, rated), celsius(17), rtol=1e-12)
    assert break_even_state(3.0, rated) == 0


def test_without_frost_the_straight_line_is_the_line() -> None:
    temp = np.linspace(-30, 25, 111)
    assert_allclose(capacity(temp, NO_FROST), capacity_straight(temp, COMMON), rtol=1e-12)
    loss, base = np.array([250.0, 300, 400, 600]), 18.0
    assert_allclose(balance_point(loss, base, NO_FROST), balance_point_straight(loss, base, COMMON), rtol=1e-9)


def test_frost_makes_the_balance_point_warmer() -> None:
    loss = np.linspace(260, 800, 55)
    assert np.all(balance_point(loss, 18.0, COMMON) > balance_point_straight(loss, 18.0, COMMON))


def test_the_step_stays_at_45() -> None:
    below, at = capacity(celsius(45) - 1e-6, COMMON), capacity(celsius(45), COMMON)
    assert_allclose(at / below, 35_066.67 / 30_555.56, rtol=1e-6)
    typed = 45 * (5 / 9) - 160 / 9
    assert_allclose(capacity([typed - 1e-12, typed + 1e-12], COMMON), at, rtol=1e-9)


def test_an_unrated_35_degrees() -> None:
    unrated = Rated(36_000 * BTU, 22_000 * BTU, power_47=3050, power_17=2750)
    assert_allclose(capacity(celsius(35), unrated) / BTU, 27_360, rtol=1e-9)
    assert_allclose(power(celsius(35), unrated), 0.985 * 2930, rtol=1e-9)


def test_power_without_its_ratings_is_no_number() -> None:
    for rated in (Rated(1e4, 6e3), Rated(1e4, 6e3, power_47=3e3), Rated(1e4, 6e3, power_17=3e3, power_35=3e3)):
        assert np.isfinite(capacity(0.0, rated))
        for value in (power(0.0, rated), cop(0.0, rated), break_even_temp(2.0, rated), break_even_state(2.0, rated)):
            assert np.isnan(value)


def test_an_impossible_rating_spoils_the_plate() -> None:
    for wrong in (Rated(1e4, 6e3, -1.0), Rated(1e4, 6e3, power_35=0.0), Rated(1e4, 6e3, power_47=np.inf)):
        assert np.isnan(capacity(0.0, wrong))
        assert np.isnan(balance_point(300.0, 18.0, wrong))
        assert np.isnan(balance_state(300.0, 18.0, wrong))


def test_arrays_of_units_against_arrays_of_houses() -> None:
    fleet = Rated(np.array([9e3, 10e3, 12e3]), np.array([6e3, 7e3, 7e3]))
    table = balance_point(np.array([[150.0], [250.0]]), 18.0, fleet)
    assert table.shape == (2, 3)
    assert_allclose(table[1, 2], balance_point(250.0, 18.0, Rated(12e3, 7e3)), rtol=1e-12)


ratings = st.builds(
    lambda q47, share, frost: Rated(q47, q47 * share, q47 * (share + 0.6 * (1 - share)) * frost),
    st.floats(3e3, 3e4),
    st.floats(0.4, 1.0),
    st.floats(0.75, 1.0),
)


@settings(deadline=None)
@given(rated=ratings, loss=st.floats(20, 2000), base=st.floats(10, 25))
def test_capacity_equals_the_load_at_the_balance_point(rated: Rated, loss: float, base: float) -> None:
    found = float(balance_point(loss, base, rated))
    assume(math.isfinite(found))
    excess = capacity([found - 1e-5, found, found + 1e-5], rated) - loss * (base - (found + np.array([-1e-5, 0, 1e-5])))
    if found == (45 - 32) / 1.8:
        assert excess[0] <= 0 <= excess[1]
    else:
        assert abs(excess[1]) < 1e-6 * (loss * base + float(capacity(found, rated)))
    assert excess[2] > 0


@settings(deadline=None)
@given(rated=ratings, loss=st.floats(20, 2000), more=st.floats(1, 500), base=st.floats(10, 25))
def test_a_leakier_house_has_the_warmer_balance_point(rated: Rated, loss: float, more: float, base: float) -> None:
    tight, leaky = (float(balance_point(one, base, rated)) for one in (loss, loss + more))
    assume(math.isfinite(tight))
    assert leaky >= tight - 1e-9


@settings(deadline=None)
@given(st.floats(0.05, 1), st.floats(0.2, 5), st.floats(0.6, 1))
def test_at_the_break_even_cop_heat_costs_the_same(electricity: float, fuel: float, efficiency: float) -> None:
    prices = electricity / 3.6e6, fuel / 1.055056e8
    ratio = float(break_even_cop(*prices, efficiency))
    heat = 1e9
    assert math.isclose(heat / ratio * prices[0], heat / efficiency * prices[1], rel_tol=1e-12)


def test_no_shape_is_lost() -> None:
    assert_array_equal(np.shape(balance_state(np.ones((0, 3)), 18.0, COMMON)), (0, 3))
    assert np.ndim(break_even_temp(2.0, COMMON)) == 0
