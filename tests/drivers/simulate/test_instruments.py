"""What meters show of a known truth: when, with how many digits, and what of a meter that is moved."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import NANOSECONDS, EventKind
from analysis.units import INCH_OF_WATER
from drivers.codecs.recording_csv import encode_value
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import METERS, SENSORS, DropOuts, Input, Meter, MeterClock, Move, Sensor
from tests.drivers.simulate.meter_bench import LINE, PLAIN, Truth, constant, grid, one, seen


def test_a_meter_that_nobody_zeroed_is_off_by_that():
    truth = constant("draft_collector", -1.25, "inH2O")
    sensor = SENSORS["fine manometer"]
    zeroed, unzeroed = (seen(one(sensor, unzeroed=offset), truth)[1] for offset in (0.0, 0.06))
    assert unzeroed - zeroed == pytest.approx(0.06, abs=1e-9)


def test_noise_is_that_of_the_sensor_and_its_step():
    """Variances add: noise and step^2/12 (JCGM 100:2008, F.2.2.1); sample deviation of 6000 to 4 standard errors."""
    for noise, resolution in ((0.002, 0.001), (0.004, 0.01), (0.006, 0.001)):
        _, value = seen(
            one(replace(PLAIN, noise=noise, resolution=resolution)), constant("draft_collector", 0.5033, "inH2O", 600)
        )
        assert value.size in (6000, 5999)
        assert np.std(value) == pytest.approx(math.hypot(noise, resolution / math.sqrt(12)), rel=4 / math.sqrt(12000))
        ahead, behind = value[1:] - value.mean(), value[:-1] - value.mean()
        assert abs(np.mean(ahead * behind) / np.var(value)) < 4 / math.sqrt(6000), (
            "one reading says nothing of the next"
        )


@pytest.mark.parametrize("rate", [0.2, 1.0, 5.0, 10.0, 33.0])
def test_the_rate_is_kept(rate):
    times, _ = seen(one(PLAIN, rate=rate), constant("draft_collector", 0.0, "inH2O", 100))
    assert abs(times.size - 100 * rate) <= 1
    assert np.all(np.abs(np.diff(times) - 1 / rate) <= 0.00101), "whole milliseconds"
    assert 0 < times[0] <= 1 / rate + 0.001
    other, _ = seen(one(PLAIN, rate=rate), constant("draft_collector", 0.0, "inH2O", 100), seed=2)
    assert other[0] != times[0], "when it begins to look is chance"


def test_a_clock_that_is_fast_gains():
    """200 ppm of 1000 s are 0.2 s; the meter samples by its own clock, so that this one looks even."""
    truth = constant("draft_collector", 0.0, "inH2O", 1000)
    truth.values = {"draft_collector": truth.time * INCH_OF_WATER}
    sensor = replace(PLAIN, high=1e4)
    times, value = seen(one(sensor, clock=MeterClock(offset=-0.75, drift=200.0)), truth)
    assert times - value == pytest.approx(-0.75 + 200e-6 * value, abs=0.00051)
    assert (times - value)[-1] - (times - value)[0] == pytest.approx(0.2, abs=0.002)
    assert np.all(np.abs(np.diff(times) - 0.1) < 0.00101)
    assert times[-1] - times[0] == pytest.approx(0.1 * (times.size - 1), abs=0.00101)


def test_jitter_is_of_the_printed_time_and_within_its_bounds():
    truth = constant("draft_collector", 0.0, "inH2O", 300)
    truth.values = {"draft_collector": truth.time * INCH_OF_WATER}
    times, value = seen(one(replace(PLAIN, high=1e4), clock=MeterClock(jitter=0.02)), truth)
    off = times - value
    assert np.max(np.abs(off)) <= 0.0206
    assert np.std(off) == pytest.approx(0.02 / math.sqrt(3), rel=0.06)
    assert np.std(np.diff(value)) < 1e-5, "it looks evenly"


def test_times_rise_however_much_they_jitter():
    truth = constant("draft_collector", 0.0, "inH2O", 30)
    observer = Observer([one(PLAIN, rate=50.0, clock=MeterClock(jitter=0.5))], 1)
    parts = [observer.observe(part).readings for part in truth.cut(*range(1, 300))]
    times = np.concatenate([readings.time for part in parts for readings in part])
    assert np.all(np.diff(times) > 0)
    assert times.size == pytest.approx(1500, abs=1)


def test_drop_outs_take_their_share():
    """Lengths and gaps exponential: share = length / (length + 60 / rate), 2 a minute of 6 s each: 1/6."""
    meter = one(PLAIN, rate=2.0, drop_outs=DropOuts(2.0, 6.0))
    times, _ = seen(meter, constant("draft_collector", 0.0, "inH2O", 40_000))
    assert 1 - times.size / 80_000 == pytest.approx(1 / 6, rel=0.1)
    gaps = np.diff(times)
    count = int(np.sum(gaps > 0.6))
    # one that begins and ends between two readings is not seen: exp(-0.5 / 6) = 8 % of them at most
    assert count == pytest.approx(40_000 / 36, rel=0.12)
    assert np.mean(gaps[gaps > 0.6]) == pytest.approx(6.0 + 0.5, rel=0.12)


def moving() -> tuple[Truth, Meter]:
    clock = grid(60)
    pressures = {"draft_collector": -1.2, "draft_vent": 0.35, "draft_switch": 1.0}
    truth = Truth(clock, {point: np.full(clock.size, native * INCH_OF_WATER) for point, native in pressures.items()})
    sensor = replace(SENSORS["fine manometer"], accuracy="0.01 inH2O", response_time=0.05)
    moves = (Move(20.0, "draft_vent"), Move(40.0, "draft_collector", before=3.0, after=2.0))
    return truth, one(sensor, moves=moves, unzeroed=0.05, clock=MeterClock(offset=0.2, jitter=0.01))


def test_a_moved_meter_reads_the_other_point_and_says_so():
    truth, meter = moving()
    observed = Observer([meter], 1).observe(truth)
    first, second = observed.events
    assert first.kind is EventKind.POINT_CHANGED
    assert first.text == "simulated: meter: moved from collector box to vent side"
    assert first.subject == "simulated: meter"
    assert dict(first.data) == {"channel": "draft_collector@simulated: meter", "point": "draft_vent"}
    assert dict(second.data) == {"channel": "draft_vent@simulated: meter", "point": "draft_collector"}
    assert first.time == 20_200_000_000, "by the meter's clock, so that it stands between its readings"
    by_point = {readings.channel.point: readings for readings in observed.readings}
    assert set(by_point) == {"draft_collector", "draft_vent"}
    vent, collector = by_point["draft_vent"].time, by_point["draft_collector"].time
    assert np.all((vent >= first.time) & (vent < second.time))
    assert not np.any((collector >= first.time) & (collector < second.time))
    assert vent.size == pytest.approx(200, abs=1)
    assert len({readings.channel.instrument for readings in observed.readings}) == 1


def test_between_two_taps_it_shows_the_room_and_the_hand():
    truth, meter = moving()
    observed = Observer([meter], 1).observe(truth)
    times, values = (np.concatenate([getattr(r, name) for r in observed.readings]) for name in ("time", "value"))
    times = times / NANOSECONDS - 0.2
    spans = {"before": (0, 17.9), "hand": (18.6, 20.9), "vent": (21.6, 36.9), "again": (37.6, 41.9), "back": (42.6, 60)}
    mean = {name: values[(times > low) & (times < high)].mean() for name, (low, high) in spans.items()}
    offset = mean["before"] + 1.2
    assert offset == pytest.approx(0.05, abs=0.0105), "unzeroed, and its own error"
    assert mean["vent"] == pytest.approx(0.35 + offset, abs=0.001), "the same error on the next tap"
    assert mean["back"] == pytest.approx(-1.2 + offset, abs=0.001)
    assert mean["hand"] == pytest.approx(offset, abs=0.02)
    assert mean["again"] == pytest.approx(offset, abs=0.02)
    in_hand = values[(times > 18.6) & (times < 20.9)]
    assert np.std(in_hand) > 4 * np.std(values[times < 17.9])


def test_a_thermometer_is_carried_through_the_room():
    clock = grid(100)
    truth = Truth(
        clock,
        {p: np.full(clock.size, t) for p, t in {"temp_supply": 50.0, "temp_return": 18.0, "temp_room": 21.0}.items()},
    )
    meter = one(replace(LINE, unit="degC"), "temp_supply", moves=(Move(50.0, "temp_return", 10.0, 10.0),))
    observed = Observer([meter], 1).observe(truth)
    supply, returned = ({r.channel.point: r for r in observed.readings}[p] for p in ("temp_supply", "temp_return"))
    for readings, first, change, second in ((supply, 50.0, 40.0, 21.0), (returned, 21.0, 60.0, 18.0)):
        since = readings.time / NANOSECONDS - change
        assert readings.value[since < -0.11] == pytest.approx(first)
        assert readings.value[since > 0.11] == pytest.approx(second)
    del truth.values["temp_room"]  # type: ignore[attr-defined]
    times = np.sort(np.concatenate([r.time for r in Observer([meter], 1).observe(truth).readings]))
    assert np.max(np.diff(times)) > 19 * NANOSECONDS, "nothing is known of what it saw"


@given(st.sampled_from(sorted(SENSORS)), st.integers(0, 99), st.floats(-1.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_what_is_equal_at_the_resolution_is_equal_as_text(kind, seed, place):
    sensor = SENSORS[kind]
    entries = [entry for meter in METERS.values() for entry in meter.inputs]
    point = next(entry.point for entry in entries if entry.sensor.unit == sensor.unit)
    _, value = seen(one(sensor, point), constant(point, place * sensor.high / 3, sensor.unit), seed)
    for shown in value.tolist():
        text = f"{shown:.{sensor.decimals}f}"
        assert float(text) == shown
        assert len(encode_value(shown).partition(".")[2]) <= sensor.decimals
        assert str(shown) != "-0.0"
        assert shown / sensor.resolution == pytest.approx(round(shown / sensor.resolution), abs=1e-6)


def test_odd_steps_are_kept():
    for resolution, decimals in ((0.5, 1), (0.05, 2), (0.02, 2), (5.0, 0), (10.0, 0)):
        sensor = Sensor("degF", -400.0, 400.0, resolution)
        assert sensor.decimals == decimals
        clock = grid(30)
        _, value = seen(one(sensor, "temp_room"), Truth(clock, {"temp_room": np.linspace(-50, 50, clock.size)}))
        assert np.all(np.abs(value / resolution - np.rint(value / resolution)) < 1e-9)
        assert all(encode_value(shown) == encode_value(float(f"{shown:.{decimals}f}")) for shown in value.tolist())
        assert np.ptp(value) > 150


def test_beyond_its_range_a_meter_shows_the_end_of_it():
    clock = grid(20)
    truth = Truth(clock, {"draft_collector": np.linspace(-20, 20, clock.size) * INCH_OF_WATER})
    sensor = SENSORS["fine manometer"]
    _, value = seen(one(sensor), truth)
    assert value.min() == -10.0
    assert value.max() == 10.0
    assert np.mean(np.abs(value) == 10.0) == pytest.approx(0.5, abs=0.02)
    (channel,) = Observer([one(sensor)], 1).channels
    assert (channel.low, channel.high) == (-10.0, 10.0), "the ends themselves are not beyond what is plausible"


def test_where_there_is_no_such_thing_there_is_no_reading():
    clock = grid(60)
    temp = np.where((clock > 20) & (clock < 30), np.nan, 20.0 + (clock > 25) * 30)
    sensor = replace(LINE, unit="degC", response_time=10.0)
    times, value = seen(one(sensor, "temp_supply"), Truth(clock, {"temp_supply": temp}))
    assert not np.any((times > 20.1) & (times < 29.9))
    assert value[times < 20] == pytest.approx(20.0)
    assert value[times > 30] == pytest.approx(50.0), "it begins anew"
    for missing in ({}, {"temp_supply": np.full(clock.size, np.nan)}, {"temp_supply": np.full(clock.size, np.inf)}):
        observed = Observer([one(sensor, "temp_supply")], 1).observe(Truth(clock, missing))
        assert observed.readings == ()
        assert observed.begun == ()


def test_contacts_report_on_change_and_every_five_seconds():
    clock = grid(60)
    closed = ((clock > 10) & (clock < 10.15)) | (clock >= 30)
    logger = replace(METERS["contact logger"], inputs=(Input("switch_closed", SENSORS["contact"]),))
    times, value = seen(logger, Truth(clock, {"switch_closed": closed.astype(float)}))
    assert set(value.tolist()) == {0.0, 1.0}
    changed = times[1:][np.diff(value) != 0]
    assert changed == pytest.approx([10.1, 10.2, 30.0], abs=1e-9), "a tenth of a second is seen"
    assert times[0] == 0.0
    repeats = times[~np.isin(times, [0.0, 10.1, 10.2, 30.0])]
    assert np.diff(repeats) == pytest.approx(5.0, abs=0.002)
    assert repeats.size in (11, 12)


def test_contacts_of_one_logger_change_by_themselves():
    clock = grid(20)
    truth = Truth(clock, {"gas_valve": (clock > 7).astype(float), "blower_on": np.zeros(clock.size)})
    logger = replace(METERS["contact logger"], inputs=tuple(Input(p, SENSORS["contact"]) for p in truth.values))
    valve, blower = Observer([logger], 1).observe(truth).readings
    assert valve.time.size == blower.time.size + 1
