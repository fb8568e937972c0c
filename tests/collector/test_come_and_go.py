"""Instruments that come and go while a call runs: at once, in order, and nothing of one that is gone holds on."""

import asyncio

import pytest

from analysis.model import Channel, EventKind, Plate, Quality
from collector.alarm_rule import AlarmRule
from collector.alarm_states import AlarmState
from collector.recording import Recording
from collector.supervisor import State
from drivers.base import Emit, InputError, SettingsError
from tests.collector.alarm_bench import FIRING, GAS, HOT, LATCHED, Bench, time_of
from tests.collector.calls import CLOSED, CO, DRAFT, INCH, PLATE, SECOND, SUPPLY, T0, Told, call
from tests.collector.test_feed import connected, served
from tests.support import until

DANGER = AlarmRule("danger", "room_co", above=36e-6, priority="safety", text="carbon monoxide")


class Lingering(Told):
    """Says one more thing when its session is cancelled."""

    async def run(self, emit: Emit) -> None:
        try:
            await super().run(emit)
        finally:
            while not self.items.empty():
                item = self.items.get_nowait()
                assert item is not None
                assert not isinstance(item, Exception)
                emit(item)


class Stuck(Told):
    """Does not end when it is cancelled."""

    def __init__(self, name: str, *channels: Channel) -> None:
        super().__init__(name, *channels)
        self.let_go = asyncio.Event()
        self.emit: Emit | None = None

    async def run(self, emit: Emit) -> None:
        self.emit = emit
        while not self.let_go.is_set():
            try:
                await self.let_go.wait()
            except asyncio.CancelledError:
                continue


async def test_an_instrument_added_while_it_runs_reads_at_once_beside_the_others(tmp_path):
    first, second = Told("draft meter", DRAFT), Told("duct thermometer", SUPPLY)
    async with call(tmp_path / "a.lightoff", first) as collector:
        first.say(DRAFT, 0, 0.5)
        await until(lambda: DRAFT.key in collector.latest, what="the first reads")
        collector.add(second)
        second.say(SUPPLY, 1, 110.0)
        await until(lambda: SUPPLY.key in collector.latest, what="the second reads")
        first.say(DRAFT, 2, 0.6)
        await until(lambda: collector.arrivals[DRAFT.key].count == 2, what="the first goes on")
        assert [one.status.sessions for one in collector.supervisors] == [1, 1]
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(SUPPLY.key).value.tolist() == [110.0]


async def test_what_a_removed_instrument_still_had_is_recorded_and_its_channels_stay_in_the_recording(tmp_path):
    meter = Lingering("draft meter", DRAFT)
    async with call(tmp_path / "a.lightoff", meter) as collector:
        meter.say(DRAFT, 0, 0.5)
        await until(lambda: DRAFT.key in collector.latest, what="it reads")
        meter.say(DRAFT, 1, 0.7)
        (supervisor,) = collector.supervisors
        task = collector.remove("draft meter")
        assert task
        assert supervisor.status.state is State.REMOVED
        await asyncio.wait([task], timeout=2)
        assert collector.supervisors == []
        assert DRAFT.key not in collector.latest
        assert collector.channels == ()
        with pytest.raises(InputError, match="no instrument 'draft meter'"):
            collector.remove("draft meter")
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(DRAFT.key).value.tolist() == [0.5, 0.7]
        texts = [event.text for event in recording.events({EventKind.INSTRUMENT})]
        assert texts == ["draft meter: reading", "draft meter: removed"]


async def test_a_session_that_does_not_end_is_left_and_not_listened_to(tmp_path, monkeypatch):
    monkeypatch.setattr("collector.sessions.ENDS_WITHIN", 0.05)
    stuck, other = Stuck("draft meter", DRAFT), Told("duct thermometer", SUPPLY)
    async with call(tmp_path / "a.lightoff", stuck, other) as collector:
        await until(lambda: stuck.emit, what="it runs")
        task = collector.remove("draft meter")
        assert task
        await asyncio.wait([task], timeout=2)
        names = [one.driver.name for one in collector.supervisors]
        assert stuck.emit
        stuck.emit(DRAFT)
        channels = collector.channels
        stuck.let_go.set()  # before anything can fail: it would never end
        assert names == ["duct thermometer"]
        assert channels == (SUPPLY,)


async def test_the_next_session_at_a_port_waits_for_the_end_of_the_last(tmp_path):
    order: list[str] = []

    class Slow(Told):
        async def run(self, emit: Emit) -> None:
            order.append(f"{self.name} begins")
            try:
                await super().run(emit)
            finally:
                await asyncio.sleep(0.02)
                order.append(f"{self.name} ended")

    async with call(tmp_path / "a.lightoff", Slow("old")) as collector:
        await until(lambda: order, what="it runs")
        task = collector.remove("old")
        assert task
        collector.add(Slow("new"), after=[task])
        await until(lambda: len(order) == 3, what="the new one runs")
        assert order == ["old begins", "old ended", "new begins"]


async def test_nothing_of_a_removed_meter_holds_a_margin_a_speaker_or_a_phase(tmp_path):
    draft, contact = Told("draft meter", DRAFT), Told("contact logger", CLOSED)
    async with call(tmp_path / "a.lightoff", draft, contact) as collector:
        contact.say(CLOSED, 0, 1.0)
        await until(lambda: CLOSED.key in collector.latest, what="in")
        draft.say(DRAFT, 1, 0.45)
        await until(lambda: "draft_margin" in collector.latest, what="margin")
        assert collector.derived.making is False
        task = collector.remove("draft meter")
        assert task
        await asyncio.wait([task])
        assert "draft_margin" not in collector.latest
        assert collector.derived.making is None
        assert "draft_switch" not in collector.speakers.of
        collector.use_job(PLATE, [])
        assert "draft_margin" not in collector.latest, "and nothing brings it back"


