"""A plateau is as sure as it says: known theory of noise, drift, irregular readings, spikes."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import linregress
from scipy.stats import t as student

from analysis.model import Channel
from analysis.propagation import correlation
from analysis.quantity import Quality
from analysis.steady import Span, plateau, steady_spans
from tests.analysis.recorded import EPOCH, correlated, series, variance_of_mean, whole


@pytest.mark.parametrize(
    ("share", "number", "least"),
    [(0.0, 12, 0.93), (0.0, 60, 0.93), (0.0, 600, 0.93), (0.5, 200, 0.93), (0.9, 1000, 0.93), (0.9, 400, 0.93)],
)
def test_a_plateau_is_as_sure_as_it_says(share: float, number: int, least: float) -> None:
    """1000 simulated recordings: mean, u and degrees of freedom against the level that was put in."""
    generator = np.random.default_rng(number)
    time = np.arange(number) * 0.5
    theory = math.sqrt(variance_of_mean(share, number))
    for drift in (0.0, 1.0):  # over the span, in standard deviations of the mean
        values = 55 + correlated(generator, share, (1000, number)) + drift * theory * np.linspace(-0.5, 0.5, number)
        found = [plateau(recording, whole(recording)) for recording in (series(time, value) for value in values)]
        error, u, freedom = np.array([(one.value - 55, one.u, one.freedom) for one in found]).T
        factor = student.ppf(0.975, freedom)
        squares, inside = float(np.mean((error / u) ** 2)), float(np.mean(np.abs(error) <= factor * u))
        width = float(np.mean(factor * u) / (1.96 * theory))
        doubtful = np.mean([one.quality > Quality.GOOD for one in found])
        say = f"AR {share:g}, {number} readings, drift {drift:g}: z2 {squares:.2f}, covers {inside:.3f}"
        print(f"{say}, {width:.2f} times as wide as with all known, {doubtful:.3f} doubtful")  # noqa: T201
        assert inside >= least, say
        assert 0.8 - 0.1 * drift <= squares <= 1.25, say
        assert width < 1.6, say
        assert doubtful < 0.13, say


@pytest.mark.parametrize(("share", "number"), [(0.0, 300), (0.5, 600), (0.9, 3000)])
def test_noise_of_a_plateau_has_the_variance_that_theory_gives(share: float, number: int) -> None:
    generator = np.random.default_rng(7)
    time = np.arange(float(number))
    values = correlated(generator, share, (300, number))
    noise = [plateau(one, whole(one)).budget[0][1] for one in (series(time, value) for value in values)]
    expected = variance_of_mean(share, number)
    assert_allclose(np.var(values.mean(axis=1)), expected, rtol=0.2)
    # Lags that are positive by chance are counted, negative ones are not: a little too much, never too little.
    assert 0.95 < np.mean(np.square(noise)) / expected < 1.12


def test_noise_that_is_partly_slow() -> None:
    """Fast scatter of the meter over slow wander of the air: the lag-one correlation alone would miss the wander."""
    generator = np.random.default_rng(3)
    number, theory = 4000, math.sqrt(variance_of_mean(0.97, 4000) + 4 / 4000)
    values = correlated(generator, 0.97, (400, number)) + 2 * generator.standard_normal((400, number))
    found = [plateau(one, whole(one)) for one in (series(np.arange(number) * 0.1, value) for value in values)]
    inside = np.mean([abs(one.value) <= student.ppf(0.975, one.freedom) * one.u for one in found])
    assert inside >= 0.93
    assert_allclose(np.median([one.budget[0][1] for one in found]), theory, rtol=0.1)


def test_drift_is_a_rectangular_error() -> None:
    """A rise of 3 K over the span: 1.5 / sqrt(3) = 0.866 K; the slope is that of an independent regression."""
    generator = np.random.default_rng(1)
    time = np.sort(generator.uniform(0, 300, 900))
    value = 60 + time / 100 + 0.05 * generator.standard_normal(900)
    found = plateau(series(time, value), Span(EPOCH, EPOCH + 300))
    (noise, noise_share), (drift, drift_share) = found.budget
    fit = linregress(time, value)
    assert_allclose(drift_share, fit.slope * np.ptp(time) / math.sqrt(12), rtol=2e-3)
    assert_allclose(drift_share, 1.5 / math.sqrt(3), rtol=0.01)
    assert_allclose(found.u, math.hypot(noise_share, drift_share), rtol=1e-12)
    assert (drift.shape, drift.statistical, drift.freedom) == ("rectangular", False, math.inf)
    assert (noise.shape, noise.statistical) == ("normal", True)
    assert noise.freedom < 899
    assert found.quality is Quality.SUSPECT
    assert found.reason.startswith("most of the uncertainty is drift")
    assert_allclose(found.value, value.mean(), rtol=1e-12)
    falling = plateau(series(time, 120 - value), Span(EPOCH, EPOCH + 300))
    assert_allclose([share for _, share in falling.budget], [noise_share, -drift_share], rtol=1e-9)


def test_a_small_drift_is_within_the_statement() -> None:
    """The level at any moment of a slow drift that clearly shows: 2u cover it, though its mean alone would not."""
    generator = np.random.default_rng(11)
    number, inside, mean_alone = 600, [], []
    for moment in generator.uniform(-0.5, 0.5, 1000):
        value = 20 + 0.5 * np.linspace(-0.5, 0.5, number) + 0.2 * generator.standard_normal(number)
        found = plateau(one := series(np.arange(number) * 1.0, value), whole(one))
        inside.append(abs(found.value - (20 + 0.5 * moment)) <= 2 * found.u)
        mean_alone.append(abs(found.value - (20 + 0.5 * moment)) <= 2 * found.budget[0][1])
    assert np.mean(inside) > 0.95
    assert np.mean(mean_alone) < 0.5


@pytest.mark.parametrize(("share", "number"), [(0.0, 300), (0.9, 2000)])
def test_irregular_readings_and_missing_ones_leave_a_plateau_as_sure_as_it_says(share: float, number: int) -> None:
    """A fifth of the readings and a sixth of the span without value; Student's t of the freedom, and 2u."""
    generator = np.random.default_rng(18)
    squares, inside, inside_twice = [], [], []
    for value in correlated(generator, share, (1000, number)):
        time = (np.arange(number) + generator.uniform(-0.4, 0.4, number)) / 2
        value[generator.random(number) < 0.2] = np.nan
        value[number // 3 : number // 2] = np.nan
        found = plateau(one := series(time, 20 + value), whole(one))
        away = abs(found.value - 20) / found.u
        squares.append(away**2)
        inside.append(away <= student.ppf(0.975, found.freedom))
        inside_twice.append(away <= 2)
    say = f"AR {share:g}: z2 {np.mean(squares):.2f}, t covers {np.mean(inside):.3f}, 2u {np.mean(inside_twice):.3f}"
    print(say)  # noqa: T201
    assert np.mean(inside) >= 0.93, say
    assert np.mean(inside_twice) >= 0.93, say
    assert 0.75 <= np.mean(squares) <= 1.25, say


def test_a_spike_makes_a_plateau_as_unsure_as_it_moves_it() -> None:
    """One reading in 600 off by 30 K moves the mean by 0.05 K, which is within 2u and not within what it was before."""
    value = np.random.default_rng(19).normal(20, 0.1, 600)
    clean = plateau(one := series(np.arange(600.0), value), whole(one))
    value[200] += 30
    spiked = plateau(two := series(np.arange(600.0), value), whole(two))
    assert_allclose(spiked.value - clean.value, 0.05, rtol=1e-9)
    assert 2 * clean.u < 0.05 < 2 * spiked.u


def test_moments_since_1970_lose_nothing() -> None:
    """Eight readings a second have moments that are exact both from 0 and from 1.8e9 s on."""
    generator = np.random.default_rng(20)
    time = np.arange(40_000) / 8
    value = 20 + 30 * (time > 2000) + 0.1 * generator.standard_normal(time.size)
    early, late = series(time - EPOCH, value), series(time, value)
    assert early.time[0] == 0
    spans = steady_spans(late, 20.0, 0.5)
    assert [Span(span.start + EPOCH, span.end + EPOCH) for span in steady_spans(early, 20.0, 0.5)] == list(spans)
    for span in spans:
        one, other = plateau(late, span), plateau(early, Span(span.start - EPOCH, span.end - EPOCH))
        assert (one.value, one.u, one.freedom) == (other.value, other.u, other.freedom)


def test_a_plateau_says_what_it_is_made_of() -> None:
    generator = np.random.default_rng(2)
    time = np.arange(0, 200, 0.5)
    value = generator.normal(40, 0.1, 400)
    for point, unit in (("temp_supply", "degC"), ("draft_collector", "Pa"), ("humidity_room", "1")):
        recording = series(time, value, Channel(point, "meter", "degF"))
        found = plateau(recording, whole(recording))
        assert found.unit == unit
        assert f"{point}@meter" in found.budget[0][0].name
        assert "2027-01-15T08:00:00.000Z" in found.budget[0][0].name
        assert found.how is not None
        assert found.how.formula == "plateau"
        assert "readings 400" in found.explain()
        assert (found.quality, found.reason) == (Quality.GOOD, "")


def test_two_spans_are_independent_and_one_is_itself() -> None:
    generator = np.random.default_rng(2)
    recording = series(np.arange(400.0), generator.normal(40, 0.1, 400))
    early, late = Span(EPOCH, EPOCH + 199), Span(EPOCH + 200, EPOCH + 399)
    other = series(np.arange(400.0), recording.value, Channel("temp_return", "thermometer", "degC"))
    assert correlation(plateau(recording, early), plateau(recording, late)) == 0
    assert correlation(plateau(recording, early), plateau(other, early)) == 0
    assert_allclose(correlation(plateau(recording, early), plateau(recording, early)), 1)


def test_too_little_for_a_plateau() -> None:
    time = np.arange(13.0)
    value = np.array([1, np.nan, 2, np.nan, np.nan, 4, 4, 4, 4, 4, 4, 4, 4])
    recording = series(time, value)
    for empty in (Span(EPOCH + 3, EPOCH + 4), Span(EPOCH + 100, EPOCH + 200), Span(EPOCH + 3, EPOCH + 1)):
        none = plateau(recording, empty)
        assert math.isnan(none.value)
        assert math.isnan(none.u)
        assert none.quality is Quality.BAD
        assert none.reason.startswith("no reading with a value of temp_supply@thermometer")
    assert math.isnan(plateau(recording, Span(math.nan, math.nan)).value)
    few = plateau(recording, Span(EPOCH, EPOCH + 3))
    assert (few.value, few.quality, few.budget) == (1.5, Quality.SUSPECT, ())
    assert math.isnan(few.u)
    assert few.reason.startswith("only 2 of the three readings")
    still = plateau(recording, Span(EPOCH + 5, EPOCH + 12))
    assert (still.value, still.u, still.quality) == (4, 0, Quality.GOOD)
    assert plateau(recording, Span(EPOCH + 5, EPOCH + 11)).quality is Quality.SUSPECT


def test_few_independent_readings_and_long_holes_are_doubtful() -> None:
    generator = np.random.default_rng(9)
    slow = correlated(generator, 0.99, (200, 200))
    found = [plateau(one, whole(one)) for one in (series(np.arange(200.0), value) for value in slow)]
    assert np.mean(["as good as independent" in one.reason for one in found]) > 0.7
    assert np.mean([one.quality is Quality.SUSPECT for one in found]) > 0.85
    assert all(bool(one.reason) == (one.quality is Quality.SUSPECT) for one in found)
    time = np.append(np.arange(30.0), 100 + np.arange(30.0))
    hole = plateau(series(time, generator.normal(20, 0.1, 60)), Span(EPOCH, EPOCH + 129))
    assert hole.reason.startswith("no readings for 71 s")
    late = plateau(series(time, generator.normal(20, 0.1, 60)), Span(EPOCH - 300, EPOCH + 129))
    assert late.reason.startswith("no readings for 300 s")


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 99),
    number=st.integers(3, 700),
    moved=st.integers(-(10**8), 10**8),
    raised=st.floats(-1000, 1000),
    scale=st.floats(0.01, 100) | st.floats(-100, -0.01),
)
@example(seed=5, number=8, moved=-36818621, raised=0.0, scale=-100.0)
@example(seed=76, number=8, moved=-3468342, raised=0.0, scale=12.130780577066268)
def test_a_plateau_follows_shift_and_scale(seed: int, number: int, moved: int, raised: float, scale: float) -> None:
    generator = np.random.default_rng(seed)
    time, value = np.arange(number) * 0.25, generator.normal(10, 1, number) + np.linspace(0, seed % 5, number)
    plain = plateau(one := series(time, value), whole(one))
    other = plateau(two := series(time + moved, raised + scale * value), whole(two))
    assert_allclose(other.value, raised + scale * plain.value, rtol=1e-9, atol=1e-9)
    assert_allclose(other.u, abs(scale) * plain.u, rtol=1e-6)
    assert_allclose(other.freedom, plain.freedom, rtol=1e-5)
    assert other.quality == plain.quality
