"""The kits of meters, and what is refused as a meter."""

import math
import random
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analysis.model import origin_of
from analysis.points import POINTS, measure_of
from analysis.uncertainty import Accuracy
from drivers.base import InputError
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import KITS, METERS, SENSORS, DropOuts, Input, Meter, MeterClock, Move, standard_meters
from tests.drivers.simulate.meter_bench import PLAIN, Truth, grid, one


def test_the_full_kit_has_one_meter_for_every_point():
    points = [entry.point for meter in standard_meters(POINTS) for entry in meter.inputs]
    assert sorted(points) == sorted(POINTS)


def test_the_basic_kit_is_one_manometer_and_two_thermometers():
    measures = [measure_of(entry.point).name for meter in standard_meters(POINTS, "basic") for entry in meter.inputs]
    assert sorted(measures) == ["pressure", "temperature", "temperature"]
    assert len(standard_meters(POINTS, "basic")) == 3


def test_the_other_kits_have_what_their_names_say():
    draft = {entry.point for meter in standard_meters(POINTS, "draft") for entry in meter.inputs}
    assert {point for point in POINTS if point.startswith("draft_")} <= draft
    assert {point for point in draft if point.startswith("temp_")}
    (logger,) = standard_meters(POINTS, "contacts")
    assert {entry.point for entry in logger.inputs} == {p for p in POINTS if measure_of(p).name == "contact"}
    assert logger.rate is None


def test_only_available_points_have_a_meter():
    (meter,) = standard_meters({"draft_collector", "static_supply"}, "draft")
    assert [entry.point for entry in meter.inputs] == ["draft_collector"]
    assert standard_meters((), "full") == ()
    with pytest.raises(InputError, match=r"unknown kit of meters 'ful'; nearest known: full.*say one of"):
        standard_meters(POINTS, "ful")


def test_every_sensor_shows_less_than_its_statement_allows_for_to_be_wrong():
    """The step of the display is no coarser than the error allowed; noise neither."""
    for meter in METERS.values():
        for entry in meter.inputs:
            if entry.sensor.accuracy is None:
                continue
            accuracy = Accuracy.parse(entry.sensor.accuracy, measure_of(entry.point).name)
            u = accuracy.u(0.0, entry.sensor.unit)
            assert entry.sensor.noise < u, meter.name
            assert entry.sensor.resolution / math.sqrt(12) < u, meter.name


def test_random_kits_differ_and_can_all_be_used():
    kits = [standard_meters(POINTS, random.Random(seed)) for seed in range(200)]
    assert all(kits)
    entries = [entry for kit in kits for meter in kit for entry in meter.inputs]
    names = {meter.name for kit in kits for meter in kit}
    assert names == set(METERS) - {"supply thermometer", "return thermometer"}
    assert len(set(kits)) == 200
    assert any(entry.unzeroed for entry in entries)
    assert any(entry.moves for entry in entries)
    assert any(meter.drop_outs.per_minute for kit in kits for meter in kit)
    assert {entry.sensor for entry in entries} == set(SENSORS.values())
    clock = grid(20)
    for kit in kits[:20]:
        observed = Observer(kit, 1).observe(Truth(clock, {point: np.ones(clock.size) for point in POINTS}))
        assert observed.readings
    assert kits[3] == standard_meters(POINTS, random.Random(3))
    assert len(standard_meters({"speed_inducer"}, random.Random(0))) == 1, "one meter at least"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda: Meter("m", (), 1.0), "needs an input"),
        (lambda: one(PLAIN, rate=-1.0), "rate above zero"),
        (lambda: one(PLAIN, rate=None, repeat=0.0), "rate above zero"),
        (lambda: one(PLAIN, "draft_colector"), "unknown point 'draft_colector'; nearest known: draft_collector"),
        (lambda: one(PLAIN, "temp_room"), "does not measure"),
        (lambda: one(replace(PLAIN, accuracy="5")), "has no unit"),
        (lambda: one(replace(PLAIN, noise=-1.0)), "below zero"),
        (lambda: one(replace(PLAIN, low=10.0)), "no range"),
        (lambda: one(PLAIN, clock=MeterClock(jitter=-1.0)), "cannot be negative"),
        (lambda: one(PLAIN, drop_outs=DropOuts(1.0, 0.0)), "cannot be negative"),
        (lambda: one(PLAIN, moves=(Move(5.0, "temp_room"),)), "not measured by one sensor"),
        (lambda: one(PLAIN, moves=(Move(5.0, "draft_vent"), Move(5.0, "draft_switch"))), "rising times"),
        (lambda: one(PLAIN, rate=None, moves=(Move(5.0, "draft_vent"),)), "a meter with a rate"),
        (lambda: Meter("m", (Input("draft_vent", PLAIN), Input("draft_vent", PLAIN)), 1.0), "two inputs on"),
        (lambda: Observer([one(PLAIN), one(PLAIN)], 1), "two meters of one name"),
    ],
)
def test_a_meter_that_cannot_be_is_refused(change: Callable[[], object], says):
    with pytest.raises(ValueError, match=says):
        change()


def test_kits_name_their_meters_in_the_words_of_the_trade_only():
    for kit in KITS:
        for meter in standard_meters(POINTS, kit):
            assert origin_of(meter.name) is None
            assert "@" not in meter.name
