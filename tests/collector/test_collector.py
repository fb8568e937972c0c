"""Ingest end to end: recorded, normalized, derived, alarmed, offered; one bad instrument never stops another."""

import asyncio
import math
from itertools import pairwise

import pytest

from analysis.model import Channel, Event, EventKind, Plate, Quality, Reading, Timing
from collector.alarm_rule import AlarmRule
from collector.clock import Clock
from collector.collector import Collector
from collector.database import RecordingError
from collector.normalize import series
from collector.recording import Recording
from collector.sequence import LiveSequence
from collector.store import Store
from collector.supervisor import State
from drivers.base import ConnectionLostError, InputError, SettingsError
from tests.collector.calls import CLOSED, CO, DRAFT, INCH, PLATE, RETURN, SECOND, SUPPLY, T0, Told, call
from tests.collector.scripted import Scripted, attempts_of
from tests.support import until

LOW_MARGIN = AlarmRule(
    name="margin", point="draft_margin", below=0.05 * INCH, priority="high", text="margin", when=("switch_closed", 1.0)
)


async def test_a_reading_is_recorded_as_given_and_offered_in_inside_units(tmp_path):
    driver = Told("duct thermometer", SUPPLY, RETURN)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        listener, end = collector.fanout.listen()
        driver.say(RETURN, 0, 70.0)
        driver.say(SUPPLY, 0.1, 120.0)
        await until(lambda: SUPPLY.key in collector.latest, what="the reading is in")
        values = {item[0]: item[2] for item in listener.take() if not isinstance(item, Event)}
        assert values[SUPPLY.key] == pytest.approx(48.8889, abs=1e-4)
        assert values["temp_rise"] == pytest.approx(50 * 5 / 9)
        end()
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(SUPPLY.key).value.tolist() == [120.0]
        assert recording.read("temp_rise").time.size == 0, "what is derived is computed when asked"


async def test_an_alarm_on_a_derived_quantity_is_raised_recorded_and_announced(tmp_path):
    draft, contacts = Told("draft meter", DRAFT), Told("contact logger", CLOSED)
    async with call(tmp_path / "a.lightoff", draft, contacts, rules=[LOW_MARGIN]) as collector:
        contacts.say(CLOSED, 0, 1.0)
        await until(lambda: CLOSED.key in collector.latest, what="the contact is in")
        draft.say(DRAFT, 0.1, 0.80)
        draft.say(DRAFT, 0.2, 0.44)
        await until(lambda: collector.alarms.snapshot()[0].state == "unacknowledged", what="the alarm is raised")
        assert [event.subject for event in collector.remembered if event.kind is EventKind.ALARM] == ["margin"]
        assert collector.derived.making is False
    with Recording(tmp_path / "a.lightoff") as recording:
        alarms = recording.events({EventKind.ALARM})
        assert alarms[-1].time == T0 + round(0.2 * SECOND)
        assert alarms[-1].data["to"] == "unacknowledged"


async def test_one_bad_instrument_never_stops_another(tmp_path):
    bad, good = Told("draft meter", DRAFT), Told("duct thermometer", SUPPLY)
    async with call(tmp_path / "a.lightoff", bad, good) as collector:
        bad.items.put_nowait(SettingsError("draft meter", "cannot work"))
        await until(lambda: collector.supervisors[0].status.state is State.STOPPED, what="the bad one stopped")
        bad_again = Told("room CO meter", CO)
        good.say(SUPPLY, 1, 100.0)
        await until(lambda: SUPPLY.key in collector.latest, what="the good one goes on")
        assert bad_again.channels == (CO,)
    with Recording(tmp_path / "a.lightoff") as recording:
        texts = [event.text for event in recording.events({EventKind.INSTRUMENT})]
    assert "draft meter: stopped (draft meter: cannot work)" in texts


