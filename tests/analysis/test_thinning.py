"""Thinning for the screen: properties that hold for any series."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from analysis.thinning import SMALLEST, Array, thin, usual_spacing, with_gaps


@st.composite
def series(draw: st.DrawFn) -> tuple[Array, Array]:
    size = draw(st.integers(0, 600))
    steps = draw(arrays.arrays(np.float64, size, elements=st.floats(0.01, 100.0)))
    number = st.floats(-1e6, 1e6) | st.just(float("nan")) | st.just(float("inf"))
    fill = st.floats(-1.0, 1.0)
    value = draw(arrays.arrays(np.float64, size, elements=number, fill=fill))
    return np.cumsum(steps), value


@given(series(), st.integers(SMALLEST, 200))
def test_thinned_series_is_short_ordered_and_taken_from_the_source(source: tuple[Array, Array], points: int) -> None:
    time, value = source
    thin_time, thin_value = thin(time, value, points)
    assert thin_time.size == thin_value.size <= max(points, 0)
    assert np.all(np.diff(thin_time) > 0)
    where = np.searchsorted(time, thin_time)
    assert np.array_equal(time[where], thin_time)
    finite = np.isfinite(thin_value)
    assert np.array_equal(thin_value[finite], value[where][finite])
    assert not np.any(np.isfinite(value[where][~finite]))


@given(series(), st.integers(SMALLEST, 200))
def test_smallest_largest_first_and_last_value_are_kept(source: tuple[Array, Array], points: int) -> None:
    time, value = source
    thin_time, thin_value = thin(time, value, points)
    good = np.isfinite(value)
    kept = thin_value[np.isfinite(thin_value)]
    if not good.any():
        assert kept.size == 0
        return
    assert kept.min() == value[good].min()
    assert kept.max() == value[good].max()
    assert thin_time[np.isfinite(thin_value)][0] == time[good][0]
    assert thin_time[np.isfinite(thin_value)][-1] == time[good][-1]


@given(
    st.lists(st.tuples(st.integers(1, 400), st.integers(1, 30)), min_size=2, max_size=8),
    st.integers(60, 200),
)
def test_a_gap_is_never_bridged_and_keeps_its_edges_while_gaps_are_few(
    runs: list[tuple[int, int]], points: int
) -> None:
    value = np.concatenate([np.r_[np.arange(float(good)), np.full(bad, np.nan)] for good, bad in runs])
    time = np.arange(float(value.size))
    thin_time, thin_value = thin(time, value, points)
    broken = np.isnan(thin_value)
    begin = 0
    for good, bad in runs:
        assert {float(begin), float(begin + good - 1)} <= set(thin_time[~broken])
        begin += good + bad
    begin = 0
    for good, bad in runs[:-1]:
        first_bad = begin + good
        assert np.any(broken[(thin_time >= first_bad) & (thin_time < first_bad + bad)])
        begin = first_bad + bad


def test_a_single_spike_between_two_gaps_survives() -> None:
    time = np.arange(10_000.0)
    value = np.zeros(10_000)
    value[4_000:4_003] = (np.nan, 9.0, np.nan)
    thin_time, thin_value = thin(time, value, 100)
    at = int(np.flatnonzero(thin_time == 4_001.0)[0])
    assert np.array_equal(thin_value[at - 1 : at + 2], [np.nan, 9.0, np.nan], equal_nan=True)


def test_beyond_a_sixth_of_the_points_the_longest_gaps_stay() -> None:
    value = np.ones(9_000)
    value[::3] = np.nan
    value[4_500:4_700] = np.nan
    time = np.arange(9_000.0)
    thin_time, thin_value = thin(time, value, 120)
    assert thin_time.size <= 120
    assert np.any(np.isnan(thin_value[(thin_time > 4_490) & (thin_time < 4_710)]))


@given(series(), st.floats(0.1, 50.0))
def test_with_gaps_breaks_every_long_spacing_and_only_those(source: tuple[Array, Array], gap: float) -> None:
    time, _ = source
    value = np.ones_like(time)
    gap_time, gap_value = with_gaps(time, value, gap)
    assert np.all(np.diff(gap_time) > 0)
    assert np.count_nonzero(np.isnan(gap_value)) == np.count_nonzero(np.diff(time) > gap)
    assert np.array_equal(gap_time[np.isfinite(gap_value)], time)
    drawn = np.isfinite(gap_value[:-1]) & np.isfinite(gap_value[1:])
    assert np.all(np.diff(gap_time)[drawn] <= gap)


def test_usual_spacing_is_not_moved_by_one_gap() -> None:
    assert usual_spacing(np.array([0.0, 0.5, 1.0, 60.0, 60.5, 61.0])) == 0.5
    assert np.isnan(usual_spacing(np.array([1.0])))


def test_too_few_points_is_a_wrong_request() -> None:
    with pytest.raises(ValueError, match="23 points"):
        thin(np.arange(100.0), np.arange(100.0), 23)
