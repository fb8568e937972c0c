"""Steady spans against an independent regression, known ramps, steps and noise."""

import math
import time as clock

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import linregress

from analysis.quantity import Quantity
from analysis.steady import Span, plateau, steady_spans
from tests.analysis.recorded import EPOCH, correlated, covered, series, whole
from tests.system import open_data


@pytest.mark.parametrize(("scatter", "share"), [(0.05, 0.0), (0.3, 0.0), (0.05, 0.9), (0.2, 0.9)])
@pytest.mark.parametrize("rate", [1.0, 10.0])
def test_true_plateaus_are_found(scatter: float, share: float, rate: float) -> None:
    """How much of ten minutes without any change is called steady, by a meter of u 0.5 K and 20 s."""
    generator = np.random.default_rng(4)
    values = 60 + scatter * correlated(generator, share, (25, round(600 * rate)))
    found = [steady_spans(series(np.arange(value.size) / rate, value), 20.0, 0.5) for value in values]
    missed = 1 - np.mean([covered(spans) for spans in found]) / (600 - 1 / rate)
    print(f"scatter {scatter:g} K, AR {share:g}, {rate:g} Hz: {missed:.3f} missed")  # noqa: T201
    assert missed < 0.03
    assert np.mean([len(spans) for spans in found]) < 1.2


@pytest.mark.parametrize(("scatter", "share"), [(0.05, 0.0), (0.3, 0.0), (1.0, 0.0), (0.05, 0.9), (0.3, 0.9)])
@pytest.mark.parametrize("rate", [1.0, 10.0])
def test_ramps_are_not_called_steady(scatter: float, share: float, rate: float) -> None:
    """The same meter, whose limit is 0.5 K a minute: how much of a ramp of 1, 2 and 4 K a minute is called steady."""
    generator = np.random.default_rng(5)
    noise = scatter * correlated(generator, share, (25, round(600 * rate)))
    time = np.arange(noise.shape[1]) / rate
    wrong = [
        float(np.mean([covered(steady_spans(series(time, value + pace * time / 60), 20.0, 0.5)) for value in noise]))
        / 600
        for pace in (1, 2, 4)
    ]
    print(f"scatter {scatter:g} K, AR {share:g}, {rate:g} Hz: {np.round(wrong, 3)} called steady")  # noqa: T201
    assert wrong[0] < 0.25
    assert wrong[1] < 0.02
    assert wrong[2] == 0


def test_many_windows_on_a_slow_ramp_are_not_one_long_span() -> None:
    """0.15 K a minute in scatter of 0.5 K does not show within a minute; over an hour it is 9 K, and U is 1 K."""
    generator = np.random.default_rng(6)
    time = np.arange(3600.0)
    spans = steady_spans(series(time, 20 + 0.15 * time / 60 + generator.normal(0, 0.5, 3600)), 20.0, 0.5)
    assert spans
    rises = [0.15 * (span.end - span.start) / 60 for span in spans]
    print(f"{len(spans)} spans, rising by up to {max(rises):.2f} K")  # noqa: T201
    assert max(rises) < 1.25
    assert min(span.end - span.start for span in spans) >= 60


def test_a_window_is_judged_like_an_independent_regression_judges_it() -> None:
    """One window of 64 independent readings: scipy.stats.linregress and the limit of U/2, where both are clear."""
    generator = np.random.default_rng(10)
    time = np.arange(64.0)
    clear = {True: 0, False: 0}
    for slope in np.append(generator.uniform(-0.02, 0.02, 500), np.zeros(500)):
        value = 20 + slope * time + 0.15 * generator.standard_normal(64)
        fit = linregress(time, value)
        change = abs(fit.slope) * 63
        still = change < 0.8 * 0.5 and fit.pvalue > 0.4
        moving = change > 1.05 * 0.5 or fit.pvalue < 1e-7
        if still == moving:
            continue
        clear[still] += 1
        spans = steady_spans(series(time, value), 21.0, 0.5)
        assert bool(spans) == still, (fit.slope, fit.pvalue)
        assert not spans or (spans[0].start, spans[0].end) == (EPOCH, EPOCH + 63)
    assert min(clear.values()) > 100


