"""Lag of a recording forward and undone, against an independent solver, a regression and its own stated sureness."""

import math
import time as clock
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import solve_ivp
from scipy.stats import linregress

from analysis.model import Channel, Series
from analysis.unlag import fitted, lagged, undo_lag

Array = NDArray[np.float64]

METER = Channel("temp_supply", "thermometer", "degC")
EPOCH = 1.8e9
"""[s]"""


def series(time: NDArray[np.floating], value: ArrayLike, epoch: float = EPOCH) -> Series:
    return Series(METER, np.asarray(time + epoch, np.float64), np.asarray(value, np.float64))


def moments(generator: np.random.Generator, seconds: float, rate: float, *, jitter: float = 0.0) -> Array:
    regular = np.arange(round(seconds * rate)) / rate
    return regular + generator.uniform(-jitter, jitter, regular.size) / rate if jitter else regular


@pytest.mark.parametrize(("response_time", "seed"), [(0.3, 1), (5.0, 2), (60.0, 3)])
def test_lag_agrees_with_an_integrator(response_time: float, seed: int) -> None:
    """scipy.integrate.solve_ivp (Runge-Kutta of order 8, rtol 1e-11) on the same broken line."""
    generator = np.random.default_rng(seed)
    time = np.cumsum(generator.exponential(1.0, 60))
    value = 40 + np.cumsum(generator.normal(0, 5, 60))
    expected = [value[0]]
    for begin, end in pairwise(time):
        solved = solve_ivp(
            lambda t, y: (np.interp(t, time, value) - y) / response_time,
            (begin, end),
            [expected[-1]],
            method="DOP853",
            rtol=1e-11,
            atol=1e-11,
        )
        expected.append(float(solved.y[0, -1]))
    # Times since 1970 are exact to 2.4e-7 s.
    assert_allclose(lagged(series(time, value), response_time).value, expected, atol=2e-4 / response_time)
    assert_allclose(lagged(series(time, value, epoch=0.0), response_time).value, expected, atol=1e-8)


def test_lag_behind_a_ramp() -> None:
    # 20 s behind 2 degF/min: 0.67 degF.
    time = np.arange(0, 400.0, 1.7)
    shown = lagged(series(time, time * 2 / 60), 20.0).value
    assert_allclose(time[-1] * 2 / 60 - shown[-1], 0.67, atol=5e-3)
    assert_allclose(time[-1] * 2 / 60 - shown[-1], 40 / 60, atol=1e-6)


def test_lag_without_values() -> None:
    time = np.arange(6.0)
    shown = lagged(series(time, [1, np.nan, 3, np.nan, np.nan, 6]), 2.0)
    assert_array_equal(np.isnan(shown.value), [0, 1, 0, 1, 1, 0])
    assert_allclose(shown.value[[0, 2, 5]], lagged(series(time, time + 1), 2.0).value[[0, 2, 5]], atol=1e-6)
    for wrong in (0.0, -1.0, math.nan, math.inf):
        assert np.all(np.isnan(lagged(series(time, time), wrong).value))
    assert lagged(series(time[:0], time[:0]), 2.0).value.shape == (0,)
    assert np.all(np.isnan(lagged(series(time, np.full(6, np.nan)), 2.0).value))


# --- lines through windows ---------------------------------------------------------------------------------------


def test_lines_agree_with_an_independent_regression() -> None:
    """scipy.stats.linregress on 400 windows of a recording with steps, in a day of seconds since 1970."""
    generator = np.random.default_rng(8)
    time = np.sort(generator.uniform(0, 86_400, 40_000))
    value = 300 * (np.sin(time / 3000) > 0) + 0.01 * generator.standard_normal(time.size)
    low = np.arange(0, time.size - 2000, 95)
    high = low + np.sort(generator.integers(3, 1500, low.size))
    lines = fitted(time, value, low, high)
    worst = 0.0
    for index, (begin, end) in enumerate(zip(low, high, strict=True)):
        expected = linregress(time[begin:end], value[begin:end])
        spread = np.sum((time[begin:end] - time[begin:end].mean()) ** 2)
        worst = max(worst, abs(lines.slope[index] - expected.slope) / expected.stderr)
        assert_allclose(lines.left[index], expected.stderr**2 * spread * (end - begin - 2), rtol=1e-4)
        assert_allclose(lines.value[index], value[begin:end].mean(), atol=1e-9)
    print(f"slope: {worst:.1e} of its standard error at most")  # noqa: T201
    assert worst < 1e-4


# --- what stood before -------------------------------------------------------------------------------------------


