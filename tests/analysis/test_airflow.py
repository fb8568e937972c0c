"""Air through the appliance against two libraries, and by what must hold between its own formulas."""

from collections.abc import Iterator
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from analysis.airflow import (
    external_static,
    fan_flow,
    fan_power,
    fan_pressure,
    flow_from_rise,
    flow_from_velocity,
    flow_on_system_curve,
    rise_at_flow_share,
    rise_from_heat,
    sensible_factor,
    sensible_heat,
    static_on_system_curve,
    stream_rise,
    supply_temperature,
    temperature_rise,
    useful_output,
    velocity_from_pressure,
)
from analysis.psychrometrics import pressure_at_altitude, specific_volume

INCH = 249.08891
"""[Pa]"""
BTU = 0.29307107
"""One Btu/h. [W]"""
CFM = 0.000471947443
"""[m3/s]"""
TRADE = BTU / (CFM / 1.8)
"""One Btu/(h cfm degF). [J/m3/K]"""
POINTS = 2000
TEMPS = st.floats(-40, 90)
RATIOS = st.floats(0, 0.03)
PRESSURES = st.floats(60_000, 110_000)
FLOWS = st.floats(0.01, 5)
HEATS = st.floats(100, 50_000)
SPEEDS = st.floats(50, 5000)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


@pytest.fixture
def psychrolib() -> Iterator[ModuleType]:
    """The library with its global unit system set to SI, and put back."""
    import psychrolib

    before = psychrolib.PSYCHROLIB_UNITS
    psychrolib.SetUnitSystem(psychrolib.SI)
    yield psychrolib
    psychrolib.PSYCHROLIB_UNITS = before


def states(seed: int, coldest: float, hottest: float, wettest: float) -> tuple[NDArray[np.float64], ...]:
    """Return and supply temperature, humidity ratio, pressure and airflow at random."""
    generator = np.random.default_rng(seed)
    entering, leaving = generator.uniform(coldest, hottest, (2, POINTS))
    leaving = np.where(np.abs(leaving - entering) < 1, entering + 1, leaving)
    wet = generator.uniform(0, wettest, POINTS)
    return entering, leaving, wet, generator.uniform(60_000, 110_000, POINTS), generator.uniform(0.05, 2, POINTS)


def test_heat_is_the_flow_times_the_difference_of_the_librarys_enthalpies(psychrolib: ModuleType) -> None:
    entering, leaving, ratio, pressure, flow = states(11, -99, 199, 0.05)
    expected = [
        q
        / psychrolib.GetMoistAirVolume(after, w, p)
        * (psychrolib.GetMoistAirEnthalpy(after, w) - psychrolib.GetMoistAirEnthalpy(before, w))
        for before, after, w, p, q in zip(entering, leaving, ratio, pressure, flow, strict=True)
    ]
    found = sensible_heat(flow, entering, leaving, ratio, pressure)
    worst = np.max(np.abs(found / np.array(expected) - 1))
    print(f"psychrolib, sensible heat over -100 to 200 degC: {worst:.1e}")  # noqa: T201
    assert worst < 1e-9
    back = flow_from_rise(np.array(expected), entering, leaving, ratio, pressure)
    assert_allclose(back, flow, rtol=1e-9)


def test_factor_and_heat_of_real_moist_air() -> None:
    from CoolProp.CoolProp import HAPropsSI

    entering, leaving, ratio, pressure, flow = states(12, -20, 60, 0.0006)
    ratio = np.where(np.minimum(entering, leaving) > 15, ratio * 14, ratio)

    def real(name: str, temp: NDArray[np.float64]) -> NDArray[np.float64]:
        state = zip(temp + 273.15, ratio, pressure, strict=True)
        return np.array([HAPropsSI(name, "T", t, "W", w, "P", p) for t, w, p in state])

    factor = np.max(np.abs(sensible_factor(leaving, ratio, pressure) / (real("C", leaving) / real("V", leaving)) - 1))
    heat = flow / real("V", leaving) * (real("H", leaving) - real("H", entering))
    worst = np.max(np.abs(sensible_heat(flow, entering, leaving, ratio, pressure) / heat - 1))
    print(f"CoolProp, -20 to 60 degC: factor {factor:.1e}, heat {worst:.1e}")  # noqa: T201
    assert factor < 0.003
    assert worst < 0.003


def test_the_short_form_holds_for_one_air_only() -> None:
    """1.08 is dry air of 70 degF at sea level; elsewhere it misjudges the airflow."""
    assert_allclose(sensible_factor(celsius(70), 0, 101325) / TRADE, 1.08, rtol=5e-4)
    high = float(pressure_at_altitude(5000 * 0.3048))
    assert_allclose(sensible_factor(celsius(70), 0.0054, high) / TRADE, 0.8985, atol=0.002)
    assert_allclose(sensible_factor(celsius(130), 0.005, 101325) / TRADE, 0.970, atol=0.002)