@pytest.mark.parametrize("rate", [1.0, 10.0])
@pytest.mark.parametrize("response_time", [5.0, 20.0, 60.0])
def test_steps_end_and_begin_spans(response_time: float, rate: float) -> None:
    """Irregular readings of a step of 30 K, closed form: nothing of the transient is in a span, nearly all else is."""
    generator = np.random.default_rng(12)
    length, u = 20 * response_time, 0.5
    for _ in range(10):
        time = np.arange(round(2 * length * rate)) / rate
        time += generator.uniform(0, 0.9, time.size) / rate
        value = 20 + 30 * -np.expm1(-np.maximum(time - length, 0) / response_time)
        spans = steady_spans(series(time, value + generator.normal(0, 0.1, time.size)), response_time, u)
        assert len(spans) == 2
        first, second = spans
        assert length - 1.5 * response_time < first.end - EPOCH < length + response_time / 10
        left = 30 * math.exp(-(second.start - EPOCH - length) / response_time)
        assert left < 2 * u, "what is still to come when the span begins is below U"
        settled = length + response_time * math.log(30 / u)
        assert second.start - EPOCH < settled + 2 * response_time
        assert first.start - EPOCH < 0.5 * response_time + 5
        assert second.end - EPOCH > 2 * length - 0.5 * response_time - 5


def test_without_noise_a_settling_instrument_becomes_steady() -> None:
    time = np.arange(0, 400, 0.5)
    spans = steady_spans(series(time, 20 + 60 * -np.expm1(-time / 20)), 20.0, 0.5)
    assert len(spans) == 1
    assert 60 * math.exp(-(spans[0].start - EPOCH) / 20) < 1.0
    assert spans[0].start - EPOCH < 20 * math.log(60 / 0.1)
    assert spans[0].end == EPOCH + time[-1]


def test_a_reading_without_value_and_a_hole_end_a_span() -> None:
    generator = np.random.default_rng(13)
    time = np.arange(0, 600.0)
    value = generator.normal(20, 0.1, 600)
    value[300] = np.nan
    spans = steady_spans(series(time, value), 20.0, 0.5)
    assert [(span.start - EPOCH, span.end - EPOCH) for span in spans] == [(0, 299), (301, 599)]
    assert len(steady_spans(series(time, value), 20.0, 0.5, gap=5.0)) == 1
    for hole, gap, number in ((15, None, 1), (25, None, 2), (15, 14.0, 2), (25, 30.0, 1)):
        kept = (time < 300) | (time >= 300 + hole)
        found = steady_spans(series(time[kept], np.nan_to_num(value, nan=20.0)[kept]), 20.0, 0.5, gap=gap)
        assert len(found) == number, (hole, gap)


def test_one_spike_does_not_hide_a_plateau() -> None:
    generator = np.random.default_rng(14)
    value = generator.normal(20, 0.1, 6000)
    value[3000] += 30
    spans = steady_spans(series(np.arange(6000) / 10, value), 20.0, 0.5)
    assert covered(spans) > 0.95 * 599.9


def test_windows_have_length_and_readings_enough() -> None:
    generator = np.random.default_rng(15)
    value = generator.normal(20, 0.05, 60)
    for spacing, response_time, readings, least in (
        (1.0, 20.0, 12, 60.0),
        (30.0, 5.0, 12, 330.0),
        (1.0, 2.0, 30, 29.0),
    ):
        for number in range(2, 60):
            time = np.arange(number) * spacing
            long_enough = time[-1] >= max(least, 3 * response_time)
            found = steady_spans(series(time, value[:number]), response_time, 2.0, readings=readings)
            assert bool(found) == long_enough, (spacing, number)
            assert all(span.end - span.start >= least - 1e-6 for span in found)


def test_more_readings_in_a_window_see_a_slower_change() -> None:
    """0.7 K in 29 s: a window of 12 readings cannot tell it from scatter, one of 30 can."""
    generator = np.random.default_rng(26)
    time = np.arange(30.0)
    recordings = [series(time, 20 + 0.025 * time + generator.normal(0, 0.15, 30)) for _ in range(20)]
    few, many = (
        [bool(steady_spans(recording, 2.0, 0.5, readings=readings)) for recording in recordings]
        for readings in (12, 30)
    )
    assert np.mean(few) > 0.6
    assert np.mean(many) < 0.1


