"""Invented installations: plausible, whole, and in agreement with what is written down about them."""

import random
from dataclasses import asdict, replace
from typing import Any

import pytest

from analysis.model import Baseline, Plate
from drivers.base import InputError
from drivers.simulate.checks import check_margins, margins
from drivers.simulate.design import INCH
from drivers.simulate.papers import Papers
from drivers.simulate.plant import Plant
from drivers.simulate.unit import Unit, heat_pump_of, random_unit, unit_of
from tests.drivers.simulate.plant_bench import BTU

SEEDS = range(200)


@pytest.fixture(scope="module")
def units() -> list[Unit]:
    return [random_unit(seed) for seed in SEEDS]


def test_plates_are_those_of_the_trade(units: list[Unit]) -> None:
    """Windows of published manuals, brand withheld, and common practice, from memory."""
    for unit in units:
        plate, design = unit.papers.plate, unit.physical.design
        assert len(plate.input) == len(plate.manifold) == len(plate.switch_close) == design.stages
        assert 39_999 * BTU < plate.input[0] < 120_001 * BTU
        assert 0.88 < (plate.efficiency or 0.0) < 0.97
        low, high = plate.rise or (0.0, 0.0)
        assert 1.8 * (high - low) == pytest.approx(30.0), "a band of 30 F"
        assert low < design.rise < high
        inches = (9.0, 11.5) if plate.fuel == "propane" else (3.2, 3.8)
        assert inches[0] < plate.manifold[0] / INCH < inches[1]
        assert plate.gas_inlet is not None
        assert plate.gas_inlet[0] < unit.physical.gas.supply_pressure or plate.fuel == "propane"
        assert 0.12 <= plate.switch_close[-1] / INCH <= 2.5
        for closing, opening in zip(plate.switch_close, plate.switch_open, strict=True):
            assert 0.015 < (closing - opening) / INCH < 0.25


def test_a_furnace_is_as_its_papers_say_to_their_digits(units: list[Unit]) -> None:
    for unit in units:
        plate, physical = unit.papers.plate, unit.physical
        design = physical.design
        assert plate.input[0] == pytest.approx(design.input, abs=501 * BTU)
        assert plate.switch_close[-1] == pytest.approx(physical.switch.closing, abs=0.0051 * INCH)
        assert plate.switch_close[0] == pytest.approx(
            (physical.switch_high if design.stages > 1 else physical.switch).closing, abs=0.0051 * INCH
        )
        assert plate.manifold[0] == pytest.approx(physical.gas.manifold[0], abs=0.051 * INCH)
        for tap in ("burner_box", "transition", "collector", "vent"):
            written = getattr(unit.papers.baseline, f"draft_{tap}")
            assert written == pytest.approx(getattr(design, tap), abs=0.0051 * INCH)
        assert unit.papers.altitude == pytest.approx(design.altitude, abs=15.3)
        assert unit.weather.pressure == unit.house.pressure == physical.pressure
        assert unit.control.stages == design.stages
        assert unit.control.timing == unit.papers.timing
        assert (unit.papers.capacity_47 is None) == (unit.heat_pump is None)
        if unit.heat_pump is not None:
            assert unit.heat_pump.capacity_47 == unit.papers.capacity_47
            assert unit.thermostat.compressor_lockout == unit.papers.compressor_lockout
            assert unit.thermostat.compressor_lockout < unit.thermostat.auxiliary_lockout


def test_every_switch_has_its_margin(units: list[Unit]) -> None:
    for unit in units:
        assert min(margins(unit.physical)) > 0.02 * INCH
        check_margins(unit.physical)
        assert unit.physical.switch.opening < unit.physical.switch.closing


def test_the_furnace_can_heat_its_house(units: list[Unit]) -> None:
    """At the coldest of its weather, with gains left out; and not three times over."""
    for unit in units:
        coldest = unit.weather.temp_mean - unit.weather.swing
        needed = unit.house.loss * (unit.thermostat.setpoint - coldest)
        given = unit.physical.design.efficiency * unit.physical.input[0]
        assert 1.1 * needed < given < 3.5 * needed


