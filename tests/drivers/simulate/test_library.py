"""The library of a diagnosis: what is in the program is what its command makes, and what no visit saw is physics."""

import numpy as np
import pytest

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES, NUMBER
from collector.diagnosing import cases
from drivers.simulate.as_if_run import TAKEN, filled
from drivers.simulate.library import COUNT, FIRST, ROUND, case, cause_of, gathered


def test_the_library_of_the_program_is_the_one_that_its_command_makes() -> None:
    """The first two cases, made anew."""
    kept, found = cases(), gathered([case(0), case(1)])
    assert kept.cause.size == COUNT
    assert np.array_equal(found.cause, kept.cause[:2])
    assert np.array_equal(found.flags, kept.flags[:2])
    assert np.allclose(found.severity, kept.severity[:2], atol=1e-3)
    told = np.isfinite(found.values)
    assert np.array_equal(told, np.isfinite(kept.values[:2]))
    apart = np.abs(found.values - kept.values[:2])[told]
    assert apart.max() < 0.02 + 1e-3 * np.abs(found.values[told]).max()


def test_every_cause_is_there_as_often_and_more_are_sound() -> None:
    kept = cases()
    count = np.bincount(kept.cause, minlength=len(CAUSES))
    assert set(count[1:].tolist()) == {COUNT // ROUND}
    assert count[0] == COUNT // ROUND * (ROUND - len(CAUSES) + 1)
    assert [cause_of(number) for number in range(3)] == list(CAUSES[:3])


def test_a_state_that_a_unit_did_not_reach_is_filled_and_what_was_seen_stays() -> None:
    values = np.full((2, len(FEATURES)), np.nan)
    place = NUMBER["draft_collector.hot.high"]
    values[0, place] = 7.0
    found = filled(values, [FIRST, FIRST + 1], ["none", "vent_blocked"], [0.0, 0.9])
    assert found[0, place] == 7.0
    assert np.isfinite(found[1, place])
    outside = [n for name, n in NUMBER.items() if name not in TAKEN]
    assert np.isnan(found[:, outside]).all()


def test_what_is_filled_is_what_a_sound_unit_shows_when_it_runs() -> None:
    """Taps and gas pressure of the first sound unit of the library, seen in its visit and taken through the states."""
    kept = cases()
    row = int(np.flatnonzero(kept.cause == CAUSES.index("none"))[0])
    blank = np.full((1, len(FEATURES)), np.nan)
    found = filled(blank, [FIRST + row], ["none"], [0.0])[0]
    for name in ("draft_collector.hot.high", "draft_transition.hot.high", "gas_manifold.flowing.high"):
        assert found[NUMBER[name]] == pytest.approx(kept.values[row, NUMBER[name]], abs=0.1)
