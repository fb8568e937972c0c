"""Gas train and propane tank against published tables, worked examples and a library of fluid properties."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from analysis.combustion_fuel import heating_value_volume, specific_gravity
from analysis.gas import CUBIC_FOOT
from drivers.simulate.gas import SEA_LEVEL, GasSupply, GasUnit
from drivers.simulate.maths import ARRAYS, FLOATS
from drivers.simulate.tank import Tank, TankUnit
from tests.drivers.simulate.propane import PROPANE_TRAIN

INCH = 249.08891
"""[Pa]"""
PSI = 6894.757293
"""[Pa]"""
BOX = GasUnit().rated_burner_box[0]
BARE = replace(GasUnit(), reference="burner_box")
"""Pressure across the orifices is the setting itself."""
OUTPUTS = ("inlet", "manifold", "flow", "heat", "temp_liquid", "drive")


def run(supply: GasSupply, seconds: float, dt: float = 0.1, **inputs: Any) -> list[tuple[float, float, float]]:
    """Inlet, manifold and flow after each step."""
    given = {"valve": 1.0, "high": 1.0, "burner_box": BOX, "temp_outdoor": 0.0, "pressure": SEA_LEVEL} | inputs
    seen = []
    for _ in range(round(seconds / dt)):
        supply.step(dt, **given)
        seen.append((supply.inlet, supply.manifold, supply.flow))
    return seen


def settled(unit: GasUnit, pressure: float = SEA_LEVEL, **knobs: float) -> GasSupply:
    supply = GasSupply(FLOATS, unit)
    for name, value in knobs.items():
        setattr(supply, name, value)
    run(supply, 10.0, pressure=pressure)
    return supply


# BCcampus, open plumbing textbook (CC BY), appendix 2: bore [in], ft3/h of natural gas of gravity 0.60 at 3.5 in. w.c.
# and of propane of gravity 1.50 at 11 in. w.c., discharge coefficient 0.90; 0.0006 ft3/h is half a printed digit.
ORIFICES = ((0.0135, 0.516, 0.579), (0.0210, 1.249, 1.400), (0.0280, 2.220, 2.489), (0.0380, 4.089, 4.584))


@pytest.mark.parametrize(("bore", "natural", "propane"), ORIFICES)
def test_orifices_are_those_of_the_published_table(bore: float, natural: float, propane: float) -> None:
    for fuel, cubic_feet, inches, gravity in (("natural gas", natural, 3.5, 0.60), ("propane", propane, 11.0, 1.50)):
        volume = cubic_feet * CUBIC_FOOT / 3600
        high = volume * float(heating_value_volume(fuel, pressure=SEA_LEVEL))
        unit = replace(BARE, fuel=fuel, manifold=(inches * INCH, inches * INCH / 4), inputs=(high, high / 2))
        area = GasSupply(FLOATS, unit).orifice_area * math.sqrt(gravity / float(specific_gravity(fuel)))
        assert_allclose(area, math.pi / 4 * (bore * 0.0254) ** 2, rtol=0.0006 / cubic_feet + 1e-3)


def test_orifices_of_the_default_unit_are_of_a_usual_drill() -> None:
    # Drills No. 45 and 44 are 0.082 and 0.086 in.; four burners of 20 kBtu/h and 3.65 in. w.c. across the orifices.
    bore = math.sqrt(GasSupply(FLOATS, GasUnit()).orifice_area / 4 * 4 / math.pi) / 0.0254
    assert 0.0815 < bore < 0.086


# Input over the rated one: root of the ratio of manifold pressures, arithmetic of Bernoulli's equation.
@pytest.mark.parametrize(
    ("rated", "inches", "ratio"),
    [
        (3.5, 3.2, 0.9562),
        (3.5, 3.8, 1.0420),
        (3.5, 3.0, 0.9258),
        (3.5, 1.7, 0.6969),
        (11, 10, 0.9535),
        (10, 11, 1.0488),
    ],
)
def test_input_follows_the_root_of_the_manifold_pressure(rated: float, inches: float, ratio: float) -> None:
    unit = replace(BARE, manifold=(rated * INCH, rated * INCH / 4), inputs=(2e4, 1e4), supply_pressure=20 * INCH)
    supply = settled(unit, manifold_factor=inches / rated)
    assert_allclose(supply.heat / 2e4, ratio, atol=6e-5)


@pytest.mark.parametrize(("fuel", "pound"), [("methane", 23_879), ("propane", 21_661)])
def test_heating_values(fuel: str, pound: float) -> None:
    # Schmidt and List (1962), combustion constants: Btu/lb, gross.
    assert_allclose(GasSupply(FLOATS, replace(GasUnit(), fuel=fuel)).heating_value / 2326.0, pound, rtol=1.5e-3)


@pytest.mark.parametrize("unit", [GasUnit(), PROPANE_TRAIN, replace(BARE, inputs=(23_446.0, 16_341.0))])
def test_rated_inputs_at_the_rated_state(unit: GasUnit) -> None:
    supply = GasSupply(FLOATS, unit)
    for stage, high in enumerate((1.0, 0.0)):
        box = unit.rated_burner_box[stage]
        run(supply, 10.0, high=high, burner_box=box)
        assert_allclose(supply.heat, unit.inputs[stage], rtol=1e-3)
        follows = 0.0 if unit.reference == "room" else box
        assert_allclose(supply.manifold, unit.manifold[stage] + follows, rtol=1e-6)


def test_suction_of_the_burner_box_adds_to_a_manifold_held_against_the_room() -> None:
    for unit, drive in ((GasUnit(), 871.8 + 120.0), (BARE, 871.8)):
        supply = GasSupply(FLOATS, unit)
        run(supply, 10.0, burner_box=-120.0)
        rated = 871.8 + (37.4 if unit.reference == "room" else 0.0)
        assert_allclose(supply.heat / 23_446, math.sqrt(drive / rated), rtol=1e-6)
        assert_allclose(supply.manifold, drive - 120.0, rtol=1e-6)


def test_thinner_air_takes_the_root_of_its_density_from_the_input() -> None:
    # Standard atmosphere at 5000 ft, 12.228 psi: density ratio 0.832; mass flow goes with the root of density.
    supply = settled(GasUnit(), pressure=12.228 * PSI)
    assert_allclose(supply.heat / 23_446, math.sqrt(0.832), rtol=1e-3)


def test_a_starved_regulator_follows_its_inlet() -> None:
    # It needs about 1 in. w.c. above its setting (common practice): at 5 in. full, below 4.5 it gives way.
    rated = settled(GasUnit()).flow
    before = 0.0
    for inches in (1.0, 2.0, 3.0, 4.0, 4.5, 5.5, 7.0, 10.0):
        supply = settled(replace(GasUnit(), supply_pressure=inches * INCH))
        lost = 249.1 * (supply.flow / rated) ** 2
        if supply.inlet > 871.8 + 249.1:
            assert_allclose(supply.manifold, 871.8, rtol=1e-6)
        else:
            assert_allclose(supply.inlet - supply.manifold, lost, rtol=1e-6)
            assert supply.manifold < 871.8
        assert supply.manifold >= before
        before = supply.manifold
    assert_allclose(before, 871.8, rtol=1e-6)


def test_starved_supply_shows_in_flow_more_than_at_rest() -> None:
    # Static to flowing drop beyond 1 to 2 in. w.c. is a restriction (common practice).
    supply = GasSupply(FLOATS, GasUnit())
    run(supply, 5.0, valve=0.0)
    sound, rest = settled(GasUnit()), supply.inlet
    assert_allclose(rest, 7 * INCH, rtol=1e-3)
    assert 0.2 * INCH < rest - sound.inlet < 1.0 * INCH
    for passage, drop, share in ((0.5, 1.4, 1.01), (0.2, 4.0, 0.8)):
        supply.supply_factor = passage
        run(supply, 5.0, valve=0.0)
        assert_allclose(supply.inlet, rest, rtol=1e-3)
        run(supply, 5.0)
        assert rest - supply.inlet > drop * INCH
        assert supply.manifold < share * sound.manifold
    supply.supply_factor = 0.0
    run(supply, 5.0)
    assert BOX <= supply.inlet < 0.0  # no more than the burner box sucks
    supply.supply_factor = 1.0
    run(supply, 5.0)
    supply.supply_factor = 0.0
    supply.step(0.1, valve=1.0, high=1.0, burner_box=BOX, temp_outdoor=0.0, pressure=SEA_LEVEL)
    assert supply.inlet == BOX
    run(supply, 5.0)
    assert supply.flow < 0.1 * sound.flow


@pytest.mark.parametrize("unit", [GasUnit(), PROPANE_TRAIN])
def test_manifold_comes_and_goes_in_the_time_of_the_trade(unit: GasUnit) -> None:
    # Envelope (common practice): at its setting in less than 1 to 2 s, inlet dips 1 to 2 in. at most, gone in 1 to 2 s.
    supply = GasSupply(FLOATS, unit)
    setting = unit.manifold[0]
    run(supply, 1.0, valve=0.0)
    rest = supply.inlet
    opening = run(supply, 3.0)
    assert_allclose((opening[2][1] - BOX) / (setting - BOX), 1 - math.exp(-1), rtol=1e-9)  # 63 % at 0.3 s
    assert_allclose(opening[14][1], setting, rtol=0.01)
    assert 0.2 * INCH < rest - min(inlet for inlet, _, _ in opening) < 2.0 * INCH
    closing = run(supply, 1.0, valve=0.0)
    assert abs(closing[9][1] - BOX) < 0.001 * setting
    assert abs(closing[2][1] - BOX) < 0.06 * setting


def test_valve_that_stays_shut_and_one_that_leaks() -> None:
    assert settled(GasUnit(), valve_opens=0.0).flow == 0.0
    leaking = GasSupply(FLOATS, GasUnit())
    leaking.valve_leak = 0.1
    run(leaking, 5.0, valve=0.0)
    assert_allclose(leaking.flow / settled(GasUnit()).flow, 0.1, rtol=1e-6)


# Gauge at sea level, psi: pure propane by CoolProp 8.0.0; commercial at 100 and 105 degF by an LP-gas property sheet.
@pytest.mark.parametrize(
    ("fahrenheit", "gauge", "vapour"),
    [
        (-40, 1.42, 1),
        (-20, 10.73, 1),
        (0, 23.69, 1),
        (40, 63.94, 1),
        (100, 173.92, 1),
        (100, 196, 1.12),
        (105, 210, 1.12),
    ],
)
def test_tank_pressures(fahrenheit: float, gauge: float, vapour: float) -> None:
    tank = Tank(FLOATS, TankUnit(temp=(fahrenheit - 32) / 1.8, vapour=vapour), 4.66e-4)
    assert_allclose((tank.vapour - 14.696 * PSI) / PSI, gauge, atol=0.1 if vapour == 1 else 1.0)


@pytest.mark.parametrize(("gallons", "fahrenheit_an_hour"), [(100, 2.3), (10, 11.0)])
def test_tank_chills_while_it_gives(gallons: float, fahrenheit_an_hour: float) -> None:
    # 91 500 Btu/h is 680 Btu/h of vaporising heat, none from outside; 300 lb of steel assumed to cool with the liquid.
    charge = gallons * 4.24 * 0.45359237
    unit = TankUnit(fill=charge / (1.893 * 508.0), steel=136.0, film=0.0)
    tank = Tank(FLOATS, unit, 4.66e-4)
    for _ in range(600):
        tank.step(1.0, flow=91_500 / 21_591 * 0.45359237 / 3600, temp_outdoor=0.0)
    assert_allclose(-tank.temp * 1.8 * 6, fahrenheit_an_hour, rtol=0.06)


def test_tank_against_a_library_of_fluid_properties() -> None:
    # The balance integrated with CoolProp's vaporising heat and heat capacity: a small tank, three hours in deep cold.
    unit = TankUnit(volume=0.45, fill=0.3, temp=-25.0, steel=110.0, area=3.2)
    tank, flow, wall = Tank(FLOATS, unit, 4.66e-4), 5e-4, 8.0 * 3.2
    liquid, temp, warmed = 0.3 * 0.45 * 508.0, -25.0, 0.0
    for _ in range(360):
        for _ in range(30):
            tank.step(1.0, flow=flow, temp_outdoor=-20.0)
            warmed += tank.heat_from_outside
        kelvin = temp + 273.15
        heat = PropsSI("H", "T", kelvin, "Q", 1, "Propane") - PropsSI("H", "T", kelvin, "Q", 0, "Propane")
        capacity = liquid * PropsSI("C", "T", kelvin, "Q", 0, "Propane") + 110.0 * 480.0
        temp += 30.0 * (wall * wetted(liquid / (0.45 * 508.0)) * (-20.0 - temp) - flow * heat) / capacity
        liquid -= 30.0 * flow
    assert temp < -30.0
    assert_allclose(tank.temp, temp, atol=0.15)
    assert_allclose(tank.liquid, liquid, rtol=1e-9)
    assert_allclose(tank.vapour, PropsSI("P", "T", tank.temp + 273.15, "Q", 0, "Propane"), rtol=1e-3)
    assert 0.0 < warmed < 3 * 3600 * flow * 430e3


def wetted(fill: float) -> float:
    """Share of a lying cylinder's wall below the surface: geometry of the circle."""
    return (
        float(brentq(lambda angle: (angle - math.sin(angle) * math.cos(angle)) / math.pi - fill, 0, math.pi)) / math.pi
    )


