"""The overview against every reading: extremes stay, what is not there is not drawn, and no more points than asked."""

import math
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import Quality
from collector.overview import Overview
from collector.recording import Recording
from collector.rows import Many, Rows, merged
from collector.slots import SHIFT, coarser, slots_of
from collector.store import Store
from tests.collector.recordings import DRAFT, SECOND, T0

SLOT = 1 << SHIFT
EXAMPLES = int(os.environ.get("LIGHTOFF_KILLS", "20"))
FINE = 2
"""Times within slots are kept to a 65,536th of their width: 0.3 ms at level 0, 8.6 s at level 5."""


@st.composite
def recordings(draw) -> Rows:
    """Pieces at several rates, with gaps, values that are none, and bad ones."""
    chance = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    pieces, begin = [], T0
    for _ in range(draw(st.integers(1, 5))):
        count, every = draw(st.integers(1, 6000)), draw(st.sampled_from([0.01, 0.1, 1.0, 20.0]))
        time = begin + np.cumsum(np.round(chance.uniform(0.8, 1.2, count) * every * 1000).astype(np.int64)) * 1_000_000
        value = np.round(np.cumsum(chance.normal(size=count)), 2)
        value[chance.random(count) < draw(st.sampled_from([0, 0, 0.001, 0.2]))] = math.nan
        value[chance.random(count) < draw(st.sampled_from([0, 0, 0.001]))] = math.inf
        quality = np.where(chance.random(count) < draw(st.sampled_from([0, 0.01])), Quality.BAD, Quality.GOOD)
        pieces.append(Rows(time, value, quality.astype(np.int8)))
        begin = int(time[-1]) + draw(st.sampled_from([100_000_000, 4 * SECOND, 60 * SECOND, 5000 * SECOND]))
    return merged(pieces)


