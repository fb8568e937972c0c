"""Whatever is read, in whatever order, with whatever missing: no exception, and attempts that make sense."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.model import Channel, Plate, Quality, Series, Timing
from analysis.points import POINTS
from analysis.sequence.recognize import recognize
from tests.sequence.lawful import breaches, lapses
from tests.sequence.long_runs import healthy
from tests.sequence.recordings import EPOCH

SECONDS = 900.0
EVERY = 1.0
"""Measured channels are thinned to one reading in so long; contacts keep theirs. [s]"""
LATE = 2.0
"""Readings of different instruments may come out of order by so much. [s]"""
pytestmark = pytest.mark.timeout(180)
"""A loaded machine takes its time over many examples."""
EXAMPLES = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))

Reading = tuple[str, float, float, Quality]


@cache
def whole() -> tuple[Series, ...]:
    """Everything that can be measured, over one call and the rest after it."""
    found = []
    for one in healthy(0, SECONDS / 3600.0).series:
        kept = np.ones(one.time.size, bool)
        if one.channel.unit != "1":
            turn = np.floor(one.time / EVERY)
            kept[1:] = np.diff(turn) > 0
        found.append(replace(one, time=one.time[kept], value=one.value[kept]))
    return tuple(found)


NAMES = sorted(POINTS)
SEEDS = st.integers(0, 2**32 - 1)
SUBSETS = st.one_of(st.sets(st.sampled_from(NAMES), max_size=6), st.sets(st.sampled_from(NAMES), min_size=20))
TIMINGS = st.one_of(
    st.none(),
    st.builds(
        Timing,
        prepurge=st.floats(0.0, 60.0),
        igniter_warmup=st.floats(0.0, 45.0),
        ignition_trial=st.floats(0.0, 15.0),
        blower_on_delay=st.floats(0.0, 90.0),
        post_purge=st.floats(0.0, 60.0),
        blower_off_delay=st.floats(0.0, 240.0),
        trials=st.integers(1, 5),
    ),
)
PLATES = st.one_of(st.none(), st.just(Plate()), st.just(Plate(switch_close=(240.0, 130.0), switch_open=(210.0, 100.0))))


def spoiled(points: set[str], seed: int, *, most: float) -> tuple[Series, ...]:
    """Some channels, a part of their readings lost, without value, far off or said again, from some time to another."""
    generator = np.random.default_rng(seed)
    begin, end = np.sort(generator.uniform(0.0, SECONDS, 2))
    return tuple(
        _spoiled(one, generator, most, EPOCH + begin, EPOCH + end) for one in whole() if one.channel.point in points
    )


def _spoiled(one: Series, generator: np.random.Generator, most: float, begin: float, end: float) -> Series:
    lost, bad, far, again = generator.uniform(0.0, most, 4)
    time, value = one.time, one.value.copy()
    value[generator.random(time.size) < bad] = np.nan
    spikes = generator.random(time.size) < far
    value[spikes] = generator.choice([0.0, -1e6, 1e6, 1.0, -3.0], int(spikes.sum()))
    kept = (generator.random(time.size) >= lost) & (time >= begin) & (time <= end)
    time, value = time[kept], value[kept]
    repeated = np.flatnonzero(generator.random(time.size) < again)
    time = np.concatenate([time, time[repeated] + 0.003])
    value = np.concatenate([value, value[repeated]])
    time, place = np.unique(time, return_index=True)
    return replace(one, time=time, value=value[place])


@EXAMPLES
@given(SUBSETS, SEEDS, st.sampled_from([0.0, 0.05, 0.6]), TIMINGS, PLATES)
def test_any_channels_with_anything_done_to_them(
    points: set[str], seed: int, most: float, timing: Timing | None, plate: Plate | None
) -> None:
    series = spoiled(points, seed, most=most)
    found = recognize(series, timing, plate)
    assert breaches(found.attempts) == []
    keys = {one.channel.key for one in series}
    assert set(found.used) <= keys
    assert set(found.left_out) <= keys
    assert not set(found.used) & set(found.left_out)


VALUES = st.one_of(
    st.sampled_from([0.0, 1.0, -0.0, float("nan"), 5e-6, 250.0, -300.0, 1e300, -1e300, float("inf"), -float("inf")]),
    st.floats(allow_nan=True, allow_infinity=True),
)


@st.composite
def anything(draw: st.DrawFn) -> tuple[Series, ...]:
    """Channels that show what no furnace does."""
    found = []
    for number, point in enumerate(draw(st.lists(st.sampled_from(NAMES), max_size=5))):
        steps = draw(st.lists(st.sampled_from([1e-3, 0.1, 1.0, 7.0, 90.0, 4000.0]), max_size=40))
        values = draw(st.lists(VALUES, min_size=len(steps), max_size=len(steps)))
        time: NDArray[np.float64] = EPOCH + np.cumsum(np.array(steps, np.float64))
        found.append(Series(Channel(point, f"meter {number}", "1"), time, np.array(values, np.float64)))
    return tuple(found)


FAR_OFF = Series(
    Channel("amps_blower", "meter", "1"), EPOCH + np.arange(5.0), np.array([0.0, 0.0, 0.0, -1e300, 1.79769312e308])
)


@EXAMPLES
@example((FAR_OFF,), None, None)
@given(anything(), TIMINGS, PLATES)
def test_what_no_furnace_does(series: tuple[Series, ...], timing: Timing | None, plate: Plate | None) -> None:
    assert breaches(recognize(series, timing, plate).attempts) == []


def readings(series: Sequence[Series]) -> list[Reading]:
    found = [
        (one.channel.point, time, value, Quality.BAD if np.isnan(value) else Quality.GOOD)
        for one in series
        for time, value in zip(one.time.tolist(), one.value.tolist(), strict=True)
    ]
    return sorted(found, key=lambda reading: reading[1])


def fed(read: Sequence[Reading], timing: Timing | None, plate: Plate | None) -> None:
    """Take the readings one by one; what is said obeys the rules at each, and the attempts now and then."""
    from analysis.sequence.recognizer import Recognizer

    recognizer, latest = Recognizer(timing, plate), -np.inf
    for count, (point, time, value, quality) in enumerate(read):
        latest = max(latest, time)
        assert lapses(recognizer.step(point, time, value, quality), latest) == []
        if count % 300 == 0:
            assert breaches(recognizer.attempts) == []
    if read:
        assert lapses(recognizer.look(latest + 400.0), latest + 400.0) == []
    assert breaches(recognizer.attempts) == []


@EXAMPLES
@given(SUBSETS.filter(lambda points: len(points) < 8), SEEDS, st.sampled_from([0.0, 0.1]), TIMINGS, PLATES)
def test_readings_out_of_order_by_two_seconds(
    points: set[str], seed: int, most: float, timing: Timing | None, plate: Plate | None
) -> None:
    read = readings(spoiled(points, seed, most=most))
    late = np.random.default_rng(seed).uniform(0.0, LATE, len(read))
    order = np.argsort([time + late[place] for place, (_, time, *_) in enumerate(read)], kind="stable")
    fed([read[place] for place in order], timing, plate)


@EXAMPLES
@given(anything(), TIMINGS, PLATES, st.booleans())
def test_a_stream_that_no_furnace_gives(
    series: tuple[Series, ...], timing: Timing | None, plate: Plate | None, suspect: bool
) -> None:
    read = readings(series)
    fed([(*one[:3], Quality.SUSPECT) if suspect else one for one in read], timing, plate)


@EXAMPLES
@given(SEEDS)
def test_an_instrument_that_goes_is_forgotten(seed: int) -> None:
    from analysis.sequence.recognizer import Recognizer

    generator, recognizer = np.random.default_rng(seed), Recognizer()
    points = set(generator.choice(NAMES, 5).tolist())
    for point, time, value, quality in readings(spoiled(points, seed, most=0.02)):
        if generator.random() < 0.002:
            recognizer.forget(str(generator.choice(NAMES)))
        recognizer.step(point, time, value, quality)
    assert breaches(recognizer.attempts) == []