def test_cold_tank_sags_over_minutes_and_recovers_but_ice_in_a_regulator_is_abrupt() -> None:
    small = TankUnit(volume=0.45, fill=0.05, temp=-33.0, steel=20.0, area=3.2)
    supply = GasSupply(FLOATS, replace(PROPANE_TRAIN, tank=small))
    given = {"temp_outdoor": -33.0}
    run(supply, 5.0, **given)
    start, minute = supply.manifold, []
    for _ in range(45):
        run(supply, 60.0, dt=0.5, **given)
        minute.append(supply.manifold)
    assert_allclose(start, 2491.0, rtol=0.01)
    assert minute[-1] < 0.8 * start
    assert max(np.abs(np.diff(minute))) < 0.1 * start
    run(supply, 4 * 3600.0, dt=10.0, valve=0.0, **given)
    run(supply, 5.0, **given)
    assert supply.manifold > 0.95 * start

    icy = GasSupply(FLOATS, PROPANE_TRAIN)
    before = run(icy, 5.0)[-1][1]
    icy.regulator_freeze = 0.9
    assert run(icy, 1.0)[-1][1] < 0.5 * before


@pytest.mark.parametrize("freeze", [0.5, 0.7, 0.85, 0.95])
def test_regulators_take_by_the_square_of_the_flow(freeze: float) -> None:
    # What is left across the orifices is what the chain leaves: the first stage's setting or the tank less their drops.
    supply = settled(PROPANE_TRAIN, regulator_freeze=freeze)
    assert supply.tank is not None
    unit, squared = TankUnit(), (supply.flow * supply.heating_value / 23_446) ** 2
    resistance = squared / (1.0 - freeze) ** 2
    line = PROPANE_TRAIN.line_resistance * supply.flow**2
    first = min(68_950.0, supply.tank.vapour - SEA_LEVEL - unit.first_drop * resistance)
    second = min(2989.0, first - unit.second_drop * resistance)
    assert_allclose(supply.inlet, second - line, rtol=1e-6, atol=0.02)
    if second < 2989.0:
        assert_allclose(supply.inlet - supply.manifold, 249.1 * squared, rtol=1e-6, atol=0.02)
    else:
        assert_allclose(supply.manifold, 2491.0, rtol=1e-3)


