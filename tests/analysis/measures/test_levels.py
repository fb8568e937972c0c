"""Levels, extremes and trends of made recordings with a known answer."""

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.measures import extremes, levels, trends
from analysis.measures.errors import budget, parts
from analysis.measures.sources import Source, bench
from analysis.model import Channel, Series
from analysis.points import measure_of
from analysis.quantity import Derivation, Quality
from analysis.steady import Span
from analysis.uncertainty import Accuracy
from analysis.units import conversion

RNG_SEED = 5
INCH = conversion("inH2O", "Pa").scale
HOW = Derivation("test", "test", (), "", "", "")


def source(
    time: NDArray[np.float64], value: NDArray[np.float64], *, point: str = "draft_collector", response_time: float = 0.0
) -> Source:
    channel = Channel(point, "meter", "Pa", accuracy="1 % + 2 Pa, resolution 1 Pa", response_time=response_time)
    return bench([Series(channel, time, value)]).at(point)[0]


def noisy(seconds: float = 60.0, rate: float = 10.0, level: float = -200.0, noise: float = 1.0) -> Source:
    time = np.arange(0.0, seconds, 1 / rate)
    return source(time, level + noise * np.random.default_rng(RNG_SEED).standard_normal(time.size))


@pytest.mark.parametrize(
    ("point", "text"),
    [
        ("draft_collector", "0.5 % + 0.01 inH2O"),
        ("draft_collector", "1 % + 0.01 inH2O, resolution 0.01 inH2O"),
        ("draft_collector", "2 % FS of 10 inH2O"),
        ("draft_collector", "0.05 inH2O k=2"),
        ("draft_collector", "0.01 inH2O + 0.02 inH2O"),
        ("temp_supply", "greater of 2.2 degC or 0.75 % + 0.5 degC, resolution 0.1 degF"),
        ("temp_supply", "1 % + 1 degF"),
        ("humidity_room", "3 %"),
        ("humidity_room", "2 % of reading + 1 %"),
        ("flame_current", "2 % + 0.1 uA, resolution 0.1 uA"),
        ("flue_co", "greater of 20 ppm or 5 %, resolution 1 ppm"),
    ],
)
@pytest.mark.parametrize("share", [-0.3, 0.0, 0.1, 0.8])
def test_a_statement_worked_out_once_gives_what_it_gives_reading_by_reading(
    point: str, text: str, share: float
) -> None:
    measure = measure_of(point)
    accuracy = Accuracy.parse(text, measure.name)
    value = share * {"Pa": 500.0, "degC": 100.0, "A": 5e-6}.get(measure.inside, 1.0)
    kept = Accuracy(tuple(term for term in accuracy.terms if not term.resolution))
    expected = sorted(size for _, size in kept.quantity(value, measure.inside, meter="m", reading="r").budget)
    found = sorted(size for _, size in budget(parts(accuracy, measure, sensor="m", reading="r"), value) if size)
    assert found == pytest.approx(expected, rel=1e-12)


def test_a_level_has_the_meters_accuracy_and_little_of_the_noise() -> None:
    quantity = levels.level(noisy(), Span(0.0, 60.0))
    assert quantity is not None
    assert quantity.value == pytest.approx(-200.0, abs=0.2)
    assert quantity.u == pytest.approx(np.hypot(2.0, 2.0) / np.sqrt(3), rel=0.01)
    assert quantity.quality is Quality.GOOD


def test_spikes_of_one_or_two_readings_do_not_move_a_level() -> None:
    clean = noisy()
    spiked = clean.value.copy()
    spiked[[50, 51, 200, 400]] += [300.0, 280.0, -900.0, 4000.0]
    without, with_spikes = (levels.level(source(clean.time, value), Span(0.0, 60.0)) for value in (clean.value, spiked))
    assert without is not None
    assert with_spikes is not None
    assert with_spikes.value == pytest.approx(without.value, abs=0.02)


