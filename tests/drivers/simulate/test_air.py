"""Blower and statics, ducts and thermometers, limit: laws of fans and of first order, exact energy, what faults do."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis import airflow
from analysis.combustion import NATURAL_GAS
from analysis.psychrometrics import density, pressure_at_altitude
from analysis.units import INCH_OF_WATER
from drivers.simulate.air import AirSide, AirUnit
from drivers.simulate.ducts import Ducts, DuctUnit
from drivers.simulate.flue import Flue
from drivers.simulate.heat import Exchanger, HeatUnit
from drivers.simulate.limit import Limit, LimitUnit
from drivers.simulate.maths import ARRAYS, FLOATS

SEA_LEVEL = 101325.0
CFM = 4.719474e-4
USUAL = {"command": 1.0, "voltage": 1.0, "temp_entering": 20.0, "temp_leaving": 20.0, "pressure": SEA_LEVEL}


def blowing(unit: AirUnit | None = None, *, knobs: dict[str, float] | None = None, **given: Any) -> AirSide:
    """After a minute at those conditions; without any, 20 degC at sea level."""
    air = AirSide(FLOATS, unit or AirUnit())
    for name, value in (knobs or {}).items():
        setattr(air, name, value)
    for _ in range(600):
        air.step(0.1, **{**USUAL, **given})
    return air


def external(air: AirSide) -> float:
    return float(airflow.external_static(air.static_supply, air.static_return))


# Common practice, no published source: 0.5 in. w.c. outside for some 1200 cfm, a clean filter 0.05 to 0.15, a coil
# 0.1 to 0.35 in. w.c.
def test_the_default_blower_moves_the_usual_air_at_the_usual_static() -> None:
    air = blowing()
    assert_allclose(air.flow / CFM, 1200, rtol=0.02)
    assert_allclose(external(air) / INCH_OF_WATER, 0.5, atol=0.05)
    assert air.static_return < 0 < air.static_supply < air.compartment_pressure
    through_filter = blowing(replace(AirUnit(), filter_seen=0.0)).static_return - air.static_return
    through_coil = air.static_supply - blowing(replace(AirUnit(), coil_seen=0.0)).static_supply
    assert 0.05 < through_filter / INCH_OF_WATER < 0.15
    assert 0.1 < through_coil / INCH_OF_WATER < 0.35
    assert air.running == 1.0


@pytest.mark.parametrize("ratio", [0.0, 0.01])
def test_mass_flow_is_of_dry_air(ratio: float) -> None:
    air = blowing(ratio=ratio)
    assert_allclose(air.mass_flow * (1 + ratio) / air.flow, density(20.0, ratio, SEA_LEVEL), rtol=1e-6)


@pytest.mark.parametrize("speed", [0.5, 0.7, 0.9])
def test_flow_goes_with_speed_and_static_with_its_square(speed: float) -> None:
    unit = replace(AirUnit(), filter_slow=0.0)
    full, part = blowing(unit), blowing(unit, command=speed)
    assert_allclose(part.flow, airflow.fan_flow(full.flow, 1.0, speed), rtol=1e-6)
    assert_allclose(external(part), airflow.fan_pressure(external(full), 1.0, speed), rtol=1e-6)
    # A laminar filter takes more of a slow flow than of a fast one.
    assert blowing(command=speed).flow < airflow.fan_flow(blowing().flow, 1.0, speed)


def test_thin_air_moves_by_the_same_volume_against_less_static() -> None:
    unit = replace(AirUnit(), filter_slow=0.0)
    pressure = float(pressure_at_altitude(8000 * 0.3048))
    low, high = blowing(unit), blowing(unit, pressure=pressure)
    assert_allclose(high.flow, low.flow, rtol=1e-9)
    assert_allclose(external(high) / external(low), pressure / SEA_LEVEL, rtol=1e-9)
    assert_allclose(high.mass_flow / low.mass_flow, pressure / SEA_LEVEL, rtol=1e-9)


def test_hot_supply_air_needs_more_static_for_the_same_mass() -> None:
    cold, hot = blowing(), blowing(temp_leaving=55.0)
    assert hot.mass_flow < cold.mass_flow
    by_mass = (hot.mass_flow / cold.mass_flow) ** 2
    assert_allclose(hot.static_supply / cold.static_supply, by_mass * (55 + 273.15) / (20 + 273.15), rtol=1e-9)


@pytest.mark.parametrize("knob", ["return_factor", "supply_factor", "coil_factor"])
def test_a_restriction_lowers_the_flow_and_shows_on_its_own_side(knob: str) -> None:
    sound, worse = blowing(), blowing(knobs={knob: 3.0})
    assert worse.flow < 0.97 * sound.flow
    assert external(worse) > 1.1 * external(sound)
    before, behind = worse.static_return / sound.static_return, worse.static_supply / sound.static_supply
    assert (before > 1.2 and behind < 1) if knob == "return_factor" else (before < 1 and behind > 1.2)


def test_behind_a_coil_the_duct_follows_the_square_law() -> None:
    unseen = replace(AirUnit(), coil_seen=0.0)
    one, other = blowing(unseen), blowing(unseen, knobs={"coil_factor": 3.0})
    expected = airflow.static_on_system_curve(one.static_supply, one.flow, other.flow)
    assert_allclose(other.static_supply, expected, rtol=1e-6)


def test_a_loaded_filter_is_seen_only_by_a_tap_behind_it() -> None:
    before = replace(AirUnit(), filter_seen=0.0)
    assert blowing(knobs={"filter_factor": 5.0}).static_return < 2 * blowing().static_return
    assert blowing(before, knobs={"filter_factor": 5.0}).static_return > blowing(before).static_return


def test_a_weak_blower_lowers_flow_and_static_together_and_a_dead_one_stops() -> None:
    sound, weak, dead = blowing(), blowing(knobs={"blower_factor": 0.7}), blowing(knobs={"blower_factor": 0.0})
    assert weak.flow < 0.72 * sound.flow
    assert external(weak) < 0.55 * external(sound)
    assert_allclose([dead.flow, external(dead), dead.compartment_pressure, dead.running], 0.0, atol=1e-9)
    assert_allclose(blowing(voltage=0.81).speed, 0.9, rtol=1e-7)


def test_without_its_baffle_the_blower_moves_more_air_at_the_same_ducts() -> None:
    sound, missing = blowing(), blowing(internal_factor=(1 - 0.4) ** 2)
    assert 1.02 < missing.flow / sound.flow < 1.1
    # The ducts, the same, see the square of it; the exchangers less.
    expected = airflow.static_on_system_curve(sound.static_supply, sound.flow, missing.flow)
    assert_allclose(missing.static_supply, expected, rtol=1e-6)
    assert missing.compartment_pressure - missing.static_supply < sound.compartment_pressure - sound.static_supply


def test_speed_is_of_first_order() -> None:
    air = AirSide(FLOATS, AirUnit())
    for _ in range(30):
        air.step(0.1, **USUAL)
    assert_allclose(air.speed, 0.63212, atol=1e-5)
    for _ in range(60):
        air.step(0.1, **USUAL)
    assert_allclose(air.speed, 0.95021, atol=1e-5)
    for _ in range(30):
        air.step(0.1, **{**USUAL, "command": 0.0})
    assert_allclose(air.speed, 0.95021 * 0.36788, atol=1e-5)


def between(generator: np.random.Generator, many: int, **limits: tuple[float, float]) -> dict[str, Any]:
    return {name: generator.uniform(low, high, many) for name, (low, high) in limits.items()}


def at(place: int, given: dict[str, Any]) -> dict[str, float]:
    return {name: float(values[place]) for name, values in given.items()}


CONSTANT = replace(AirUnit(), constant_flow=1.0)


def test_a_motor_of_constant_flow_holds_it_until_its_power_ends() -> None:
    runs = [blowing(CONSTANT, knobs={"filter_factor": factor}) for factor in (1.0, 2.0, 3.0, 5.0, 12.0)]
    flows, speeds, statics = zip(*((air.flow, air.speed, external(air)) for air in runs), strict=True)
    assert_allclose(flows[:3], CONSTANT.rated_flow, rtol=1e-6)
    assert flows[4] < 0.9 * CONSTANT.rated_flow
    assert speeds[0] < speeds[1] < speeds[2] <= 1.15
    assert statics[0] < statics[1] < statics[2]
    # The other kind loses flow from the first.
    assert blowing(knobs={"filter_factor": 3.0}).flow < 0.95 * blowing().flow
    assert_allclose(blowing(CONSTANT, command=0.6).flow, 0.6 * CONSTANT.rated_flow, rtol=1e-6)
    assert_allclose(blowing(CONSTANT, voltage=0.9).flow, CONSTANT.rated_flow, rtol=1e-6)
    assert blowing(CONSTANT, voltage=0.0).flow < 1e-6
    assert blowing(CONSTANT, command=0.0).flow < 1e-6
    assert blowing(CONSTANT, knobs={"blower_factor": 0.0}).flow < 1e-6


def test_power_and_speed_both_end_a_constant_flow() -> None:
    weak, slow = (blowing(replace(CONSTANT, **end)) for end in ({"most_power": 60.0}, {"most_speed": 0.8}))
    for air in (weak, slow):
        assert 0.7 * CONSTANT.rated_flow < air.flow < 0.9 * CONSTANT.rated_flow
    # All that the wheel works against, of which the compartment sees the half in the cabinet.
    against = external(weak) + 2 * (weak.compartment_pressure - weak.static_supply)
    assert_allclose(against * weak.flow, 60.0, rtol=0.02)
    assert_allclose(slow.speed, 0.8, rtol=1e-7)


def test_the_blower_is_the_same_in_arrays() -> None:
    generator = np.random.default_rng(2)
    many = 30
    unit = replace(AirUnit(), constant_flow=(generator.random(many) > 0.5).astype(float))
    together = AirSide(ARRAYS, unit)
    each = [AirSide(FLOATS, replace(unit, constant_flow=float(kind))) for kind in unit.constant_flow]
    for knob in ("filter_factor", "coil_factor", "supply_factor", "return_factor", "blower_factor"):
        values = generator.uniform(0.0, 1.0, many) * (1.0 if knob == "blower_factor" else 4.0)
        setattr(together, knob, values)
        for air, value in zip(each, values, strict=True):
            setattr(air, knob, float(value))
    for _ in range(40):
        given = between(generator, many, command=(0, 1), temp_entering=(10, 25), temp_leaving=(10, 80), ratio=(0, 0.01))
        given |= between(generator, many, pressure=(75000, 103000), voltage=(0, 1.1), internal_factor=(0.3, 1))
        given["command"] *= generator.random(many) > 0.2
        together.step(0.1, **given)
        for place, air in enumerate(each):
            air.step(0.1, **at(place, given))
        for name in ("speed", "flow", "mass_flow", "static_return", "static_supply", "compartment_pressure", "running"):
            assert_allclose(getattr(together, name), [getattr(air, name) for air in each], rtol=1e-9, atol=1e-12)


def supplied(ducts: Ducts, seconds: float, dt: float = 0.5, **given: Any) -> Ducts:
    usual = {"air_flow": 0.66, "temp_leaving": 50.0, "temp_room": 20.0, "temp_around": 10.0, "ratio": 0.004}
    given = {**usual, **given}
    given.setdefault("temp_stream", given["temp_leaving"])
    for _ in range(round(seconds / dt)):
        ducts.step(dt, **given)
    return ducts


def test_settled_ducts_lose_what_the_air_loses() -> None:
    ducts = supplied(Ducts(FLOATS, DuctUnit()), 3000.0)
    carried = 0.66 * (1006 + 1860 * 0.004)
    lost = carried * (50.0 - ducts.temp_delivered + 20.0 - ducts.temp_entering)
    assert_allclose(ducts.loss, lost, rtol=1e-6)
    # By hand: air gives the duct's metal 669 (1 - exp(-182 / 669)) = 159 W/K and it gives 15 W/K, so that it is
    # 40 * 159 / 174 = 36.5 K above its surroundings; plenum and return are as hot as their air.
    assert_allclose(lost, 2.0 * 40.0 + 15.0 * 36.5 + 8.0 * 10.0, rtol=0.01)
    assert 10.0 < ducts.temp_entering < 20.0 < ducts.temp_delivered < ducts.temp_supply < 51.0


@pytest.mark.parametrize("dt", [0.25, 0.5, 1.0])
def test_energy_of_the_ducts_closes_at_every_step(dt: float) -> None:
    generator = np.random.default_rng(4)
    ducts = Ducts(FLOATS, DuctUnit(), temp=15.0)
    for _ in range(300):
        before = ducts.stored
        flow, leaving, room, around = generator.uniform((0.0, 5.0, 10.0, -20.0), (0.8, 90.0, 25.0, 20.0))
        flow = 0.0 if generator.random() < 0.3 else flow
        supplied(ducts, dt, dt, air_flow=flow, temp_leaving=leaving, temp_room=room, temp_around=around)
        carried = max(flow, 1e-6) * (1006 + 1860 * 0.004)
        kept = carried * (leaving - ducts.temp_delivered + room - ducts.temp_entering) - ducts.loss
        assert_allclose(ducts.stored - before, dt * kept, atol=1e-6)


def test_ducts_do_not_depend_on_the_step() -> None:
    one, other = (supplied(Ducts(FLOATS, DuctUnit()), 40.0, dt) for dt in (0.5, 0.25))
    for name in ("temp_supply", "temp_delivered", "temp_return", "temp_entering", "loss", "stored"):
        assert_allclose(getattr(one, name), getattr(other, name), rtol=5e-3, err_msg=name)


def test_two_places_differ_where_air_passes_the_exchangers_by() -> None:
    sound = supplied(Ducts(FLOATS, DuctUnit()), 600.0)
    missing = supplied(Ducts(FLOATS, DuctUnit()), 600.0, temp_stream=70.0)
    assert abs(sound.temp_supply - sound.temp_supply_2) < 1.0
    assert missing.temp_supply - missing.temp_supply_2 > 10.0
    assert_allclose(missing.temp_supply, sound.temp_supply, atol=2.5)
    # Nowhere colder than what came in, however much goes by.
    most = supplied(Ducts(FLOATS, DuctUnit()), 600.0, temp_stream=200.0)
    assert_allclose(most.temp_supply_2, most.temp_entering, atol=1e-9)


def watched(limit: Limit, seconds: float, dt: float = 0.5, **given: Any) -> Limit:
    usual = {"stream_flow": 0.66, "temp_stream": 50.0, "temp_primary": 180.0}
    for _ in range(round(seconds / dt)):
        limit.step(dt, **{**usual, **given})
    return limit


BLIND = replace(LimitUnit(), view=0.0, still=0.0)


# First order: 63.212 % after one time constant, 86.466 % after two, 95.021 % after three.
@pytest.mark.parametrize(("constants", "share"), [(1, 0.63212), (2, 0.86466), (3, 0.95021)])
@pytest.mark.parametrize("dt", [0.25, 0.5])
def test_the_limit_lags_by_first_order(constants: int, share: float, dt: float) -> None:
    limit = watched(Limit(FLOATS, BLIND, temp=20.0), 12.0 * constants, dt, temp_stream=70.0)
    assert_allclose((limit.temperature - 20.0) / 50.0, share, atol=1e-5)


def test_hot_metal_has_more_say_and_the_limit_is_slower_in_slow_air() -> None:
    fast, slow = (watched(Limit(FLOATS, LimitUnit()), 3000.0, stream_flow=flow) for flow in (0.66, 0.03))
    assert 50.0 < fast.temperature < 62.0
    assert slow.temperature > fast.temperature + 15.0
    early = [watched(Limit(FLOATS, LimitUnit()), 12.0, stream_flow=flow).temperature - 20.0 for flow in (0.66, 0.03)]
    assert early[0] / (fast.temperature - 20.0) > 2 * early[1] / (slow.temperature - 20.0)


def test_the_limit_opens_and_closes_again_by_its_differential() -> None:
    limit = watched(Limit(FLOATS, BLIND), 600.0, temp_stream=92.9)
    assert limit.closed == 1.0
    assert watched(limit, 600.0, temp_stream=93.1).closed == 0.0
    assert watched(limit, 600.0, temp_stream=76.1).closed == 0.0
    assert watched(limit, 600.0, temp_stream=75.9).closed == 1.0
    limit.limit_shift = -20.0
    assert watched(limit, 600.0, temp_stream=73.1).closed == 0.0
    assert watched(limit, 600.0, temp_stream=55.9).closed == 1.0
    limit.limit_open = 1.0
    assert watched(limit, 0.5, temp_stream=20.0).closed == 0.0


def test_ducts_and_limit_are_the_same_in_arrays() -> None:
    generator = np.random.default_rng(6)
    many = 20
    ducts, limit = Ducts(ARRAYS, DuctUnit()), Limit(ARRAYS, LimitUnit())
    each = [(Ducts(FLOATS, DuctUnit()), Limit(FLOATS, LimitUnit())) for _ in range(many)]
    limit.limit_shift = generator.uniform(-40.0, 10.0, many)
    for place, (_, one) in enumerate(each):
        one.limit_shift = float(limit.limit_shift[place])
    opened = 0.0
    for _ in range(60):
        carried = between(
            generator, many, air_flow=(0, 0.8), temp_leaving=(10, 90), temp_room=(15, 24), ratio=(0, 0.01)
        )
        carried |= between(generator, many, temp_stream=(10, 150), temp_around=(-10, 20))
        around = {"stream_flow": carried["air_flow"], "temp_stream": carried["temp_stream"]}
        around["temp_primary"] = 3.0 * carried["temp_leaving"]
        carried["air_flow"] = carried["air_flow"] * (generator.random(many) > 0.3)
        ducts.step(0.5, **carried)
        limit.step(5.0, **around)
        for place, (single, other) in enumerate(each):
            single.step(0.5, **at(place, carried))
            other.step(5.0, **at(place, around))
        for name in ("temp_return", "temp_supply", "temp_supply_2", "temp_delivered", "loss", "stored"):
            assert_allclose(getattr(ducts, name), [getattr(single, name) for single, _ in each], rtol=1e-9)
        assert_allclose(limit.temperature, [one.temperature for _, one in each], rtol=1e-9)
        assert_allclose(limit.closed, [one.closed for _, one in each])
        opened += float(np.sum(limit.closed == 0.0))
    assert 0 < opened < 60 * many


def furnace(seconds: float = 900.0, *, bypass: float = 0.0, delay: float = 30.0, **knobs: float) -> SimpleNamespace:
    """High fire from cold, blower after `delay` [s]; ends when the limit opens. Traces of what is measured."""
    flue, exchanger, air = Flue(FLOATS, NATURAL_GAS), Exchanger(FLOATS, HeatUnit()), AirSide(FLOATS, AirUnit())
    ducts, limit, time = Ducts(FLOATS, DuctUnit()), Limit(FLOATS, LimitUnit()), 0.0
    exchanger.bypass = bypass
    for name, value in knobs.items():
        setattr(air, name, value)
    burnt, supply = 23400.0 / flue.heating_value, []
    intake, internal = 1.4 * burnt * flue.air_need, (1 - bypass) ** 2
    while time < seconds and limit.closed:
        command, entering = air.unit.high_heat if time >= delay else 0.0, ducts.temp_entering
        ends = {"temp_entering": entering, "temp_leaving": exchanger.temp_leaving, "pressure": SEA_LEVEL}
        for _ in range(5):
            air.step(0.1, command=command, voltage=1.0, internal_factor=internal, **ends)
        flue.burn(burnt=burnt, air_flow=intake, ratio=0.0, temp_air=20.0, pressure=SEA_LEVEL)
        exchanger.step(0.5, flue=flue, air_flow=air.mass_flow, temp_entering=entering, ratio=0.0, temp_room=20.0)
        stream, hot = exchanger.temp_stream, exchanger.temp_primary
        mixed = {"air_flow": exchanger.leaving_flow, "temp_leaving": exchanger.temp_leaving, "temp_stream": stream}
        ducts.step(0.5, temp_room=20.0, temp_around=20.0, ratio=0.0, **mixed)
        limit.step(0.5, stream_flow=exchanger.stream_flow, temp_stream=stream, temp_primary=hot)
        time += 0.5
        supply.append(ducts.temp_supply)
    rise = 1.8 * (ducts.temp_supply - ducts.temp_return)
    found = {"time": time, "supply": supply, "rise": rise, "static": external(air)}
    return SimpleNamespace(limit=limit, air=air, exchanger=exchanger, ducts=ducts, **found)


@pytest.fixture(scope="module")
def sound() -> SimpleNamespace:
    return furnace()


def test_supply_rises_at_once_then_dips_as_the_blower_starts(sound: SimpleNamespace) -> None:
    supply = sound.supply
    assert supply[39] > 25.0
    assert supply[59] > supply[39] + 5.0
    dip = min(supply[60:120])
    assert dip < max(supply[50:70]) - 3.0
    assert supply[-1] > dip + 5.0


def test_a_sound_unit_keeps_its_rise_its_static_and_its_limit_closed(sound: SimpleNamespace) -> None:
    assert sound.limit.closed == 1.0
    assert sound.limit.temperature < 80.0
    assert 35 < sound.rise < 65
    assert 0.4 < sound.static / INCH_OF_WATER < 0.55
    # As in published airflow tables of condensing furnaces: 0.91 within 0.02 for an efficiency of 0.915.
    standard = sound.air.mass_flow / 1.2041 / CFM
    assert_allclose(sound.rise * standard * 1.08 / (23400 / 0.29307107) * 0.915 / 0.93, 0.91, atol=0.02)


# Slow air, or none, and air that goes by: all open the limit, each with its own signature.
def test_no_blower_runs_up_to_the_limit(sound: SimpleNamespace) -> None:
    dead = furnace(blower_factor=0.0)
    assert dead.limit.closed == 0.0
    assert 40 < dead.time < 180
    assert dead.supply[-1] > sound.supply[-1] + 10
    assert_allclose(dead.static, 0.0, atol=1e-9)


def test_a_restriction_opens_the_limit_with_a_high_rise_and_a_high_static(sound: SimpleNamespace) -> None:
    part, blocked = furnace(filter_factor=6.0), furnace(filter_factor=60.0)
    assert part.limit.closed == 1.0
    assert part.rise > sound.rise + 5
    assert part.static > 1.3 * sound.static
    assert blocked.limit.closed == 0.0
    assert blocked.air.flow < 0.5 * sound.air.flow


def test_a_missing_baffle_opens_the_limit_with_a_legal_rise_and_more_air(sound: SimpleNamespace) -> None:
    part, missing = furnace(bypass=0.35), furnace(bypass=0.5)
    assert missing.limit.closed == 0.0
    assert part.limit.temperature > sound.limit.temperature + 10
    assert_allclose(part.rise, sound.rise, atol=3.0)
    assert part.air.flow > 1.02 * sound.air.flow
    # Beside the legal rise: the two sides of the plenum differ, the flue is hotter.
    assert (
        part.ducts.temp_supply - part.ducts.temp_supply_2
        > 5.0
        > abs(sound.ducts.temp_supply - sound.ducts.temp_supply_2)
    )
    assert part.exchanger.temp_flue > sound.exchanger.temp_flue + 2.0
