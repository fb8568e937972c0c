"""The true errors of many sensors against what their statements say; tables and rules of the outside beside each."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.points import measure_of
from analysis.uncertainty import Accuracy
from analysis.units import INCH_OF_WATER
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import SENSORS, Sensor
from tests.drivers.simulate.meter_bench import PLAIN, Truth, constant, grid, one, seen

STATED = [
    ("fine manometer", "draft_collector", -1.25),
    ("manometer", "static_supply", 0.3),
    ("gas manometer", "gas_manifold", 3.5),
    ("thermocouple K", "temp_supply", 130.0),
    ("flue thermocouple", "temp_flue", 1800.0),
    ("special thermocouple K", "temp_supply", 1200.0),
    ("thermistor", "temp_room", 70.0),
    ("hygrometer", "humidity_room", 38.0),
    ("oxygen", "flue_o2", 8.0),
    ("carbon monoxide", "flue_co", 60.0),
    ("carbon monoxide", "flue_co", 2000.0),
    ("flame current", "flame_current", 3.4),
    ("voltage", "volts_line", 120.0),
    ("current clamp", "amps_blower", 4.0),
    ("speed", "speed_inducer", 3000.0),
]


@pytest.mark.parametrize(("kind", "point", "native"), STATED)
def test_over_many_meters_the_errors_fill_the_statement_and_no_more(kind, point, native):
    """300 of them: all within the limits, their standard deviation is the uncertainty that the statement gives.

    JCGM 100:2008, 4.3.7: limits +-a have a/sqrt(3). Sample deviation of 300: 4 % of itself at most (standard error).
    """
    sensor = replace(SENSORS[kind], resolution=1e-9, noise=0.0)
    meters = [one(sensor, point, name=f"meter {n}") for n in range(300)]
    found = Observer(meters, 7).observe(constant(point, native, sensor.unit)).readings
    errors = np.array([readings.value[0] - native for readings in found])
    assert len(errors) == 300
    accuracy = Accuracy.parse(sensor.accuracy or "", measure_of(point).name)
    systematic = Accuracy(tuple(term for term in accuracy.terms if not term.resolution))
    quantity = systematic.quantity(native, sensor.unit, meter="m", reading="r")
    largest = sum(abs(share) * math.sqrt(3) for _, share in quantity.budget)
    assert np.all(np.abs(errors) <= largest * (1 + 1e-9))
    assert np.max(np.abs(errors)) > 0.75 * largest
    assert np.std(errors) == pytest.approx(quantity.u, rel=0.12)
    assert abs(np.mean(errors)) < 4 * quantity.u / math.sqrt(300)


def test_thermocouples_keep_the_tolerance_of_the_table():
    """ASTM E230, type K standard, from public reproductions: 2.2 degC or 0.75 %: 2.2 at 100, 7.5 degC at 1000 degC."""
    sensor = Sensor("degC", -40.0, 1260.0, 1e-9, accuracy="greater of 2.2 degC or 0.75 %")
    for native, limit in ((100.0, 2.2), (293.0, 2.2), (1000.0, 7.5)):
        meters = [one(sensor, "temp_flue", name=f"meter {n}") for n in range(300)]
        found = Observer(meters, 2).observe(constant("temp_flue", native, "degC")).readings
        errors = np.abs([readings.value[0] - native for readings in found])
        assert 0.97 * limit < np.max(errors) <= limit


@pytest.mark.parametrize(
    ("statement", "largest"), [("5 %", 0.45), ("5 % + 0.0001 degF", 2.05), ("5 % + 0.0001 K", 0.45)]
)
def test_a_percentage_of_a_temperature_counts_from_the_zero_of_its_scale(statement, largest):
    """41 degF are 5 degC: 5 % are 0.25 K, 0.45 of a degree Fahrenheit; counted in degrees Fahrenheit 2.05."""
    sensor = Sensor("degF", -40.0, 200.0, 1e-9, accuracy=statement)
    meters = [one(sensor, "temp_room", name=f"meter {n}") for n in range(300)]
    found = Observer(meters, 2).observe(constant("temp_room", 41.0, "degF")).readings
    errors = np.abs([readings.value[0] - 41.0 for readings in found])
    assert 0.97 * largest < np.max(errors) <= largest + 0.0002


def test_what_is_wrong_with_a_meter_stays_wrong():
    """A gain is one share at all readings; an amount is the same at all, so that a difference cancels it."""
    clock = grid(10)
    truth = Truth(clock, {"draft_collector": np.linspace(-4, 4, clock.size) * INCH_OF_WATER})
    sensor = replace(PLAIN, resolution=1e-9)
    _, true = seen(one(sensor), truth)
    _, gained = seen(one(replace(sensor, accuracy="1 %")), truth)
    assert np.ptp(gained / true) < 1e-6
    assert 1e-4 < abs((gained / true)[0] - 1) < 0.01
    _, shifted = seen(one(replace(sensor, accuracy="0.01 inH2O")), truth)
    assert np.ptp(shifted - true) < 3e-9
    assert 1e-5 < abs((shifted - true)[0]) < 0.01


@pytest.mark.parametrize(
    ("statement", "u", "within"),
    [
        ("0.05 inH2O k=2", 0.025, 0.683),
        ("u 0.03 inH2O", 0.03, 0.683),
        ("2 % FS of 10 inH2O", 0.2 / math.sqrt(3), 1 / math.sqrt(3)),
    ],
)
def test_a_stated_uncertainty_is_normal_and_a_full_scale_counts_from_its_end(statement, u, within):
    """JCGM 100:2008, 4.3.3 and 4.3.4: expanded over k, normal; 4.3.7: limits over sqrt(3), rectangular."""
    sensor = replace(PLAIN, resolution=1e-9, accuracy=statement)
    meters = [one(sensor, name=f"meter {n}") for n in range(1000)]
    found = Observer(meters, 5).observe(constant("draft_collector", 1.0, "inH2O")).readings
    errors = np.array([readings.value[0] - 1.0 for readings in found])
    assert np.std(errors) == pytest.approx(u, rel=0.12)
    assert np.mean(np.abs(errors) < u) == pytest.approx(within, abs=0.05), "the shape: normal or rectangular"
