"""How long states last: what is read off the table is what the distributions say (scipy's, worked out one by one)."""

import numpy as np
import pytest
from scipy.stats import lognorm, norm

from analysis.model import Timing
from analysis.sequence.durations import Durations
from analysis.sequence.states import NUMBER, STATES

TIMING = Timing(prepurge=30.0, igniter_warmup=17.0, post_purge=15.0)
LENGTHS = np.array([0.12, 0.5, 1.0, 3.3, 14.9, 17.0, 29.4, 30.0, 30.7, 45.0, 123.4, 900.0, 7200.0])


def by_scipy(name: str, length: float, told: float | None) -> tuple[float, float]:
    """Logarithms of density and of the probability to last longer, by scipy's distributions."""
    low, usual, high = STATES[NUMBER[name]].envelope
    wide = lognorm(max(np.log(high / low) / 4.0, 0.25), scale=usual)
    beyond = 8.0 * max(length / high - 1.0, 0.0)
    if told is None:
        return float(np.log(wide.pdf(length) + 1e-7) - beyond), float(np.log(wide.sf(length) + 1e-6) - beyond)
    near, share = norm(told, 0.35 + 0.015 * told), STATES[NUMBER[name]].told
    density = share * near.pdf(length) + (1 - share) * (wide.pdf(length) + 1e-7)
    lasting = share * near.sf(length) + (1 - share) * wide.sf(length) + 1e-6
    return float(np.log(density) - beyond), float(np.log(lasting) - beyond)


@pytest.mark.parametrize(
    ("name", "told"),
    [("prepurge", 30.0), ("igniter_warmup", 17.0), ("post_purge", 15.0), ("idle", None), ("ignition_trial", None)],
)
def test_the_table_has_what_the_distributions_say(name: str, told: float | None) -> None:
    durations = Durations(TIMING)
    found = durations.ends_or_lasts(LENGTHS)[:, :, NUMBER[name]]
    assert found == pytest.approx(np.array([by_scipy(name, each, told) for each in LENGTHS.tolist()]), abs=0.02)


def test_each_state_can_be_asked_for_a_duration_of_its_own() -> None:
    durations = Durations(TIMING)
    own = np.linspace(1.0, 80.0, len(STATES))
    every = durations.ends_or_lasts(own)
    assert durations.of_each(own) == pytest.approx(np.stack([every[place, :, place] for place in range(len(STATES))]).T)


def test_what_lasts_beyond_the_table_costs_as_much_as_its_end() -> None:
    days = Durations(None).ends_or_lasts(np.array([2e5, 9e5]))
    assert np.isfinite(days).all()
    assert days[0] == pytest.approx(days[1])