def test_what_cannot_be_judged_is_not_steady() -> None:
    recording = series(np.arange(300.0), np.full(300, 20.0))
    assert steady_spans(recording, 20.0, 0.5) == (whole(recording),)
    for response_time, u in (
        (-1.0, 0.5),
        (math.nan, 0.5),
        (math.inf, 0.5),
        (20.0, 0.0),
        (20.0, math.nan),
        (20.0, -1.0),
    ):
        assert steady_spans(recording, response_time, u) == ()
    assert steady_spans(recording, 20.0, 0.5, readings=7) == ()
    assert steady_spans(recording, 20.0, 0.5, gap=0.0) == ()
    assert steady_spans(series(np.arange(300.0), np.full(300, np.nan)), 20.0, 0.5) == ()
    assert steady_spans(series(np.arange(0.0), np.zeros(0)), 20.0, 0.5) == ()
    noisy = series(np.arange(90.0), np.random.default_rng(1).normal(20, 5, 90))
    assert steady_spans(noisy, 20.0, 0.5) == (), "a scatter of ten u could hide any drift"


@settings(max_examples=30, deadline=None)
@given(
    seed=st.integers(0, 99), moved=st.integers(-(10**8), 10**8), raised=st.floats(-1e4, 1e4), scale=st.floats(0.01, 100)
)
def test_spans_follow_shift_and_scale(seed: int, moved: int, raised: float, scale: float) -> None:
    generator = np.random.default_rng(seed)
    time = np.arange(1200) * 0.5
    value = 20 + 10 * (time > 250) * -np.expm1(-np.maximum(time - 250, 0) / 10) + generator.normal(0, 0.1, 1200)
    plain = steady_spans(series(time, value), 10.0, 0.5)
    other = steady_spans(series(time + moved, raised + scale * value), 10.0, 0.5 * scale)
    slower = steady_spans(series(4 * time, value), 40.0, 0.5)
    assert plain
    assert [Span(span.start - moved, span.end - moved) for span in other] == list(plain)
    assert [Span((span.start - EPOCH) / 4 + EPOCH, (span.end - EPOCH) / 4 + EPOCH) for span in slower] == list(plain)


def test_a_day_at_ten_readings_a_second_takes_ten_times_as_long_as_a_tenth_of_it() -> None:
    generator = np.random.default_rng(16)
    taken = []
    for number in (86_400, 864_000):
        value = 20 + 30 * (np.arange(number) // 6000 % 2) + 0.05 * generator.standard_normal(number)
        recording = series(np.arange(number) / 10, value)
        start = clock.process_time()
        spans = steady_spans(recording, 20.0, 0.5)
        taken.append(clock.process_time() - start)
        assert len(spans) == math.ceil(number / 6000)
        assert covered(spans) > 0.999 * number / 10
    print(f"{taken[0]:.2f} s and {taken[1]:.2f} s")  # noqa: T201
    assert taken[1] < 40 * taken[0] + 1, "a square law would need a hundred times"


# --- both together, and real air -----------------------------------------------------------------------------------


def test_level_after_a_step_through_a_slow_thermometer() -> None:
    """The plateau of the last span against the level put in: what is left of the lag stays below the meter's U."""
    generator = np.random.default_rng(17)
    time = np.arange(0, 600, 0.5)
    found: list[Quantity] = []
    for _ in range(200):
        value = 21 + 30 * -np.expm1(-np.maximum(time - 60, 0) / 20) + 0.2 * correlated(generator, 0.5, (1, 1200))[0]
        recording = series(time, value)
        found.append(plateau(recording, steady_spans(recording, 20.0, 0.5)[-1]))
    errors = np.array([one.value - 51 for one in found])
    assert np.max(np.abs(errors)) < 0.2
    assert np.mean(errors) < 0, "a meter that lags comes from below"


def test_steady_spans_of_a_real_office() -> None:
    """Air of an office each minute (UCI occupancy detection, Candanedo and Feldheim 2016), meter of +-0.5 K, 5 min."""
    column = open_data.office().columns["temp_room@office [degC]"]
    time = (
        np.array([np.datetime64(stamp.rstrip("Z")) for stamp, _ in column]).astype("datetime64[s]").astype(np.float64)
    )
    kept = np.append([True], np.diff(time) > 0)
    recording = series(time[kept] - EPOCH, np.array([float(value) for _, value in column])[kept])
    spans = steady_spans(recording, 300.0, 0.3)
    assert 3 < len(spans) < 60
    for span in spans:
        inside = (recording.time >= span.start) & (recording.time <= span.end)
        fit = linregress(recording.time[inside] - span.start, recording.value[inside])
        assert abs(fit.slope) * (span.end - span.start) <= 0.6 + 1e-9
        assert np.ptp(recording.value[inside]) < 1.5
        found = plateau(recording, span)
        assert_allclose(found.value, recording.value[inside].mean(), rtol=1e-12)
        assert found.u < 0.6
