"""What one channel says while its readings come: no change is passed over because it is a small one."""

import numpy as np
import pytest

from analysis.sequence.hearing import Hearing
from analysis.sequence.signals import HIGH


def heard(point: str, *parts: tuple[float, float], spacing: float = 0.5) -> Hearing:
    """A channel that showed each level for so long [s], looked at as the readings come."""
    hearing, time = Hearing(point, None), 0.0
    noise = np.random.default_rng(4)
    for level, seconds in parts:
        for _ in range(int(seconds / spacing)):
            hearing.readings.add(time, level + 2.0 * float(noise.standard_normal()))
            hearing.listen()
            hearing.voices(time)
            time += spacing
    return hearing


@pytest.mark.parametrize("low", [2000.0, 2020.0])
def test_a_step_between_two_near_stages_is_heard_both_ways(low: float):
    """Within seconds, of an inducer that turns a fifth faster in the high stage: that is less than a dip would be."""
    hearing = heard("speed_inducer", (0.0, 30.0), (low, 90.0), (2400.0, 200.0), (low, 6.0))
    (stage,) = [voice.course for voice in hearing.voices(326.0) if voice.signal == HIGH]
    down = stage.time[np.flatnonzero((stage.state[1:] == 0) & (stage.state[:-1] == 1)) + 1]
    assert down == pytest.approx([320.0], abs=1.0)
    assert stage.state[-2] == 0, "it is in the low stage now"
