"""Each correction worked by hand, with its source."""

import math

import pytest

from analysis.comparison.conditions import Conditions
from analysis.comparison.corrections import AIR_HEAT, Correction, corrections
from analysis.draft_network import Inducer, Resistances, State, stack_pressure, taps

FOOT = 0.3048


def conditions(**given: object) -> Conditions:
    usual: dict[str, object] = {
        "outdoor": (0.0, 0.0),
        "outdoor_u": 0.0,
        "returns": (20.0, 20.0),
        "returns_u": 0.0,
        "altitudes": (None, None),
        "pipes": 2,
        "vent_rise": 3.0,
    }
    return Conditions(**(usual | given))  # type: ignore[arg-type]


def one(what: str, name: str, after: float, around: Conditions, before: float | None = None) -> Correction:
    found = corrections(name, after if before is None else before, after, around)
    return next(each for each in found if each.what == what)


def test_thinner_air_by_the_density_ratio_of_the_standard_atmosphere():
    """ASHRAE Handbook - Fundamentals 2017, chapter 1, table 1 (from memory): 101.325 kPa at 0 m, 84.556 at 1500 m.

    A tap of 250 Pa of suction read at 1500 m would be 250 * 101.325 / 84.556 = 299.6 Pa at sea level, by the fan laws:
    pressure goes with the density.
    """
    around = conditions(altitudes=(0.0, 1500.0))
    found = one("altitude", "draft_collector.hot.high", -250.0, around)
    assert found.applied
    assert -250.0 + found.amount == pytest.approx(-250.0 * 101.325 / 84.556, rel=2e-4)
    assert (found.was, found.now, found.unit) == (0.0, 1500.0, "m")


@pytest.mark.parametrize("altitudes", [(None, 1500.0), (1500.0, None), (None, None), (1500.0, 1500.0)])
def test_no_altitude_no_correction(altitudes):
    found = corrections("draft_collector.hot.high", -250.0, -250.0, conditions(altitudes=altitudes))
    assert not [each for each in found if each.what == "altitude"]


def test_a_rise_at_altitude_with_the_same_orifices():
    """Air takes up heat with its density, orifices pass with the root of the density of the gas (Bernoulli's equation).

    So the rise goes with 1 / root(density ratio): 0.8345 at 1500 m, and 30 K there are 27.41 K at sea level.
    """
    found = one("altitude", "temp_rise.settled.high", 30.0, conditions(altitudes=(0.0, 1500.0)))
    assert 30.0 + found.amount == pytest.approx(30.0 * math.sqrt(84.556 / 101.325), rel=2e-4)
    assert found.u == pytest.approx(abs(found.amount) / math.sqrt(3))


def test_colder_air_in_prepurge_half_of_the_density_and_all_of_the_doubt():
    """-20 degC after 10 degC: ideal gas, density 283.15 / 253.15 = 1.1185; half of it in powers: 1.0576.

    u: a rectangle of powers from 0 to 1, so log(1.1185) / root(12) = 3.23 % of the reading.
    """
    found = one("outdoor air", "draft_collector.cold", -200.0, conditions(outdoor=(10.0, -20.0)))
    assert -200.0 + found.amount == pytest.approx(-200.0 / 1.0576, rel=1e-4)
    assert found.u == pytest.approx(200.0 * math.log(1.1185) / math.sqrt(12), rel=1e-3)


def test_colder_air_in_a_hot_run_against_the_network_itself():
    """The circuit solved in both weathers (`analysis.draft_network.taps`), the air in the intake warmed by a fifth.

    Its taps hot: about -0.15, -0.50, -1.25 and 0.35 in. w.c. The burner box is put right, the others are let be, and
    all lie within what the correction says of itself.
    """
    resistances = Resistances(intake=3.77e5, primary=2.50e5, secondary=1.36e6, vent=7.71e5)
    fan = Inducer(shutoff=561.0, slope=1.76e6)
    warm, cold = (
        taps(resistances, fan, State(temp + 0.2 * (20.0 - temp), 900.0, 120.0, 45.0, temp_outdoor=temp))
        for temp in (10.0, -20.0)
    )
    around = conditions(outdoor=(10.0, -20.0))
    for tap in ("burner_box", "transition", "collector", "vent"):
        was, now = float(getattr(warm, tap)), float(getattr(cold, tap))
        found = one("outdoor air", f"draft_{tap}.hot.high", now, around, was)
        assert abs(now + found.amount - was) <= 2 * found.u
        assert found.applied == (tap == "burner_box")
        if found.applied:
            assert abs(now + found.amount - was) < 0.5 * abs(now - was)


