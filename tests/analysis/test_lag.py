"""First-order lag by plain numbers: closed forms, the handbook's figures, refusal where it is ill-posed."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from analysis.lag import final_value, first_order, settling_time, time_constant

Array = NDArray[np.float64]


def test_step_response_of_a_first_order_system() -> None:
    assert_allclose(first_order([1, 2, 3, 5], 1.0), [0.632121, 0.864665, 0.950213, 0.993262], atol=5e-7)
    assert_allclose(settling_time(1.0, 0.9), 2.3026, atol=5e-5)
    # Within 1 degF of a step of 60 degF, and within 0.5 % of any step.
    assert_allclose(settling_time(20.0, [59 / 60, 0.995]) / 20, [4.09, 5.30], atol=5e-3)


@given(response_time=st.floats(0.01, 1e4), share=st.floats(0, 0.999))
def test_settling_time_is_the_inverse_of_the_step_response(response_time: float, share: float) -> None:
    assert_allclose(first_order(settling_time(response_time, share), response_time), share, rtol=1e-9, atol=1e-12)


def test_three_equal_steps() -> None:
    assert final_value(70, 100, 115) == 130
    assert_allclose(time_constant(70, 100, 115, 1.0), 1.443, atol=5e-4)
    assert_allclose(time_constant(70, 100, 115, 10.0), 10 / math.log(2), rtol=1e-12)


@given(
    start=st.floats(-100, 1000),
    change=st.floats(1, 500) | st.floats(-500, -1),
    response_time=st.floats(5, 60),
    spacing=st.floats(2, 60),
)
def test_three_readings_give_end_and_time_constant(
    start: float, change: float, response_time: float, spacing: float
) -> None:
    first, second, third = start + change * -np.expm1(-np.arange(3) * spacing / response_time)
    end, constant = final_value(first, second, third), time_constant(first, second, third, spacing)
    # Rounding of the readings (2e-13 of 1500) grows as it divides by the last step.
    rounding = 1e-11 / abs(third - second)
    assert_allclose(end, start + change, atol=1e-9 + 100 * rounding * abs(change))
    assert_allclose(constant, response_time, rtol=1e-9 + 100 * rounding)


@pytest.mark.parametrize(
    ("readings", "why"),
    [
        ((70, 70, 70), "nothing moves"),
        ((70, 80, 90), "a ramp heads nowhere"),
        ((70, 80, 100), "it runs away"),
        ((70, 100, 90), "it turns back"),
        ((70, 70, 80), "it only begins"),
        ((70, math.nan, 115), "a reading is missing"),
        ((70, math.inf, 115), "a reading is infinite"),
    ],
)
def test_what_is_no_first_order_approach_is_refused(readings: tuple[float, float, float], why: str) -> None:
    assert math.isnan(final_value(*readings)), why
    assert math.isnan(time_constant(*readings, 1.0)), why


def test_near_the_end_the_answer_is_refused() -> None:
    # The bend of 70, 100, 115 is 15: refused from a noise of 15 / 4 = 3.75 on.
    assert_array_equal(np.isnan(final_value(70, 100, 115, [0, 3.74, 3.75, 3.76, -0.1, np.nan])), [0, 0, 0, 1, 1, 1])
    assert_array_equal(np.isnan(time_constant(70, 100, 115, 1.0, [3.74, 3.76])), [0, 1])


def test_refusal_keeps_the_error_in_proportion_to_the_noise() -> None:
    """Early readings give the end as surely as propagation says; near the end all but a lucky few are refused."""
    generator = np.random.default_rng(5)
    noise, spacing = 0.2, 10.0
    for response_time, elapsed, most in ((20.0, 0.0, 0.05), (20.0, 120.0, 1.01)):
        times = elapsed + spacing * np.arange(3)
        readings = 20 + 60 * -np.expm1(-times / response_time) + noise * generator.standard_normal((5000, 3))
        end = final_value(readings[:, 0], readings[:, 1], readings[:, 2], noise)
        refused = float(np.mean(np.isnan(end)))
        assert refused <= most
        if elapsed == 0:
            # First-order propagation of three independent readings, the derivatives by differences.
            exact = 20 + 60 * -np.expm1(-times / response_time)
            ahead, back = exact + 1e-4 * np.eye(3), exact - 1e-4 * np.eye(3)
            slopes = (final_value(*ahead.T) - final_value(*back.T)) / 2e-4
            assert_allclose(np.nanstd(end), noise * np.linalg.norm(slopes), rtol=0.1)
        else:
            assert refused > 0.8, "the bend of 1.3 noises says nothing"
