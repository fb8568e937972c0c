"""From a recording to causes and next tests: papers, bad channels, repairs, and what stands open."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.data import DataProblem
from analysis.diagnosis.done import Done
from analysis.diagnosis.information import Believed
from analysis.diagnosis.next_tests import next_tests
from analysis.diagnosis.steps.catalogue import STEPS
from analysis.diagnosis.steps.step import State
from analysis.model import Event, EventKind, Series
from collector.analysis_run import Analysis, analyzed
from collector.deed_states import done_in
from collector.diagnosing import cases, diagnosis
from collector.opened import Opened, open_data
from collector.proposing import situation, stopping


@pytest.fixture(scope="module")
def opened() -> Opened:
    return open_data(Path(__file__).parents[2] / "replay_data" / "drain_backs_up.csv.gz")


@pytest.fixture(scope="module")
def found(opened: Opened) -> Analysis:
    return analyzed(opened)


def test_the_demo_is_diagnosed_and_its_evidence_has_places(found: Analysis) -> None:
    first = found.diagnosis.causes[0]
    assert first.cause == "drain_blocked"
    assert first.probability > 0.5
    assert first.evidence[0].weight > 0.5
    told = [one for one in first.evidence if one.start == one.start]
    assert told
    assert all(found.opened.start <= one.start <= one.end <= found.opened.end for one in told)


def test_the_library_is_small(found: Analysis) -> None:
    kept = cases()
    assert kept.cause.size > 1000
    assert np.isfinite(kept.values).any(axis=1).all()


def test_channels_that_cannot_be_true_say_nothing(opened: Opened, found: Analysis) -> None:
    keys = tuple(one.channel.key for one in opened.series)
    stuck = DataProblem("stuck", keys, "everything stands still", "look at the meters", opened.start, opened.end)
    judged = diagnosis(opened.series, (), found.measures, [stuck], opened.job)
    assert "everything stands still" in judged.diagnosis.cannot_tell
    assert judged.diagnosis.causes[0].probability < 0.3


def test_after_a_repair_only_what_came_after_it_is_judged(opened: Opened, found: Analysis) -> None:
    attempts = found.recognition.attempts
    between = attempts[-1].start - 1.0
    repair = Done("trap_cleared", between)
    after = diagnosis(opened.series, attempts, found.measures, (), opened.job, entries=[repair])
    assert after.weighed.seen.raw != diagnosis(opened.series, attempts, found.measures, (), opened.job).weighed.seen.raw
    assert all(span[0] >= between - 600.0 for span in after.weighed.seen.spans.values() if span[0] == span[0])
    prior = dict(zip((one.cause for one in found.diagnosis.causes), range(99), strict=False))
    assert "drain_blocked" in prior


def test_a_stop_leaves_no_firing_test(opened: Opened, found: Analysis) -> None:
    told = situation(opened.series, found.alarms, opened.job, ())
    assert told.points >= {"draft_collector"}
    assert "draft_collector" in told.parts
    stop = replace(found.alarms[0], rule="rollout_open", priority="safety")
    assert "rollout_open" in stopping([stop], opened.job)
    under = situation(opened.series, [stop], opened.job, ())
    assert under.stops == {"rollout_open"}


def test_what_stands_open_is_taken_from_the_recording(opened: Opened) -> None:
    data = {"list": "open", "item": "vent_joint", "state": "open", "id": "open-1"}
    event = Event(1, EventKind.CHECK, "vent joint open", None, data)
    told = situation(opened.series, (), opened.job, (), [event])
    assert told.open_items == {"vent_joint"}


def test_an_entry_of_a_recording_is_a_repair() -> None:
    data = {"what": "filter_changed", "text": "filter changed", "at": 5_000_000_000, "id": "did-1"}
    (entry,) = done_in([Event(6_000_000_000, EventKind.DONE, "filter changed", None, data)])
    assert (entry.what, entry.at) == ("filter_changed", 5.0)


def test_no_firing_test_is_proposed_while_one_stop_is_in_force(opened: Opened, found: Analysis) -> None:

    vague = diagnosis((), (), (), (), opened.job)
    stop = replace(found.alarms[0], rule="rollout_open", priority="safety")
    free = next_tests(Believed(vague.weighed), situation(opened.series, (), opened.job, ()))
    under = next_tests(Believed(vague.weighed), situation(opened.series, [stop], opened.job, ()))
    assert free.tests
    assert all(STEPS[one.test].states for one in under.tests)
    assert all(one.state is not State.FIRING for one in under.tests)


def test_a_series_without_readings_is_no_trouble(opened: Opened) -> None:
    channel = opened.series[0].channel
    empty = Series(channel, np.empty(0), np.empty(0))
    assert diagnosis([empty], (), (), (), opened.job).diagnosis.cannot_tell