def test_correction_of_a_ramp() -> None:
    # 20 s, 100 degF rising at 0.5 degF/s: 110 degF.
    time = np.arange(0, 200.0)
    found = undo_lag(series(time, 100 + 0.5 * (time - 100)), 20.0)
    assert_allclose(found.series.value[100], 110, atol=1e-5)
    assert np.isfinite(found.u[100])
    assert_array_equal(found.series.time, time + EPOCH)


def test_correction_is_a_local_regression() -> None:
    """The same by numpy.polyfit on the readings of each window."""
    generator = np.random.default_rng(3)
    time = moments(generator, 120, 1.0, jitter=0.3)
    value = 30 + 20 * np.sin(time / 15) + generator.normal(0, 0.1, time.size)
    found = undo_lag(series(time, value, epoch=0.0), 12.0)
    checked = 0
    for index in np.flatnonzero(np.isfinite(found.u)):
        near = np.abs(time - time[index]) <= found.window / 2
        slope, level = np.polyfit(time[near] - time[index], value[near], 1)
        assert_allclose(found.series.value[index], level + 12.0 * slope, rtol=1e-8)
        checked += 1
    assert checked > 90


def step(time: Array, response_time: float) -> tuple[Array, Array]:
    """Input and response, closed form."""
    after = np.maximum(time - 100, 0)
    return np.where(time < 100, 20.0, 50.0), 20 + 30 * -np.expm1(-after / response_time)


def flat(time: Array, response_time: float) -> tuple[Array, Array]:
    return np.full(time.shape, 20.0), np.full(time.shape, 20.0)


def swing(time: Array, response_time: float) -> tuple[Array, Array]:
    """Settled sinusoid: gain 1 / sqrt(1 + (w T)^2), phase -atan(w T)."""
    pace = 2 * np.pi / 240
    gain, phase = 1 / math.hypot(1, pace * response_time), math.atan(pace * response_time)
    return 40 + 10 * np.sin(pace * time), 40 + 10 * gain * np.sin(pace * time - phase)


@pytest.mark.parametrize("jitter", [0.0, 0.4])
@pytest.mark.parametrize(("response_time", "rate"), [(5.0, 1.0), (20.0, 1.0), (60.0, 1.0), (5.0, 10.0), (20.0, 10.0)])
def test_undone_lag_is_as_sure_as_it_says(response_time: float, rate: float, jitter: float) -> None:
    noise, generator = 0.05, np.random.default_rng(round(response_time * rate))
    for shape in (flat, step, swing):
        squares, covered, gained = [], [], []
        for _ in range(25):
            time = moments(generator, 300, rate, jitter=jitter)
            before, shown = shape(time, response_time)
            shown = shown + noise * generator.standard_normal(time.size)
            found = undo_lag(series(time, shown), response_time)
            there = np.isfinite(found.u)
            assert np.mean(there) > 0.8
            assert found.window <= response_time + 1e-9
            errors = (found.series.value - before)[there]
            squares.append(np.mean((errors / found.u[there]) ** 2))
            covered.append(np.mean(np.abs(errors) <= 2 * found.u[there]))
            gained.append(np.sqrt(np.mean((shown - before)[there] ** 2) / np.mean(errors**2)))
        say = f"z2 {np.mean(squares):.2f}, 2u covers {np.mean(covered):.3f}, {np.mean(gained):.1f} times better"
        print(f"{response_time:g} s, {rate:g} Hz, jitter {jitter:g}, {shape.__name__}: {say}")  # noqa: T201
        assert np.mean(covered) > 0.93, say
        assert np.mean(squares) < 1.25, say
        if shape is flat:
            assert np.mean(squares) > 0.75, say
        else:
            assert np.mean(gained) > 2.5, say


def test_noise_is_found_and_can_be_given() -> None:
    generator = np.random.default_rng(2)
    time = np.arange(2000.0)
    value = 30 + 20 * np.sin(time / 300) + 0.2 * generator.standard_normal(2000)
    value[::97] += 15
    guessed, given = undo_lag(series(time, value), 20.0), undo_lag(series(time, value), 20.0, noise=0.2)
    assert_allclose(np.nanmedian(guessed.u), np.nanmedian(given.u), rtol=0.1)
    spike = 970
    assert guessed.u[spike] > 5 * np.nanmedian(guessed.u), "a spike makes its surroundings unsure"


