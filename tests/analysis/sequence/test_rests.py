"""Short rests of the inducer: what a wheel leaves that runs down and up again, and what only looks like it."""

import numpy as np
import pytest

from tests.analysis.sequence.test_edges import changes

FULL = 240.0
"""Suction at full speed. [Pa]"""


def quiet(every: float, until: float = 140.0) -> tuple[np.ndarray, np.ndarray]:
    """Times, and the suction of an inducer that runs from 20 s on until 120 s. [s], [Pa]"""
    time = np.arange(0.0, until, every)
    up, down = 1.0 - np.exp(-np.maximum(time - 20.0, 0.0) / 2.0), np.exp(-np.maximum(time - 120.0, 0.0) / 2.0)
    return time, FULL * up * down


def scattered(suction: np.ndarray, seed: int = 2) -> np.ndarray:
    return -suction + np.random.default_rng(seed).normal(0.0, 0.8, suction.size)


def notched(every: float, width: float, at: float = 70.0, depth: float = 0.9) -> tuple[np.ndarray, np.ndarray]:
    """A notch with upright sides, so wide all the way down. [s]"""
    time, suction = quiet(every)
    suction[np.abs(time - at) <= 0.5 * width] *= 1.0 - depth
    return time, scattered(suction)


def rested(every: float, rest: float, at: float = 70.0) -> tuple[np.ndarray, np.ndarray]:
    """A wheel that runs down for so long [s] and is started again."""
    time, suction = quiet(every)
    low = np.exp(-rest / 2.0)
    down = np.exp(-(time - at) / 2.0)
    up = 1.0 - (1.0 - low) * np.exp(-(time - at - rest) / 2.0)
    inside = time >= at
    suction[inside] *= np.where(time < at + rest, down, up)[inside]
    return time, scattered(suction)


@pytest.mark.parametrize("width", [0.6, 1.0, 1.2])
def test_a_puff_that_is_deep_and_narrow_is_no_rest(width: float) -> None:
    assert [state for _, state in changes(*notched(0.1, width))] == [1, 0]


@pytest.mark.parametrize("width", [2.0, 4.0])
def test_what_is_as_deep_and_wider_is_a_rest(width: float) -> None:
    found = changes(*notched(0.1, width))
    assert [state for _, state in found] == [1, 0, 1, 0]
    assert [at for at, _ in found[1:3]] == pytest.approx([70.0 - 0.5 * width, 70.0 + 0.5 * width], abs=0.7)


@pytest.mark.parametrize(("side", "rest"), [(0.6, True), (1.0, False)])
def test_width_is_measured_between_the_readings(side: float, rest: bool) -> None:
    """Two readings a second, three of them down: the ones beside them tell whether it was wide at half its depth."""
    time, suction = quiet(0.5)
    place = int(np.searchsorted(time, 70.0))
    suction[place : place + 5] *= (side, 0.1, 0.1, 0.1, side)
    assert [state for _, state in changes(time, scattered(suction))] == ([1, 0, 1, 0] if rest else [1, 0])


def test_a_long_rest_is_not_looked_at_for_its_width() -> None:
    """A wheel that nearly stood still, and a gust in the middle of that: the gust alone would be narrow."""
    time, suction = quiet(0.1)
    suction[(time > 62.0) & (time < 76.0)] *= 0.3
    suction[np.abs(time - 69.0) < 0.4] *= 0.05
    found = changes(time, scattered(suction))
    assert [state for _, state in found] == [1, 0, 1, 0]
    assert found[1][0] == pytest.approx(62.0, abs=0.5)


@pytest.mark.parametrize("every", [0.1, 0.5])
@pytest.mark.parametrize("rest", [1.6, 2.5])
def test_a_wheel_that_runs_down_for_a_moment_rested(every: float, rest: float) -> None:
    found = changes(*rested(every, rest))
    assert [state for _, state in found] == [1, 0, 1, 0]
    assert [at for at, _ in found[1:3]] == pytest.approx([70.0, 70.0 + rest], abs=0.3 + 2 * every)


@pytest.mark.parametrize("phase", [0.0, 0.25, 0.5, 0.75])
@pytest.mark.parametrize("rest", [1.6, 2.0, 2.5, 3.0])
def test_a_rest_is_seen_whole_at_one_reading_a_second(rest: float, phase: float) -> None:
    """The middle of three flattens the point of the dip: two readings are lowest, and the rest lasts through both."""
    found = changes(*rested(1.0, rest, 70.0 + phase))
    assert [state for _, state in found] == [1, 0, 1, 0]
    fell, rose = (at - 70.0 - phase for at, _ in found[1:3])
    assert fell == pytest.approx(0.0, abs=0.8)
    assert rest - 0.2 < rose < rest + 1.2, "it runs up slowly, and that is seen with the reading after"
