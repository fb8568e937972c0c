"""House and weather: heat, moisture, cold surfaces, carbon monoxide, wind."""

import math
import random
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analysis.draft_network import wind_pressure
from analysis.humidity import humidifier_load, indoor_ratio_after
from analysis.psychrometrics import humidity_ratio, pressure_at_altitude
from drivers.simulate.house import House, HouseUnit
from drivers.simulate.weather import Weather, WeatherUnit

SEA_LEVEL = 101_325.0
POUND_AN_HOUR = 0.45359237 / 3600
CUBIC_FOOT = 0.3048**3
BTU = 0.2930710701722222
"""One Btu/h. [W]"""
ROOM = (70 - 32) / 1.8
LIGHT = HouseUnit(light=1e6, heavy=1e6, buffer=0.0, sources=0.0)
"""Settles within a day."""


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def run(house: House, hours: float, dt: float, fahrenheit: float = 20.0, **inputs: float) -> House:
    weather = {"temp_outdoor": celsius(fahrenheit), "ratio_outdoor": 0.0, "pressure": SEA_LEVEL}
    for _ in range(round(hours * 3600 / dt)):
        house.step(dt, **{**weather, **inputs})
    return house


# --- heat ---


def test_house_settles_where_loss_is_heat() -> None:
    # Load = 600 Btu/(h degF) * 50 degF = 30,000 Btu/h: arithmetic.
    unit = replace(LIGHT, loss=600 * BTU * 1.8, gains=0.0)
    house = run(House(unit, temp=15.0, humidity=0.0), 40, 20, heat=30_000 * BTU)
    # Dry air is 0.9 % denser than that of a lived-in house, and the air changes are a quarter of the loss.
    assert house.temp_room * 1.8 + 32 == pytest.approx(70, abs=0.15)
    house = run(House(replace(unit, air_changes=0.0), temp=15.0), 40, 20, heat=30_000 * BTU)
    assert house.temp_room * 1.8 + 32 == pytest.approx(70, abs=0.001)
    assert house.temp_heavy == pytest.approx(house.temp_room, abs=1e-3)


def test_two_nodes_move_as_the_matrix_exponential_has_it() -> None:
    from scipy.linalg import expm

    unit = replace(HouseUnit(), buffer=0.0, sources=0.0, surface_transfer=0.0)
    house, capacity, hours = House(unit, temp=15.0, humidity=0.0), 0.6 * 1006.0, 3.0
    matrix = np.zeros((3, 3))
    lost, light, heavy = unit.loss, unit.light, unit.heavy
    matrix[0] = [-(lost + unit.coupling + capacity) / light, unit.coupling / light, 0]
    matrix[0, 2] = (unit.gains + capacity * 45.0 + lost * -5.0) / light
    matrix[1, :2] = [unit.coupling / heavy, -unit.coupling / heavy]
    expected = expm(matrix * hours * 3600) @ [15.0, 15.0, 1.0]
    run(house, hours, 5, fahrenheit=23.0, supply_flow=0.6, temp_supply=45.0)
    # The air changes are weighed at the room's own temperature, the loss at 70 degF: 1 W/K of 317.
    assert house.temp_room == pytest.approx(expected[0], abs=0.03)
    assert house.temp_heavy == pytest.approx(expected[1], abs=0.03)
    still = replace(unit, air_changes=0.0)
    house = run(House(still, temp=15.0, humidity=0.0), hours, 5, fahrenheit=23.0, supply_flow=0.6, temp_supply=45.0)
    assert (house.temp_room, house.temp_heavy) == pytest.approx(tuple(expected[:2]), rel=1e-6)


def day(dt: float) -> tuple[House, dict[str, float], tuple[float, float]]:
    """A day of cycling supply, wet and dry, with what came in, and what was stored at first."""
    house = House(HouseUnit(surface_factor=0.4, surface_holds=0.03), humidity=0.45)
    stored = house.stored_heat(), house.stored_water()
    total = {"heat": 0.0, "water": 0.0, "condensed": 0.0, "run_off": 0.0, "moved": 0.0}
    for number in range(round(86_400 / dt)):
        time = number * dt
        on = time % 1200 < 500
        house.step(
            dt,
            temp_outdoor=-8 + 6 * math.sin(time / 14_000),
            ratio_outdoor=0.0015,
            pressure=SEA_LEVEL,
            supply_flow=0.6 if on else 0.0,
            temp_supply=50.0,
            ratio_supply=house.ratio_room + (0.0006 if time < 40_000 else 0.0),
            water=2e-5,
        )
        heat = house.heat_supply + house.heat_gains + house.heat_loss + house.heat_infiltration + house.heat_latent
        water = house.water_supply + house.water_infiltration + house.water_sources + house.water_run_off
        total["heat"] += dt * heat
        total["water"] += dt * water
        total["moved"] += dt * (abs(house.heat_supply) + abs(house.heat_loss))
        total["condensed"] += dt * max(house.condensing, 0.0)
        total["run_off"] -= dt * house.water_run_off
    return house, total, stored