def test_a_step_is_no_spike() -> None:
    time = np.arange(0.0, 60.0, 0.1)
    stepped = source(time, np.where(time < 30.0, -100.0, -200.0) + np.sin(time))
    quantity = levels.level(stepped, Span(0.0, 60.0), whole=True)
    assert quantity is not None
    assert quantity.value == pytest.approx(-150.0, abs=0.2)


def test_a_slow_meter_is_put_right_on_a_ramp() -> None:
    time = np.arange(0.0, 120.0, 1.0)
    shown = source(time, 0.5 * (time - 10.0), point="temp_supply", response_time=10.0)
    quantity = levels.level(shown, Span(60.0, 119.0))
    assert quantity is not None
    assert quantity.value == pytest.approx(0.5 * 89.5, abs=1e-6)
    late = [share for error, share in quantity.budget if error.name == "meter: response time"]
    assert late == [pytest.approx(0.3 * 5.0)]


def test_a_hole_of_more_than_half_the_span_is_said() -> None:
    whole = noisy()
    kept = (whole.time < 10.0) | (whole.time > 55.0)
    quantity = levels.level(source(whole.time[kept], whole.value[kept]), Span(0.0, 60.0))
    assert quantity is not None
    assert quantity.quality is Quality.SUSPECT
    assert "no readings for 45 s of 60 s" in quantity.reason


def test_a_single_reading_has_the_meters_accuracy_with_its_step_and_is_doubtful() -> None:
    quantity = levels.level(source(np.array([5.0]), np.array([-200.0])), Span(0.0, 10.0))
    assert quantity is not None
    assert quantity.u == pytest.approx(np.sqrt(8 / 3 + 1 / 12))
    assert quantity.reason == "only 1 reading"
    assert levels.level(noisy(), Span(100.0, 110.0)) is None


def test_noise_across_the_steps_of_a_display_averages_them_out_and_a_still_display_does_not() -> None:
    def step_of(value: NDArray[np.float64]) -> float:
        quantity = levels.level(source(np.linspace(0.0, 60.0, value.size), value), Span(0.0, 60.0))
        assert quantity is not None
        return next((share for error, share in quantity.budget if error.name.endswith("display")), 0.0)

    drawn = np.random.default_rng(RNG_SEED).standard_normal(600)
    assert step_of(np.full(600, -200.0)) == pytest.approx(1 / np.pi / np.sqrt(2))
    assert step_of(np.rint(-200.3 + 0.8 * drawn)) < 0.001


def test_the_offset_of_one_sensor_cancels_in_a_difference_and_that_of_two_does_not() -> None:
    time = np.arange(0.0, 100.0, 0.1)
    meter = source(time, np.where(time < 50.0, -200.0, -150.0))
    early, late = levels.level(meter, Span(0.0, 49.0)), levels.level(meter, Span(51.0, 99.0))
    assert early is not None
    assert late is not None
    one = levels.difference(late, early, "Pa", HOW)
    assert one.value == pytest.approx(50.0)
    assert one.u == pytest.approx(np.hypot(0.5, np.sqrt(2) / np.pi / np.sqrt(2) * np.sqrt(3)) / np.sqrt(3), rel=0.3)
    assert one.u < early.u / 2


def test_two_inputs_of_an_instrument_are_two_sensors_and_a_meter_that_is_carried_is_one() -> None:
    time = np.arange(0.0, 10.0)
    supply, back = (
        Series(Channel(point, "meter", "degC"), time, time + 20.0) for point in ("temp_supply", "temp_return")
    )
    later = Series(Channel("temp_flue", "meter", "degC"), time + 20.0, time + 20.0)
    both = bench([supply, back])
    assert both.at("temp_supply")[0].sensor != both.at("temp_return")[0].sensor
    carried = bench([supply, later])
    assert carried.at("temp_supply")[0].sensor == carried.at("temp_flue")[0].sensor == "meter"