def test_all_kinds_are_there(units: list[Unit]) -> None:
    found = [unit.physical.design for unit in units]
    for name in ("fuel", "manifold_reference", "stages", "two_pipes", "differential", "nitride", "constant_flow"):
        assert len({getattr(design, name) for design in found}) == 2, name
    assert {unit.heat_pump is None for unit in units} == {True, False}
    assert {unit.control.light_on for unit in units} == {"low", "high"}
    assert len({unit.papers.name for unit in units}) == len(units)
    assert all("invented" in unit.papers.name for unit in units), "nobody takes it for a real one"


def test_a_heat_pump_of_a_size_keeps_its_proportions() -> None:
    """Default rating at 35 F: 0.90 of the line between 17 and 47 F: capacity default of building simulation."""
    default, double = heat_pump_of(10_000.0), heat_pump_of(20_000.0)
    for name, value in asdict(default).items():
        other = getattr(double, name)
        assert other == value or other == pytest.approx(2 * value), name
    assert default.capacity_35 == pytest.approx(0.9 * (default.capacity_17 + 0.6 * (10_000 - default.capacity_17)))
    assert heat_pump_of(10_000.0, 5_000.0).capacity_17 == 5_000.0


def test_what_papers_leave_open_differs_by_seed_and_what_they_say_does_not() -> None:
    papers = Papers(plate=Plate(input=(80_000 * BTU, 56_000 * BTU)), altitude=1200.0)
    found = [unit_of(papers, seed).physical.design for seed in range(12)]
    assert {(round(one.input / BTU), one.altitude) for one in found} == {(80_000, 1200.0)}
    assert all(one.low_share == pytest.approx(0.70) for one in found)
    assert len({one.collector for one in found}) == 12
    assert len({one.switch_share for one in found}) == 12


def any_papers(chance: random.Random) -> Papers:
    """Of a technician who mistypes: each figure there or not, sometimes of another unit."""

    def maybe(make: Any, otherwise: Any = None) -> Any:
        return make() if chance.random() < 0.6 else otherwise

    def two(high: tuple[float, float], share: tuple[float, float]) -> tuple[float, ...]:
        first = chance.uniform(*high)
        return (first, first * chance.uniform(*share))[: chance.choice((1, 2, 2))]

    plate = Plate(
        fuel=maybe(lambda: chance.choice(("natural gas", "propane"))),
        condensing=maybe(lambda: chance.random() < 0.8),
        input=maybe(lambda: tuple(1000 * BTU * each for each in two((30.0, 140.0), (0.5, 1.05))), ()),
        efficiency=maybe(lambda: chance.uniform(0.76, 0.985)),
        rise=maybe(lambda: tuple(low + add for low in (chance.uniform(10.0, 30.0),) for add in (0.0, 16.7))),
        manifold=maybe(lambda: tuple(INCH * each for each in two((2.5, 12.0), (0.3, 0.6))), ()),
        gas_inlet=maybe(lambda: (4.5 * INCH, chance.choice((10.5, 13.0)) * INCH)),
        switch_close=maybe(lambda: tuple(INCH * each for each in two((0.3, 1.6), (0.4, 0.9))), ()),
        static_max=maybe(lambda: 0.5 * INCH),
        pipes=maybe(lambda: chance.choice((1, 2))),
    )
    taps = [maybe(lambda mean=mean: INCH * mean * chance.uniform(0.5, 1.5)) for mean in (-0.15, -0.5, -1.25, 0.35)]
    return Papers(plate=plate, baseline=Baseline(*taps), altitude=chance.uniform(0.0, 2500.0))


def test_any_papers_give_a_whole_unit_or_one_sentence() -> None:
    """Whatever is written down: no other error, and what comes out lights."""
    chance, refused, made = random.Random("papers"), set[str](), list[Unit]()
    for seed in range(150):
        papers = any_papers(chance)
        try:
            unit = unit_of(papers, seed)
        except InputError as error:
            text = str(error)
            assert "contradicts itself" in text or "no furnace can be as this job file says" in text
            assert "\n" not in text
            refused.add(text.split(":")[1][:40])
        else:
            assert min(margins(unit.physical)) > 0
            assert unit.papers == papers
            made.append(unit)
    assert len(made) > 20
    assert len(refused) > 8, "contradictions of many kinds"
    for number, unit in enumerate(made[:12]):
        quiet = replace(unit, weather=replace(unit.weather, wind=1.0))
        plant = Plant(quiet, seed=number, calls=((2.0, 200.0, 2),))
        block = plant.advance(120.0)
        assert block.values["flame_current"][-1] > 0.5e-6, unit.papers
