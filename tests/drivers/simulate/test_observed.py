"""What meters showed, in pieces and as a whole, and in the order of time."""

import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import NANOSECONDS, Channel, Event, Reading, origin_of
from analysis.points import POINTS
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import MeterClock, standard_meters
from tests.drivers.simulate.meter_bench import PLAIN, Truth, constant, everything, grid, joined, one


@given(st.lists(st.integers(0, 1201), max_size=12))
@settings(max_examples=25, deadline=None)
def test_into_what_pieces_time_is_cut_changes_nothing(places):
    truth, meters = everything()
    whole = Observer(meters, 3)
    pieces = Observer(meters, 3)
    assert joined([pieces.observe(part) for part in truth.cut(*places)]) == joined([whole.observe(truth)])


def test_row_by_row_is_the_same_too():
    truth, meters = everything(60)
    whole, pieces = Observer(meters, 3), Observer(meters, 3)
    found = joined([pieces.observe(part) for part in truth.cut(*range(truth.time.size))])
    assert found == joined([whole.observe(truth)])
    assert sum(len(bits) for bits in found.values()) > 100_000, "there is something to compare"


def test_one_more_meter_changes_no_other():
    truth, meters = everything(40)
    few, many = (joined([Observer(some, 3).observe(truth)]) for some in (meters[3:], meters))
    assert all(many[key] == bits for key, bits in few.items() if "@" in key)
    assert len(many) > len(few)
    other = joined([Observer(meters, 4).observe(truth)])
    analogue = [key for key in other if key.startswith(("draft_", "temp_"))]
    assert all(other[key] != many[key] for key in analogue), "another seed, other meters"


def test_a_block_that_does_not_go_on_is_refused():
    truth = constant("draft_collector", 0.0, "inH2O", 10)
    first, _, third = truth.cut(30, 60)
    observer = Observer([one(PLAIN)], 1)
    observer.observe(first)
    with pytest.raises(ValueError, match="a block from 6 s is not even, or does not go on"):
        observer.observe(third)
    uneven = replace(truth, time=truth.time**1.01)
    with pytest.raises(ValueError, match="not even"):
        Observer([one(PLAIN)], 1).observe(uneven)
    assert Observer([one(PLAIN)], 1).observe(truth.cut(0)[0]).readings == ()


def test_emissions_are_in_order_with_their_origin_and_each_channel_before_its_readings():
    truth, meters = everything(60)
    observed = Observer(meters, 3).observe(truth)
    start = 1_768_372_280 * NANOSECONDS
    items = list(observed.timed(start))
    times = [at for at, _ in items]
    assert times == sorted(times)
    known: set[str] = set()
    events = 0
    for at, item in items:
        if isinstance(item, Channel):
            known.add(item.key)
            assert origin_of(item.instrument) == "simulated"
        elif isinstance(item, Reading):
            assert item.channel in known
            assert item.time == at
            assert type(item.time) is int
            assert type(item.value) is float
        else:
            assert isinstance(item, Event)
            assert item.time == at
            events += 1
    assert events == len(observed.events) == 2
    assert sum(isinstance(item, Reading) for _, item in items) == sum(r.time.size for r in observed.readings)
    assert min(times) >= start - NANOSECONDS, "the slowest clock is one second behind"


def test_nothing_comes_before_the_slack_of_the_clocks():
    truth, meters = everything(100)
    observer = Observer(meters, 3)
    for part in truth.cut(*range(0, 1000, 50)):
        if not part.time.size:
            continue
        begin = float(part.time[0]) - 0.1
        earliest = min((int(r.time[0]) for r in observer.observe(part).readings), default=10**18)
        assert earliest >= (begin - observer.slack(begin)) * NANOSECONDS - 1
    assert observer.slack(100.0) == pytest.approx(0.02 + 0.1 * 13 - 0.3 - 0.008)
    assert Observer([one(PLAIN, clock=MeterClock(offset=1.0))], 1).slack(0.0) == 0.0
    assert Observer([], 1).slack(0.0) == 0.0


def test_a_population_is_seen_quickly():
    """25 min of every point at 10 Hz in 0.35 s of one processor; the best of three, as others use it too."""
    clock = grid(1500)
    rng = np.random.default_rng(0)
    truth = Truth(clock, {point: 0.1 * rng.standard_normal(clock.size).cumsum() for point in POINTS})
    meters = [replace(meter, rate=10.0) for meter in standard_meters(POINTS)]
    took = []
    for _ in range(3):
        observer = Observer(meters, 1)
        began = time.process_time()
        observed = observer.observe(truth)
        took.append(time.process_time() - began)
    assert sum(readings.time.size for readings in observed.readings) > 49 * 14_990
    assert min(took) < 0.35