def test_an_accuracy_that_is_not_given_is_taken_and_said() -> None:
    time = np.arange(0.0, 10.0)
    taken = bench([Series(Channel("temp_supply", "meter", "degC"), time, time)]).at("temp_supply")[0]
    assert "greater of 2.2 degC or 0.75 %" in taken.assumed
    quantity = levels.level(taken, Span(0.0, 10.0))
    assert quantity is not None
    assert quantity.how is not None
    assert quantity.how.conditions == (taken.assumed,)
    given = {"temp_supply@meter": Accuracy.parse("0.1 degC", "temperature")}
    known = bench([Series(Channel("temp_supply", "meter", "degC"), time, time)], given).at("temp_supply")[0]
    assert not known.assumed


def test_a_dip_of_two_readings_is_the_smallest_and_one_reading_alone_is_not() -> None:
    dipped, spiked = noisy(level=200.0), noisy(level=200.0)
    dipped.value[300:302] -= [30.0, 25.0]
    spiked.value[300] -= 60.0
    dip, spike = (extremes.extreme(one, Span(0.0, 60.0), smallest=True) for one in (dipped, spiked))
    assert dip is not None
    assert spike is not None
    assert dip[0].value == pytest.approx(170.0, abs=3.0)
    assert dip[1] == pytest.approx(30.0)
    assert spike[0].value > 196.0


def test_an_extreme_says_that_noise_chose_it_and_what_a_meter_hides() -> None:
    flat = extremes.extreme(noisy(level=200.0), Span(0.0, 60.0), smallest=True)
    assert flat is not None
    chosen = [share for error, share in flat[0].budget if error.name.endswith("noise made so")]
    assert chosen
    assert abs(flat[0].value - 200.0) < 2 * chosen[0]
    slow = noisy(level=200.0)
    dipped = source(slow.time, slow.value, response_time=0.5)
    dipped.value[300:310] -= 20.0
    found = extremes.extreme(dipped, Span(0.0, 60.0), smallest=True)
    assert found is not None
    hidden = [share for error, share in found[0].budget if error.name.endswith("meter can show")]
    assert hidden
    assert hidden[0] > 20.0


def test_a_trend_is_free_of_the_meters_offset() -> None:
    time = np.arange(0.0, 600.0, 0.1)
    drawn = np.random.default_rng(RNG_SEED).standard_normal(time.size)
    quantity = trends.trend(source(time, -200.0 + time / 60 + drawn), Span(0.0, 600.0))
    assert quantity is not None
    assert quantity.unit == "Pa/min"
    assert abs(quantity.value - 1.0) < 3 * quantity.u < 0.05


def test_what_a_meter_hides_of_a_puff_is_what_a_first_order_meter_really_hides() -> None:
    step, slow = 0.001, 0.2
    clock = np.arange(0.0, 4.0, step)
    shown, worst = 0.0, 0.0
    for deep in np.exp(-clock / extremes.PUFF):
        shown += step / slow * (deep - shown)
        worst = max(worst, shown)
    time = np.arange(0.0, 20.0, 0.01)
    value = np.full(time.size, 200.0)
    value[1000:1010] -= 30.0
    found = extremes.extreme(source(time, value, response_time=slow - 0.005), Span(0.0, 20.0), smallest=True)
    assert found is not None
    hidden = next(share for error, share in found[0].budget if error.name.endswith("meter can show"))
    assert hidden == pytest.approx(30.0 * (1 / worst - 1), rel=0.02)


def test_an_edge_is_no_dip_of_which_something_is_hidden() -> None:
    time = np.arange(0.0, 20.0, 0.1)
    edge = source(time, np.where(time < 10.0, 100.0 - 0.1 * time, 200.0))
    found = extremes.extreme(edge, Span(0.0, 20.0), smallest=True)
    assert found is not None
    assert found[1] > 9.7
    assert max(share for error, share in found[0].budget if error.name.endswith("meter can show")) < 1.0
