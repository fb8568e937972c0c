"""A general library for change points on the same recordings: what it finds in draft and supply temperature.

`ruptures`, PELT with the squared error of a level (its compiled form, `KernelCPD` with the linear kernel; the one in
Python took 25 s for 1,800 rows here, this one 0.01 s). Both signals are brought to one grid of 2 Hz, held between
readings: what it takes grows with the square of the rows, and a thermometer reads once a second. Each is divided by its
own range, so that both count alike, and spikes are cut off. Of several penalties the one is taken that does best in
hindsight, in its favour.
"""

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.model import Series
from analysis.sequence.attempts import Attempt
from tests.sequence.evidence import DRAFT
from tests.sequence.recordings import Recorded

RATE = 2.0
"""Of the grid. [Hz]"""
PENALTIES = (0.01, 0.03, 0.1, 0.3, 1.0)
"""Of one more change, in squares of the signals' ranges, times the rate. [1]"""
WITHIN = 3.0
"""A change point belongs to a boundary within this. [s]"""


@dataclass(frozen=True, slots=True)
class Nearness:
    """Change points beside true boundaries."""

    median: float
    """From each true boundary to the nearest change point. [s]"""
    p95: float
    found: float
    """Share of true boundaries with a change point within 3 s. [1]"""
    right: float
    """Share of change points with a true boundary within 3 s. [1]"""
    seconds: float
    """For one recording, processor time. [s]"""

    @property
    def f1(self) -> float:
        """Harmonic mean of the shares. [1]"""
        return 2 * self.found * self.right / max(self.found + self.right, 1e-9)


def can_compare(recorded: Recorded) -> bool:
    """Whether a recording has draft and supply temperature."""
    return bool(_signals(recorded))


def _signals(recorded: Recorded) -> tuple[Series, ...]:
    of = {one.channel.point: one for one in recorded.series if one.time.size > 100}
    draft = next((of[point] for point in ("draft_switch", "draft_collector", *DRAFT) if point in of), None)
    supply = of.get("temp_supply")
    return (draft, supply) if draft is not None and supply is not None else ()


def change_points(recorded: Recorded) -> tuple[dict[float, NDArray[np.float64]], float]:
    """Times of change [s] by penalty, and the processor time of one run. [s]"""
    import ruptures

    grid = np.arange(recorded.start, recorded.end, 1.0 / RATE)
    columns = []
    for one in _signals(recorded):
        good = ~np.isnan(one.value)
        place = np.searchsorted(one.time[good], grid, "right") - 1
        held = one.value[good][np.maximum(place, 0)]
        low, high = np.quantile(held, [0.01, 0.99])
        columns.append(np.clip((held - low) / max(high - low, 1e-9), -0.5, 1.5))  # spikes are not let in
    signal = np.column_stack(columns)
    found = {}
    began = time.process_time()
    for penalty in PENALTIES:
        ends = ruptures.KernelCPD(kernel="linear", min_size=2).fit(signal).predict(pen=penalty * RATE)
        found[penalty] = grid[np.array(ends[:-1], int)]
    return found, (time.process_time() - began) / len(PENALTIES)


def edges(attempts: Sequence[Attempt], recorded: Recorded) -> NDArray[np.float64]:
    """Starts of phases and ends of attempts within a recording. [s]"""
    times = {span.start for one in attempts for span in one.phases} | {one.end for one in attempts}
    return np.array(sorted(time for time in times if recorded.start + 1.0 < time < recorded.end - 1.0))


def nearness(true: Sequence[NDArray[np.float64]], found: Sequence[NDArray[np.float64]], seconds: float) -> Nearness:
    """How near found times come to true ones, over recordings; what is not found counts as a minute off."""
    apart = np.concatenate([_apart(one, other) for one, other in zip(true, found, strict=True)])
    back = np.concatenate([_apart(other, one) for one, other in zip(true, found, strict=True)])
    middle, far = np.quantile(apart, [0.5, 0.95])
    right = float(np.mean(back <= WITHIN)) if back.size else 0.0
    return Nearness(float(middle), float(far), float(np.mean(apart <= WITHIN)), right, seconds)


def _apart(these: NDArray[np.float64], those: NDArray[np.float64]) -> NDArray[np.float64]:
    if not these.size or not those.size:
        return np.full(these.size, 60.0)
    place = np.clip(np.searchsorted(those, these), 1, max(those.size - 1, 1))
    left, right = those[place - 1], those[np.minimum(place, those.size - 1)]
    return np.minimum(np.minimum(np.abs(these - left), np.abs(these - right)), 60.0)


def library(recordings: Sequence[Recorded], true: Sequence[NDArray[np.float64]]) -> Nearness:
    """The library at its best penalty."""
    runs = [change_points(one) for one in recordings]
    seconds = float(np.mean([took for _, took in runs]))
    return max((nearness(true, [found[penalty] for found, _ in runs], seconds) for penalty in PENALTIES), key=_f1)


def _f1(one: Nearness) -> float:
    return one.f1
