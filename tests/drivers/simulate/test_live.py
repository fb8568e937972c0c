"""The practice plant as a driver: the contract of every driver, its pace, what is changed by hand and not told."""

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Reading, origin_of
from analysis.points import POINTS
from drivers.base import Emission, InputError
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import Meter, MeterClock, Move, standard_meters
from tests.drivers.battery import DriverBattery
from tests.drivers.bench import Ability, Bench
from tests.drivers.simulate.live_bench import (
    SECRET,
    START,
    Pace,
    SimulatedBench,
    Waves,
    events,
    live,
    readings,
    taken,
    wave,
)
from tests.drivers.simulate.meter_bench import PLAIN, Truth, grid, one
from tests.support import StillClock, until


class TestSimulatedContract(DriverBattery):
    """The battery on a plant that is computed, which cannot vanish, fall silent or overrun anyone."""

    cannot = frozenset({Ability.FAIL, Ability.LOSE, Ability.SILENCE, Ability.FLOOD, Ability.NONSENSE})

    def bench(self, folder: Path) -> Bench:
        return SimulatedBench()


def off_clocks() -> list[Meter]:
    """Every meter with a clock of its own, and one that is moved."""
    meters = [
        replace(meter, clock=MeterClock(0.05 * n - 0.4, 10.0 * n, 0.02))
        for n, meter in enumerate(standard_meters(POINTS))
    ]
    return [*meters, one(PLAIN, name="other", moves=(Move(10.0, "draft_vent"),), clock=MeterClock(0.1, 0.0, 0.01))]


async def test_everything_comes_in_the_order_of_time_and_announced():
    driver = live(Waves(), off_clocks(), start=START, length=30.0)
    known = {channel.key for channel in driver.channels}
    items = await taken(driver)
    times = [item.time for item in items if not isinstance(item, Channel)]
    assert times == sorted(times)
    for item in items:
        if isinstance(item, Channel):
            known.add(item.key)
        elif isinstance(item, Reading):
            assert item.channel in known
            assert item.channel.partition("@")[2].startswith("simulated: ")
    assert len(readings(items)) > 4_000
    (moved,) = events(items)
    assert moved.kind is EventKind.POINT_CHANGED
    assert moved.time == START + 10_100_000_000
    assert "draft_vent@simulated: other" in {channel.key for channel in driver.channels}, "known from now on"
    assert origin_of(driver.name) == "simulated"


@pytest.mark.parametrize("speed", [0.1, 1.0, 7.3, 100.0, None])
async def test_at_any_pace_it_is_what_the_meters_show_of_the_whole(speed):
    meters = off_clocks()
    pace = {"as_fast_as_it_goes": True} if speed is None else {"speed": speed}
    items = await taken(live(Waves(), meters, start=START, length=12.0, **pace))
    whole = Observer(meters, 5).observe(Truth(grid(12), wave(grid(12)))).timed(START)
    expected = [item for _, item in whole]
    assert sorted(readings(items), key=repr) == sorted(readings(expected), key=repr)
    assert events(items) == events(expected)


async def test_a_plant_that_ran_before_begins_at_the_start():
    early, late = [
        readings(await taken(live(Waves(begin=begin), [one(PLAIN)], start=START, length=5.0)))
        for begin in (0.0, 3600.0)
    ]
    assert len(late) >= 49
    assert late[0].time - START < 0.3 * NANOSECONDS
    assert late[-1].time == pytest.approx(early[-1].time, abs=0.11 * NANOSECONDS)


async def test_the_length_may_end_within_a_slice():
    plant = Waves()
    await taken(live(plant, [one(PLAIN)], length=25.03, speed=100.0))
    assert sum(plant.asked) == pytest.approx(25.1)


@pytest.mark.parametrize(
    ("speed", "step", "wait"), [(0.1, 0.1, 1.0), (1.0, 0.1, 0.1), (10.0, 1.0, 0.1), (100.0, 10.0, 0.1)]
)
async def test_it_runs_in_slices_of_a_tenth_of_a_second(speed, step, wait):
    plant, pace = Waves(), Pace(rushing=True)
    began = pace.time
    await taken(live(plant, [one(PLAIN)], pace, speed=speed, length=60 * speed))
    assert set(plant.asked) == {step}
    assert max(pace.slept) == pytest.approx(wait)
    assert pace.time - began == pytest.approx(60.0, abs=0.01)


