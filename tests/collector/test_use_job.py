"""Another job in a running call: what is unchanged stays as it stands, what is new is judged anew, no reading waits."""

import math
from dataclasses import replace
from functools import partial

import pytest

from analysis.model import Channel, EventKind, Plate, Quality
from collector.alarm_rule import AlarmRule
from collector.alarm_states import AlarmState
from collector.alarms import Alarms
from collector.fanout import Value
from collector.recording import Recording
from drivers.manual import Manual
from tests.collector.alarm_bench import FIRING, GAS, HOT, LATCHED, Bench, time_of
from tests.collector.calls import CLOSED, CO, DRAFT, INCH, PLATE, SUPPLY, T0, Told, call
from tests.support import until

OTHER = AlarmRule("inlet", "gas_inlet", below=1000.0, text="Gas inlet low")


def use(bench: Bench, *rules: AlarmRule, at: float, held: float | None = None, age: float = 0.0) -> list[AlarmState]:
    """Take other rules; `held` is the supply temperature read last, `age` [s] ago."""
    values = [] if held is None else [("temp_supply", "", time_of(at - age), held, Quality.GOOD)]
    return bench._keep(bench.alarms.use(rules, values, time_of(at)))


def test_an_unchanged_rule_keeps_its_state_and_its_counts():
    bench = Bench(HOT, GAS)
    bench.play(80.0, "acknowledge")
    before = bench.status("hot")
    assert before.state is AlarmState.ACKNOWLEDGED
    assert use(bench, replace(HOT), GAS, OTHER, at=2, held=80.0) == []
    assert bench.status("hot") == before
    assert bench.read("temp_supply", 60.0, 3) == [AlarmState.NORMAL], "it goes on from where it was"
    assert bench.state("inlet") is AlarmState.NORMAL


@pytest.mark.parametrize("command", ["shelve", "out_of_service"])
def test_an_unchanged_rule_that_was_set_aside_stays_so(command):
    bench = Bench(HOT)
    bench.do(command, "hot", 0, *((600.0,) if command == "shelve" else ()))
    use(bench, HOT, OTHER, at=1, held=90.0)
    assert bench.state("hot") in (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)


def test_a_changed_limit_is_judged_anew_by_what_is_shown_now():
    bench = Bench(HOT)
    bench.play(80.0, "acknowledge")
    assert use(bench, replace(HOT, above=90.0), at=2, held=80.0, age=1) == [AlarmState.NORMAL]
    assert "the job was changed" in bench.changes[-1].text
    assert use(bench, replace(HOT, above=75.0), at=3, held=80.0, age=2) == [AlarmState.UNACKNOWLEDGED]
    assert bench.status("hot").count == 1


def test_a_value_that_is_long_past_judges_nothing():
    bench = Bench(HOT)
    assert use(bench, replace(HOT, above=60.0), at=100, held=65.0, age=30) == []
    assert bench.tick(101) == []
    assert bench.read("temp_supply", 65.0, 102) == [AlarmState.UNACKNOWLEDGED]


def test_delays_of_a_changed_limit_begin_when_it_was_read():
    bench = Bench(HOT)
    bench.read("temp_supply", 65.0, 0)
    changed = replace(HOT, above=60.0, on_delay=5.0)
    assert use(bench, changed, at=1, held=65.0, age=1) == []
    assert bench.read("temp_supply", 65.0, 4) == []
    assert bench.read("temp_supply", 65.0, 7) == [AlarmState.UNACKNOWLEDGED]


def test_what_is_no_longer_watched_ends_and_says_so():
    bench = Bench(LATCHED, GAS)
    bench.play(80.0, 60.0)
    assert bench.state("hot") is AlarmState.LATCHED_UNACKNOWLEDGED
    assert use(bench, GAS, at=3) == [AlarmState.NORMAL]
    assert [status.name for status in bench.alarms.snapshot()] == ["co"]
    assert use(bench, at=4) == [], "a quiet one ends quietly"
    assert bench.read("temp_supply", 99.0, 5) == []


def test_a_condition_is_learned_from_the_contact_that_was_read():
    bench = Bench()
    held = [
        ("gas_valve", "a", time_of(0), 1.0, Quality.GOOD),
        ("gas_inlet", "b", time_of(8), 900.0, Quality.GOOD),
    ]
    bench._keep(bench.alarms.use([FIRING], held, time_of(8)))
    assert bench.state("inlet") is AlarmState.UNACKNOWLEDGED


