"""Surfaces, moisture balance and humidifier against libraries and integration."""

from collections.abc import Iterator
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from analysis.humidity import (
    evaporation_cooling,
    guidance_humidity,
    humidifier_load,
    indoor_ratio,
    indoor_ratio_after,
    largest_without_condensation,
    ratio_gain,
    rise_over_room,
    surface_factor,
    surface_margin,
    surface_temp,
    temperature_factor,
)
from analysis.psychrometrics import humidity_ratio, specific_volume

POINTS = 2000
Numbers = NDArray[np.float64]


def celsius(fahrenheit: float | Numbers) -> Numbers:
    return (np.asarray(fahrenheit) - 32) / 1.8


@pytest.fixture
def library() -> Iterator[ModuleType]:
    """The general library with its global unit system set to SI, and put back."""
    import psychrolib

    before = psychrolib.PSYCHROLIB_UNITS
    psychrolib.SetUnitSystem(psychrolib.SI)
    yield psychrolib
    psychrolib.PSYCHROLIB_UNITS = before


def houses(seed: int) -> dict[str, Numbers]:
    """Random houses from tight to loose, from sea level to 3000 m."""
    draw = np.random.default_rng(seed).uniform
    return {
        "volume": draw(150, 1200, POINTS),
        "air_changes": draw(0.1, 2.0, POINTS) / 3600,
        "temp": draw(15, 26, POINTS),
        "pressure": draw(70e3, 105e3, POINTS),
        "ratio_outdoor": draw(0, 0.004, POINTS),
    }


# --- surfaces ---


def test_largest_humidity_by_two_libraries(library: ModuleType) -> None:
    """The library psychrolib has the same equations; CoolProp is an independent real-gas model of moist air."""
    from CoolProp.HumidAirProp import HAPropsSI

    generator = np.random.default_rng(13788)
    room = generator.uniform(10, 30, POINTS)
    surface = room - generator.uniform(0.0, 55, POINTS)
    found = largest_without_condensation(surface, room)
    same = [library.GetSatVapPres(a) / library.GetSatVapPres(b) for a, b in zip(surface, room, strict=True)]
    saturated = [HAPropsSI("P_w", "T", t + 273.15, "P", 101325, "R", 1) for t in (*surface, *room)]
    real = np.array(saturated[:POINTS]) / np.array(saturated[POINTS:])
    equations, gas = (np.max(np.abs(found / np.array(other) - 1)) for other in (same, real))
    print(f"largest humidity: {equations:.1e} off psychrolib, {gas:.1e} off CoolProp")  # noqa: T201
    assert equations < 5e-4
    assert gas < 2e-3


@settings(deadline=None)
@given(room=st.floats(5, 35), colder=st.floats(0, 60))
def test_condensation_begins_exactly_at_the_largest_humidity(room: float, colder: float) -> None:
    largest = float(largest_without_condensation(room - colder, room))
    assert abs(float(surface_margin(room - colder, room, largest))) < 1e-6
    assert surface_margin(room - colder, room, largest * 0.99) > 0
    if largest <= 1 / 1.01:
        assert surface_margin(room - colder, room, largest * 1.01) < 0


def test_a_surface_warmer_than_the_room_allows_all() -> None:
    assert_allclose(largest_without_condensation([20.0, 20.1, 40.0], 20.0), 1.0, rtol=1e-12)


@settings(deadline=None)
@given(factor=st.floats(0, 1), indoor=st.floats(10, 30), colder=st.floats(1, 60))
def test_a_measured_factor_gives_the_surface_back(factor: float, indoor: float, colder: float) -> None:
    surface = float(surface_temp(factor, indoor, indoor - colder))
    assert indoor - colder - 1e-9 <= surface <= indoor + 1e-9
    inside = min(max(surface, indoor - colder), indoor)
    assert abs(float(temperature_factor(inside, indoor, indoor - colder)) - factor) < 1e-9


def test_no_factor_where_it_cannot_be() -> None:
    assert np.all(
        np.isnan(temperature_factor([-11.0, 21.0, 5.0, 5.0], [20.0, 20.0, 5.0, 4.0], [-10.0, -10.0, 5.0, 6.0]))
    )
    assert np.isnan(surface_factor(8.3))
    assert surface_factor(8.29) == 0
    assert np.isfinite(surface_factor(8.3, 8.31))


# Published guidance against physics: at the cold end of each band it allows what a factor of 0.49 to 0.53 allows.
@pytest.mark.parametrize("cold_end", [20.0, 10.0, 0.0, -10.0, -20.0])
def test_guidance_is_the_rule_for_the_edge_of_double_glazing(cold_end: float) -> None:
    room, outdoor = celsius(70), celsius(cold_end)
    guided = float(guidance_humidity(outdoor))
    assert guided <= float(largest_without_condensation(surface_temp(0.535, room, outdoor), room))
    assert guided > float(largest_without_condensation(surface_temp(0.485, room, outdoor), room))