@given(temp=TEMPS, ratio=RATIOS, pressure=PRESSURES, step=st.floats(0.1, 50))
def test_warmer_and_thinner_air_carries_less(temp: float, ratio: float, pressure: float, step: float) -> None:
    here = sensible_factor(temp, ratio, pressure)
    assert sensible_factor(temp + step, ratio, pressure) < here
    assert sensible_factor(temp, ratio, pressure - 100 * step) < here


@given(
    heat=HEATS | HEATS.map(lambda heat: -heat),
    flow=FLOWS,
    entering=st.floats(-30, 40),
    ratio=RATIOS,
    pressure=PRESSURES,
)
def test_rise_is_the_inverse_of_heat(heat: float, flow: float, entering: float, ratio: float, pressure: float) -> None:
    rise = float(rise_from_heat(heat, flow, entering, ratio, pressure))
    supply = supply_temperature(heat, flow, entering, ratio, pressure)
    # Air that would leave beyond the range has no value; what is left must come back exactly.
    coldest, hottest = sensible_heat(flow, entering, [-100.0, 200.0], ratio, pressure)
    assert np.isfinite(rise) == (coldest < heat < hottest)
    if np.isfinite(rise):
        assert np.sign(rise) == np.sign(heat)
        assert_allclose(supply, entering + rise, rtol=1e-12, atol=1e-12)
        assert_allclose(sensible_heat(flow, entering, entering + rise, ratio, pressure), heat, rtol=1e-8)
        if abs(rise) > 0.01:
            assert_allclose(flow_from_rise(heat, entering, entering + rise, ratio, pressure), flow, rtol=1e-8)


def test_more_air_less_rise() -> None:
    rises = rise_from_heat(16_000.0, np.linspace(0.3, 1.2, 50), 20.0, 0.005, 101325.0)
    assert np.all(np.diff(rises) < 0)
    # Twice the flow, stated at the supply, gives a little more than half the rise: the cooler supply is denser.
    half, full = rise_from_heat(16_000.0, [1.0, 0.5], 20.0, 0.005, 101325.0)
    assert 0.44 < half / full < 0.5


def test_no_rise_and_a_rise_of_the_wrong_sign_give_no_airflow() -> None:
    found = flow_from_rise(
        [10_000.0, 10_000.0, -10_000.0, 0.0, -10_000.0], 20.0, [20.0, 15.0, 30.0, 30.0, 10.0], 0, 1e5
    )
    assert_array_equal(np.isnan(found), [1, 1, 1, 0, 0])
    assert found[3] == 0
    assert found[4] > 0


def test_air_cannot_be_heated_beyond_the_range_or_without_flow() -> None:
    # 5 L/s carry 5e-3 * 1.2 * 1006 * 293 W = 1.77 kW at most while they expand without end.
    assert np.all(np.isnan(rise_from_heat([1500.0, 1700.0, 1800.0, 1e9], 0.005, 20.0, 0.0, 101325.0)))
    assert np.isnan(rise_from_heat(1000.0, 0.0, 20.0, 0.0, 101325.0))
    assert np.isnan(rise_from_heat(-5000.0, 0.005, 20.0, 0.0, 101325.0))
    assert rise_from_heat(0.0, 0.5, 20.0, 0.0, 101325.0) == 0


def test_defrost_blows_cooler_than_the_return() -> None:
    # 24 000 Btu/h of cooling into 1000 cfm from 70 degF: about 48 degF at sea level.
    supply = float(supply_temperature(-24_000 * BTU, 1000 * CFM, celsius(70), 0.003, 101325))
    assert 47 < supply * 1.8 + 32 < 50


def test_output_and_not_input_gives_the_airflow() -> None:
    output = useful_output(80_000 * BTU, 0.95)
    low, high = flow_from_rise([float(output), 80_000 * BTU], celsius(65), celsius(118), 0.004, 101325)
    assert_allclose(low / high, 0.95, rtol=1e-12)
    assert np.isnan(useful_output(1000.0, 1.05))


@pytest.mark.parametrize(
    ("given_input", "flow", "rise"),
    [
        (40_000, 980, 35),
        (40_000, 780, 43),
        (60_000, 1190, 43),
        (60_000, 1075, 47),
        (80_000, 1460, 46),
        (80_000, 1180, 57),
        (100_000, 1600, 53),
        (100_000, 1380, 61),
        (100_000, 1160, 73),
    ],
)
def test_a_published_airflow_table_implies_one_efficiency(given_input: int, flow: int, rise: int) -> None:
    """Published installation manual, brand withheld: its airflow and rise imply 0.91 +- 0.02 of the input."""
    heat = sensible_heat(flow * CFM, celsius(70 - rise), celsius(70), 0.0, 101325.0)
    assert_allclose(heat / (given_input * BTU), 0.91, atol=0.02)