async def test_a_lost_instrument_comes_back_and_the_gap_stays_a_gap(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        driver.say(DRAFT, 0, 0.5)
        driver.items.put_nowait(ConnectionLostError("draft meter", "unplugged"))
        driver.say(DRAFT, 30, 0.6)
        await until(lambda: collector.arrivals[DRAFT.key].count == 2, what="it reads again")
        assert collector.supervisors[0].status.sessions == 2
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(DRAFT.key).time.tolist() == [T0, T0 + 30 * SECOND]


async def test_a_reading_of_a_channel_not_announced_stops_its_driver_with_a_sentence(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        driver.say(SUPPLY, 0, 1.0)
        await until(lambda: collector.supervisors[0].status.state is State.STOPPED, what="stopped")
        assert "never announced" in collector.supervisors[0].status.text


@pytest.mark.parametrize(
    ("channel", "says"),
    [
        (Channel("draft_colector", "m", "Pa"), "nearest known: draft_collector"),
        (Channel("draft_collector", "m", "degF"), "does not measure"),
    ],
)
async def test_a_channel_that_cannot_be_is_refused_in_words(tmp_path, channel, says):
    async with call(tmp_path / "a.lightoff") as collector:
        with pytest.raises(SettingsError, match=says):
            collector.ingest(channel)


async def test_a_unit_other_than_the_recording_has_is_refused_before_it_reaches_the_store(tmp_path):
    """A recording that is continued: the one instrument is refused, everything else is recorded."""
    with Store(tmp_path / "a.lightoff") as store:
        store.append([DRAFT])
        collector = Collector(store, plate=PLATE, rules=(), clock=Clock(), recorded=[DRAFT])
        with pytest.raises(SettingsError, match="the recording has draft_switch in inH2O, and it comes in Pa now"):
            collector.ingest(Channel(DRAFT.point, DRAFT.instrument, "Pa"))
        assert collector.recorder.queued == 0
        collector.ingest(DRAFT)
        assert collector.recorder.queued == 1


async def test_quality_bad_and_implausible_values(tmp_path):
    channel = Channel("draft_collector", "draft meter", "inH2O", low=-5, high=5)
    driver = Told("draft meter", channel)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        driver.say(channel, 0, 9.0)
        await until(lambda: channel.key in collector.latest, what="in")
        assert collector.latest[channel.key][3] is Quality.SUSPECT
        driver.items.put_nowait(Reading(channel.key, T0 + 1, 2.0, Quality.BAD))
        await until(lambda: collector.arrivals[channel.key].count == 2, what="in")
        assert math.isnan(collector.latest[channel.key][2])
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(channel.key).value.tolist() == [9.0, 2.0], "raw values stay as they are"


async def test_zeroing_is_an_event_and_raw_values_stay(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        with pytest.raises(InputError, match="no reading"):
            collector.zero(DRAFT.key)
        driver.say(DRAFT, 0, 0.03)
        await until(lambda: DRAFT.key in collector.latest, what="in")
        collector.zero(DRAFT.key)
        driver.say(DRAFT, 1, 0.53)
        await until(lambda: collector.arrivals[DRAFT.key].count == 2, what="in")
        assert collector.latest[DRAFT.key][2] == pytest.approx(0.50 * INCH)
        with pytest.raises(InputError, match="no reading"):
            collector.zero("nothing@nobody")
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(DRAFT.key).value.tolist() == [0.03, 0.53]
        assert series(recording, DRAFT).value == pytest.approx([0.03 * INCH, 0.50 * INCH])


@pytest.mark.parametrize(
    ("channel", "value", "says"),
    [
        (SUPPLY, 70.0, "cannot be zeroed"),
        (CO, 45.0, "cannot be zeroed"),
        (CO, 1.0, "cannot be zeroed"),
        (DRAFT, 0.55, "too far off to be its zero; take hoses or leads off first"),
    ],
)
async def test_what_must_not_be_zeroed_is_refused(tmp_path, channel, value, says):
    """Above all carbon monoxide: a zero taken in bad air would call the air good."""
    driver = Told("meter", channel)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        driver.say(channel, 0, value)
        await until(lambda: channel.key in collector.latest, what="in")
        with pytest.raises(InputError, match=says):
            collector.zero(channel.key)


async def test_a_zeroing_can_be_undone_and_holds_for_its_time_only(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        driver.say(DRAFT, 10, 0.03)
        await until(lambda: DRAFT.key in collector.latest, what="in")
        collector.zero(DRAFT.key)
        driver.say(DRAFT, 11, 0.53)
        driver.say(DRAFT, 9, 0.23)  # late, or a replay that was moved back: from before the zeroing
        await until(lambda: collector.arrivals[DRAFT.key].count == 3, what="in")
        assert collector.latest[DRAFT.key][2] == pytest.approx(0.23 * INCH)
        driver.say(DRAFT, 12, 0.53)
        await until(lambda: collector.arrivals[DRAFT.key].count == 4, what="in")
        assert collector.zeros(DRAFT.key) == 0.03
        collector.undo_zero(DRAFT.key)
        driver.say(DRAFT, 13, 0.53)
        await until(lambda: collector.arrivals[DRAFT.key].count == 5, what="in")
        assert collector.latest[DRAFT.key][2] == pytest.approx(0.53 * INCH)
        with pytest.raises(InputError, match="is not zeroed"):
            collector.undo_zero(DRAFT.key)
    with Recording(tmp_path / "a.lightoff") as recording:
        expected = [0.23, 0.03, 0.50, 0.50, 0.53]
        assert series(recording, DRAFT).value == pytest.approx([value * INCH for value in expected])


async def test_two_instruments_on_one_point_are_never_mixed(tmp_path):
    """The rise comes from one thermometer, the first; the other takes over when it falls silent."""
    other = Channel("temp_supply", "old probe", "degF")
    driver = Told("duct thermometer", SUPPLY, RETURN, other)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        rises = []
        listener, end = collector.fanout.listen()
        for second in range(3):
            driver.say(RETURN, second, 70.0)
            driver.say(SUPPLY, second + 0.1, 120.0)
            driver.say(other, second + 0.2, 300.0)
        for second in range(3, 30):
            driver.say(RETURN, second, 70.0)
            driver.say(other, second + 0.2, 300.0)
        await until(lambda: collector.arrivals[other.key].count == 30, what="in")
        rises = [item[2] for item in listener.take() if not isinstance(item, Event) and item[0] == "temp_rise"]
        end()
        assert collector.speakers.of["temp_supply"] == other.key
    assert set(map(round, rises[:5])) == {28}
    assert round(rises[-1]) == 128
    changes = sum(abs(late - early) > 1 for early, late in pairwise(rises))
    assert changes == 1, "it changes over once and does not alternate"


async def test_an_alarm_is_not_hidden_by_a_second_instrument(tmp_path):
    """One meter beyond the limit for the on-delay alarms, whatever a good one says in between."""
    hot = AlarmRule(name="hot", point="temp_supply", above=80.0, on_delay=5, text="hot")
    other = Channel("temp_supply", "old probe", "degF")
    driver = Told("duct thermometer", SUPPLY, other)
    async with call(tmp_path / "a.lightoff", driver, rules=[hot]) as collector:
        for second in range(10):
            driver.say(SUPPLY, second, 120.0)
            driver.say(other, second + 0.5, 200.0)
        await until(lambda: collector.arrivals[other.key].count == 10, what="in")
        (status,) = collector.alarms.snapshot()
        assert status.state == "unacknowledged"
        assert status.value == pytest.approx(200 * 5 / 9 - 160 / 9)


async def test_something_that_is_no_reading_stops_its_driver_only(tmp_path):
    bad, good = Told("draft meter", DRAFT), Told("duct thermometer", SUPPLY)
    async with call(tmp_path / "a.lightoff", bad, good) as collector:
        bad.items.put_nowait(Reading(DRAFT.key, 2**63, 1.0))
        await until(lambda: collector.supervisors[0].status.state is State.STOPPED, what="stopped")
        good.say(SUPPLY, 1, 100.0)
        await until(lambda: SUPPLY.key in collector.latest, what="the other goes on")
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.span() == (T0 + SECOND, T0 + SECOND)


async def test_a_store_that_cannot_write_is_heard_and_the_call_lives_on(tmp_path):
    driver = Told("draft meter", DRAFT)
    async with call(tmp_path / "a.lightoff", driver) as collector:
        store = collector.recorder._store
        append = store.append

        def full(batch, *, seal=True):
            raise RecordingError("cannot record to a.lightoff (full)", "free some space")

        store.append = full  # type: ignore[method-assign]
        driver.say(DRAFT, 0, 0.5)
        await until(lambda: collector.recorder.failure, what="the failure is heard")
        assert any("recording stands still" in event.text for event in collector.remembered)
        driver.say(DRAFT, 1, 0.6)
        await until(lambda: collector.arrivals[DRAFT.key].count == 2, what="the live path goes on")
        store.append = append  # type: ignore[method-assign]
        await until(lambda: not collector.recorder.failure, what="recording goes on")
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(DRAFT.key).value.tolist() == [0.5, 0.6]


async def test_a_defect_in_ingest_stops_the_program_and_keeps_what_was_taken(tmp_path):
    driver = Told("draft meter", DRAFT)
    with pytest.raises(ExceptionGroup) as caught:
        async with call(tmp_path / "a.lightoff", driver) as collector:
            driver.say(DRAFT, 0, 0.5)
            await until(lambda: DRAFT.key in collector.latest, what="in")

            def broken(*_: object) -> list[object]:
                raise ZeroDivisionError("x")

            collector.derived.step = broken  # type: ignore[assignment]
            driver.say(DRAFT, 1, 0.6)
            await asyncio.sleep(0.2)
    assert "draft meter" in str(caught.value.exceptions[0])
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(DRAFT.key).value.tolist() == [0.5, 0.6]


async def test_a_shelved_alarm_comes_back_by_itself(tmp_path):
    driver = Told("draft meter", DRAFT)
    rule = AlarmRule(name="low", point="draft_switch", below=100.0, priority="high", text="low")
    async with call(tmp_path / "a.lightoff", driver, rules=[rule]) as collector:
        driver.items.put_nowait(Reading(DRAFT.key, collector.clock(), 0.1))
        await until(lambda: collector.alarms.snapshot()[0].state == "unacknowledged", what="raised")
        collector.apply(collector.alarms.shelve("low", collector.now(), 1))
        assert collector.alarms.snapshot()[0].state == "shelved"
        driver.items.put_nowait(Reading(DRAFT.key, collector.clock(), 0.1))
        await until(lambda: collector.alarms.snapshot()[0].state == "unacknowledged", what="back")


async def test_a_withdrawn_flame_current_holds_no_stop_and_no_attempt_is_lost_by_it(tmp_path):
    flame, valve = Channel("flame_current", "by hand: meter", "uA"), Channel("gas_valve", "logger", "1")
    meter, logger = Told("by hand: meter", flame), Told("logger", valve)
    async with call(tmp_path / "a.lightoff", meter, logger) as collector:
        made: list[Scripted] = []
        script = attempts_of("flame_rod_dirty", T0 / SECOND)

        def make(timing: Timing | None, plate: Plate) -> Scripted:
            made.append(Scripted(script, timing, plate))
            return made[-1]

        collector.sequence = LiveSequence(recognizer=make)
        meter.say(flame, 10, 0.0)
        logger.say(valve, 20, 0.0)
        meter.say(flame, 20, 3.0)
        await until(lambda: collector.readings == 3, what="in")
        now = T0 + 25 * SECOND
        assert [sign.name for sign in collector.sequence.warnings(now)] == ["flame_without_gas"]
        data = {"channel": flame.key, "at": T0 + 20 * SECOND}
        collector.ingest(Event(now, EventKind.WITHDRAWN, "taken back", None, data))
        assert collector.sequence.warnings(now) == ()
        assert len(made) == 1, "it goes on"
