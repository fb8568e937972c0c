"""Thermostat: cycles and stages, dual fuel by lockouts, humidity, wires; and the balance point with house and pump."""

import math
from dataclasses import replace

import pytest

from analysis.lockouts import LockoutSettings, judge
from drivers.simulate.heatpump import HeatPump, HeatPumpUnit
from drivers.simulate.house import House, HouseUnit
from drivers.simulate.humidifier import Humidifier, HumidifierUnit
from drivers.simulate.moist_air import AIR_HEAT, VAPOUR_HEAT, humidity_ratio
from drivers.simulate.thermostat import Thermostat, ThermostatUnit

SEA_LEVEL = 101_325.0
BTU = 0.2930710701722222
"""One Btu/h. [W]"""
DUAL = ThermostatUnit(dual_fuel=True)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def hold(
    thermostat: Thermostat,
    seconds: float,
    room: float,
    outdoor: float = 0.0,
    *,
    humidity: float = 0.35,
    defrost: int = 0,
) -> Thermostat:
    """Let it see one condition for some time."""
    for _ in range(round(seconds / 0.5)):
        thermostat.step(0.5, temp_room=room, humidity_room=humidity, temp_outdoor=outdoor, defrost_active=defrost)
    return thermostat


def sources(thermostat: Thermostat) -> tuple[int, int]:
    return thermostat.call_heat, thermostat.call_compressor


class Home:
    """A house with a heat pump and a furnace that only gives heat, run by a thermostat."""

    FLOW = 0.6

    def __init__(
        self, thermostat: ThermostatUnit, house: HouseUnit, pump: HeatPumpUnit, outdoor: float, *, moist: float = 0.0
    ) -> None:
        self.temp, self.ratio = outdoor, humidity_ratio(outdoor, moist, SEA_LEVEL)
        self.thermostat = Thermostat(thermostat)
        self.house = House(house, temp=21.0, temp_outdoor=outdoor)
        self.pump = HeatPump(pump, temp_outdoor=outdoor)
        self.humidifier = Humidifier(HumidifierUnit(kind="plenum"))
        self.furnace = 0.0
        self.on: list[int] = []
        self.rooms: list[float] = []
        self.evaporated = 0.0

    def run(self, hours: float, dt: float = 5.0) -> "Home":
        """Run; `on` and `rooms` hold what was called (1 compressor, 2 furnace) and the room, at each step."""
        thermostat, house, pump, humidifier = self.thermostat, self.house, self.pump, self.humidifier
        self.on, self.rooms, self.evaporated = [], [], 0.0
        for _ in range(round(hours * 3600 / dt)):
            thermostat.step(
                dt,
                temp_room=house.temp_room,
                humidity_room=house.humidity_room,
                temp_outdoor=self.temp,
                defrost_active=pump.defrost_active,
            )
            heat = (0.0, 16_700.0, 22_200.0)[thermostat.call_heat + thermostat.call_heat_2]
            self.furnace = heat + (self.furnace - heat) * math.exp(-dt / 60)
            flow = self.FLOW if thermostat.call_fan or self.furnace > 2000 else 0.0
            outdoors = {"temp_outdoor": self.temp, "ratio_outdoor": self.ratio, "pressure": SEA_LEVEL}
            called = thermostat.call_compressor
            pump.step(dt, call=called, air_flow=flow, temp_entering=house.temp_room, **outdoors)
            capacity = self.FLOW * (AIR_HEAT + VAPOUR_HEAT * house.ratio_room)
            warm = (pump.heat + self.furnace) / capacity if flow else 0.0
            humidifier.step(
                dt,
                call=thermostat.call_humidifier,
                air_flow=flow,
                temp=house.temp_room + warm,
                ratio=house.ratio_room,
                temp_return=house.temp_room,
                ratio_return=house.ratio_room,
                pressure=SEA_LEVEL,
            )
            house.step(
                dt,
                supply_flow=humidifier.supply_flow,
                temp_supply=humidifier.temp_supply,
                ratio_supply=humidifier.ratio_supply,
                **outdoors,
            )
            self.evaporated += dt * humidifier.evaporation
            self.on.append(thermostat.call_compressor + 2 * thermostat.call_heat)
            self.rooms.append(house.temp_room)
        return self

    def calls(self, kind: int) -> list[int]:
        """Lengths of the whole calls of a kind. [steps]"""
        lengths, begun = [], -1
        for number, one in enumerate(self.on):
            if one == kind and begun < 0:
                begun = number
            elif one != kind and begun >= 0:
                lengths.append(number - begun)
                begun = -1
        return lengths


