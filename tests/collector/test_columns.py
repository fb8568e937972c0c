"""The columns of a block: every bit comes back, whatever the numbers, and instruments' numbers take little."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from collector.columns import DECIMAL, GRID, packed_times, packed_values, unpacked_times, unpacked_values

COUNT = 4000
MILLISECOND = 1_000_000
START = 1_768_372_200 * 1000 * MILLISECOND
ANY = st.integers(0, 2**64 - 1)
NUMBERS = st.decimals(-(10**6), 10**6, places=3).map(float) | st.sampled_from((math.nan, math.inf, -0.0, 5e-324, 1e300))


def same_bits(value: np.ndarray) -> bytes:
    """What they were packed to, when they came back bit for bit."""
    content = packed_values(value)
    assert unpacked_values(content).tobytes() == value.tobytes()
    return content


def same_times(time: np.ndarray) -> bytes:
    content = packed_times(time)
    assert unpacked_times(content).tobytes() == time.tobytes()
    return content


def least(ways: int) -> float:
    """Bytes that as many draws of so many equally likely numbers take at least, and a tenth and a head more."""
    return 1.1 * COUNT * math.log2(ways) / 8 + 100


def jittered(seed: int, count: int = COUNT, rate: float = 100.0, jitter: int = 5) -> np.ndarray:
    """Times of a meter that is read at 10 Hz and says milliseconds, its clock a little off each time. [ns]"""
    late = np.random.default_rng(seed).integers(-jitter, jitter + 1, count)
    time: np.ndarray = START + (np.rint(np.arange(count) * rate).astype(np.int64) + late) * MILLISECOND
    return time


@given(bits=st.lists(ANY, min_size=1, max_size=200))
def test_values_of_any_bits_come_back(bits):
    same_bits(np.array(bits, np.uint64).view(np.float64))


@given(values=st.lists(NUMBERS, min_size=1, max_size=300))
def test_decimals_among_what_is_none_come_back(values):
    same_bits(np.array(values))


@given(
    first=st.integers(-(2**63), 2**63 - 1),
    steps=arrays(np.uint64, st.integers(0, 200), elements=st.integers(1, 2**57) | st.integers(1, 1000)),
)
def test_times_that_rise_come_back(first, steps):
    times = [first, *(first + int(passed) for passed in np.cumsum(steps, dtype=object))]
    same_times(np.array([time for time in times if time < 2**63], np.int64))


@pytest.mark.parametrize("places", range(7))
def test_the_digits_of_a_meter_take_less_than_its_bits(places):
    walk = np.cumsum(np.random.default_rng(places).integers(-2, 3, COUNT))
    content = same_bits(walk / 10.0**places)
    assert content[:1] == DECIMAL
    assert len(content) < least(5)


def test_a_few_values_that_are_none_do_not_end_that():
    value = np.round(20 + np.sin(np.arange(COUNT) / 50), 2)
    plain = len(same_bits(value))
    value[[0, 7, 8, 9, COUNT - 1]] = (math.nan, math.inf, -0.0, 1 / 3, math.nan)
    content = same_bits(value)
    assert content[:1] == DECIMAL
    assert len(content) < plain + 300


def test_what_is_no_decimal_stays_as_it_is():
    content = same_bits(np.random.default_rng(1).normal(size=COUNT))
    assert content[:1] == b"p"


def test_the_times_of_a_meter_take_what_its_clock_is_off():
    content = same_times(jittered(1))
    assert content[:1] == GRID
    assert len(content) < least(11)


def test_times_with_gaps_lie_on_one_grid():
    time = np.delete(jittered(2), np.r_[100:103, 2000:2600, 3333])
    content = same_times(time)
    assert content[:1] == GRID
    assert len(content) < least(11)


def test_a_clock_that_runs_away_lies_on_a_grid_of_its_own():
    assert len(same_times(jittered(3, rate=100.37))) < least(11)


def test_times_at_random_stay_differences():
    steps = np.random.default_rng(4).exponential(1e9, COUNT).astype(np.int64) + 1
    assert same_times(START + np.cumsum(steps))[:1] == b"p"


def test_what_did_not_come_out_bit_for_bit_is_not_taken(monkeypatch):
    """The plain form is, whatever is wrong with the other: the one bit that is flipped here."""
    time, value = jittered(5), np.round(np.arange(COUNT) / 7, 2)
    for name in ("unpacked_times", "unpacked_values"):
        monkeypatch.setattr(f"collector.columns.{name}", lambda content: np.zeros(COUNT))
    contents = packed_times(time), packed_values(value)
    monkeypatch.undo()
    assert [content[:1] for content in contents] == [b"p", b"p"]
    assert np.array_equal(unpacked_times(contents[0]), time)
    assert np.array_equal(unpacked_values(contents[1]), value)