def test_heat_and_water_close_and_the_step_does_not_matter() -> None:
    house, total, stored = day(2.0)
    assert total["condensed"] > 0.5
    assert total["run_off"] > 0.05
    assert house.stored_heat() - stored[0] == pytest.approx(total["heat"], abs=1e-10 * total["moved"])
    assert house.stored_water() - stored[1] == pytest.approx(total["water"], abs=1e-10)
    halved, less, _ = day(1.0)
    for name in ("temp_room", "temp_heavy", "temp_surface", "ratio_room", "ratio_buffer", "humidity_room"):
        assert getattr(halved, name) == pytest.approx(getattr(house, name), rel=5e-4)
    assert less["condensed"] == pytest.approx(total["condensed"], rel=2e-3)


def test_a_house_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="raise `loss`"):
        House(HouseUnit(loss=50.0))


# --- moisture ---


# ASHRAE Handbook - HVAC Systems and Equipment, Humidifiers, H = rho V R (Wi - Wo), computed with psychrolib, outdoor
# humidity over ice: volume [ft3], air changes [1/h], indoors [1], outdoors [degF, 1], altitude [ft], load [lb/h].
LOADS = (
    (16_000, 0.5, 0.35, 0, 0.80, 0, 2.85139),
    (16_000, 0.5, 0.35, 20, 0.80, 0, 2.20577),
    (20_000, 0.35, 0.30, -10, 0.80, 0, 2.22696),
    (16_000, 1.0, 0.40, 10, 0.70, 0, 6.28132),
    (16_000, 0.5, 0.35, 0, 0.80, 5000, 2.85),
)


@pytest.mark.parametrize("row", LOADS)
def test_humidifier_load_holds_the_house_at_its_humidity(row: tuple[float, ...]) -> None:
    volume, changes, humidity, outdoor, moist, altitude, load = row
    pressure = float(pressure_at_altitude(altitude * 0.3048))
    kept = {"air_changes": changes / 3600, "pressure": pressure, "surface_factor": 0.95}
    unit = replace(LIGHT, volume=volume * CUBIC_FOOT, **kept)
    house, temp = House(unit, temp=ROOM, humidity=0.2), celsius(outdoor)
    ratio = float(humidity_ratio(temp, moist, pressure))
    inputs = {"ratio_outdoor": ratio, "pressure": pressure, "water": load * POUND_AN_HOUR}
    for _ in range(2000):
        held = unit.loss * (ROOM - temp) - unit.gains + 3000 * (ROOM - house.temp_room)
        run(house, 1 / 60, 60, outdoor, heat=held, **inputs)
    assert house.temp_room == pytest.approx(ROOM, abs=0.05)
    assert house.humidity_room == pytest.approx(humidity, abs=0.001)
    rate = unit.volume * unit.air_changes
    expected = humidifier_load(rate, 1.0, house.ratio_room, ratio, house.temp_room, pressure=pressure)
    assert load * POUND_AN_HOUR == pytest.approx(float(expected), rel=1e-3)


def test_moisture_follows_the_closed_solution() -> None:
    unit = replace(LIGHT, light=1e12, gains=0.0, surface_factor=1.0)
    house = House(unit, temp=21.0, humidity=0.30)
    start = house.ratio_room
    run(house, 1.5, 2, ratio_outdoor=0.002, water=2e-4)
    given = {"volume": unit.volume, "air_changes": unit.air_changes, "temp": 21.0, "pressure": SEA_LEVEL}
    expected = float(indoor_ratio_after(5400, start, 0.002, **given, humidifier=2e-4))
    assert house.ratio_room - start == pytest.approx(expected - start, rel=0.003)


def test_buffer_slows_and_gives_back() -> None:
    bare, furnished = House(LIGHT, humidity=0.3), House(replace(LIGHT, buffer=5.0), humidity=0.3)
    start = bare.ratio_room
    for house in (bare, furnished):
        run(house, 4, 5, fahrenheit=60, ratio_outdoor=start, water=1e-4)
    assert 0 < furnished.ratio_room - start < 0.7 * (bare.ratio_room - start)
    for house in (bare, furnished):
        run(house, 6, 5, fahrenheit=60, ratio_outdoor=start)
    assert furnished.ratio_room > bare.ratio_room
    assert furnished.sorbing < 0