# --- furnace alone ---


def test_room_is_held_in_cycles() -> None:
    home = Home(ThermostatUnit(humidity_setting=0.0), HouseUnit(), HeatPumpUnit(), -10.0).run(4).run(8)
    assert sum(home.rooms) / len(home.rooms) == pytest.approx(21.1, abs=0.35)
    assert max(home.rooms) - min(home.rooms) < 2.0
    cycles = home.calls(2)
    assert 2 <= len(cycles) / 8 <= 8
    assert min(cycles) * 5 >= 180
    # What the house loses is what the furnace gives.
    share = sum(one > 0 for one in home.on) / len(home.on)
    assert share * 16_700 == pytest.approx(316.5 * 31.1 - 900, rel=0.06)


def test_call_has_its_least_length_and_rest() -> None:
    thermostat = hold(Thermostat(ThermostatUnit()), 1, 20.0)
    assert thermostat.call_heat == 1
    hold(thermostat, 170, 30.0)
    assert thermostat.call_heat == 1
    hold(thermostat, 30, 30.0)
    assert thermostat.call_heat == 0
    hold(thermostat, 150, 10.0)
    assert thermostat.call_heat == 0
    hold(thermostat, 40, 10.0)
    assert thermostat.call_heat == 1


def test_anticipator_ends_the_call_below_the_setpoint() -> None:
    def peak(anticipator: float) -> float:
        unit = ThermostatUnit(anticipator=anticipator)
        return max(Home(unit, HouseUnit(), HeatPumpUnit(), -10.0).run(6).rooms)

    assert peak(0.5) < peak(0.0) - 0.2


def test_second_stage_by_droop_and_by_time() -> None:
    by_time = hold(Thermostat(ThermostatUnit()), 590, 20.5)
    assert (by_time.call_heat, by_time.call_heat_2) == (1, 0)
    hold(by_time, 20, 20.5)
    assert (by_time.call_heat, by_time.call_heat_2) == (1, 1)
    by_droop = hold(Thermostat(ThermostatUnit()), 1, 19.6)
    assert (by_droop.call_heat, by_droop.call_heat_2) == (1, 1)
    by_droop.stage2_dead = 1
    hold(by_droop, 1, 19.6)
    assert (by_droop.call_heat, by_droop.call_heat_2) == (1, 0)


def test_open_wire_takes_the_call_and_a_shifted_sensor_the_demand() -> None:
    thermostat = hold(Thermostat(ThermostatUnit()), 1, 18.0)
    assert (thermostat.call_heat, thermostat.call_heat_2) == (1, 1)
    thermostat.no_call = 1
    hold(thermostat, 1, 18.0)
    assert (thermostat.call_heat, thermostat.call_heat_2, thermostat.demand) == (0, 0, True)
    thermostat.no_call = 0
    assert hold(thermostat, 1, 18.0).call_heat == 1
    shifted = Thermostat(ThermostatUnit())
    shifted.room_offset = 2.0
    assert hold(shifted, 1, 20.0).call_heat == 0


# --- dual fuel ---


