"""A meter that shows another unit in mid-recording: nothing that is worked out, watched or drawn has a gap by that."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

import numpy as np
import pytest

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector.alarm_rule import AlarmRule
from collector.clock import Clock
from collector.collector import Collector
from collector.instrument_rows import instrument_rows
from collector.normalize import series
from collector.recording import Recording
from collector.store import Store
from collector.succession import Succession
from dashboard.history import read
from dashboard.recorded import values_at
from drivers.base import Driver, Emission
from drivers.replay import Replay
from tests.collector.calls import CLOSED, DRAFT, INCH, PLATE, RETURN, SECOND, SUPPLY, T0, Told
from tests.collector.calls import call as started
from tests.drivers.meters import Held
from tests.support import until

PASCAL = Channel("draft_switch", "draft meter (Pa)", "Pa")
LOW = AlarmRule("low", "draft_switch", below=0.45 * INCH, deadband=0.02 * INCH, off_delay=2.0, text="pressure low")
MARGIN = AlarmRule("margin", "draft_margin", below=0.05 * INCH, text="margin", when=("switch_closed", 1.0))


@asynccontextmanager
async def call(path: Path, *drivers: Driver, rules: Sequence[AlarmRule] = ()) -> AsyncIterator[Collector]:
    """A call whose instruments have begun."""
    async with started(path, *drivers, rules=rules) as collector:
        await until(lambda: all(one.status.sessions for one in collector.supervisors), what="sessions")
        yield collector


def changed(at: float, before: Channel, after: Channel) -> Event:
    data = {"from": before.key, "to": after.key, "from_unit": before.unit, "to_unit": after.unit}
    return Event(T0 + round(at * SECOND), EventKind.UNIT_CHANGED, "draft meter: another unit", "draft meter", data)


def reading(channel: Channel, at: float, value: float) -> Reading:
    return Reading(channel.key, T0 + round(at * SECOND), value)


def there_and_back(collector: Collector) -> None:
    """0.40 in. w.c. in inches, in pascal from 10 s on, in inches again from 20 s on; then 0.60."""
    collector.ingest(reading(CLOSED, 0, 1.0))
    for second in range(10):
        collector.ingest(reading(DRAFT, second + 0.5, 0.40))
    collector.ingest(PASCAL)
    collector.ingest(changed(10, DRAFT, PASCAL))
    for second in range(10, 20):
        collector.ingest(reading(CLOSED, second, 1.0))
        collector.ingest(reading(PASCAL, second + 0.5, 0.40 * INCH))
    collector.ingest(changed(20, PASCAL, DRAFT))
    for second in range(20, 30):
        collector.ingest(reading(CLOSED, second, 1.0))
        collector.ingest(reading(DRAFT, second + 0.5, 0.40 if second < 25 else 0.60))


async def test_an_alarm_that_is_active_goes_on_without_a_gap_and_ends_with_the_new_channel(tmp_path: Path) -> None:
    path = tmp_path / "a.lightoff"
    async with call(path, Told("draft meter", DRAFT), Told("contact logger", CLOSED), rules=[LOW, MARGIN]) as collector:
        there_and_back(collector)
        states = {alarm.name: alarm.state for alarm in collector.alarms.snapshot()}
        assert states == {"low": "returned", "margin": "returned"}
    with Recording(path) as recording:
        told = [
            (event.subject, event.data["to"], (event.time - T0) / SECOND)
            for event in recording.events({EventKind.ALARM})
        ]
    low = [(state, at) for name, state, at in told if name == "low"]
    assert low == [("unacknowledged", 0.5), ("returned", 27.5)]
    assert [state for name, state, _ in told if name == "margin"] == ["normal", "unacknowledged", "returned"]


async def test_an_alarm_ends_with_the_channel_in_which_the_meter_shows_now(tmp_path: Path) -> None:
    """Nothing is held of the channel that is silent since."""
    async with call(tmp_path / "a.lightoff", Told("draft meter", DRAFT), rules=[LOW]) as collector:
        for second in range(3):
            collector.ingest(reading(DRAFT, second, 0.40))
        collector.ingest(PASCAL)
        collector.ingest(changed(3, DRAFT, PASCAL))
        for second in range(3, 8):
            collector.ingest(reading(PASCAL, second, 0.60 * INCH))
        [alarm] = collector.alarms.snapshot()
        assert alarm.state == "returned"
        assert DRAFT.key not in collector.latest


async def test_what_is_derived_goes_on_at_once_there_and_back(tmp_path: Path) -> None:
    """The speaker of the point changes over with the first reading, not after a silence."""
    async with call(tmp_path / "a.lightoff", Told("draft meter", DRAFT), Told("logger", CLOSED)) as collector:
        listener, end = collector.fanout.listen()
        there_and_back(collector)
        margins = [item[2] for item in listener.take() if not isinstance(item, Event) and item[0] == "draft_margin"]
        end()
        assert margins[0] == pytest.approx(-0.02 * INCH)
        assert {round(margin / INCH, 6) for margin in margins} == {-0.02, 0.18}, "never without a value"
        assert collector.speakers.of["draft_switch"] == DRAFT.key


async def test_the_zero_of_the_meter_is_carried_over_in_the_other_unit(tmp_path: Path) -> None:
    path = tmp_path / "a.lightoff"
    async with call(path, Told("draft meter", DRAFT)) as collector:
        collector.ingest(reading(DRAFT, 0, 0.02))
        collector.zero(DRAFT.key)
        collector.ingest(PASCAL)
        collector.ingest(changed(1, DRAFT, PASCAL))
        collector.ingest(reading(PASCAL, 1, 0.52 * INCH))
        assert collector.latest[PASCAL.key][2] == pytest.approx(0.50 * INCH)
        collector.undo_zero(PASCAL.key)
        collector.ingest(changed(2, PASCAL, DRAFT))
        collector.ingest(reading(DRAFT, 2, 0.52))
        assert collector.latest[DRAFT.key][2] == pytest.approx(0.52 * INCH), "what was undone stays undone"
    with Recording(path) as recording:
        assert series(recording, PASCAL).value == pytest.approx([0.50 * INCH])
        zeroed = [event.data["channel"] for event in recording.events({EventKind.ZEROED})]
    assert zeroed == [DRAFT.key, PASCAL.key, PASCAL.key, DRAFT.key]


async def test_changes_that_are_only_counted_lose_no_zero_and_the_present_is_that_of_the_last_unit(
    tmp_path: Path,
) -> None:
    """Messages in one unit and the other in turn, zeroed in mid-course; the sum of the changes comes later."""
    path, held = tmp_path / "a.lightoff", Held()
    inches, pascal = "draft_switch@meter", "draft_switch@meter (Pa)"

    def say(unit: str, value: float) -> None:
        for item in held.say(value, units={"pressure": unit}, after=0.5):
            collector.ingest(item)

    def tell() -> None:
        for event in held.tell(after=10.0):
            collector.ingest(event)

    async with call(path, Told("meter", *held.meter.channels)) as collector:
        for _ in range(3):
            say("inH2O", 0.52)
            say("Pa", 0.52 * INCH)
        say("inH2O", 0.02)
        collector.zero(inches)
        say("Pa", 0.52 * INCH)
        assert collector.latest[pascal][2] == pytest.approx(0.50 * INCH)
        say("inH2O", 0.52)
        assert set(collector.latest) & {inches, pascal} == {inches}
        tell()
        say("Pa", 0.52 * INCH)
        tell()
        say("inH2O", 0.04)
        collector.zero(inches)
        tell()
        say("inH2O", 0.54)
        assert collector.latest[inches][2] == pytest.approx(0.50 * INCH), "no older zero takes the place of the last"
        at = held.clock.time / SECOND
    with Recording(path) as recording:
        assert len(recording.events({EventKind.UNIT_CHANGED})) == 4
    shown = [row["value"] for row in values_at(path, at)["values"] if row["point"] == "draft_switch"]
    assert shown == [pytest.approx(0.50 * INCH)]


async def test_a_meter_whose_unit_is_changed_by_hand_is_followed_from_its_messages_to_the_alarm(tmp_path: Path) -> None:
    """The whole way; a value beyond the meter's range, in the new unit too, is kept and doubtful."""
    path, held = tmp_path / "a.lightoff", Held()
    async with call(path, Told("meter", *held.meter.channels), rules=[LOW]) as collector:
        told: list[tuple[str, str]] = []
        for unit, value in (("inH2O", 0.40), ("Pa", 0.40 * INCH), ("Pa", 6.0 * INCH), ("inH2O", 0.40)):
            for _ in range(5):
                for item in held.say(value, units={"pressure": unit}):
                    collector.ingest(item)
            told.append((collector.alarms.snapshot()[0].state, collector.speakers.of["draft_switch"]))
            if value > 2 * INCH:
                assert collector.latest["draft_switch@meter (Pa)"][3] is Quality.SUSPECT
    inches, pascal = "draft_switch@meter", "draft_switch@meter (Pa)"
    assert told == [
        ("unacknowledged", inches),
        ("unacknowledged", pascal),
        ("returned", pascal),
        ("unacknowledged", inches),
    ]
    with Recording(path) as recording:
        assert recording.read(inches).value.tolist() == [0.40] * 10, "every number as it was shown"
        assert recording.read(pascal).value.tolist() == [0.40 * INCH] * 5 + [6.0 * INCH] * 5
        assert len(recording.events({EventKind.UNIT_CHANGED})) == 2


