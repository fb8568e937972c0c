"""Moist air in floats, and the humidifier's pad, water and bypass."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis import psychrometrics
from analysis.humidity import evaporation_cooling, rise_over_room
from drivers.simulate import moist_air
from drivers.simulate.humidifier import Humidifier, HumidifierUnit

SEA_LEVEL = 101_325.0
POUND = 0.45359237
POUND_AN_HOUR = POUND / 3600
STANDARD = 0.075 * POUND / 60
"""Dry air in one cfm of standard air, 0.075 lb/ft3. [kg/s]"""
GRAIN = POUND / 7000


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


# --- moist air ---

# ASHRAE Handbook - Fundamentals 2017, chapter 1, table 3, as quoted in psychrolib's tests; 0.03 %, -60 degC 1 %.
TABLE_3 = (
    (-60, 1.08, 1e-2),
    (-20, 103.24, 3e-4),
    (-5, 401.74, 3e-4),
    (5, 872.6, 3e-4),
    (25, 3169.7, 3e-4),
    (50, 12351.3, 3e-4),
    (100, 101418.0, 3e-4),
)


@pytest.mark.parametrize(("temp", "pressure", "within"), TABLE_3)
def test_saturation_pressure_of_the_handbook(temp: float, pressure: float, within: float) -> None:
    assert moist_air.saturation_pressure(temp) == pytest.approx(pressure, rel=within)


# Computed with psychrolib 2.5.0 at 1500 m, 84555.93 Pa: temp, humidity, ratio, dew point, wet bulb, enthalpy, volume.
ROWS = (
    (5, 0.50, 0.0032254, -4.03, 0.97, 13_127, 0.9491),
    (20, 0.35, 0.00607987, 4.09, 10.97, 35_552, 1.0049),
    (25, 0.50, 0.0118781, 13.86, 17.46, 55_409, 1.0315),
    (40, 0.10, 0.00547869, 2.63, 17.28, 54_350, 1.0724),
    (60, 0.02, 0.0029478, -5.08, 21.11, 68_061, 1.1363),
)


@pytest.mark.parametrize("row", ROWS)
def test_moist_air_of_the_library(row: tuple[float, ...]) -> None:
    temp, humidity, ratio, dew, bulb, content, volume = row
    pressure = 84_555.93
    found = moist_air.humidity_ratio(temp, humidity, pressure)
    assert found == pytest.approx(ratio, rel=5e-4)
    assert moist_air.relative_humidity(temp, found, pressure) == pytest.approx(humidity, rel=1e-12)
    assert moist_air.dew_point(moist_air.vapour_pressure(found, pressure)) == pytest.approx(dew, abs=0.006)
    assert moist_air.wet_bulb(temp, found, pressure) == pytest.approx(bulb, abs=0.006)
    assert moist_air.enthalpy(temp, found) == pytest.approx(content, abs=15)
    assert moist_air.temp_from_enthalpy(moist_air.enthalpy(temp, found), found) == pytest.approx(temp)
    assert 1 / moist_air.dry_density(temp, found, pressure) == pytest.approx(volume, rel=1e-4)


@given(st.floats(-60, 100), st.floats(0.02, 1.0), st.floats(60e3, 105e3))
@example(0.01, 1.0, 60e3)
@settings(max_examples=300, deadline=None)
def test_floats_agree_with_the_arrays(temp: float, humidity: float, pressure: float) -> None:
    saturation = moist_air.saturation_pressure(temp)
    assert saturation == pytest.approx(float(psychrometrics.saturation_pressure(temp)), rel=1e-9)
    over_water = float(psychrometrics.saturation_pressure(temp, "water"))
    assert moist_air.saturation_pressure_water(temp) == pytest.approx(over_water, rel=1e-9)
    vapour = humidity * saturation
    if moist_air.saturation_pressure(-80) < vapour < 0.9 * pressure:
        expected = float(psychrometrics.dew_point(temp, humidity))
        assert moist_air.dew_point(vapour) == pytest.approx(expected, abs=1e-5)
        ratio = moist_air.humidity_ratio(temp, humidity, pressure)
        assert ratio == pytest.approx(float(psychrometrics.humidity_ratio(temp, humidity, pressure)), rel=1e-9)
        found = moist_air.relative_humidity(temp, ratio, pressure)
        assert found == pytest.approx(float(psychrometrics.relative_humidity(temp, ratio, pressure)), rel=1e-9)


@given(st.floats(-20, 80), st.floats(0, 1.0), st.floats(60e3, 105e3), st.floats(-20, 80))
@settings(max_examples=300, deadline=None)
def test_wet_bulb_agrees_with_the_arrays_wherever_it_starts(
    temp: float, humidity: float, pressure: float, start: float
) -> None:
    ratio = float(psychrometrics.humidity_ratio(temp, humidity, pressure, "water"))
    expected = float(psychrometrics.wet_bulb(temp, humidity, pressure, "water"))
    assert moist_air.wet_bulb(temp, ratio, pressure, start) == pytest.approx(expected, abs=1e-5)


# --- pad ---


class Air:
    """What the humidifier is given: 1200 cfm of warm supply air and room air, unless told otherwise."""

    def __init__(self, temp: float = 45.0, ratio: float = 0.0055, flow: float = 1200 * STANDARD) -> None:
        self.temp, self.ratio, self.flow = temp, ratio, flow

    def blow(self, humidifier: Humidifier, seconds: float, call: float, dt: float = 0.5) -> dict[str, float]:
        """Run, and return what flowed in all, in kg and J."""
        total = {"evaporation": 0.0, "water_use": 0.0, "drained": 0.0, "cooling": 0.0}
        for _ in range(round(seconds / dt)):
            humidifier.step(
                dt,
                call=call,
                air_flow=self.flow,
                temp=self.temp,
                ratio=self.ratio,
                temp_return=21.0,
                ratio_return=0.0055,
                pressure=SEA_LEVEL,
            )
            for name in total:
                total[name] += dt * getattr(humidifier, name)
        return total


def test_two_pounds_an_hour_cool_1200_cfm_by_the_worked_figure() -> None:
    # 2 lb/h at 1200 cfm: 1061 * 2 / (1.08 * 1200) = 1.64 degF, 7000 * 2 / (60 * 0.075 * 1200) = 2.6 gr/lb: arithmetic;
    # 1061 Btu/lb and 1.08 hold near 70 degF, to 1 %.
    air = Air(temp=celsius(70), ratio=moist_air.humidity_ratio(celsius(70), 0.35, SEA_LEVEL))
    low, high = 0.0, 1.0
    for _ in range(40):
        share = (low + high) / 2
        humidifier = Humidifier(HumidifierUnit(kind="plenum", share=share, flow_nominal=0.1))
        air.blow(humidifier, 600, call=1, dt=10)
        low, high = (share, high) if humidifier.evaporation < 2 * POUND_AN_HOUR else (low, share)
    assert (air.temp - humidifier.temp_supply) * 1.8 == pytest.approx(1.64, rel=0.01)
    assert (humidifier.ratio_supply - air.ratio) / GRAIN * POUND == pytest.approx(2.6, abs=0.02)


def test_cooling_agrees_with_the_balance_of_heat() -> None:
    humidifier, air = Humidifier(HumidifierUnit(kind="plenum")), Air()
    air.blow(humidifier, 900, call=1)
    volume = air.flow / moist_air.dry_density(air.temp, air.ratio, SEA_LEVEL)
    expected = evaporation_cooling(humidifier.evaporation, volume, air.temp, air.ratio, SEA_LEVEL)
    assert air.temp - humidifier.temp_supply == pytest.approx(float(expected), rel=1e-9)
    capacity = moist_air.AIR_HEAT + moist_air.VAPOUR_HEAT * humidifier.ratio_supply
    assert humidifier.cooling == pytest.approx(air.flow * capacity * float(expected), rel=1e-9)


def test_bypass_moves_water_and_heat_to_the_return_without_loss() -> None:
    humidifier, air = Humidifier(HumidifierUnit()), Air()
    air.blow(humidifier, 900, call=1)
    assert humidifier.bypass_flow == pytest.approx(0.12 * air.flow)
    assert humidifier.supply_flow + humidifier.bypass_flow == pytest.approx(air.flow)
    assert (humidifier.temp_supply, humidifier.ratio_supply) == (air.temp, air.ratio)
    water = humidifier.supply_flow * 0.0055 + humidifier.bypass_flow * air.ratio + humidifier.evaporation
    assert air.flow * humidifier.ratio_mixed == pytest.approx(water, rel=1e-12)
    heat = humidifier.supply_flow * moist_air.enthalpy(21.0, 0.0055)
    heat += humidifier.bypass_flow * moist_air.enthalpy(air.temp, air.ratio)
    heat += humidifier.evaporation * moist_air.WATER_HEAT * 15.0
    assert air.flow * moist_air.enthalpy(humidifier.temp_mixed, humidifier.ratio_mixed) == pytest.approx(heat)


def test_evaporation_follows_the_air() -> None:
    def evaporation(**air: float) -> float:
        humidifier = Humidifier(HumidifierUnit())
        Air(**air).blow(humidifier, 900, call=1, dt=2)
        return humidifier.evaporation

    usual = evaporation()
    # Half a gallon an hour or so in 113 degF air: common practice, no published source.
    assert 2 * POUND_AN_HOUR < usual < 6 * POUND_AN_HOUR
    assert evaporation(temp=55.0) > 1.2 * usual
    # By the depression of the wet bulb, 21.0 K against 23.1 K.
    assert evaporation(ratio=0.009) == pytest.approx(0.907 * usual, rel=0.01)
    assert 0.5 * usual < evaporation(flow=0.5 * 1200 * STANDARD) < 0.7 * usual
    assert evaporation(flow=0.0) == 0
    assert evaporation(temp=20.0, ratio=moist_air.humidity_ratio(20.0, 1.0, SEA_LEVEL)) < 1e-9


def test_wet_pad_reaches_its_effectiveness() -> None:
    humidifier, air = Humidifier(HumidifierUnit(flow_nominal=0.12 * 1200 * STANDARD)), Air()
    air.blow(humidifier, 900, call=1)
    bulb = float(psychrometrics.wet_bulb(air.temp, moist_air.relative_humidity(45.0, 0.0055, SEA_LEVEL), SEA_LEVEL))
    most = moist_air.humidity_ratio(bulb, 1.0, SEA_LEVEL)
    assert (humidifier.ratio_pad - air.ratio) / (most - air.ratio) == pytest.approx(0.7, rel=1e-6)
    # Of saturation at the wet bulb no more than saturation: the air after the pad is not fog.
    assert moist_air.relative_humidity(humidifier.temp_pad, humidifier.ratio_pad, SEA_LEVEL) < 1


def test_pad_goes_on_after_the_valve_closes_and_dries() -> None:
    humidifier, air = Humidifier(HumidifierUnit(kind="plenum")), Air()
    air.blow(humidifier, 900, call=1)
    assert humidifier.valve == 1
    assert humidifier.pad_water == pytest.approx(0.3)
    wet = humidifier.evaporation
    air.blow(humidifier, 60, call=0)
    assert humidifier.valve == 0
    assert humidifier.evaporation == pytest.approx(wet, rel=0.01)
    rest = air.blow(humidifier, 3600, call=0)
    assert humidifier.evaporation < 0.01 * wet
    assert rest["water_use"] == rest["drained"] == 0
    assert rest["evaporation"] > 0.2


def test_half_dry_pad_dries_by_what_is_wet() -> None:
    humidifier, air = Humidifier(HumidifierUnit(kind="plenum")), Air()
    air.blow(humidifier, 900, call=1)
    whole, drying = 0.5 * 0.3, humidifier.evaporation
    humidifier.pad_water = 0.1
    air.blow(humidifier, 300, call=0, dt=20)
    assert humidifier.pad_water == pytest.approx(0.1 * math.exp(-300 * drying / whole), rel=0.004)
    given = air.blow(humidifier, 1e5, call=0, dt=1e5)["evaporation"]
    assert given == pytest.approx(0.1 * math.exp(-300 * drying / whole), rel=0.004)
    assert humidifier.pad_water == 0


def test_closed_damper_lets_the_pad_dry_slowly_and_an_open_one_returns_warm_air() -> None:
    closed, opened, air = Humidifier(HumidifierUnit()), Humidifier(HumidifierUnit()), Air()
    opened.damper_open = 1.0
    air.blow(closed, 900, call=1)
    air.blow(opened, 900, call=1)
    slow, quick = air.blow(closed, 600, call=0), air.blow(opened, 600, call=0)
    assert slow["evaporation"] < 0.4 * quick["evaporation"]
    assert closed.temp_mixed < 21.4
    assert opened.temp_mixed > 22.5


def test_open_damper_hides_the_rise_as_the_balance_of_heat_says() -> None:
    # A dry pad in an open bypass: supply over room is the rise over (1 - bypass).
    humidifier, entering, rise = Humidifier(HumidifierUnit(share=0.2)), 21.0, 25.0
    humidifier.damper_open = 1.0
    for _ in range(60):
        Air(entering + rise).blow(humidifier, 1, call=0, dt=1)
        entering = humidifier.temp_mixed
    assert entering + rise - 21.0 == pytest.approx(float(rise_over_room(rise, 0.2)), rel=1e-6)


def test_stuck_valve_goes_on_without_a_call() -> None:
    humidifier, air = Humidifier(HumidifierUnit(kind="plenum")), Air()
    humidifier.overrun = 1.0
    stuck = air.blow(humidifier, 3600, call=0)
    called = air.blow(Humidifier(HumidifierUnit(kind="plenum")), 3600, call=1)
    assert stuck["evaporation"] == pytest.approx(called["evaporation"], rel=1e-12)
    assert humidifier.valve == 0
    assert stuck["water_use"] == pytest.approx(3.7e-3 * 3600)
    blocked = Humidifier(HumidifierUnit())
    blocked.dry = 1.0
    assert air.blow(blocked, 600, call=1) == {"evaporation": 0, "water_use": 0, "drained": 0, "cooling": 0}


@pytest.mark.parametrize("kind", ["bypass", "plenum"])
def test_water_closes(kind: str) -> None:
    humidifier = Humidifier(HumidifierUnit(kind=kind, feed=9e-4))
    used = lost = 0.0
    for number in range(24):
        flow = (0.0, 0.3, 0.7, 0.9)[number % 4]
        total = Air(35 + number, flow=flow).blow(humidifier, 300, call=float(number % 3 < 2))
        used += total["water_use"]
        lost += total["evaporation"] + total["drained"]
    assert used > 2
    assert used - lost == pytest.approx(humidifier.pad_water, abs=1e-12 * used)


def test_step_does_not_matter() -> None:
    def run(dt: float) -> tuple[float, float]:
        humidifier, air = Humidifier(HumidifierUnit(kind="plenum", feed=6e-4)), Air()
        first = air.blow(humidifier, 500, call=1, dt=dt)
        second = air.blow(humidifier, 700, call=0, dt=dt)
        return first["evaporation"], second["evaporation"]

    assert run(0.25) == pytest.approx(run(0.5), rel=5e-4)
    assert run(1.0) == pytest.approx(run(0.5), rel=1e-3)


def test_a_humidifier_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="known are bypass, plenum"):
        Humidifier(HumidifierUnit(kind="drum"))
    with pytest.raises(ValueError, match="between 0 and 1"):
        Humidifier(HumidifierUnit(effectiveness=1.0))