def test_one_pipe_takes_no_air_from_outdoors():
    found = corrections("draft_collector.cold", -200.0, -200.0, conditions(outdoor=(10.0, -20.0), pipes=1))
    assert "outdoor air" not in {each.what for each in found}


def test_outdoor_air_that_was_not_measured_is_not_corrected_and_costs_sureness():
    around = conditions(outdoor=None, outdoor_u=10.0)
    found = one("outdoor air", "draft_collector.cold", -200.0, around)
    assert (found.amount, found.applied) == (0.0, False)
    assert "not measured" in found.text
    assert found.u == pytest.approx(200.0 * math.hypot(0.5, 1 / math.sqrt(12)) * 10.0 / 273.15)


def test_the_vents_own_draft_by_the_handbooks_formula():
    """Theoretical draft g h (rho outdoors - rho flue), dry air of 1.395 kg/m3 at -20 degC and 1.247 at 10.

    A vent of at most 3 m: 9.807 * 3 * 0.148 = 4.35 Pa apart; its rise is not known, so a rectangle from 0: 2.51 Pa. The
    same by `stack_pressure`, of which only the outdoor air differs.
    """
    found = one("vent", "draft_vent.hot.high", 87.0, conditions(outdoor=(10.0, -20.0)))
    assert found.amount == 0.0
    assert found.u == pytest.approx(9.807 * 3 * (1.395 - 1.247) / math.sqrt(3), rel=5e-3)
    apart = stack_pressure(3.0, -20.0, 45.0, 101325.0) - stack_pressure(3.0, 10.0, 45.0, 101325.0)
    assert found.u == pytest.approx(float(apart) / math.sqrt(3), rel=1e-6)


def test_return_air_at_the_blower():
    """15 degC after 25 degC: a blower of fixed speed moves 298.15 / 288.15 = 1.0347 of the mass, another the same.

    Half of it in powers: 1.0172.
    """
    found = one("return air", "temp_rise.settled.high", 30.0, conditions(returns=(25.0, 15.0)))
    assert 30.0 + found.amount == pytest.approx(30.0 * 1.0172, rel=1e-4)
    assert found.u == pytest.approx(30.0 * math.log(1.0347) / math.sqrt(12), rel=1e-2)


def test_heat_of_the_combustion_air():
    """CH4 + 2 O2: 17.2 kg of air a kg; at half as much again 25.8 kg, 1006 J/kg/K, over 55.5 MJ/kg: 0.00047 a K.

    20 K colder: 0.94 % of 30 K is 0.28 K.
    """
    assert pytest.approx(17.2 * 1.5 * 1006 / 55.5e6, rel=0.01) == AIR_HEAT
    found = one("outdoor air", "temp_rise.settled.high", 30.0, conditions(outdoor=(0.0, -20.0)))
    assert found.amount == pytest.approx(0.28, abs=0.005)


def test_the_hottest_supply_goes_with_the_return():
    found = one("return air", "temp_supply.highest", 55.0, conditions(returns=(20.0, 17.0), returns_u=0.4))
    assert found.amount == pytest.approx(3.0)
    assert found.u == pytest.approx(math.hypot(0.4, 0.3, 2 / math.sqrt(12)))


@pytest.mark.parametrize("name", ["draft_collector.cold", "draft_burner_box.hot.high", "temp_rise.settled.low"])
def test_there_and_back_leaves_what_was_read(name):
    first, second = (4.0, 1200.0), (-17.0, 0.0)
    there = conditions(outdoor=(first[0], second[0]), returns=(20.0, 16.0), altitudes=(first[1], second[1]))
    back = conditions(outdoor=(second[0], first[0]), returns=(16.0, 20.0), altitudes=(second[1], first[1]))
    moved = 40.0 + sum(each.amount for each in corrections(name, 40.0, 40.0, there))
    home = moved + sum(each.amount for each in corrections(name, moved, moved, back))
    assert home == pytest.approx(40.0, rel=2e-3)


@pytest.mark.parametrize("name", ["ignition.time_to_prove", "phase.over_timing.prepurge", "flame_current.trend.high"])
def test_what_does_not_go_with_the_air_is_let_be(name):
    assert corrections(name, 1.0, 1.0, conditions(outdoor=(10.0, -20.0), altitudes=(0.0, 1500.0))) == []
