"""What leaves with the flue gas, against published values and against itself: limits, kinks, what rises with what."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from analysis.combustion import (
    air_need,
    carbon_dioxide,
    condensate,
    condensed_share,
    efficiency,
    excess_air,
    flue_dew_point,
    flue_mass,
    heating_value,
    sensible_loss,
    sensible_loss_short,
    sensible_loss_short_from_carbon_dioxide,
    water_made,
)
from analysis.fuels import AIR_MASS, FUELS, WATER_MASS, stoichiometry
from analysis.psychrometrics import saturation_pressure

NAMES = list(FUELS)
POUND_PER_100_KBTU = 0.45359237 / (1e5 * 1055.05585262)
"""1 lb/h for 100 000 Btu/h. [kg/J]"""
SEA_LEVEL = 101325.0

fuels = st.sampled_from(NAMES)
excesses = st.floats(0, 10)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


@pytest.mark.parametrize("fuel", NAMES)
@pytest.mark.parametrize("ratio", [0.0, 0.0055])
def test_water_condenses_exactly_below_the_dew_point(fuel: str, ratio: float) -> None:
    excess = np.array([0.0, 0.2, 0.4, 1.0, 3.0])
    for pressure in (SEA_LEVEL, 84556.0):
        dew = flue_dew_point(excess, fuel, ratio, pressure)
        assert np.all(condensed_share(excess, dew + 1e-6, fuel, ratio, pressure) == 0)
        just_below = condensed_share(excess, dew - 1e-6, fuel, ratio, pressure)
        assert np.all((just_below > 0) & (just_below < 1e-6))
        air = 25.0
        at, below, above = (
            efficiency(excess, dew + step, air, fuel, ratio, pressure=pressure) for step in (0, -0.1, 0.1)
        )
        # A kink: many times steeper below, where the heat of condensation comes in.
        assert np.all((below - at) / (at - above) > 4)
        assert np.all(below - at < 0.002)


@given(
    burner=st.tuples(excesses, st.floats(0, 5), fuels),
    gas=st.tuples(st.floats(0, 600), st.floats(0, 200)),
    intake=st.tuples(st.floats(-40, 60), st.floats(0, 1)),
)
@example(burner=(0.0, 0.0, "methane"), gas=(20.0, 0.0), intake=(20.0, 1.0))
@settings(deadline=None, max_examples=300)
def test_efficiency_falls_with_flue_temperature_and_excess_air(
    burner: tuple[float, float, str], gas: tuple[float, float], intake: tuple[float, float]
) -> None:
    (excess, more, fuel), (flue, hotter), (air, humidity) = burner, gas, intake
    vapour = humidity * float(saturation_pressure(air, over="water"))
    ratio = min(WATER_MASS / AIR_MASS * vapour / (SEA_LEVEL - vapour), 0.05)
    first = efficiency(excess, flue, air, fuel, ratio)
    second = efficiency(excess, min(flue + hotter, 600.0), air, fuel, ratio)
    assert not second > first + 1e-12
    if flue >= air:
        third = efficiency(min(excess + more, 10.0), flue, air, fuel, ratio)
        assert not third > first + 1e-9
        if condensed_share(excess, flue, fuel, ratio) <= 1:
            assert not first > 1
        # Humid intake air that gives its own water up: never more than its heat of condensation.
        assert not first > 1.02


def test_dry_air_never_gives_more_than_the_fuel_has() -> None:
    excess, flue, air = np.meshgrid(np.linspace(0, 10, 21), np.linspace(0, 600, 61), np.linspace(-60, 60, 13))
    for fuel in NAMES:
        found = efficiency(excess, flue, air, fuel)
        usual = flue >= air
        assert np.nanmax(found[usual]) <= 1
        assert np.nanmin(found) >= 0
        # With the flue at the air's temperature only the vapour that stays is lost.
        cold = efficiency(0.4, 20.0, 20.0, fuel)
        assert_allclose(cold, condensed_share(0.4, 20.0, fuel) * 0.0988 + 0.9012, atol=0.02)


def test_more_than_the_fuel_brings_cannot_leave() -> None:
    assert np.isnan(efficiency(10.0, 600.0, 20.0, "methane"))
    assert np.isnan(sensible_loss(10.0, 600.0, 20.0, "methane"))


def test_air_cannot_carry_more_than_saturation() -> None:
    # ASHRAE Fundamentals 2017, chapter 1, table 2: saturated air at 20 degC holds 0.01475 kg/kg, at -20 degC 0.00064.
    for ratio, air, possible in (
        (0.0146, 20.0, True),
        (0.0153, 20.0, False),
        (0.0006, -20.0, True),
        (0.001, -20.0, False),
    ):
        assert np.isfinite(efficiency(0.4, 40.0, air, "methane", ratio)) == possible
        assert np.isfinite(condensate(0.4, 40.0, air, ratio, "methane")) == possible


def test_limits_of_the_condensed_share() -> None:
    cold, hot = condensed_share(0.0, np.array([0.0, 600.0]), "natural gas")
    assert 0.97 < cold < 1
    assert hot == 0
    assert condensed_share(0.0, 0.0, "natural gas", 0.015) > 1
    # At 95 degC the vapour of pure steam would be below the pressure of a high place: nothing can condense.
    assert condensed_share(0.0, 95.0, "natural gas", 0.0, 70000.0) == 0


@given(excess=st.floats(0, 4), flue=st.floats(0, 70), ratio=st.floats(0, 0.0055), fuel=fuels)
@settings(deadline=None)
def test_condensate_is_its_share_of_the_water(excess: float, flue: float, ratio: float, fuel: str) -> None:
    found = condensate(excess, flue, 20.0, ratio, fuel)
    assert_allclose(found, condensed_share(excess, flue, fuel, ratio) * water_made(fuel), rtol=1e-12)


@pytest.mark.parametrize("temp", [100, 105, 110, 115, 120])
def test_latent_gain_by_the_pound_of_condensate(temp: float) -> None:
    """American test procedures, from memory: 1053.3 Btu/lb, so lb/h for 100 000 Btu/h * 1.0533 is the gain in %."""
    flue = celsius(temp)
    pounds = condensate(0.4, flue, 20.0, 0.0055, "natural gas") / POUND_PER_100_KBTU
    latent = condensed_share(0.4, flue, "natural gas", 0.0055) * (
        1 - heating_value("natural gas", "net") / heating_value("natural gas")
    )
    assert_allclose(100 * latent, pounds * 1.0533, rtol=0.005)
    dry = 1 - sensible_loss(0.4, flue, celsius(70), "natural gas")
    uncondensed = dry * heating_value("natural gas", "net") / heating_value("natural gas")
    gain = efficiency(0.4, flue, celsius(70), "natural gas", 0.0055) - uncondensed
    assert_allclose(100 * gain, pounds * 1.0533, atol=0.2)


def test_efficiency_by_way_of_the_flue_loss() -> None:
    """Common practice: (1 - loss) * net/gross + condensed share * (1 - net/gross)."""
    for fuel in NAMES:
        part = heating_value(fuel, "net") / heating_value(fuel)
        excess, flue = np.meshgrid([0.2, 0.4, 0.8], [35.0, 45.0, 55.0, 80.0, 150.0])
        usual = (1 - sensible_loss(excess, flue, 20.0, fuel)) * part
        usual += condensed_share(excess, flue, fuel) * (1 - part)
        assert_allclose(efficiency(excess, flue, 20.0, fuel), usual, atol=2e-3)


def test_moist_air_and_altitude_move_the_dew_point() -> None:
    # Computed with cantera 3.2.0 and CoolProp 8.0.0: 0.005 kg/kg adds this much without and at 200 % excess air, and
    # 1500 m lowers the dew point by 3.2 to 3.8 K.
    rises = {"methane": [0.6548, 1.8919], "natural gas": [0.6638, 1.9133], "propane": [0.8253, 2.3029]}
    for fuel in NAMES:
        rise = flue_dew_point([0.0, 2.0], fuel, 0.005) - flue_dew_point([0.0, 2.0], fuel)
        assert_allclose(rise, rises[fuel], atol=1e-3)
        fall = flue_dew_point([0.0, 2.0], fuel) - flue_dew_point([0.0, 2.0], fuel, 0.0, 84555.9)
        assert np.all((fall > 3.15) & (fall < 3.85))
        assert np.all(np.diff(flue_dew_point(np.linspace(0, 10, 50), fuel)) < 0)


def test_dry_flue_mass_is_fuel_and_air() -> None:
    burnt = stoichiometry("propane")
    alone = flue_mass(0.0, "propane") * burnt.gross
    assert_allclose(alone, burnt.mass * (1 + air_need("propane", "mass")))
    assert_allclose(flue_mass(0.4, "propane", 0.01) * burnt.gross, burnt.mass + 1.4 * 1.01 * (alone - burnt.mass))


# Largest deviation of the short forms from the full balance up to 10 % oxygen, as their docstrings say. [1]
@pytest.mark.parametrize(
    ("fuel", "hottest", "by_oxygen", "by_carbon_dioxide"),
    [
        ("natural gas", 150, 0.0005, 0.002),
        ("natural gas", 250, 0.0025, 0.005),
        ("natural gas", 400, 0.0085, 0.013),
        ("methane", 400, 0.0085, 0.013),
        ("propane", 150, 0.0045, 0.002),
        ("propane", 250, 0.009, 0.005),
        ("propane", 400, 0.018, 0.013),
    ],
)
def test_short_forms_err_as_is_said(fuel: str, hottest: float, by_oxygen: float, by_carbon_dioxide: float) -> None:
    o2 = np.linspace(0, 0.1, 21)[:, np.newaxis, np.newaxis]
    flue, air = np.linspace(60, hottest, 20)[:, np.newaxis], np.array([-20.0, 0.0, 20.0, 40.0])
    full = sensible_loss(excess_air(o2, fuel), flue, air, fuel)
    first = sensible_loss_short(flue, air, o2, fuel) - full
    second = sensible_loss_short_from_carbon_dioxide(flue, air, carbon_dioxide(o2, fuel), fuel) - full
    for deviation, below in ((first, by_oxygen), (second, by_carbon_dioxide)):
        assert -below <= deviation.min()
        assert deviation.max() < 0.001
    assert -first.min() > 0.7 * by_oxygen


def test_short_form_is_refused_above_the_ultimate() -> None:
    assert np.isnan(sensible_loss_short_from_carbon_dioxide(150.0, 20.0, 0.12, "natural gas"))
    assert np.isfinite(sensible_loss_short_from_carbon_dioxide(150.0, 20.0, 0.119, "natural gas"))