def test_guidance_has_nothing_for_mild_weather_and_falls_with_the_cold() -> None:
    fahrenheit = np.arange(-70, 60, 0.5)
    guided = guidance_humidity(celsius(fahrenheit))
    assert np.array_equal(np.isnan(guided), fahrenheit > 40)
    known = guided[fahrenheit <= 40]
    assert np.all(np.diff(known) >= 0)
    assert sorted(set(known.round(9))) == [0.15, 0.20, 0.25, 0.30, 0.35, 0.40]


# --- house ---


def test_settled_humidity_by_repetition_with_the_library(library: ModuleType) -> None:
    house = houses(1061)
    water = np.random.default_rng(2).uniform(0, 4e-4, POINTS)
    found = indoor_ratio(**house, humidifier=water)
    expected = []
    for i in range(POINTS):
        ratio = outside = float(house["ratio_outdoor"][i])
        place, renewed = (
            (float(house[name][i]) for name in ("temp", "pressure")),
            house["volume"][i] * house["air_changes"][i],
        )
        temp, pressure = place
        for _ in range(12):
            ratio = outside + water[i] * library.GetMoistAirVolume(temp, float(ratio), pressure) / renewed
        expected.append(ratio)
    holds = np.array(expected) < [
        library.GetSatHumRatio(float(t), float(p)) for t, p in zip(house["temp"], house["pressure"], strict=True)
    ]
    assert np.array_equal(np.isnan(found), ~holds)
    worst = np.max(np.abs(found[holds] / np.array(expected)[holds] - 1))
    print(f"settled humidity ratio: {worst:.1e} off, {holds.sum()} houses")  # noqa: T201
    assert worst < 1e-4
    assert holds.sum() > POINTS / 3
    assert (~holds).sum() > 10


def test_load_and_settled_humidity_are_inverse() -> None:
    house = houses(3)
    wanted = house.pop("ratio_outdoor") + np.random.default_rng(4).uniform(0, 0.005, POINTS)
    outside = houses(3)["ratio_outdoor"]
    place = {"temp": house["temp"], "pressure": house["pressure"]}
    load = humidifier_load(house["volume"], house["air_changes"], wanted, outside, **place)
    assert_allclose(indoor_ratio(outside, **house, humidifier=load), wanted, rtol=1e-12)
    assert_allclose(indoor_ratio(outside, **house, sources=load / 4, humidifier=load * 0.75), wanted, rtol=1e-12)
    part = humidifier_load(house["volume"], house["air_changes"], wanted, outside, **place, sources=load + 1e-4)
    assert_allclose(part, -1e-4, rtol=1e-9)


def test_load_counts_dry_air_at_the_indoor_state() -> None:
    # The same house at 5000 ft needs as much water; with 0.075 lb/ft3 it would be 3.47 lb/h instead of 2.85.
    room, pressure = float(celsius(70)), 84307.0
    ratios = (float(humidity_ratio(room, 0.35, pressure)), float(humidity_ratio(celsius(0), 0.8, pressure)))
    load = float(humidifier_load(16000 * 0.3048**3, 0.5 / 3600, *ratios, room, pressure=pressure))
    assert_allclose(load / 1.25997881e-4, 2.85, atol=0.01)


def test_transient_by_integration() -> None:
    from scipy.integrate import solve_ivp

    house = houses(95)
    draw = np.random.default_rng(96).uniform
    start, water, storage = draw(0.002, 0.009, POINTS), draw(0, 1.2e-4, POINTS), draw(1, 20, POINTS)
    time = draw(0, 3, POINTS) * storage / house["air_changes"]
    settled = indoor_ratio(**house, sources=water)
    keep = np.isfinite(settled)
    air = house["volume"] / specific_volume(house["temp"], settled, house["pressure"])
    rate = house["air_changes"] / storage

    given_off = rate * house["ratio_outdoor"] + water / (air * storage)

    def slope(_: float, ratio: Numbers) -> Numbers:
        return time[keep] * (given_off[keep] - rate[keep] * ratio)

    expected = solve_ivp(slope, (0, 1), start[keep], rtol=1e-10, atol=1e-14).y[:, -1]
    found = indoor_ratio_after(time, start, **house, sources=water, storage=storage)
    worst = np.max(np.abs(found[keep] / expected - 1))
    print(f"transient: {worst:.1e} off")  # noqa: T201
    assert worst < 1e-7
    assert keep.sum() > POINTS / 2
    assert np.array_equal(np.isfinite(found), keep)