# Largest relative humidity in percent without condensation, indoors 70 degF, by fRsi and outdoor degF: EN ISO 13788,
# computed with psychrolib; 0.1 %.
OUTDOORS = (-20, -10, 0, 10, 20, 30, 40)
SURFACES = {
    0.29: (7.0, 10.0, 14.1, 19.7, 27.0, 35.7, 46.7),
    0.55: (21.8, 26.4, 31.6, 37.6, 44.6, 52.8, 62.2),
    0.67: (33.9, 38.5, 43.6, 49.4, 55.8, 62.9, 70.8),
    0.79: (51.1, 55.2, 59.6, 64.3, 69.3, 74.7, 80.4),
}


@pytest.mark.parametrize("factor", SURFACES)
def test_water_appears_on_the_surface_at_the_humidity_of_the_table(factor: float) -> None:
    for outdoor, percent in zip(OUTDOORS, SURFACES[factor], strict=True):
        unit = replace(LIGHT, surface_factor=factor, air_changes=0.0)
        house, temp = House(unit, temp=ROOM, humidity=0.01, temp_outdoor=20.0), celsius(outdoor)
        held = unit.loss * (ROOM - temp) - unit.gains
        run(house, 3, 30, outdoor, heat=held)
        assert house.temp_room == pytest.approx(ROOM, abs=0.01)
        while house.condensing <= 0 and house.humidity_room < 1:
            run(house, 1 / 720, 5, outdoor, heat=held, water=3e-4)
        assert 100 * house.humidity_room == pytest.approx(percent, abs=0.1)


def test_film_grows_runs_off_and_dries() -> None:
    house = House(HouseUnit(surface_factor=0.3), humidity=0.5, temp_outdoor=-15.0)
    run(house, 2, 2, fahrenheit=5, heat=8000)
    held = 8.0 * 0.05
    assert 0 < house.film <= held
    run(house, 10, 2, fahrenheit=5, heat=9000, water=3e-4)
    assert house.film == pytest.approx(held)
    assert -house.water_run_off == pytest.approx(house.condensing)
    # Heat of vaporising 2.501 MJ/kg at 0 degC, and 1.86 kJ/(kg K) of vapour: ASHRAE Fundamentals 2017, chapter 1.
    taken = house.condensing + house.sorbing
    assert house.heat_latent == pytest.approx(taken * (2.501e6 + 1860 * house.temp_room), rel=1e-3)
    assert house.condensing > 0.5 * taken
    run(house, 24, 5, fahrenheit=60, heat=0.0)
    assert house.film == 0


def test_supply_air_warms_the_surface_a_little_and_late() -> None:
    still, blown = House(HouseUnit()), House(HouseUnit())
    run(still, 1 / 6, 1, heat=9000)
    run(blown, 1 / 6, 1, supply_flow=0.65, temp_supply=45.0)
    # 0.03 of 24 K, after one time constant 63 % of it.
    assert blown.temp_surface - still.temp_surface == pytest.approx(0.03 * 24 * 0.632, abs=0.15)


# --- carbon monoxide ---


def test_spilled_gas_dilutes_as_a_mixed_room() -> None:
    unit, spill = replace(HouseUnit(), gains=0.0), 2e-6
    house, warm = House(unit, temp=20.0), 293.15
    # Molar flows: 2e-6 kg/s of CO in the air changes of 453 m3 at 0.5/h.
    moles = SEA_LEVEL * unit.volume / (8.314462618 * warm)
    settled = spill / 0.02801 / (moles * 0.5 / 3600)
    run(house, 2, 10, fahrenheit=68, co=spill)
    assert house.room_co == pytest.approx(settled * (1 - math.exp(-1)), rel=0.002)
    peak = house.room_co
    run(house, 2, 10, fahrenheit=68)
    assert house.room_co == pytest.approx(peak * math.exp(-1), rel=0.002)
    house.air_changes_factor = 0.0
    sealed = run(house, 1, 10, fahrenheit=68, co=spill).co
    assert sealed - spill * 3600 == pytest.approx(peak * math.exp(-1) * moles * 0.02801, rel=0.003)


# --- weather ---