def test_too_few_readings_are_refused() -> None:
    time = np.arange(0, 600.0, 20.0)
    found = undo_lag(series(time, 20 + time / 100), 60.0)
    assert np.all(np.isnan(found.series.value))
    assert np.all(np.isnan(found.u))
    assert math.isnan(found.window)
    dense = np.arange(0, 600.0, 10.0)
    assert np.isfinite(undo_lag(series(dense, 20 + dense / 100), 60.0).u).any()


def test_noise_that_grows_beyond_the_limit_is_refused() -> None:
    generator = np.random.default_rng(4)
    time = np.arange(300.0)
    value = 20 + 0.5 * generator.standard_normal(300)
    free = undo_lag(series(time, value), 20.0)
    assert 0.2 < np.nanmedian(free.u) < 1.0
    # A window of one time constant has 21 readings: 20 * sqrt(12 / (21 * (21^2 - 1))) and sqrt(1 / 21), in all 0.75.
    assert_allclose(np.nanmedian(undo_lag(series(time, value), 20.0, noise=0.5).u), 0.5 * 0.75, rtol=0.1)
    still = undo_lag(series(time, np.full(300, 20.0)), 20.0, noise=0.5)
    assert_allclose(still.u[150], 0.5 * math.sqrt(1 / 21 + 400 * 12 / (21 * 440)), rtol=1e-9)
    assert np.isfinite(undo_lag(series(time, value), 20.0, amplification=0.8).u).any()
    assert not np.isfinite(undo_lag(series(time, value), 20.0, amplification=0.7).u).any()
    assert not np.isfinite(undo_lag(series(time, value), 20.0, limit=0.2).u).any()
    for wrong in ({"noise": -1.0}, {"noise": math.nan}, {"limit": 0.0}, {"amplification": math.nan}):
        assert not np.isfinite(undo_lag(series(time, value), 20.0, **wrong).u).any(), wrong
    for wrong_time in (0.0, -1.0, math.nan, math.inf):
        assert not np.isfinite(undo_lag(series(time, value), wrong_time).u).any()


def test_holes_and_ends_have_no_value() -> None:
    generator = np.random.default_rng(6)
    time = np.arange(400.0)
    value = 20 + 0.05 * generator.standard_normal(400)
    value[150:200] = np.nan
    found = undo_lag(series(time, value), 20.0)
    assert_array_equal(np.isnan(found.series.value), np.isnan(found.u))
    assert np.all(np.isnan(found.series.value[150:200]))
    refused = np.flatnonzero(np.isnan(found.u))
    beside = refused[(refused < 150) | (refused >= 200)]
    assert {0, 149, 200, 399} <= set(beside.tolist())
    assert np.all(np.min(np.abs(beside[:, None] - [0, 150, 199, 399]), axis=1) <= found.window / 2)
    for short in range(6):
        assert undo_lag(series(time[:short], value[:short]), 20.0).u.shape == (short,)
    assert np.all(np.isnan(undo_lag(series(time, np.full(400, np.nan)), 20.0).u))


def test_a_step_is_neither_early_nor_late() -> None:
    """Its middle is crossed within half a second, though the raw readings cross theirs 0.69 time constants later."""
    time = np.arange(0, 300, 0.2)
    _, shown = step(time, 20.0)
    value = undo_lag(series(time, shown), 20.0).series.value
    crossing = time[np.nanargmax(value >= 35)]
    assert abs(crossing - 100) < 0.5
    assert_allclose(time[np.argmax(shown >= 35)] - 100, 20 * math.log(2), atol=0.3)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 99), moved=st.integers(-(10**6), 10**6), raised=st.floats(-50, 50), scale=st.floats(0.01, 100)
)
def test_undone_lag_follows_shift_and_scale(seed: int, moved: int, raised: float, scale: float) -> None:
    generator = np.random.default_rng(seed)
    time = np.arange(200) * 0.5
    value = 5 * np.sin(time / 9) + generator.normal(0, 0.1, 200)
    plain, other = undo_lag(series(time, value), 10.0), undo_lag(series(time + moved, raised + scale * value), 10.0)
    assert plain.window == other.window
    assert_allclose(other.series.value, raised + scale * plain.series.value, atol=1e-7 * scale + 1e-7)
    assert_allclose(other.u, scale * plain.u, rtol=1e-5)