async def test_a_reading_comes_when_it_is_due():
    """At real time: none before its time, none later than a slice and the millisecond that it is rounded to."""
    pace = Pace(rushing=True)
    late: list[float] = []

    def take(item: Emission) -> None:
        if isinstance(item, Reading):
            late.append(pace.time - 5000.0 - (item.time - START) / NANOSECONDS)

    await live(Waves(), [one(PLAIN)], pace, start=START, length=30.0).run(take)
    assert len(late) == 300
    assert min(late) >= -0.001
    assert max(late) <= 0.102


async def test_another_pace_counts_from_where_it_stands():
    plant, pace = Waves(), Pace()
    driver = live(plant, [one(PLAIN)], pace, start=START)
    task = asyncio.create_task(driver.run(lambda item: None))
    for speed, runs in ((1.0, 1.0), (50.0, 50.0), (2.0, 2.0)):
        await until(lambda: pace.waiting, what="waiting")
        driver.set_speed(speed)
        assert driver.speed == speed
        before = sum(plant.asked)
        for _ in range(10):
            pace.move(0.1)
            await until(lambda: pace.waiting, what="waiting")
        assert sum(plant.asked) - before == pytest.approx(runs, abs=0.101 * speed)
        assert driver.now() == START + round(sum(plant.asked) * NANOSECONDS)
    task.cancel()
    await asyncio.wait([task])


@pytest.mark.parametrize("speed", [0.05, 101.0, float("nan")])
def test_a_pace_out_of_bounds_is_refused(speed):
    with pytest.raises(InputError, match=r"outside 0\.1 to 100"):
        live(Waves(), [one(PLAIN)], speed=speed)
    driver = live(Waves(), [one(PLAIN)])
    with pytest.raises(InputError, match=r"outside 0\.1 to 100"):
        driver.set_speed(speed)
    assert driver.speed == 1.0


async def test_a_machine_that_is_too_slow_is_told_once_and_has_a_turn_after_each_slice():
    """The plant takes 1.3 s for each of its seconds: never in time, never more than two slices at once."""
    pace = Pace(rushing=True)
    plant = Waves(pace, takes=1.3)
    turns = 0

    async def other() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    watching = asyncio.create_task(other())
    items = await taken(live(plant, [one(PLAIN)], pace, start=START, length=60.0))
    watching.cancel()
    await asyncio.wait([watching])
    (event,) = events(items)
    assert event.kind is EventKind.INSTRUMENT
    assert "cannot keep up with 1 times real time" in event.text
    assert max(plant.asked) == 0.2
    assert turns >= len(plant.asked)
    assert len(readings(items)) == 600, "and nothing is left out"


async def test_held_up_once_it_catches_up_and_is_in_time_again():
    plant, pace = Waves(), Pace()
    items: list[Emission] = []
    task = asyncio.create_task(live(plant, [one(PLAIN)], pace).run(items.append))
    await until(lambda: pace.waiting, what="waiting")
    pace.move(5.0)
    await until(lambda: sum(plant.asked) > 4.99 and pace.waiting, what="in time")
    assert len(events(items)) == 1
    assert max(plant.asked) == 0.2
    pace.move(3.0)
    await until(lambda: sum(plant.asked) > 7.99 and pace.waiting, what="in time again")
    assert len(events(items)) == 1, "once a session"
    task.cancel()
    await asyncio.wait([task])


async def test_as_fast_as_it_goes_it_waits_for_its_taker():
    waits = 0

    async def caught_up() -> None:
        nonlocal waits
        waits += 1

    pace = Pace()
    more = {"as_fast_as_it_goes": True, "caught_up": caught_up, "length": 100.0}
    items = await taken(live(Waves(), standard_meters(POINTS, "draft"), pace, **more))
    assert pace.slept == []
    assert waits >= len(readings(items)) // 500
    assert len(readings(items)) > 6000