@pytest.mark.parametrize(("compressor", "furnace"), [(-5.6, 7.2), (2.0, -4.0), (0.0, 0.0)])
def test_lockouts_permit_what_the_judge_says(compressor: float, furnace: float) -> None:
    unit = replace(DUAL, compressor_lockout=compressor, auxiliary_lockout=furnace)
    bands = {
        one.name: one.values for one in judge(LockoutSettings(compressor, furnace, coil_downstream=True), -math.inf)
    }
    idle = bands.get("no_heat_band", (("", 0.0, ""), ("", 0.0, "")))
    both = bands.get("both_at_once", (("", 0.0, ""), ("", 0.0, "")))
    for tenth in range(-100, 101, 5):
        outdoor = tenth / 10
        found = sources(hold(Thermostat(unit), 1, 20.5, outdoor))
        nothing = idle[0][1] <= outdoor < idle[1][1]
        assert (found == (0, 0)) is nothing
        assert found in ((0, 0), (0, 1)) or outdoor < compressor
        cold = sources(hold(Thermostat(replace(unit, changeover=False)), 1, 18.0, outdoor))
        assert (cold == (1, 1)) is (both[0][1] <= outdoor < both[1][1])


def test_auxiliary_takes_over_by_droop_and_by_time_and_never_beside_the_compressor() -> None:
    thermostat = hold(Thermostat(DUAL), 600, 20.2)
    assert (*sources(thermostat), thermostat.call_fan) == (0, 1, 1)
    hold(thermostat, 600, 19.8)
    assert (*sources(thermostat), thermostat.call_fan) == (1, 0, 0)
    # It stays with the furnace until the call ends, then begins with the heat pump.
    hold(thermostat, 600, 20.6)
    assert sources(thermostat) == (1, 0)
    hold(thermostat, 900, 22.0)
    assert sources(thermostat) == (0, 0)
    hold(thermostat, 900, 20.5)
    assert sources(thermostat) == (0, 1)
    late = hold(Thermostat(DUAL), 3590, 20.5)
    assert sources(late) == (0, 1)
    assert sources(hold(late, 20, 20.5)) == (1, 0)


def test_furnace_is_locked_out_in_mild_weather_and_called_in_an_emergency() -> None:
    thermostat = hold(Thermostat(DUAL), 7200, 18.0, 8.0)
    assert sources(thermostat) == (0, 1)
    thermostat.emergency = 1
    assert sources(hold(thermostat, 1, 18.0, 8.0)) == (1, 0)


def test_lockouts_follow_the_outdoor_sensor() -> None:
    thermostat = Thermostat(DUAL)
    thermostat.outdoor_offset = 8.0
    assert sources(hold(thermostat, 1, 20.5, -10.0)) == (0, 1)
    assert thermostat.outdoor_sensed == pytest.approx(-2.0)
    assert sources(hold(Thermostat(DUAL), 1, 20.5, -10.0)) == (1, 0)
    lowered = Thermostat(DUAL)
    lowered.compressor_lockout = -15.0
    assert sources(hold(lowered, 1, 20.5, -10.0)) == (0, 1)


def test_compressor_rests_five_minutes() -> None:
    thermostat = hold(Thermostat(DUAL), 200, 20.5)
    thermostat.emergency = 1
    hold(thermostat, 1, 20.5)
    thermostat.emergency = 0
    hold(thermostat, 290, 20.5)
    assert sources(thermostat) == (0, 0)
    assert sources(hold(thermostat, 20, 20.5)) == (0, 1)


def test_furnace_tempers_a_defrost_where_it_is_locked_out() -> None:
    thermostat = hold(Thermostat(DUAL), 60, 20.5, 8.0)
    assert sources(hold(thermostat, 1, 20.5, 8.0, defrost=1)) == (1, 1)
    assert sources(hold(thermostat, 1, 20.5, 8.0)) == (0, 1)
    bare = hold(Thermostat(replace(DUAL, temper=False)), 60, 20.5, 8.0)
    assert sources(hold(bare, 1, 20.5, 8.0, defrost=1)) == (0, 1)
    idle = hold(Thermostat(DUAL), 60, 22.5, 8.0)
    assert sources(hold(idle, 1, 22.5, 8.0, defrost=1)) == (0, 0)