def test_two_rules_of_one_name_change_nothing():
    bench = Bench(HOT)
    bench.play(80.0)
    with pytest.raises(ValueError, match="already taken"):
        use(bench, GAS, GAS, at=1)
    assert bench.state("hot") is AlarmState.UNACKNOWLEDGED
    with pytest.raises(ValueError, match="already taken"):
        Alarms([GAS, GAS])


async def test_a_plate_gives_margins_at_once_for_pressures_that_are_there(tmp_path):
    """The number typed in a minute ago gets its margin with its own time; nothing is recorded twice."""
    manual = Manual(now=lambda: T0)
    meter = Told("contact logger", CLOSED)
    async with call(tmp_path / "a.lightoff", manual, meter) as collector:
        collector.use_job(Plate(), [])
        listener, end = collector.fanout.listen()
        manual.enter("draft_switch", 0.70, "inH2O", "")
        key = "draft_switch@by hand: not named"
        await until(lambda: key in collector.latest, what="typed in")
        assert "draft_margin" not in collector.latest
        collector.use_job(PLATE, [])
        _, time, value, quality = collector.latest["draft_margin"]
        assert (time, quality) == (collector.latest[key][1], Quality.SUSPECT)
        assert value == pytest.approx(0.20 * INCH, rel=1e-4)
        assert [item[0] for item in listener.take() if isinstance(item, tuple)] == [key, "draft_margin"]
        collector.use_job(Plate(), [])
        assert "draft_margin" not in collector.latest
        last: Value = [item for item in listener.take() if isinstance(item, tuple)][-1]
        assert last[0] == "draft_margin"
        assert math.isnan(last[2])
        end()
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(key).value.tolist() == [0.70]


async def test_an_alarm_of_the_call_stays_and_one_of_the_new_job_comes(tmp_path):
    meter = Told("meters", CO, SUPPLY)
    danger = AlarmRule("danger", "room_co", above=36e-6, priority="safety", text="carbon monoxide")
    async with call(tmp_path / "a.lightoff", meter, rules=[danger]) as collector:
        meter.say(CO, 0, 50.0)
        meter.say(SUPPLY, 1, 150.0)
        await until(lambda: SUPPLY.key in collector.latest, what="in")
        collector.apply(collector.alarms.acknowledge("danger", T0))
        hot = AlarmRule("hot", "temp_supply", above=60.0, text="supply air")
        collector.now = lambda: T0 + 2_000_000_000  # type: ignore[method-assign]
        collector.use_job(PLATE, [danger, hot])
        states = {status.name: status.state for status in collector.alarms.snapshot()}
        assert states == {"danger": AlarmState.ACKNOWLEDGED, "hot": AlarmState.UNACKNOWLEDGED}
    with Recording(tmp_path / "a.lightoff") as recording:
        raised = [
            event.subject for event in recording.events({EventKind.ALARM}) if event.data["to"] == "unacknowledged"
        ]
        assert raised == ["danger", "hot"]


async def test_no_reading_is_lost_or_altered_while_jobs_change(tmp_path):
    """Ten jobs within a thousand readings: each reading is offered and recorded once, in its order."""
    meter = Told("draft meter", DRAFT)
    other = Channel("temp_return", "thermometer", "degF")
    beside = Told("thermometer", other)
    async with call(tmp_path / "a.lightoff", meter, beside) as collector:
        listener, end = collector.fanout.listen()

        def taken_in(count: int) -> bool:
            return collector.readings == count

        for number in range(1000):
            meter.say(DRAFT, number / 100, number / 1000)
            if number % 100 == 50:
                await until(partial(taken_in, number + 1), what="taken in")
                plate = PLATE if number % 200 == 50 else Plate()
                collector.use_job(plate, [replace(HOT, above=50.0 + number)])
        await until(lambda: collector.readings == 1000, what="all in")
        offered = [item[1] for item in listener.take() if isinstance(item, tuple) and item[0] == DRAFT.key]
        assert offered == [T0 + round(number / 100 * 1e9) for number in range(1000)]
        assert collector.recorder.lost == 0
        end()
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(DRAFT.key).value.tolist() == [number / 1000 for number in range(1000)]