@given(supply=st.floats(0, 500), return_=st.floats(-500, 0), coil=st.floats(0, 200), filter_=st.floats(0, 200))
def test_external_static_counts_what_the_plate_counts(
    supply: float, return_: float, coil: float, filter_: float
) -> None:
    plain = float(external_static(supply, return_))
    assert plain == supply - return_
    assert_allclose(external_static(supply, return_, coil, filter_), plain + coil - filter_, atol=1e-9)
    # Moving the supply tap upstream of the coil reads the coil; the total must not change.
    assert_allclose(external_static(supply + coil, return_), external_static(supply, return_, missed=coil), atol=1e-9)
    # A filter between return tap and blower, counted as part of the appliance, is taken off what the tap sees.
    assert_allclose(external_static(supply, return_ - filter_, not_counted=filter_), plain, atol=1e-9)


def test_drops_have_no_sign() -> None:
    assert np.isnan(external_static(50.0, -50.0, missed=-1.0))
    assert np.isnan(external_static(50.0, -50.0, not_counted=-1.0))


@given(flow=FLOWS, static=st.floats(1, 1000), new=st.floats(1, 1000), speed=SPEEDS, other=SPEEDS)
def test_fan_laws_and_system_curve_agree(flow: float, static: float, new: float, speed: float, other: float) -> None:
    there = flow_on_system_curve(flow, static, new)
    assert_allclose(static_on_system_curve(static, flow, there), new, rtol=1e-9)
    moved = fan_flow(flow, speed, other)
    pressed = fan_pressure(static, speed, other)
    assert_allclose(static_on_system_curve(static, flow, moved), pressed, rtol=1e-9)
    # Air power is flow times pressure: shaft power must scale with it while the efficiency stays.
    assert_allclose(fan_power(100.0, speed, other) / 100.0, moved * pressed / (flow * static), rtol=1e-9)
    assert_allclose(fan_pressure(static, speed, other, 0.832), 0.832 * pressed, rtol=1e-12)
    assert_allclose(fan_power(100.0, speed, other, 0.832), 0.832 * fan_power(100.0, speed, other), rtol=1e-12)


@given(velocity=st.floats(0.1, 60), density=st.floats(0.5, 1.5), area=st.floats(0.001, 2))
def test_velocity_pressure_is_half_density_times_square(velocity: float, density: float, area: float) -> None:
    found = velocity_from_pressure(density * velocity**2 / 2, density)
    assert_allclose(found, velocity, rtol=1e-12)
    assert_allclose(flow_from_velocity(found, area) / area, velocity, rtol=1e-12)


@given(rise=st.floats(5, 50), bypass=st.floats(0, 0.9), share=st.floats(0.3, 1))
def test_energy_is_kept(rise: float, bypass: float, share: float) -> None:
    # The stream over the exchanger, diluted with what went past it, is the mixed rise again.
    assert_allclose((1 - bypass) * stream_rise(rise, bypass), rise, rtol=1e-12)
    left = float(rise_at_flow_share(rise, share))
    full_flow = 0.6
    supply, hotter = 20 + rise, 20 + left
    if hotter < 200:
        # The same heat in a share of the mass: volume at the supply is mass times specific volume.
        volumes = specific_volume([supply, hotter], 0.005, 101325.0)
        heats = sensible_heat(
            full_flow * np.array([1, share]) * volumes / volumes[0], 20.0, [supply, hotter], 0.005, 101325.0
        )
        assert_allclose(heats[1], heats[0], rtol=1e-9)


def test_shares_are_shares() -> None:
    assert_array_equal(np.isnan(rise_at_flow_share(25.0, [0.0, -0.1, 1.01, 1.0])), [1, 1, 1, 0])
    assert_array_equal(np.isnan(stream_rise(25.0, [1.0, -0.01, 0.0, 0.999])), [1, 1, 0, 0])


def test_absurd_numbers_overflow_into_no_value_and_without_a_warning() -> None:
    huge = 1.7e308
    assert np.isnan(external_static(huge, -huge))
    assert np.isnan(temperature_rise(-100.0, np.inf))
    assert np.isnan(fan_power(huge, 1e-300, 1.0))
    assert np.isnan(static_on_system_curve(1.0, 1e-300, 1e300))
    assert np.isnan(flow_from_rise(huge, 20.0, 20.0 + 1e-12, 0.0, 1e5))
    assert np.isnan(rise_from_heat(huge, 1e-300, 20.0, 0.0, 1e5))
    assert np.isnan(flow_from_velocity(huge, huge))
    assert np.isnan(rise_at_flow_share(huge, 1e-10))