def holds(seen: Overview, rows: Rows, start: int, end: int, points: int) -> None:
    """What an overview has to be, whatever it was made of."""
    inside = (rows.time >= start) & (rows.time <= end)
    good = inside & np.isfinite(rows.value) & (rows.quality != Quality.BAD)
    time, value = rows.time[good], rows.value[good]
    assert seen.time.size <= points
    drawn = ~np.isnan(seen.low)
    if not time.size:
        assert not drawn.any()
        return
    assert np.array_equal(drawn, ~np.isnan(seen.high))
    assert (np.diff(seen.time) >= 0).all()
    assert drawn[0], "leading breaks are left out"
    assert drawn[-1], "trailing ones too"
    assert not (~drawn[1:] & ~drawn[:-1]).any(), "one NaN a break"
    # each reading lies within the span that begins last before it, and each extreme is a reading of its span
    begin, until = seen.time[drawn], seen.until[drawn]
    room = FINE * (max(SLOT, (end - start) // points) >> 16) + 1
    place = np.searchsorted(begin, time + room, side="right") - 1
    assert (place >= 0).all()
    near = np.maximum(place - 1, 0)
    low = np.minimum(seen.low[drawn][place], seen.low[drawn][near])
    high = np.maximum(seen.high[drawn][place], seen.high[drawn][near])
    assert ((low <= value) & (value <= high)).all()
    for first, last, least, most in zip(begin, until, seen.low[drawn], seen.high[drawn], strict=True):
        own = value[(time >= first - room) & (time <= last + room)]
        assert least in own
        assert most in own
    # no line across what is long and not there
    gaps = np.flatnonzero(np.diff(time) > max(5000 * SECOND, 4 * room, 8 * (end - start) // points) - 1)
    for gap in gaps:
        between = (seen.time > time[gap] - room) & (seen.time < time[gap + 1] + room) & ~drawn
        assert between.any(), "a gap is bridged"


@settings(max_examples=EXAMPLES, deadline=None)
@given(rows=recordings(), points=st.sampled_from([24, 100, 2000]), data=st.data())
def test_an_overview_is_true_whatever_was_recorded_in_whatever_order(tmp_path_factory, rows, points, data):
    path = tmp_path_factory.mktemp("overview") / "call.lightoff"
    late = data.draw(st.integers(0, rows.time.size // 2))
    order = np.r_[np.arange(late, rows.time.size), np.arange(late)]
    with Store(path, sealed_after=500) as store:
        store.append([DRAFT])
        for part in np.array_split(order, data.draw(st.integers(1, 12))):
            store.append([Many(DRAFT.key, rows.at(part))])
        ends = int(rows.time[0]), int(rows.time[-1])
        spans = [ends, tuple(sorted((data.draw(st.integers(*ends)), data.draw(st.integers(*ends)))))]
        with Recording(path) as recording:
            for start, end in spans:
                holds(recording.overview(DRAFT.key, start, end, points), rows, start, end, points)
            fresh = recording.overview(DRAFT.key, None, None, points)
    holds(fresh, rows, *ends, points)
    with Recording(path) as recording:
        for start, end in spans:
            holds(recording.overview(DRAFT.key, start, end, points), rows, start, end, points)


def long_recording(path: Path, hours: float, *, gap: tuple[float, float] = (0, 0)) -> Rows:
    count = round(hours * 36_000)
    time = T0 + np.arange(count, dtype=np.int64) * (SECOND // 10)
    value = np.round(np.sin(np.linspace(0.0, count / 9000, count)), 3).astype(np.float64)
    seconds = (time - T0) / SECOND
    stays = (seconds < gap[0]) | (seconds > gap[1])
    rows = Rows(time, value, np.zeros(count, np.int8)).at(np.flatnonzero(stays))
    with Store(path) as store:
        store.append([DRAFT, Many(DRAFT.key, rows)])
    return rows


def test_a_line_without_a_gap_is_not_broken_and_one_with_a_gap_is(tmp_path):
    long_recording(tmp_path / "whole.lightoff", 12)
    with Recording(tmp_path / "whole.lightoff") as recording:
        seen = recording.overview(DRAFT.key, points=1000)
        assert not np.isnan(seen.low).any()
        assert seen.spacing == pytest.approx(0.1, rel=1e-3)
    rows = long_recording(tmp_path / "gap.lightoff", 12, gap=(7200, 7500))
    with Recording(tmp_path / "gap.lightoff") as recording:
        seen = recording.overview(DRAFT.key, points=1000)
        (at,) = np.flatnonzero(np.isnan(seen.low))
        edge = np.searchsorted(rows.time, T0 + 7300 * SECOND)
        assert abs(int(seen.until[at - 1]) - int(rows.time[edge - 1])) < 1_000_000
        assert abs(int(seen.time[at + 1]) - int(rows.time[edge])) < 1_000_000


def test_late_readings_close_a_gap_and_so_does_the_overview(tmp_path):
    path = tmp_path / "call.lightoff"
    long_recording(path, 12, gap=(7200, 7500))
    time = T0 + np.arange(72_000, 75_001, dtype=np.int64) * (SECOND // 10)
    with Store(path) as store:
        store.append([Many(DRAFT.key, Rows(time, np.full(time.size, 5.0), np.zeros(time.size, np.int8)))])
    with Recording(path) as recording:
        seen = recording.overview(DRAFT.key, points=1000)
    assert not np.isnan(seen.low).any()
    assert seen.high.max() == 5.0


def test_levels_are_made_of_the_ones_below_and_of_the_readings_alike():
    """A coarser slot is what its readings say, not what rounding of rounding says."""
    chance = np.random.default_rng(5)
    time = np.unique(T0 + chance.integers(0, 50 * SLOT, 4000))
    rows = Rows(time, np.round(chance.normal(size=time.size), 2), np.zeros(time.size, np.int8))
    slots = coarser(coarser(slots_of(rows, None)))
    for place, slot in enumerate(slots.slot.tolist()):
        width = SLOT << 6
        own = rows.part(slot * width, (slot + 1) * width - 1)
        assert slots.count[place] == own.time.size
        assert (slots.low[place], slots.high[place]) == (own.value.min(), own.value.max())
        assert slots.first[place] == ((int(own.time[0]) - slot * width) << 16) // width
        assert slots.last[place] == ((int(own.time[-1]) - slot * width) << 16) // width


def test_of_nothing_there_is_nothing(tmp_path):
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([DRAFT])
    with Recording(path) as recording:
        assert recording.overview(DRAFT.key).time.size == 0
        assert recording.overview("nothing@nobody").time.size == 0