def test_reversing_valve_and_dead_compressor_wire() -> None:
    assert hold(Thermostat(DUAL), 1, 20.5).call_reversing == 0
    energised = Thermostat(replace(DUAL, reversing_in_heating=True))
    assert hold(energised, 1, 20.5).call_reversing == 1
    energised.compressor_dead = 1
    hold(energised, 1, 20.5)
    assert (energised.call_compressor, energised.call_fan) == (0, 1)


# --- humidity, fan, schedule ---


def test_humidity_is_called_to_its_setting_and_only_with_heat() -> None:
    def called(thermostat: Thermostat, room: float, humidity: float) -> int:
        return hold(thermostat, 1, room, humidity=humidity).call_humidifier

    thermostat = Thermostat(ThermostatUnit())
    found = [called(thermostat, 20.0, humidity) for humidity in (0.30, 0.36, 0.38, 0.36, 0.32)]
    assert found == [1, 1, 0, 0, 1]
    assert called(Thermostat(ThermostatUnit()), 22.0, 0.20) == 0
    thermostat.humidity_overrun = 1
    assert called(thermostat, 20.0, 0.60) == 1
    warm = Thermostat(ThermostatUnit())
    warm.humidity_overrun = 1
    assert called(warm, 22.0, 0.20) == 0


def test_fan_may_run_alone() -> None:
    thermostat = Thermostat(ThermostatUnit())
    thermostat.fan_on = 1
    hold(thermostat, 1, 22.0)
    assert (thermostat.call_fan, thermostat.call_heat) == (1, 0)


def test_schedule_calls_whatever_the_room() -> None:
    thermostat = Thermostat(DUAL, [(10, 20, 1), (20, 30, 2), (40, 50, 0)])
    found = []
    for _ in range(120):
        hold(thermostat, 0.5, 30.0)
        found.append((thermostat.call_heat, thermostat.call_heat_2, thermostat.call_compressor))
    quiet, low, high, pump = (0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 0, 1)
    assert found == [quiet] * 20 + [low] * 20 + [high] * 20 + [quiet] * 20 + [pump] * 20 + [quiet] * 20
    assert hold(Thermostat(DUAL, []), 1, 5.0).call_heat == 0


