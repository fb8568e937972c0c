"""The lags of many sensors over time, block by block."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Lags:
    """What sensors of first order show of what is there, as far back as the longest delay: one column each.

    The exact solution for an input that is straight between its values, settled on the first; the same as
    `analysis.unlag.lagged`, which takes all of it at once. It begins anew after a span without a value.
    """

    def __init__(self, response_times: Sequence[float]) -> None:
        self.time = np.empty(0)
        self.shown = np.empty((0, len(response_times)))
        self._response_times = response_times
        self._step = math.nan
        self._kept = self._behind = np.empty(0)
        self._last = np.full((1, len(response_times)), np.nan)
        self._state = np.zeros(len(response_times))

    def _begin(self, step: float) -> None:
        self._step = step
        times = self._response_times
        self._kept = np.array([math.exp(-step / time) if time else 0.0 for time in times])
        self._behind = np.array([time / step for time in times])

    def follow(self, time: Array, truth: Array) -> None:
        """Go on with a block."""
        gaps = np.diff(np.concatenate([self.time[-1:], time]))
        if gaps.size and math.isnan(self._step):
            self._begin(round(float(gaps[0]), 9))
        if gaps.size and not (self._step > 0 and np.all(np.abs(gaps - self._step) < 1e-6)):
            raise ValueError(f"a block from {time[0]:g} s is not even, or does not go on where the last one ended")
        before = np.concatenate([self._last, truth[:-1]])
        missing, begins = np.isnan(truth), np.isnan(before)
        kept: Array = np.broadcast_to(self._kept if gaps.size else np.zeros(truth.shape[1]), truth.shape)
        behind = (truth - before) * (self._behind if gaps.size else 0.0)
        pushed = truth - behind - kept * (before - behind)
        if begins.any() or missing.any():
            kept = np.where(missing, 1.0, np.where(begins, 0.0, kept))
            pushed = np.where(missing, 0.0, np.where(begins, truth, pushed))
        shown = np.empty_like(pushed)
        state = self._state
        for row, share, push in zip(shown, kept, pushed, strict=True):
            np.multiply(share, state, out=row)
            np.add(row, push, out=row)
            state = row
        self._state, self._last = state.copy(), truth[-1:].copy()
        shown[missing] = np.nan
        self.time, self.shown = np.concatenate([self.time, time]), np.concatenate([self.shown, shown])

    def forget(self, time: float) -> None:
        """Drop what lies before the value at `time` [s]."""
        first = max(int(np.searchsorted(self.time, time, "right")) - 1, 0)
        self.time, self.shown = self.time[first:].copy(), self.shown[first:].copy()

    def straight(self, wanted: Array, column: int) -> Array:
        """Between the values, on straight lines; the first before it."""
        after = np.maximum(np.searchsorted(self.time, wanted), 1)
        begin, end = self.time[after - 1], self.time[after]
        low, high = self.shown[after - 1, column], self.shown[after, column]
        found: Array = low + np.maximum((wanted - begin) / (end - begin), 0.0) * (high - low)
        return found

    def held(self, wanted: Array, column: int) -> Array:
        """The last value at or before each time."""
        found: Array = self.shown[np.searchsorted(self.time, wanted, "right") - 1, column]
        return found
