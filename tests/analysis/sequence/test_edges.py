"""When a channel went on and off, from its own levels."""

import numpy as np
import pytest

from analysis.sequence.edges import course
from analysis.sequence.levels import Learning
from analysis.sequence.signals import TELLING

DRAFT = TELLING["draft_collector"]


def ran(
    every: float, spans: list[tuple[float, float]], until: float, slow: float = 2.0
) -> tuple[np.ndarray, np.ndarray]:
    """Suction of an inducer that runs in these spans, runs up and down slowly, and scatters."""
    time = np.arange(0.0, until, every)
    value, level = np.zeros(time.size), 0.0
    for number, at in enumerate(time):
        level += ((240.0 if any(a <= at < b for a, b in spans) else 0.0) - level) * (1.0 - np.exp(-every / 2.0))
        value[number] = -level
    return time, value + np.random.default_rng(2).normal(0.0, 0.8, time.size)


def changes(time: np.ndarray, value: np.ndarray) -> list[tuple[float, int]]:
    learning = Learning()
    learning.learn(time, value)
    said = course(time, value, DRAFT, learning.levels(DRAFT))
    kept = said.changes
    return list(zip(said.time[kept].tolist(), said.state[kept].tolist(), strict=True))


@pytest.mark.parametrize("every", [0.1, 0.5])
def test_a_rest_too_short_to_run_down_is_a_rest(every: float):
    found = changes(*ran(every, [(30.0, 110.0), (111.6, 200.0)], 260.0))
    assert [state for _, state in found] == [1, 0, 1, 0]
    assert [at for at, _ in found] == pytest.approx([30.0, 110.0, 111.6, 200.0], abs=0.3 + 2 * every)


def test_a_lower_stage_is_no_rest():
    """Half the suction, and it stays: the inducer goes on."""
    time, value = ran(0.1, [(30.0, 200.0)], 260.0)
    value[(time > 90.0) & (time < 150.0)] *= 0.56
    assert [state for _, state in changes(time, value)] == [1, 0]


def test_a_spike_is_no_change():
    time, value = ran(0.5, [(30.0, 200.0)], 260.0)
    value[20], value[200], value[500] = -800.0, 300.0, -500.0
    assert [state for _, state in changes(time, value)] == [1, 0]