async def test_trends_show_one_line_and_the_rise_that_was(tmp_path: Path) -> None:
    path = tmp_path / "a.lightoff"
    celsius = Channel("temp_supply", "duct thermometer (degC)", "degC")
    async with call(path, Told("duct thermometer", SUPPLY, RETURN)) as collector:
        for second in range(5):
            collector.ingest(reading(RETURN, second, 68.0))
            collector.ingest(reading(SUPPLY, second + 0.1, 122.0))
        collector.ingest(celsius)
        collector.ingest(changed(5, SUPPLY, celsius))
        for second in range(5, 10):
            collector.ingest(reading(RETURN, second, 68.0))
            collector.ingest(reading(celsius, second + 0.1, 50.0))
    found = {one.channel.point: one for one in read(path, ("temp_supply", "temp_rise"), None, None)}
    assert found["temp_supply"].channel.key == celsius.key, "new readings are appended to the channel that stands"
    assert found["temp_supply"].value == pytest.approx([50.0] * 10)
    assert found["temp_supply"].time.size == 10
    assert len(read(path, ("temp_supply",), None, None)) == 1
    assert not np.isnan(found["temp_supply"].value).any()
    at = {moment: values_at(path, T0 / SECOND + moment)["values"] for moment in (4.5, 9.5)}
    shown = {moment: [row["value"] for row in rows if row["point"] == "temp_supply"] for moment, rows in at.items()}
    assert shown == {4.5: [pytest.approx(50.0), None], 9.5: [pytest.approx(50.0)]}, (
        "a unit that it left says nothing now"
    )