async def test_a_meter_that_comes_back_is_zeroed_as_it_was(tmp_path):
    """Undo brings back the instrument, and with it what it was taken to show at nothing."""
    meter = Told("draft meter", DRAFT)
    async with call(tmp_path / "a.lightoff", meter) as collector:
        meter.say(DRAFT, 0, 0.03)
        await until(lambda: DRAFT.key in collector.latest, what="in")
        collector.zero(DRAFT.key)
        task = collector.remove("draft meter")
        assert task
        await asyncio.wait([task])
        again = Told("draft meter", DRAFT)
        collector.add(again)
        again.say(DRAFT, 5, 0.53)
        await until(lambda: DRAFT.key in collector.latest, what="it reads again")
        assert collector.latest[DRAFT.key][2] == pytest.approx(0.50 * INCH)


async def test_a_unit_that_the_recording_has_otherwise_is_refused_before_anything_starts(tmp_path):
    async with call(tmp_path / "a.lightoff", Told("draft meter", DRAFT)) as collector:
        with pytest.raises(SettingsError, match="name the instrument otherwise"):
            collector.check(Told("draft meter", Channel(DRAFT.point, DRAFT.instrument, "Pa")))
        assert collector.channels == (DRAFT,)


async def test_an_alarm_that_only_the_removed_meter_held_is_over_and_still_waits_to_be_seen(tmp_path):
    meter = Told("room CO meter", CO)
    async with call(tmp_path / "a.lightoff", meter, rules=[DANGER]) as collector:
        meter.say(CO, 0, 50.0)
        await until(lambda: collector.alarms.state("danger") is AlarmState.UNACKNOWLEDGED, what="alarm")
        task = collector.remove("room CO meter")
        assert task
        await asyncio.wait([task])
        assert collector.alarms.state("danger") is AlarmState.RETURNED
        (status,) = collector.alarms.snapshot()
        assert status.value is None
    with Recording(tmp_path / "a.lightoff") as recording:
        last = recording.events({EventKind.ALARM})[-1]
        assert last.text == "carbon monoxide: over, the meter that saw it was removed"


def test_an_alarm_that_another_meter_holds_too_goes_on():
    bench = Bench(GAS)
    for source, ppm in (("a", 50e-6), ("b", 60e-6)):
        bench.alarms.step("room_co", time_of(0), ppm, Quality.GOOD, source)
    assert bench.alarms.forget("room_co", "b", time_of(1)) == []
    assert bench.state("co") is AlarmState.UNACKNOWLEDGED
    (change,) = bench.alarms.forget("room_co", "a", time_of(2))
    assert change.to_state is AlarmState.RETURNED


def test_a_latched_alarm_stays_until_somebody_has_seen_it():
    bench = Bench(LATCHED)
    bench.alarms.step("temp_supply", time_of(0), 80.0, Quality.GOOD, "a")
    (change,) = bench.alarms.forget("temp_supply", "a", time_of(1))
    assert change.to_state is AlarmState.LATCHED_UNACKNOWLEDGED


def test_an_alarm_whose_contact_is_gone_is_not_watched_rather_than_judged_by_its_last_word():
    bench = Bench(FIRING, HOT)
    bench.alarms.step("gas_valve", time_of(0), 1.0, Quality.GOOD, "c")
    bench.alarms.step("gas_valve", time_of(6), 1.0, Quality.GOOD, "c")
    assert bench.state("inlet") is AlarmState.NORMAL
    bench.alarms.forget("gas_valve", "c", time_of(7))
    assert bench.state("inlet") is AlarmState.SUPPRESSED


async def test_the_time_of_the_recording_never_jumps_because_an_instrument_came_or_went(tmp_path):
    class Elsewhen(Told):
        def now(self) -> int:
            return T0 - 10_000 * SECOND

    async with call(tmp_path / "a.lightoff") as collector:
        collector.use_job(Plate(), [])
        await until(lambda: collector.running, what="it runs")
        before = collector.now()
        collector.add(Elsewhen("replay: old"))
        assert collector.now() >= before


async def test_a_meter_that_comes_and_goes_is_told_without_a_new_connection(tmp_path):
    """Its channel and its row come, then go; what was derived of it and what was queued holds nothing on the page."""
    contact = Told("contact logger", Channel("switch_closed", "contact logger", "1"))
    async with served(tmp_path / "a.lightoff", contact) as (collector, feed, host, port):
        async with connected(host, port, feed.token) as client:
            assert len((await client.next("channels"))["channels"]) == 1
            driver = Told("draft meter", DRAFT)
            collector.add(driver)
            driver.say(DRAFT, 0, 0.5)
            told = await client.next("channels")
            assert [one["key"] for one in told["channels"]][-1] == DRAFT.key
            await client.next("readings")
            rows = (await client.next("status"))["instruments"]
            assert "draft meter" in [one["name"] for one in rows]
            driver.say(DRAFT, 1, 0.6)
            collector.remove("draft meter")
            await client.next("event", kind="instrument", text="draft meter: removed")
            told = await client.next("channels")
            assert DRAFT.key not in [one["key"] for one in told["channels"]]
            assert told["derived"] == []
            rows = (await client.next("status"))["instruments"]
            assert "draft meter" not in [one["name"] for one in rows]
