"""A simulated unit between the options and the files: its readings in order, its rounds, what it can be given."""

import random
from collections.abc import Sequence
from dataclasses import replace

import pytest

from analysis.diagnosis.causes import CAUSES
from analysis.model import Event, EventKind, Reading
from collector import job, simulation
from collector.papers import papers_of
from collector.simulation import Practised, make, readings, truth, words
from collector.simulation_request import Request
from drivers.base import InputError
from drivers.simulate.causes import Cause
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import SENSORS, Input, Meter, Move, standard_meters
from drivers.simulate.scenario import ROUND
from tests.collector.calls import call
from tests.support import until

START = 1_768_372_200 * 10**9


def shown(request: Request, *, seconds: float, shares: list[float] | None = None) -> Sequence[Reading]:
    made = make(request, None, minutes=seconds / 60)
    listen = (lambda _: None) if shares is None else shares.append
    items = readings(made, start=START, seconds=seconds, progress=listen)
    return [item for item in items if isinstance(item, Reading)]


@pytest.mark.parametrize("seed", range(4))
def test_meters_with_wrong_clocks_are_put_in_the_order_of_their_times(monkeypatch, seed):
    """Clocks that are ahead or behind: across many slices what comes late still stands where it belongs."""
    monkeypatch.setattr(simulation, "SLICE", 0.5)
    made = make(Request(seed=2), None, minutes=0.5)
    meters = standard_meters(made.plant.points, random.Random(seed))
    made = replace(made, meters=meters, observer=Observer(meters, seed))
    found = [*readings(made, start=START, seconds=30.0, progress=lambda _: None)]
    whole = make(Request(seed=2), None, minutes=0.5).plant.advance(30.0)
    everything = [item for _, item in Observer(meters, seed).observe(whole).timed(START) if isinstance(item, Reading)]
    assert [reading.time for reading in found] == [reading.time for reading in everything]
    assert sorted(found, key=str) == sorted(everything, key=str)


def test_readings_come_in_the_order_of_time_to_the_last_and_progress_ends_at_one():
    shares: list[float] = []
    found = shown(Request(seed=2), seconds=95.0, shares=shares)
    times = [reading.time for reading in found]
    assert times == sorted(times)
    assert len({(reading.channel, reading.time) for reading in found}) == len(found), "each once"
    assert START <= times[0] < START + 10**9
    assert START + 94.9e9 < times[-1] < START + 95.1e9
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)


def test_the_meters_are_another_matter_than_the_unit():
    """Fewer meters show the same unit: what both have is the same, to the last digit."""
    full, draft = (
        {(reading.channel, reading.time): reading.value for reading in shown(Request(9, (), kit), seconds=60.0)}
        for kit in ("full", "draft")
    )
    assert draft.items() <= full.items()
    assert len(draft) < len(full)


def test_the_truth_is_that_of_the_plant_and_tells_when_something_was_mended():
    made = make(Request(4, (Cause("intake_blocked", 0.3, 5.0),)), None, minutes=1.0)
    made.plant.advance(20.0)
    made.plant.inject("no_call", 1.0)
    made.plant.advance(10.0)
    made.plant.repair("no_call")
    found = truth(made)
    assert found["causes"] == [
        {"cause": "intake_blocked", "severity": 0.3, "onset": 5.0, "course": "constant"},
        {"cause": "no_call", "severity": 1.0, "onset": 20.0, "course": "constant", "until": 30.0},
    ]


def test_a_unit_that_runs_live_is_lit_again_and_again():
    """What goes wrong at lighting is to be seen by whoever looks on for half an hour."""
    made = make(Request(seed=3), None)
    made.plant.advance(1320.0)
    made.plant.finish()
    starts = [attempt["start"] for attempt in made.plant.attempts]
    assert 10 <= starts[0] < 20
    assert any(1210 <= start < 1220 for start in starts)


def test_a_unit_that_runs_live_for_a_month_at_a_hundred_times_real_time_is_called_still():
    plant = make(Request(seed=3), None).plant
    plant.thermostat.time = 216_000 * ROUND  # 30 days of wall time
    calls = plant.advance(ROUND).values["call_heat"]
    assert calls[0] == calls[-1] == 0
    assert 0.7 < calls.mean() < 0.85, "from 10 s to 960 s"


def test_what_can_be_set_live_is_what_can_be_seen_live():
    every = {cause for cause in CAUSES if cause != "none"}
    assert set(words()) == every
    bench = Practised(make(Request(seed=3), None), now=lambda: START)
    assert every - set(bench.words) == {"lockouts_misset", "heat_pump_weak"}, "the bench calls the furnace alone"
    house = Practised(make(Request(3, (Cause("heat_pump_weak"),)), None), now=lambda: START)
    assert set(house.words) == every
    dry = Practised(make(Request(), papers_of(job.parse("")), minutes=None), now=lambda: START)
    assert "humidifier_overrun" not in dry.words, "its job has no humidifier"


def test_what_is_set_by_hand_is_known_until_it_is_mended():
    driver = Practised(make(Request(3, (Cause("vent_blocked", 0.4),)), None), now=lambda: START)
    driver.inject("no_call", 0.5)
    driver.inject("no_call", 0.9)
    assert [*driver.set_now] == [Cause("vent_blocked", 0.4), Cause("no_call", 0.9)]
    with pytest.raises(InputError, match="severity 2"):
        driver.inject("intake_blocked", 2.0)
    driver.repair("vent_blocked")
    assert [*driver.set_now] == [Cause("no_call", 0.9)]
    assert driver.now() == START


async def test_the_time_of_a_call_is_that_of_its_simulated_unit(tmp_path):
    """At ten times real time a note has to stand among the readings, not behind them."""
    driver = Practised(make(Request(seed=3, speed=10.0), None), now=lambda: START)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        await until(lambda: collector.readings > 200, what="it runs")
        assert collector.now() == driver.now()
        assert max(time for _, time, _, _ in collector.latest.values()) <= collector.now() + 10**8


def test_a_unit_that_no_papers_can_be_of_is_refused():
    papers = papers_of(job.parse("[furnace]\ncondensing = true\nefficiency = 0.80\n"))
    with pytest.raises(InputError, match=r"the job file contradicts itself: 'furnace.condensing' is true"):
        make(Request(), papers, minutes=1.0)


def test_a_meter_moved_to_another_tap_is_told_and_has_a_column_there(tmp_path):
    made = make(Request(seed=2), None, minutes=0.5)
    tap = SENSORS["fine manometer"]
    meter = Meter("manometer", (Input("draft_collector", tap, moves=(Move(12.0, "draft_vent"),)),), 2.0)
    made = replace(made, meters=(meter,), observer=Observer((meter,), 1))
    assert [channel.point for channel in made.channels] == ["draft_collector", "draft_vent"]
    assert set(made.digits.values()) == {3}
    items = [*readings(made, start=START, seconds=30.0, progress=lambda _: None)]
    moved = [item for item in items if isinstance(item, Event)]
    assert [(event.kind, event.data["point"]) for event in moved] == [(EventKind.POINT_CHANGED, "draft_vent")]
    places = [(item.time > moved[0].time, item.channel.split("@")[0]) for item in items if isinstance(item, Reading)]
    assert set(places) == {(False, "draft_collector"), (True, "draft_vent")}


def test_random_meters_are_the_same_for_a_seed_and_differ_between_seeds():
    kits = [make(Request(seed=seed, instruments="random"), None, minutes=1.0).meters for seed in (1, 1, 2, 3)]
    assert kits[0] == kits[1]
    assert len(set(kits)) == 3
