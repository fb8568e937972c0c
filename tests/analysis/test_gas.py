"""Fuel gas by what must hold between its own formulas, and by what each may not be asked."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from analysis import gas
from analysis.gas import (
    ALTITUDE_RULES,
    CUBIC_FOOT,
    DIALS,
    FOOT,
    absolute_pressure,
    altitude_factor,
    gravity_factor,
    input_at_manifold,
    meter_correction,
    meter_flow,
    meter_input,
    orifice_flow,
    propane_pressure,
    tank_cooling_rate,
    tank_pressure,
    tank_temperature,
    wobbe_index,
)

INCH = 249.08891
"""[Pa]"""
BORES = st.floats(0.0003, 0.005)
MANIFOLDS = st.floats(100, 3500)
GRAVITIES = st.floats(0.4, 2.1)
DRAWS = st.floats(1000, 60_000)
LIQUIDS = st.floats(20, 500)


@given(bore=BORES, pressure=MANIFOLDS, gravity=GRAVITIES, other=GRAVITIES)
def test_orifice_follows_area_pressure_and_gravity(bore: float, pressure: float, gravity: float, other: float) -> None:
    flow = orifice_flow(bore, pressure, gravity)
    assert_allclose(orifice_flow(2 * bore, pressure, gravity), 4 * flow, rtol=1e-12)
    assert_allclose(orifice_flow(bore, pressure, gravity, 0.45), flow / 2, rtol=1e-12)
    assert_allclose(orifice_flow(bore, pressure, other), flow * gravity_factor(other, base=gravity), rtol=1e-12)
    assert_allclose(
        orifice_flow(bore, pressure / 2, gravity) / flow, input_at_manifold(1.0, pressure, pressure / 2), rtol=1e-12
    )


@given(heating_value=st.floats(2e7, 1.2e8), gravity=GRAVITIES, other=GRAVITIES)
def test_gases_of_one_wobbe_index_give_one_input(heating_value: float, gravity: float, other: float) -> None:
    matched = heating_value * np.sqrt(other / gravity)
    assert_allclose(wobbe_index(matched, other), wobbe_index(heating_value, gravity), rtol=1e-12)
    first = orifice_flow(0.0023, 870.0, gravity) * heating_value
    assert_allclose(orifice_flow(0.0023, 870.0, other) * matched, first, rtol=1e-12)


def test_an_orifice_beyond_house_pressure_is_not_answered() -> None:
    # The formula knows no compression of the gas: 40 in. w.c. is as far as it goes.
    assert np.isfinite(orifice_flow(0.002, 10_000, 0.6))
    assert np.isnan(orifice_flow(0.002, 13_790, 0.6))


@pytest.mark.parametrize("dial", DIALS)
def test_dials_of_all_sizes_clock_one_flow(dial: float) -> None:
    flow = 3.0 / 3600
    seconds = 2 * dial / flow
    assert_allclose(meter_flow(dial, 2, seconds), flow, rtol=1e-12)
    assert_allclose(meter_input(2 * dial, seconds, 38.5e6), flow * 38.5e6, rtol=1e-12)


def test_usual_dials_in_cubic_feet() -> None:
    assert {round(dial / CUBIC_FOOT, 6) for dial in DIALS} >= {0.25, 0.5, 1.0, 2.0, 5.0}


@given(temp=st.floats(-40, 50), pressure=st.floats(70_000, 120_000), other=st.floats(0, 2000))
def test_corrected_input(temp: float, pressure: float, other: float) -> None:
    plain = meter_input(CUBIC_FOOT, 36.0, 37.3e6)
    corrected = meter_input(CUBIC_FOOT, 36.0, 37.3e6, temp, pressure)
    assert_allclose(corrected, plain * meter_correction(temp, pressure), rtol=1e-12)
    assert_allclose(meter_input(CUBIC_FOOT, 36.0, 37.3e6, others=other), plain - other, rtol=1e-12)


def test_correction_counts_more_gas_where_it_is_colder_or_denser() -> None:
    assert np.all(np.diff(meter_correction(np.linspace(-40, 50, 20), 103_000.0)) < 0)
    assert np.all(np.diff(meter_correction(10.0, np.linspace(80_000, 250_000, 20))) > 0)
    # 2 psi gauge at 5000 ft and 40 degF, by hand: (12.228 + 2) / 14.73 * 519.67 / 499.67 = 1.00458.
    metered = absolute_pressure(2 * 6894.757, 12.228 * 6894.757)
    assert_allclose(meter_correction(40 / 9, metered), 1.00458, atol=1e-4)


@pytest.mark.parametrize("lacking", ["temp", "pressure"])
def test_half_a_correction_is_refused(lacking: str) -> None:
    given_both = {"temp": 10.0, "pressure": 103_000.0}
    del given_both[lacking]
    with pytest.raises(ValueError, match="give both or neither"):
        meter_input(CUBIC_FOOT, 36.0, 37.3e6, **given_both)


def test_a_reading_that_is_missing_is_not_a_correction_that_is_left_out() -> None:
    assert np.isnan(meter_input(CUBIC_FOOT, 36.0, 37.3e6, np.nan, 103_000.0))
    assert np.isnan(meter_input(CUBIC_FOOT, 36.0, 37.3e6, 10.0, np.nan))


def test_others_cannot_take_more_than_the_meter_counted() -> None:
    found = meter_input(CUBIC_FOOT, 36.0, 37.3e6, others=[0.0, 20_000.0, 40_000.0])
    assert_array_equal(np.isnan(found), [0, 0, 1])


def test_absolute_pressure_is_never_nothing() -> None:
    assert_array_equal(np.isnan(absolute_pressure([-101_325.0, -200_000.0, 0.0], 101_325.0)), [1, 1, 0])


def test_clocking_says_how_it_is_done_safely() -> None:
    """The words that a technician reads with the result."""
    clocking, timing, manifold, module = (
        " ".join(str(text).split())
        for text in (meter_input.__doc__, meter_flow.__doc__, input_at_manifold.__doc__, gas.__doc__)
    )
    for said in (clocking, timing):
        assert "other appliances off by their controls" in said
        assert "gas left on" in said
    for said in (clocking, manifold, module):
        assert "licensed people" in said
    assert "never makes up for altitude" in manifold


def test_every_rule_says_what_it_is_and_where_it_comes_from() -> None:
    for name, rule in ALTITUDE_RULES.items():
        assert rule.name == name
        assert len(rule.text) > 10
        assert len(rule.source) > 8
        assert f"`{name}`" in " ".join((altitude_factor.__doc__ or "").split())


def test_rules_contradict_each_other_at_5000_ft() -> None:
    found = {name: round(float(altitude_factor(5000 * FOOT, name)), 3) for name in ALTITUDE_RULES}
    assert found["four percent from sea level"] == 0.8
    assert found["four percent from 2000 ft"] == 0.88
    assert found["two percent from sea level"] == 0.9
    assert found["unchanged to 5500 ft"] == 1
    assert found["density ratio"] == 0.832
    assert np.isnan(found["ten percent to 4500 ft"])
    assert np.isnan(found["five percent to 4500 ft"])


@pytest.mark.parametrize("rule", [name for name in ALTITUDE_RULES if name != "density ratio"])
def test_nothing_is_taken_off_up_to_2000_ft(rule: str) -> None:
    assert_array_equal(altitude_factor(np.array([-100.0, 0.0, 1500.0, 2000.0]) * FOOT, rule), [1, 1, 1, 1])


def test_rules_step_or_bend_just_above_2000_ft() -> None:
    above = 2000.001 * FOOT
    steps = {name: round(float(altitude_factor(above, name)), 4) for name in ALTITUDE_RULES}
    assert steps["four percent from sea level"] == 0.92
    assert steps["four percent from 2000 ft"] == 1
    assert steps["two percent from sea level"] == 0.96
    assert steps["ten percent to 4500 ft"] == 0.9
    assert steps["five percent to 4500 ft"] == 0.95
    assert steps["unchanged to 5500 ft"] == 1


@pytest.mark.parametrize(("rule", "end"), [("ten percent to 4500 ft", 4500.0), ("unchanged to 5500 ft", 5500.0)])
def test_beyond_its_end_a_rule_says_nothing(rule: str, end: float) -> None:
    assert np.isfinite(altitude_factor(end * FOOT, rule))
    assert np.isnan(altitude_factor((end + 0.01) * FOOT, rule))


def test_the_last_digit_of_a_conversion_moves_no_limit() -> None:
    just_above = np.nextafter(np.array([2000.0, 4500.0]) * FOOT, np.inf)
    assert_array_equal(altitude_factor(just_above, "ten percent to 4500 ft"), [1.0, 0.9])


def test_density_has_no_step() -> None:
    factor = altitude_factor(np.linspace(-500, 4500, 200), "density ratio")
    assert np.all(np.diff(factor) < 0)
    assert altitude_factor(0.0, "density ratio") == 1


def test_unknown_words_bring_the_nearest() -> None:
    with pytest.raises(ValueError, match=r"unknown altitude rule 'two percent'; nearest known: two percent"):
        altitude_factor(1500.0, "two percent")
    with pytest.raises(ValueError, match=r"unknown altitude rule 'xyz'; known: four percent from sea level"):
        altitude_factor(1500.0, "xyz")
    with pytest.raises(ValueError, match=r"unknown kind of propane 'comercial'; nearest known: commercial"):
        tank_pressure(10.0, kind="comercial")
    with pytest.raises(ValueError, match=r"unknown kind of propane '1'; known: pure, commercial"):
        propane_pressure(10.0, kind="1")


def test_tank_pressure_grows_with_warmth_and_falls_with_the_barometer() -> None:
    temps = np.linspace(-60, 60, 241)
    for kind in ("pure", "commercial"):
        assert np.all(np.diff(tank_pressure(temps, kind=kind)) > 0)
    assert_allclose(tank_pressure(0.0, 84_309.0) - tank_pressure(0.0), 101_325 - 84_309, rtol=1e-9)
    assert np.all(tank_pressure(temps, kind="commercial") > tank_pressure(temps))


def test_pure_propane_boils_at_minus_42() -> None:
    # Lemmon, McLinden and Wagner 2009, normal boiling point 231.036 K.
    assert_allclose(propane_pressure(231.036 - 273.15), 101_325, rtol=2e-4)
    assert tank_pressure(-43.0) < 0 < tank_pressure(-41.0)


@pytest.mark.parametrize(
    ("fahrenheit", "gauge", "share"), [(70, 127, 0.02), (100, 196, 0.02), (105, 210, 0.02), (130, 287, 0.02)]
)
def test_commercial_propane_as_on_a_property_sheet(fahrenheit: float, gauge: float, share: float) -> None:
    found = tank_pressure((fahrenheit - 32) / 1.8, kind="commercial") / 6894.757
    assert_allclose(found, gauge, rtol=share)
    # Published LP-gas property sheet: 10 to 16 % above pure propane, gauge.
    assert 1.10 < gauge / (tank_pressure((fahrenheit - 32) / 1.8) / 6894.757) < 1.16


@given(outdoor=st.floats(-20, 20), draw=DRAWS, liquid=LIQUIDS, wall=st.floats(0, 40), metal=st.floats(0, 200))
def test_a_tank_begins_to_cool_at_its_rate(
    outdoor: float, draw: float, liquid: float, wall: float, metal: float
) -> None:
    fall = outdoor - tank_temperature(outdoor, draw, liquid, 10.0, wall, metal=metal)
    assert_allclose(fall / 10.0, tank_cooling_rate(draw, liquid, metal=metal), rtol=0.01)


@given(outdoor=st.floats(-10, 20), draw=st.floats(1000, 10_000), liquid=st.floats(200, 500), metal=st.floats(0, 200))
def test_a_wall_without_conductance_is_the_limit_of_little(
    outdoor: float, draw: float, liquid: float, metal: float
) -> None:
    none, little = tank_temperature(outdoor, draw, liquid, 7200.0, [0.0, 1e-7], metal=metal)
    assert_allclose(none, little, atol=1e-6)
    assert_allclose(none, outdoor - 7200 * tank_cooling_rate(draw, liquid, metal=metal), atol=1e-6)


def test_a_tank_settles_where_the_wall_gives_the_vaporising_heat() -> None:
    # 10 kW draw vaporises 10 000 / 50.22e6 kg/s at 375 kJ/kg: 74.7 W; through 20 W/K that is 3.73 K below outdoors.
    long = tank_temperature(5.0, 10_000.0, 400.0, 1.2e6, 20.0)
    assert_allclose(5.0 - long, 74.67 / 20, rtol=2e-3)
    assert_allclose(tank_cooling_rate(10_000.0, 400.0, heat_from_outside=20.0 * (5.0 - long)), 0, atol=1e-8)


def test_a_low_tank_sags_first() -> None:
    """A tank that cannot keep up is right at rest and sags over the run, the more the less is in it."""
    seconds = np.linspace(0, 3 * 3600, 50)
    sag = {
        liquid: tank_pressure(tank_temperature(-15.0, 25_000.0, liquid, seconds, 0.05 * liquid, metal=100.0))
        for liquid in (40.0, 200.0)
    }
    assert_allclose([sag[40.0][0], sag[200.0][0]], tank_pressure(-15.0), rtol=1e-9)
    for pressure in sag.values():
        assert np.all(np.diff(pressure) < 0)
    assert sag[40.0][-1] < 0.9 * sag[200.0][-1]


def test_more_than_there_is_cannot_be_drawn() -> None:
    # 50.22 MJ/kg: 10 kg last 10 * 50.22e6 / 10 000 = 50 220 s at 10 kW.
    found = tank_temperature(20.0, 10_000.0, 10.0, [50_100.0, 50_400.0], 60.0)
    assert_array_equal(np.isnan(found), [0, 1])


def test_a_tank_colder_than_the_range_has_no_value() -> None:
    assert np.isnan(tank_temperature(-40.0, 60_000.0, 20.0, 7200.0, 0.0))


def test_nothing_drawn_nothing_chilled() -> None:
    assert_allclose(tank_temperature(-10.0, 0.0, 50.0, [0.0, 1e6, 1e300], [0.0, 10.0, 10.0]), -10.0)
    assert tank_cooling_rate(0.0, 50.0, heat_from_outside=100.0) < 0


def test_absurd_numbers_overflow_into_no_value_and_without_a_warning() -> None:
    huge = 1.7e308
    assert np.isnan(meter_flow(huge, huge, 1e-300))
    assert np.isnan(meter_input(huge, 1e-300, huge))
    assert np.isnan(input_at_manifold(huge, 1e-300, huge))
    assert np.isnan(tank_cooling_rate(huge, 1e-300))
    assert np.isnan(tank_temperature(0.0, huge, huge, huge, 0.0))
    assert np.isnan(absolute_pressure(huge, 1e5)) == np.isinf(np.float64(huge) + 1e5)