async def test_it_is_one_meter_on_the_page_with_the_channel_that_stands(tmp_path: Path) -> None:
    driver = Told("draft meter", DRAFT)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        driver.say(DRAFT, 0, 0.5)
        await until(lambda: DRAFT.key in collector.latest, what="inches")
        supervisor = collector.supervisors[0]
        for item in (PASCAL, changed(1, DRAFT, PASCAL), reading(PASCAL, 1, 125.0)):
            supervisor._take(item)
        [row] = instrument_rows(collector, {"draft meter": {"isolated": True}})
        assert row["name"] == "draft meter"
        assert row["channels"] == [PASCAL.key]
        assert row["readings"] == 2
        assert row["isolated"] is True


async def test_a_replay_follows_the_change_and_goes_back_with_it_when_it_is_moved(tmp_path: Path) -> None:
    path = tmp_path / "a.lightoff"
    async with call(path, Told("draft meter", DRAFT), Told("contact logger", CLOSED)) as collector:
        there_and_back(collector)
    with Recording(path) as source, Store(tmp_path / "b.lightoff") as store:
        replay = Replay(source, as_fast_as_it_goes=True, stay=True)
        again = Collector(store, plate=PLATE, rules=[LOW], clock=Clock())
        again.add(replay)
        both = {"draft_switch@replay: draft meter", "draft_switch@replay: draft meter (Pa)"}
        for item in await played(replay):
            again.ingest(item)
        assert {key for key in again.arrivals if key.startswith("draft_switch")} == both
        assert again.speakers.of["draft_switch"] == "draft_switch@replay: draft meter"
        [alarm] = again.alarms.snapshot()
        assert alarm.state == "returned"
        back = Reading("draft_switch@replay: draft meter (Pa)", T0 + 15 * SECOND, 0.40 * INCH)
        again.ingest(back)
        assert again.speakers.of["draft_switch"] == back.channel
        assert again.alarms.snapshot()[0].state == "unacknowledged"
        for second in range(25, 30):
            again.ingest(Reading("draft_switch@replay: draft meter", T0 + second * SECOND, 0.60))
        assert again.alarms.snapshot()[0].state == "returned", "and forward: nothing stays of the pascals"


async def played(replay: Replay) -> list[Emission]:
    """What a replay emits up to its end."""
    items: list[Emission] = []
    task = asyncio.create_task(replay.run(items.append), name="replay")
    await until(lambda: any(isinstance(one, Event) and one.data.get("what") == "end" for one in items), what="the end")
    task.cancel()
    await asyncio.wait([task])
    return items


def test_three_units_of_one_meter_are_one_meter() -> None:
    succession = Succession()
    for before, after in (("a", "b"), ("b", "c")):
        succession.change(before, after)
    assert [succession.standing(one) for one in "abcd"] == ["c", "c", "c", "d"]
    succession.change("c", "a")
    assert [succession.left(one) for one in "abcd"] == [False, True, True, False]