def test_spikes_and_missing_readings_leave_the_rest_as_sure_as_it_says() -> None:
    """A reading in ten without value and one in two hundred off by 20 K: only what shares a window with it suffers."""
    generator, noise, response_time = np.random.default_rng(21), 0.05, 20.0
    time = moments(generator, 3000, 1.0, jitter=0.3)
    before, shown = swing(time, response_time)
    shown = shown + noise * generator.standard_normal(time.size)
    shown[generator.random(time.size) < 0.1] = np.nan
    spikes = np.arange(100, time.size, 200)
    shown[spikes] += 20
    found = undo_lag(series(time, shown), response_time)
    near = np.min(np.abs(time[:, None] - time[spikes]), axis=1) <= found.window / 2
    errors = np.abs(found.series.value - before)
    for where in (near, ~near):
        there = where & np.isfinite(found.u)
        assert np.mean(errors[there] <= 2 * found.u[there]) > 0.93
    clean, kept = ~near & np.isfinite(found.u), np.isfinite(shown)
    assert np.mean(np.isfinite(found.u[kept & ~near])) > 0.9
    assert np.sqrt(np.mean(errors[clean] ** 2)) < 0.5


def test_a_rough_stretch_is_as_sure_as_it_says() -> None:
    """A meter whose scatter grows to eight times as much: the noise of the whole is not used there."""
    generator = np.random.default_rng(24)
    time = np.arange(6000.0)
    shown = 20 + np.where(time < 5000, 0.1, 0.8) * generator.standard_normal(6000)
    found = undo_lag(series(time, shown), 20.0)
    for calm in (True, False):
        part = slice(50, 4950) if calm else slice(5050, 5950)
        errors, u = found.series.value[part] - 20, found.u[part]
        assert np.mean(np.abs(errors) <= 2 * u) > 0.93
        assert 0.6 < np.mean((errors / u) ** 2) < 1.25


def test_a_reading_beside_dense_ones_is_refused() -> None:
    """One reading between stretches 8 s away: usable between two dense ones, not where nearly all lie to one side."""
    dense, sparse = np.arange(0, 100, 0.1), np.arange(0, 100.0)
    for before, usable in ((dense, True), (sparse, False)):
        last = before[-1]
        time = np.concatenate([before, [last + 8], last + 16 + dense])
        value = 20 + 0.05 * np.random.default_rng(25).standard_normal(time.size)
        found = undo_lag(series(time, value), 20.0)
        assert found.window > 16
        assert np.isfinite(found.u[before.size]) == usable


def test_moments_since_1970_lose_nothing() -> None:
    """Eight readings a second have moments that are exact both from 0 and from 1.8e9 s on."""
    generator = np.random.default_rng(22)
    time = np.arange(40_000) / 8
    value = swing(time, 20.0)[1] + 0.05 * generator.standard_normal(time.size)
    early, late = (undo_lag(series(time, value, epoch), 20.0) for epoch in (0.0, EPOCH))
    assert_array_equal(early.u, late.u)
    assert_array_equal(early.series.value, late.series.value)
    early_shown, late_shown = (lagged(series(time, value, epoch), 20.0).value for epoch in (0.0, EPOCH))
    assert_array_equal(early_shown, late_shown)


def test_ten_times_the_readings_take_about_ten_times_as_long() -> None:
    """Half a day at ten readings a second, whose end is as exact as its beginning."""
    taken, generator = [], np.random.default_rng(23)
    for number in (43_200, 432_000):
        time = np.arange(number) / 10
        before, shown = swing(time, 20.0)
        recording = series(time, shown + 0.05 * generator.standard_normal(number))
        start = clock.process_time()
        found = undo_lag(recording, 20.0)
        lagged(recording, 20.0)
        taken.append(clock.process_time() - start)
        errors = (found.series.value - before)[np.isfinite(found.u)]
        first, last = (float(np.std(part)) for part in (errors[:20_000], errors[-20_000:]))
        assert_allclose(last, first, rtol=0.1)
    print(f"{taken[0]:.2f} s and {taken[1]:.2f} s")  # noqa: T201
    assert taken[1] < 40 * taken[0] + 1, "a square law would need a hundred times"


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 99), response_time=st.floats(3, 60))
def test_lag_and_back(seed: int, response_time: float) -> None:
    """Without noise the way back gives the input, but for what a window spreads."""
    generator = np.random.default_rng(seed)
    time = np.sort(generator.uniform(0, 600, 3000))
    time = time[np.append(True, np.diff(time) > 1e-3)]
    before = 40 + 10 * np.sin(time / 40)
    found = undo_lag(lagged(series(time, before), response_time), response_time)
    there = np.isfinite(found.u) & (time > found.window)
    assert np.mean(there) > 0.7
    error = np.abs(found.series.value - before)[there]
    # The input changes by no more than 0.25 a second, and what a value rests on lies a quarter window off at most.
    assert np.max(error) < 0.25 * found.window / 4 + 0.01
    assert np.mean(error <= 2 * found.u[there] + 1e-3) > 0.95