def test_constant_mass_of_air_costs_less_than_a_hundredth() -> None:
    """As the docstring says: the mass of dry air changes with its vapour, and the closed solution leaves that out."""
    from scipy.integrate import solve_ivp

    outside, start, volume, changes, temp, pressure = 0.0005, 0.0065, 450.0, 0.5 / 3600, 21.0, 101325.0
    water = 1e-5

    def slope(_: float, ratio: Numbers) -> Numbers:
        air = volume / specific_volume(temp, ratio, pressure)
        return changes * (outside - ratio) + water / air

    times = np.array([1800.0, 7200.0, 28800.0])
    exact = solve_ivp(slope, (0, 28800), [start], t_eval=times, rtol=1e-10, atol=1e-14).y[0]
    place = {"volume": volume, "air_changes": changes, "temp": temp, "pressure": pressure, "sources": water}
    found = indoor_ratio_after(times, start, outside, **place)
    assert np.max(np.abs(found - exact)) < 0.01 * (start - outside)
    assert np.max(np.abs(found - exact)) > 0


@settings(deadline=None)
@given(hours=st.floats(0, 200), more=st.floats(0.01, 50), storage=st.floats(1, 20))
def test_a_house_dries_towards_its_settled_humidity(hours: float, more: float, storage: float) -> None:
    place = {"volume": 450.0, "air_changes": 0.5 / 3600, "temp": 21.0, "pressure": 1e5, "storage": storage}
    first, later = indoor_ratio_after(np.array([hours, hours + more]) * 3600, 0.008, 0.001, **place)
    settled = float(indoor_ratio(0.001, 450.0, 0.5 / 3600, 21.0, 1e5))
    assert settled - 1e-15 <= later <= first <= 0.008


def test_a_house_cannot_settle_above_saturation() -> None:
    # 450 m3 at 21 degC holds 0.0158 kg/kg; half an air change an hour carries off about 1.1 g/s then.
    assert np.isfinite(indoor_ratio(0.0, 450.0, 0.5 / 3600, 21.0, 101325.0, humidifier=1.1e-3))
    assert np.isnan(indoor_ratio(0.0, 450.0, 0.5 / 3600, 21.0, 101325.0, humidifier=1.25e-3))


# --- humidifier ---


def test_evaporation_conserves_enthalpy_by_the_library(library: ModuleType) -> None:
    draw = np.random.default_rng(1075).uniform
    temp, ratio, pressure = draw(15, 70, POINTS), draw(0.001, 0.009, POINTS), draw(70e3, 105e3, POINTS)
    flow, water, supplied = draw(0.2, 1.2, POINTS), draw(0, 1.5e-3, POINTS), draw(2, 60, POINTS)
    cooling = evaporation_cooling(water, flow, temp, ratio, pressure, temp_water=supplied)
    gain = ratio_gain(water, flow, temp, ratio, pressure)
    possible = np.isfinite(cooling)
    assert possible.sum() > POINTS / 2
    worst = 0.0
    for i in np.flatnonzero(possible):
        volume = library.GetMoistAirVolume(temp[i], ratio[i], pressure[i])
        assert_allclose(gain[i], water[i] * volume / flow[i], rtol=1e-4)
        before = library.GetMoistAirEnthalpy(temp[i], ratio[i])
        after = library.GetMoistAirEnthalpy(temp[i] - cooling[i], ratio[i] + gain[i])
        worst = max(worst, abs(after - before - gain[i] * 4186 * supplied[i]))
        assert library.GetSatHumRatio(temp[i] - cooling[i], pressure[i]) >= (ratio[i] + gain[i]) * (1 - 1e-3)
    print(f"evaporation: enthalpy balanced to {worst:.1e} J/kg")  # noqa: T201
    assert worst < 1.0


def test_air_takes_up_no_more_than_it_can_hold() -> None:
    # 20 degC, half saturated: adiabatic saturation by about 2.5 g/kg, warming by nothing: at constant 20 degC 7.4 g/kg.
    air = {"flow": 0.5, "temp": 20.0, "ratio": 0.00726, "pressure": 101325.0}
    mass = 0.5 / 0.8402
    assert np.isfinite(evaporation_cooling(0.0024 * mass, **air))
    assert np.isnan(evaporation_cooling(0.0028 * mass, **air))
    assert np.isfinite(ratio_gain(0.0028 * mass, **air))
    assert np.isnan(ratio_gain(0.0080 * mass, **air))
    assert np.isnan(evaporation_cooling(1e6, **air))


def test_rise_over_the_room_by_letting_the_air_go_round() -> None:
    for bypass in (0.0, 0.1, 0.25, 0.4):
        room = supply = 21.0
        for _ in range(400):
            supply = (1 - bypass) * room + bypass * supply + 24.4
        assert_allclose(rise_over_room(24.4, bypass), supply - room, rtol=1e-9)
    # The same heat with a thermometer in the room's return shows a larger rise, and less air than really passes.
    assert rise_over_room(24.4, 0.15) > rise_over_room(24.4, 0.0)
