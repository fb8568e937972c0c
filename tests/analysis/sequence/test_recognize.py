"""The recognizer over whole recordings: small courses written out, and the recordings of the demo scenario."""

from functools import cache

import numpy as np
import pytest

from analysis.model import Channel, Plate, Series, Timing
from analysis.sequence.attempts import Attempt
from analysis.sequence.recognize import recognize
from tests.replay_data.recording import NAMES, job
from tests.replay_data.series import attempts_of, series_of

EPOCH = 1_768_372_200.0


def contact(point: str, *edges: tuple[float, float], until: float = 500.0) -> Series:
    """A contact polled twice a second."""
    time = np.arange(0.0, until, 0.5)
    value = np.zeros(time.size)
    for at, state in edges:
        value[time >= at] = state
    return Series(Channel(point, "logger", "1"), EPOCH + time, value)


CALL = (
    contact("call_heat", (10, 1), (300, 0)),
    contact("switch_closed", (16, 1), (318, 0)),
    contact("gas_valve", (48, 1), (300, 0)),
    contact("blower_on", (79, 1), (435, 0)),
)


def test_a_call_by_its_contacts():
    (one,) = recognize(CALL, Timing(), Plate(input=(20e3,))).attempts
    assert (one.outcome, one.call, one.stage) == ("heat", 1, "high")
    assert one.deciding_time - EPOCH == pytest.approx(300, abs=0.6)
    starts = {span.phase: span.start - EPOCH for span in one.phases}
    told = {"prepurge": 16, "ignition_trial": 48, "run_high": 79, "post_purge": 300}
    assert {phase: starts[phase] for phase in told} == pytest.approx(told, abs=0.6)
    assert starts["igniter_warmup"] == pytest.approx(31, abs=2), "no channel shows it: the timing puts it there"
    unseen = next(span for span in one.phases if span.phase == "igniter_warmup")
    assert unseen.start_u > 1.5 * next(span for span in one.phases if span.phase == "ignition_trial").start_u


def test_what_no_channel_can_tell_is_unknown():
    """A valve alone: why it shut before the blower's delay was over nobody knows."""
    found = recognize([contact("gas_valve", (48, 1), (60, 0))], None, None).attempts
    assert [one.outcome for one in found] == ["unknown"]


def test_nothing_happens_where_nothing_did():
    assert recognize([contact("call_heat"), contact("switch_closed"), contact("gas_valve")]).attempts == ()
    assert recognize([]).attempts == ()


@cache
def compared(name: str) -> tuple[tuple[Attempt, ...], tuple[Attempt, ...]]:
    stated = job(name)
    return recognize(series_of(name), stated.stated_timing, stated.plate).attempts, attempts_of(name)


@pytest.mark.parametrize("name", NAMES)
def test_attempts_of_the_recordings(name: str):
    found, true = compared(name)
    assert [one.start for one in found] == pytest.approx([one.start for one in true], abs=10.0)


def test_outcomes_of_the_recordings():
    pairs = [pair for name in NAMES for pair in zip(*compared(name), strict=True)]
    right = [one.outcome == other.outcome for one, other in pairs]
    assert len(right) > 55
    assert np.mean(right) > 0.9