def test_less_charge_chills_faster() -> None:
    chilled = []
    for factor in (1.0, 0.1):
        supply = GasSupply(FLOATS, PROPANE_TRAIN)
        supply.supply_factor = factor
        run(supply, 3600.0, dt=1.0)
        chilled.append(-supply.temp_liquid / supply.flow)
    assert chilled[1] > 2.0 * chilled[0]


def test_tank_gives_what_it_loses_and_then_nothing() -> None:
    tiny = TankUnit(volume=0.45, fill=0.002, temp=15.0)
    supply = GasSupply(FLOATS, replace(PROPANE_TRAIN, tank=tiny))
    assert supply.tank is not None
    held, given = supply.tank.liquid, 0.0
    for _ in range(3000):
        run(supply, 0.5, dt=0.5, temp_outdoor=15.0)
        given += 0.5 * supply.flow
    assert_allclose(given + supply.tank.liquid, held, rtol=1e-9)
    assert supply.tank.liquid < 0.15 * held
    assert supply.flow < 1e-5


@pytest.mark.parametrize("base", [GasUnit(), PROPANE_TRAIN])
def test_arrays_are_floats_side_by_side(base: GasUnit) -> None:
    source = np.random.default_rng(5)
    count = 12
    settings = source.uniform(700, 2600, count)
    knobs = {
        "supply_factor": source.uniform(0, 1.1, count),
        "manifold_factor": source.uniform(0.5, 1.5, count),
        "valve_opens": source.uniform(0, 1, count),
        "valve_leak": source.uniform(0, 0.3, count),
        "regulator_freeze": source.uniform(0, 1, count),
    }
    lows = base.inputs[0] * np.sqrt((settings / 4 + 21.0) / (settings + 37.4))
    many = GasSupply(ARRAYS, replace(base, manifold=(settings, settings / 4), inputs=(base.inputs[0], lows)))
    ones = []
    for index in range(count):
        unit = replace(base, manifold=(settings[index], settings[index] / 4), inputs=(base.inputs[0], lows[index]))
        ones.append(GasSupply(FLOATS, unit))
    for name, values in knobs.items():
        setattr(many, name, values)
        for one, value in zip(ones, values, strict=True):
            setattr(one, name, float(value))
    for turn in range(40):
        valve, high = (source.integers(0, 2, count).astype(float) for _ in range(2))
        box, barometer = source.uniform(-200, 20, count), source.uniform(7e4, 1.02e5, count)
        many.step(0.1, valve=valve, high=high, burner_box=box, temp_outdoor=-10.0, pressure=barometer)
        for index, one in enumerate(ones):
            one.step(
                0.1, valve=valve[index], high=high[index], burner_box=box[index], temp_outdoor=-10.0,
                pressure=barometer[index],
            )  # fmt: skip
            for name in OUTPUTS:
                value = np.broadcast_to(getattr(many, name), count)[index]
                assert_allclose(value, getattr(one, name), rtol=1e-12, atol=1e-12, err_msg=f"{name} {turn}")


