"""Simulated recordings: the same from the same seed, varied, cut and spoiled as they say, and their truth with them."""

import random
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from analysis.model import Channel, Quality
from analysis.sequence.attempts import Attempt, PhaseSpan
from tests.sequence.recordings import Recorded, kept, made
from tests.sequence.spoiling import Spoiling, clock, spoiled, spoiling
from tests.sequence.truths import cut

SEEDS = (2, 3, 10, 11)
KEY = "draft_switch@meter"
CHANNEL = Channel("draft_switch", "meter", "Pa")
CONTACT = Channel("gas_valve", "meter", "1")


@cache
def some() -> tuple[Recorded, ...]:
    return tuple(map(made, SEEDS))


def test_the_same_seed_gives_the_same_recording_also_from_a_folder(tmp_path: Path) -> None:
    first, stored, again = some()[0], kept(2, tmp_path), kept(2, tmp_path)
    for other in (stored, again):
        assert (other.truth, other.timing, other.plate, dict(other.about)) == (
            first.truth,
            first.timing,
            first.plate,
            dict(first.about),
        )
        assert (other.start, other.end) == (first.start, first.end)
        for ours, theirs in zip(first.series, other.series, strict=True):
            assert ours.channel == theirs.channel
            assert np.array_equal(ours.time, theirs.time)
            assert np.array_equal(ours.value, theirs.value, equal_nan=True)


def test_recordings_differ_in_what_is_measured_and_known() -> None:
    assert len({one.points for one in some()}) == len(SEEDS)
    assert {one.about["job"] for one in some()} >= {"none", "timing left out"}
    assert {one.outcome for each in some() for one in each.truth} >= {"heat", "call_ended", "cut_off"}


def test_readings_come_in_the_order_of_time_with_nothing_lost() -> None:
    for one in some():
        readings = list(one.readings())
        assert len(readings) == sum(each.time.size for each in one.series)
        times = [time for _, time, *_ in readings]
        assert times == sorted(times)
        assert all((quality is Quality.BAD) == np.isnan(value) for *_, value, quality in readings)


def test_the_truth_lies_within_the_recording_and_its_phases_tile_it() -> None:
    for one in some():
        for true in one.truth:
            assert one.start <= true.start < true.end <= one.end + 1e-6
            edges = [(span.start, span.end) for span in true.phases]
            assert edges[0][0] == true.start
            assert edges[-1][1] == true.end
            assert all(before[1] == after[0] for before, after in pairwise(edges))


def attempt() -> Attempt:
    names = ("inducer_start", "prepurge", "run_low", "run_high", "post_purge")
    spans = tuple(PhaseSpan(name, 10.0 * n, 10.0 * n + 10.0, 0.0, 0.0) for n, name in enumerate(names))
    return Attempt(1, 1, 0.0, 50.0, 0.0, 0.0, "high", "heat", 1.0, 40.0, 0.0, spans)


def test_an_attempt_that_is_undecided_at_the_end_was_cut_off() -> None:
    (found,) = cut([attempt()], -5.0, 25.0)
    assert (found.outcome, found.end, found.deciding_time, found.stage) == ("cut_off", 25.0, 25.0, "low")
    assert [span.phase for span in found.phases] == ["inducer_start", "prepurge", "run_low"]
    assert found.phases[-1].end == 25.0


def test_an_attempt_under_way_at_the_start_counts_from_there() -> None:
    (found,) = cut([attempt()], 35.0, 100.0)
    assert (found.start, found.outcome, found.stage) == (35.0, "heat", "high")
    assert [span.phase for span in found.phases] == ["run_high", "post_purge"]
    assert cut([attempt()], 50.0, 100.0) == ()


def test_one_decided_before_the_end_keeps_its_outcome() -> None:
    (found,) = cut([attempt()], 0.0, 45.0)
    assert (found.outcome, found.deciding_time) == ("heat", 40.0)


@pytest.mark.parametrize("by", [7.0, -7.0])
def test_a_clock_that_is_set_takes_truth_and_readings_with_it(by: float) -> None:
    time = np.arange(0.0, 100.0, 0.5)
    value = np.where(time >= 60.0, 1.0, 0.0)
    (found,) = spoiled([(CHANNEL, time, value)], Spoiling(step=(50.0, by)), np.random.default_rng(1))
    assert np.all(np.diff(found.time) > 0)
    risen = float(found.time[np.flatnonzero(found.value > 0.5)[0]])
    assert risen == pytest.approx(60.0 + by)
    assert float(clock((50.0, by))(np.array(60.0))) == pytest.approx(60.0 + by)
    assert float(clock((50.0, by))(np.array(51.0))) == (51.0 + by if by > 0 else 50.0)


def test_spikes_miss_the_contacts_and_losses_spare_nobody() -> None:
    time, generator = np.arange(0.0, 1000.0, 0.1), np.random.default_rng(1)
    read = [(CHANNEL, time, np.sin(time)), (CONTACT, time, np.round(np.abs(np.sin(time))))]
    measured, switched = spoiled(read, Spoiling(spikes=0.01), generator)
    assert np.mean(np.abs(measured.value) > 1.0) == pytest.approx(0.01, abs=0.005)
    assert set(switched.value) == {0.0, 1.0}
    for one in spoiled(read, Spoiling(missing=0.2), generator):
        assert one.time.size == pytest.approx(0.8 * time.size, rel=0.05)
    for one in spoiled(read, Spoiling(repeated=0.2), generator):
        assert one.time.size == pytest.approx(1.2 * time.size, rel=0.05)
    for one in spoiled(read, Spoiling(bad=0.1), generator):
        assert np.mean(np.isnan(one.value)) == pytest.approx(0.1, rel=0.2)


def test_a_stuck_channel_stays_at_its_last_value_and_others_do_not() -> None:
    time = np.arange(0.0, 100.0, 0.5)
    read = [(CHANNEL, time, time.copy()), (CONTACT, time, time.copy())]
    found, other = spoiled(read, Spoiling(stuck=(KEY, 20.0, 60.0)), np.random.default_rng(1))
    assert len(set(found.value[(time >= 20.0) & (time < 60.0)])) == 1
    assert np.array_equal(other.value, time)


def test_no_lone_channel_is_stuck() -> None:
    read = [(CHANNEL, np.arange(10.0), np.arange(10.0))]
    assert all(spoiling(read, 100.0, [], random.Random(seed)).stuck is None for seed in range(100))