def many(
    unit: WeatherUnit, take: Callable[[Weather], float], steps: int
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    weather = Weather(unit, random.Random(5))
    return np.array([take(weather) for _ in range(steps)])


@pytest.mark.parametrize("dt", [0.05, 0.1, 1.0, 30.0])
def test_gusts_have_the_same_strength_at_any_step(dt: float) -> None:
    def gust(weather: Weather) -> float:
        weather.gust(dt)
        return weather.wind_speed

    unit = WeatherUnit(wind_wander=0.0)
    # Independent values in 40,000: one in 2 * 5 s of correlation.
    found = many(unit, gust, 40_000)
    spread = 4 * math.sqrt(1 / (40_000 * min(dt / 10, 1.0)))
    assert found.mean() == pytest.approx(3.0, rel=0.04 + 0.3 * spread)
    assert found.std() == pytest.approx(0.25 * 3.0, rel=0.03 + spread / math.sqrt(2))
    kept = np.corrcoef(found[:-1], found[1:])[0, 1]
    assert kept == pytest.approx(math.exp(-dt / 5), abs=0.03)


@pytest.mark.parametrize("dt", [0.5, 600.0, 7200.0])
def test_days_have_the_same_spread_at_any_step(dt: float) -> None:
    drawn = []
    for seed in range(400):
        weather = Weather(WeatherUnit(swing=0.0), random.Random(seed))
        for _ in range(3):
            weather.step(dt)
        drawn.append(weather.temp)
    assert np.mean(drawn) == pytest.approx(-7, abs=0.4)
    assert np.std(drawn) == pytest.approx(2.0, rel=0.15)


def test_wander_leaves_the_means_of_vapour_and_wind() -> None:
    still = {"swing": 0.0, "wander": 0.0, "gustiness": 0.0}
    unit = WeatherUnit(humidity=0.3, humidity_wander=0.5, wind_wander=0.5, **still)
    drawn = [Weather(unit, random.Random(seed)) for seed in range(1000)]
    # One standard deviation of a mean of 1,000 is 1.7 %; without its correction it would be 13 % more.
    assert np.mean([one.humidity for one in drawn]) == pytest.approx(0.3, rel=0.06)
    assert np.mean([one.wind_speed for one in drawn]) == pytest.approx(3.0, rel=0.06)


def test_days_are_coldest_at_six_and_then_most_humid() -> None:
    weather = Weather(WeatherUnit(wander=0.0, humidity_wander=0.0, humidity=0.6, start=0.0), random.Random(1))
    temps, humidities = [], []
    for _ in range(144):
        weather.step(600)
        temps.append(weather.temp)
        humidities.append(weather.humidity)
        found = float(humidity_ratio(weather.temp, weather.humidity, weather.pressure))
        assert weather.ratio == pytest.approx(found, rel=1e-9)
    assert (np.argmin(temps) + 1) * 600 == 6 * 3600
    assert (min(temps), max(temps)) == pytest.approx((-11, -3))
    assert np.argmax(humidities) == np.argmin(temps)
    # Vapour stays: over ice 338 Pa at -7 degC, 237 at -11, 476 at -3, by ASHRAE's formula.
    assert max(humidities) == pytest.approx(0.6 * 338 / 237, rel=0.005)
    assert min(humidities) == pytest.approx(0.6 * 338 / 476, rel=0.005)


# Stagnation pressure 0.5 rho v^2: 10 m/s 64.5 Pa in air of 0 degC, 15 mph 0.12 in. w.c.: arithmetic.
@pytest.mark.parametrize(("speed", "pressure"), [(10.0, 64.5), (15 * 0.44704, 0.12 * 249.089)])
def test_wind_at_the_terminals(speed: float, pressure: float) -> None:
    calm = {"wander": 0.0, "swing": 0.0, "wind_wander": 0.0, "gustiness": 0.0}
    unit = WeatherUnit(temp_mean=0.0, wind=speed, coefficient_intake=1.0, coefficient_vent=-0.4, **calm)
    weather = Weather(unit, random.Random(1))
    assert weather.wind_speed == pytest.approx(speed)
    assert weather.wind_intake == pytest.approx(pressure, rel=0.04)
    density = 0.5 * SEA_LEVEL / (287.042 * 273.15)
    assert weather.wind_intake == pytest.approx(density * speed**2, rel=0.003)
    assert weather.wind_intake == pytest.approx(float(wind_pressure(speed, 2 * density)), rel=0.003)
    assert weather.wind_vent == pytest.approx(-0.4 * weather.wind_intake)
    weather.wind_factor = 0.0
    weather.gust(0.1)
    assert weather.wind_intake == 0