@pytest.mark.parametrize("unit", [GasUnit(), PROPANE_TRAIN])
def test_half_the_step_gives_the_same(unit: GasUnit) -> None:
    totals = []
    for dt in (0.1, 0.05):
        supply, total = GasSupply(FLOATS, unit), 0.0
        for _ in range(6):
            for valve, high, seconds in ((1.0, 0.0, 5.0), (1.0, 1.0, 4.0), (0.0, 0.0, 1.0)):
                total += sum(flow for _, _, flow in run(supply, seconds, dt, valve=valve, high=high)) * dt
        totals.append((total, supply.drive, supply.temp_liquid))
    assert_allclose(totals[0], totals[1], rtol=0.005, atol=1e-3)


@pytest.mark.parametrize("unit", [GasUnit(), PROPANE_TRAIN])
def test_opening_passes_the_gas_of_a_fine_step(unit: GasUnit) -> None:
    given = [sum(flow for _, _, flow in run(GasSupply(FLOATS, unit), 2.0, dt)) * dt for dt in (0.1, 0.002)]
    assert_allclose(given[0], given[1], rtol=0.005)


def test_steps_of_changing_length() -> None:
    mixed, even = GasSupply(FLOATS, GasUnit()), GasSupply(FLOATS, GasUnit())
    run(mixed, 0.1, 0.1)
    run(mixed, 0.2, 0.05)
    run(even, 0.3, 0.05)
    assert_allclose(mixed.drive, even.drive, rtol=1e-9)


def test_a_unit_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(ValueError, match="low input of 12000"):
        GasSupply(FLOATS, replace(GasUnit(), inputs=(23_446.0, 12_000.0)))
    with pytest.raises(ValueError, match="reference 'rooms'; it is room or burner_box"):
        GasSupply(FLOATS, replace(GasUnit(), reference="rooms"))
    with pytest.raises(ValueError, match="unknown fuel 'propan'"):
        GasSupply(FLOATS, replace(GasUnit(), fuel="propan"))
