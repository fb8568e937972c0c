"""Made recordings for the tests on steadiness and lag: noise of known theory, times of today."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter

from analysis.model import Channel, Series
from analysis.steady import Span

Array = NDArray[np.float64]

METER = Channel("temp_supply", "thermometer", "degC")
EPOCH = 1.8e9
"""[s]"""


def series(time: NDArray[np.floating], value: ArrayLike, channel: Channel = METER) -> Series:
    return Series(channel, np.asarray(time + EPOCH, np.float64), np.asarray(value, np.float64))


def whole(recording: Series) -> Span:
    return Span(float(recording.time[0]), float(recording.time[-1]))


def correlated(generator: np.random.Generator, share: float, shape: tuple[int, int]) -> Array:
    """AR(1) of unit variance, begun in its steady state."""
    drawn = generator.standard_normal(shape)
    drawn[:, 1:] *= math.sqrt(1 - share**2)
    made: Array = lfilter([1.0], [1.0, -share], drawn, axis=1)
    return made


def variance_of_mean(share: float, number: int) -> float:
    """Of an AR(1) of unit variance, exactly (for instance Box, Jenkins and Reinsel, Time Series Analysis, 2.1.5)."""
    lags = np.arange(1, number)
    return (1 + 2 * float(np.sum((1 - lags / number) * share**lags))) / number


def covered(spans: tuple[Span, ...]) -> float:
    """[s]"""
    return sum(span.end - span.start for span in spans)