@pytest.mark.parametrize(("call", "words"), [((5, 5, 1), "has to end after its start"), ((0, 5, 3), "known are 0")])
def test_schedule_that_cannot_be_is_refused(call: tuple[float, float, int], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Thermostat(DUAL, [call])


# --- with house and heat pump ---

PUMP_ONLY = replace(DUAL, auxiliary_lockout=-90.0, compressor_lockout=-90.0, temper=False)
DRY = HeatPumpUnit(capacity_35=30_400 * BTU, power_47=1e-3, power_35=1e-3, power_17=1e-3, defrost_interval=math.inf)
"""Rated at 35 degF on the straight line, without defrost: what the worked balance points assume."""


def home_at(fahrenheit: float, loss: float, pump: HeatPumpUnit, moist: float = 0.0, base: float = 65.0) -> Home:
    """A light house of `loss` Btu/(h degF) that needs no heat at `base` degF and is held at 70. [degF]"""
    watts = loss * BTU * 1.8
    unit = HouseUnit(
        loss=watts, gains=(70 - base) / 1.8 * watts, light=1e6, heavy=1e6, air_changes=0.0, sources=0.0, buffer=0.0
    )
    thermostat = replace(PUMP_ONLY, setpoint=celsius(70))
    return Home(thermostat, unit, pump, celsius(fahrenheit), moist=moist)


def balance(loss: float, pump: HeatPumpUnit, near: float, *, moist: float = 0.0, base: float = 65.0) -> float:
    """Outdoor temperature at which the room that sinks in two colder ones would be at 70. [degF]"""
    sunk = []
    for below in (2.0, 5.0):
        home = home_at(near - below, loss, pump, moist, base)
        home.run(8, 10)
        home.run(6.6, 10)
        assert set(home.on) == {1}
        sunk.append(sum(home.rooms) / len(home.rooms) * 1.8 + 32)
        assert sunk[-1] < 69.5
    held = home_at(near + 3, loss, pump, moist, base).run(12, 10).run(12, 10)
    assert 0 in held.on
    assert max(held.rooms) * 1.8 + 32 >= 69.8
    first, second = sunk
    return near - 2 + 3 * (70 - first) / (first - second)


# Straight line, T = (UA Tb - Q17 + 17 s) / (UA + s): arithmetic; UA [Btu/(h degF)], Tb [degF], Q47, Q17 [Btu/h].
BALANCES = (
    (600, 65, 36e3, 22e3, 23.38),
    (500, 65, 36e3, 22e3, 19.07),
    (800, 65, 36e3, 22e3, 29.95),
    (600, 60, 24e3, 14e3, 29.64),
)


@pytest.mark.parametrize("row", BALANCES)
def test_below_the_balance_point_the_room_cannot_hold(row: tuple[float, ...]) -> None:
    loss, base, at_47, at_17, expected = row
    at_35 = at_17 + 0.6 * (at_47 - at_17)
    pump = replace(DRY, capacity_47=at_47 * BTU, capacity_35=at_35 * BTU, capacity_17=at_17 * BTU)
    assert balance(loss, pump, expected, base=base) == pytest.approx(expected, abs=0.05)


def test_frost_and_defrost_move_the_balance_point() -> None:
    # Piecewise line with the frost: UA 600, Tb 65, Q35 27,500 give 24.51 degF: arithmetic. Ours grows frost by physics.
    assert balance(600, HeatPumpUnit(), 24.51, moist=0.80) == pytest.approx(24.51, abs=0.5)


def test_dual_fuel_holds_where_the_pump_alone_sinks() -> None:
    unit = replace(DUAL, setpoint=21.1)
    home = Home(unit, HouseUnit(), HeatPumpUnit(), celsius(23), moist=0.8).run(12).run(24)
    assert min(home.rooms) > 19.5
    assert {1, 2} <= set(home.on)
    assert home.pump.trips == 0
    both = home.calls(3)
    # Both at once only while a defrost is tempered.
    assert all(5 * steps <= 600 for steps in both)


def test_misset_lockouts_leave_the_house_cold_in_the_band_only() -> None:
    unit = replace(DUAL, compressor_lockout=celsius(35), auxiliary_lockout=celsius(25))
    band = Home(unit, HouseUnit(), HeatPumpUnit(), celsius(30)).run(8)
    assert set(band.on) == {0}
    assert band.rooms[-1] < 19
    for fahrenheit in (20, 40):
        fine = Home(unit, HouseUnit(), HeatPumpUnit(), celsius(fahrenheit)).run(8)
        assert min(fine.rooms) > 20


def test_humidifier_gives_what_leaves_with_the_air_changes() -> None:
    # H = rho V R (Wi - Wo) - S with 16,000 ft3, 0.5/h, 70 degF, 35 %, outdoors 0 degF 80 %: 2.85 lb/h without sources,
    # ASHRAE Handbook - HVAC Systems and Equipment, Humidifiers, computed with psychrolib.
    house = HouseUnit(sources=0.0, surface_factor=0.9, buffer=1.0)
    unit = ThermostatUnit(setpoint=celsius(70))
    home = Home(unit, house, HeatPumpUnit(), celsius(0), moist=0.8).run(12).run(24)
    assert home.house.humidity_room == pytest.approx(0.35, abs=0.03)
    inside = home.house.ratio_room
    expected = 2.85 * (inside - home.ratio) / (0.00543 - home.ratio)
    assert home.evaporated / 24 / 0.45359237 == pytest.approx(expected, rel=0.06)


def test_step_does_not_matter() -> None:
    def run(dt: float) -> tuple[float, float]:
        home = Home(DUAL, HouseUnit(), HeatPumpUnit(), -2.0, moist=0.8).run(12, dt)
        return sum(home.rooms) / len(home.rooms), sum(one > 0 for one in home.on) / len(home.on)

    usual, halved = run(1.0), run(0.5)
    assert halved[0] == pytest.approx(usual[0], rel=1e-3)
    assert halved[1] == pytest.approx(usual[1], rel=0.02)