async def test_cut_into_sessions_no_reading_is_lost_or_comes_twice():
    """Cancelled after each 700 things, in the middle of slices of 10 s."""
    meters = off_clocks()
    whole = await taken(live(Waves(), meters, start=START, length=60.0, speed=100.0))
    driver = live(Waves(), meters, start=START, length=60.0, speed=100.0)
    items: list[Emission] = []
    sessions = [asyncio.create_task(driver.run(items.append))]

    def take(item: Emission) -> None:
        items.append(item)
        if len(items) % 700 == 0:
            sessions[-1].cancel()

    sessions[0].cancel()
    await asyncio.wait(sessions)
    while sessions[-1].cancelled():
        sessions.append(asyncio.create_task(driver.run(take)))
        await asyncio.wait(sessions[-1:])
    assert sessions[-1].exception() is None
    assert readings(items) == readings(whole)
    assert len(sessions) > 8


async def test_while_nobody_looks_the_plant_stands_still():
    plant, pace = Waves(), Pace()
    driver = live(plant, [one(PLAIN)], pace, start=START)
    items: list[Emission] = []
    for pause in (100.0, 0.0):
        task = asyncio.create_task(driver.run(items.append))
        await until(lambda: pace.waiting, what="waiting")
        pace.move(0.1)
        await until(lambda: pace.waiting, what="waiting")
        task.cancel()
        await asyncio.wait([task])
        pace.move(pause)
    assert plant.asked == [0.1, 0.1]
    assert driver.now() == START + NANOSECONDS // 5


async def test_without_a_start_each_session_begins_now_and_never_falls_back():
    clock = StillClock()
    pace = Pace()
    driver = live(Waves(), [one(PLAIN)], pace, now=clock)
    begins = []
    items: list[Emission] = []
    for pause in (100.0, -500.0, 700.0):
        count = len(readings(items))
        task = asyncio.create_task(driver.run(items.append))
        await until(lambda: pace.waiting, what="waiting")
        pace.move(2.0)
        await until(lambda count=count: len(readings(items)) >= count + 20, what="readings")  # type: ignore[misc]
        task.cancel()
        await asyncio.wait([task])
        begins.append((readings(items)[count].time - StillClock().time) / NANOSECONDS)
        clock.advance(2.0 + pause)
    assert begins == pytest.approx([0.0, 102.0, 104.0], abs=0.11)
    times = [reading.time for reading in readings(items)]
    assert times == sorted(times)


async def test_a_change_by_hand_is_told_without_its_cause():
    plant, pace = Waves(), Pace()
    driver = live(plant, [one(PLAIN)], pace, start=START)
    items: list[Emission] = []
    task = asyncio.create_task(driver.run(items.append))
    for count, change in enumerate((lambda: driver.inject(SECRET, 0.4, "growing"), lambda: driver.repair(SECRET))):
        await until(lambda: pace.waiting, what="waiting")
        pace.move(1.0)
        await until(lambda count=count: len(readings(items)) >= 10 * (count + 1), what="readings")  # type: ignore[misc]
        change()
        pace.move(0.3)
        await until(lambda count=count: len(events(items)) > count, what="event")  # type: ignore[misc]
    task.cancel()
    await asyncio.wait([task])
    assert plant.changes == [("inject", SECRET, "0.4", "growing"), ("repair", SECRET)]
    first, second = events(items)
    assert first.text == second.text == "simulated: practice plant: the practice plant was changed by hand"
    assert first.kind is EventKind.MARK
    assert first.time == START + NANOSECONDS
    assert first.data == {}
    assert SECRET not in repr(items), "the truth is never inside a recording"
    times = [item.time for item in items if not isinstance(item, Channel)]
    assert times == sorted(times)


async def test_a_change_while_nobody_looks_is_told_to_the_next_who_does():
    driver = live(Waves(), [one(PLAIN)], start=START, length=5.0)
    for _ in range(10_000):
        driver.inject(SECRET)
    items = await taken(driver)
    (event,) = events(items)
    assert event.time == START
    driver.repair(SECRET)
    (after,) = await taken(driver)
    assert isinstance(after, Event)
    assert after.time == driver.now()


async def test_a_change_that_cannot_be_is_no_change():
    driver = live(Waves(), [one(PLAIN)], start=START, length=5.0)
    with pytest.raises(InputError, match="unknown cause 'gremlins'"):
        driver.inject("gremlins")
    assert events(await taken(driver)) == []
