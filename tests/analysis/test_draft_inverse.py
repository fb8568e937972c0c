"""Which resistance changed: known faults read with an ordinary manometer, missing taps, leaks, wrong meters."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.draft import POPULATION, SECTIONS, Inducer, Readings, Resistances, State, resistances, taps
from analysis.draft_network import Floats, surroundings_of
from analysis.quantity import Quality
from analysis.units import INCH_OF_WATER

TAPS = ("burner_box", "transition", "collector", "vent")
FLOW = 0.01
HOT = State(temp_intake=20.0, temp_primary=650.0, temp_secondary=90.0, temp_inducer=48.0)
GAIN, ZERO, NOISE = 0.005, 0.01 * INCH_OF_WATER, 0.002 * INCH_OF_WATER
"""Limits of a realistic manometer (rectangular), and the scatter of one reading (standard deviation)."""


def circuit(drops: Floats, share: float, at: State) -> tuple[dict[str, float], dict[str, float]]:
    """Resistances and fan that give these drops at the flow of 1, the fan having lost this share of its shut-off."""
    here = surroundings_of(at)
    densities = (here.intake, here.primary, here.secondary, here.inducer)
    lumped = {name: float(drop * rho / FLOW**2) for name, drop, rho in zip(SECTIONS, drops, densities, strict=True)}
    shutoff = float(np.sum(drops) / (1 - share))
    return lumped, {
        "shutoff": float(shutoff / here.inducer),
        "slope": float(shutoff * share * here.inducer / FLOW**2),
    }


def read(
    pressures: dict[str, float], random: np.random.Generator | None, *, shared: bool, noise: float = NOISE
) -> Readings:
    """What one manometer, or one of its own at each tap, shows; without errors where there is no generator."""
    size = 1 if shared else 4
    gain, zero, scatter = np.zeros(4), np.zeros(4), np.zeros(4)
    if random is not None:
        gain, zero = random.uniform(-GAIN, GAIN, size) * np.ones(4), random.uniform(-ZERO, ZERO, size) * np.ones(4)
        scatter = noise * random.standard_normal(4)
    true = np.array([pressures[name] for name in TAPS])
    shown = true * (1 + gain) + zero + scatter
    third = math.sqrt(3)
    own = np.full(4, noise) if shared else np.sqrt((GAIN * shown) ** 2 / 3 + ZERO**2 / 3 + noise**2)
    each = {f"u_{name}": float(u) for name, u in zip(TAPS, own, strict=True)}
    values = {name: float(value) for name, value in zip(TAPS, shown, strict=True)}
    return Readings(**values, **each, shared_offset=ZERO / third * shared, shared_gain=GAIN / third * shared)


def without(readings: Readings, missing: set[str]) -> Readings:
    return replace(readings, **dict.fromkeys(missing, math.nan))


# The table's circuit, hot: factor put in by an independent model of the same equations; in. w.c. at A, X, B, C.
NORMAL = (-0.15, -0.5, -1.25, 0.35)
FAULTS = {
    "intake": (4.0, (-0.5053, -0.8, -1.4316, 0.2947)),
    "vent": (4.0, (-0.1043, -0.3478, -0.8696, 0.9739)),
    "secondary": (2.0, (-0.1143, -0.381, -1.5238, 0.2667)),
    "primary": (2.0, (-0.1309, -0.7418, -1.3964, 0.3055)),
}


def manometer(values: tuple[float, ...]) -> Readings:
    """Four taps in in. w.c. without errors, read with one ordinary manometer."""
    pressures = {name: value * INCH_OF_WATER for name, value in zip(TAPS, values, strict=True)}
    return read(pressures, None, shared=True)


@pytest.mark.parametrize("speed", [math.nan, 1.0])
@pytest.mark.parametrize("name", FAULTS)
def test_a_restriction_is_found_where_it_is(name: str, speed: float) -> None:
    factor, values = FAULTS[name]
    found = resistances(manometer(values), manometer(NORMAL), speed_ratio=speed)
    place = SECTIONS.index(name)
    assert found.raised[place] > 0.95
    assert found.strongest() == name
    assert found.largest[place] > 0.9
    assert all(found.determined)
    assert_allclose(getattr(found, name).value, factor, rtol=0.1)
    assert name in found.sentence().lower()
    others = [getattr(found, other).value for other in SECTIONS if other != name]
    assert_allclose(others, 1.0, atol=0.1)


def test_two_taps_tell_what_lies_between_them_as_one() -> None:
    taps_now, baseline = (
        without(manometer(values), {"transition", "vent"}) for values in (FAULTS["secondary"][1], NORMAL)
    )
    found = resistances(taps_now, baseline, speed_ratio=1.0)
    assert found.determined[:3] == (True, False, False)
    assert [one.sections for one in found.together] == [("primary", "secondary")]
    expected = (0.35 + 2 * 0.75) / (0.35 + 0.75)
    low, high = found.together[0].ratio.interval or (0, 0)
    assert low < expected < high
    assert_allclose(found.together[0].ratio.value, expected, rtol=0.1)
    assert found.strongest() == ""
    assert "primary and secondary together" in found.sentence()


def test_no_tap_leaves_what_was_known_before() -> None:
    found = resistances(Readings(), Readings())
    assert found.determined == (False,) * 4
    shares, centres, _ = POPULATION.kinds()
    assert_allclose(found.logs, shares @ centres, atol=0.05)
    assert_allclose(found.log_u, POPULATION.spread(), rtol=0.06)
    assert_allclose(found.leaking, POPULATION.leak_share * (1 - 0.05 / POPULATION.leak_most), atol=0.02)
    sluggish = 1 - math.log(0.95) / math.log(POPULATION.slowest)
    rest = 0.5 * math.erfc(-math.log(0.95) / POPULATION.speed_spread / math.sqrt(2))
    slow = POPULATION.slow_share
    assert_allclose(found.slow, slow * sluggish + (1 - slow) * rest, atol=0.03)
    assert "cannot tell" in found.sentence()


def test_same_input_gives_the_same_numbers_and_a_worse_meter_wider_intervals() -> None:
    first, second = (resistances(manometer(FAULTS["vent"][1]), manometer(NORMAL)) for _ in range(2))
    assert first == second
    bare = {name: value * INCH_OF_WATER for name, value in zip(TAPS, NORMAL, strict=True)}
    limits = {f"u_{name}": math.hypot(0.005 * value, 2.4908891) / math.sqrt(3) for name, value in bare.items()}
    usual, stated = (
        resistances(Readings(**bare), Readings(**bare)),
        resistances(Readings(**bare, **limits), Readings(**bare)),
    )
    assert_allclose(usual.log_u, stated.log_u, rtol=1e-9)
    for error in ({"shared_offset": 6.0}, {"shared_gain": 0.05}):
        poor = resistances(Readings(**bare, **error), Readings(**bare), speed_ratio=1.0)
        assert poor.log_u[0] > 1.05 * resistances(Readings(**bare), Readings(**bare), speed_ratio=1.0).log_u[0]
    coarse = {f"u_{name}": 10.0 for name in TAPS}
    fine = resistances(manometer(FAULTS["secondary"][1]), manometer(NORMAL), speed_ratio=1.0)
    wide = resistances(replace(manometer(FAULTS["secondary"][1]), **coarse), manometer(NORMAL), speed_ratio=1.0)
    assert np.all(np.array(wide.log_u) > 1.05 * np.array(fine.log_u))


def test_a_measured_speed_sharpens_and_a_slow_inducer_is_no_surprise() -> None:
    slow = tuple(value * 0.7225 for value in NORMAL)
    measured = resistances(manometer(slow), manometer(NORMAL), speed_ratio=0.85)
    assert_allclose([getattr(measured, name).value for name in SECTIONS], 1.0, atol=0.08)
    assert_allclose(measured.flow.value, 0.85, rtol=0.03)
    assert measured.explained
    assert measured.finding == ""
    unmeasured = resistances(manometer(slow), manometer(NORMAL))
    assert "speed" in unmeasured.finding
    assert np.all(np.array(unmeasured.log_u) > np.array(measured.log_u))


def test_a_cold_start_is_compared_with_a_hot_baseline_by_its_densities() -> None:
    cold_taps = (-0.2181, -0.375, -1.2291, 0.4508)
    cold = State(temp_intake=20.0, temp_primary=20.0, temp_secondary=20.0, temp_inducer=20.0, molar_mass=0.028966)
    told = resistances(manometer(cold_taps), manometer(NORMAL), state=cold, baseline_state=HOT, speed_ratio=1.0)
    assert_allclose([getattr(told, name).value for name in SECTIONS], 1.0, atol=0.12)
    assert_allclose(told.flow.value, 1.2059, rtol=0.04)
    exact = replace(POPULATION, density_spread=0.0)
    sure = resistances(
        manometer(cold_taps), manometer(NORMAL), state=cold, baseline_state=HOT, speed_ratio=1.0, population=exact
    )
    assert told.log_u[1] > 1.15 * sure.log_u[1], "the density of the primary's gas is known to a tenth of its change"
    untold = resistances(manometer(cold_taps), manometer(NORMAL), speed_ratio=1.0)
    assert untold.intake.value > 1.5


def test_stack_and_wind_are_not_taken_for_resistances() -> None:
    windy = replace(HOT, height=5.0, temp_outdoor=-10.0, wind_intake=-15.0, wind_vent=25.0, room=-5.0)
    lumped, fan = circuit(np.array(POPULATION.drops()), 0.33, HOT)
    pressures = [taps(Resistances(**lumped), Inducer(**fan), at) for at in (windy, HOT)]
    now, before = (read({name: float(getattr(one, name)) for name in TAPS}, None, shared=True) for one in pressures)
    told = resistances(now, before, state=windy, baseline_state=HOT, speed_ratio=1.0)
    assert_allclose([getattr(told, name).value for name in SECTIONS], 1.0, atol=0.06)
    assert abs(resistances(now, before, speed_ratio=1.0).intake.value - 1) > 0.15
    back = resistances(before, now, state=HOT, baseline_state=windy, speed_ratio=1.0)
    assert_allclose([getattr(back, name).value for name in SECTIONS], 1.0, atol=0.06)
    assert_allclose(back.flow.value, pressures[1].flow / pressures[0].flow, rtol=0.005)


# The table's openings, hot; false air, an open burner box and a hole that takes a tenth of the combustion flow.
LEAKS = {
    "collector box": (-0.0938, -0.3127, -0.7818, 0.4925),
    "burner-box leak": (-0.0691, -0.4317, -1.2086, 0.3626),
}


@pytest.mark.parametrize("words", LEAKS)
def test_a_leak_reads_as_resistances_that_fell_alike(words: str) -> None:
    found = resistances(manometer(LEAKS[words]), manometer(NORMAL), speed_ratio=1.0)
    assert words in found.finding
    assert words in found.sentence()


def test_a_hole_in_the_exchanger_says_make_safe_and_never_that_all_is_well() -> None:
    lumped, fan = circuit(np.array(POPULATION.drops()), 0.33, HOT)
    holed = taps(Resistances(**lumped, exchanger_hole=4e-4), Inducer(**fan), HOT)
    sound = taps(Resistances(**lumped), Inducer(**fan), HOT)
    now, before = (
        read({name: float(getattr(one, name)) for name in TAPS}, None, shared=True) for one in (holed, sound)
    )
    found = resistances(now, before, speed_ratio=1.0)
    assert "possible breach: make safe, confirm by inspection and analyser" in found.sentence()
    small = resistances(manometer((-0.1286, -0.4287, -1.2069, 0.3631)), manometer(NORMAL), speed_ratio=1.0)
    assert "breach" in small.sentence() or "clears no exchanger" in small.sentence()
    well = resistances(manometer(NORMAL), manometer(NORMAL), speed_ratio=1.0)
    assert "clears no exchanger" in well.sentence()


@pytest.mark.parametrize(
    "wrong",
    [(-0.15, -0.5, -1.25, -0.35), (-0.5, -0.15, -1.25, 0.35), (0.15, -0.5, -1.25, 0.35), (-0.15, -0.5, -12.5, 0.35)],
    ids=["sign at C", "A and X swapped", "sign at A", "a decimal point at B"],
)
def test_taps_that_no_circuit_gives_are_called_so(wrong: tuple[float, ...]) -> None:
    found = resistances(manometer(wrong), manometer(NORMAL), speed_ratio=1.0)
    assert not found.explained
    assert found.misfit > 11
    assert found.freedom >= 1
    assert "no set of resistances explains these taps" in found.sentence()
    assert found.secondary.quality > Quality.GOOD
    assert resistances(manometer(NORMAL), manometer(NORMAL)).misfit == 0


def test_misfit_is_the_squared_distance_in_standard_uncertainties() -> None:
    apart = Readings(burner_box=6.0, collector=-300.0, vent=90.0, u_burner_box=2.0, u_collector=2.0, u_vent=2.0)
    assert_allclose(resistances(apart, manometer(NORMAL)).misfit, 9.0, rtol=1e-6)
    shared = replace(apart, u_burner_box=0.0, shared_offset=2.0)
    both = Readings(burner_box=6.0, vent=-6.0, u_burner_box=2.0, u_vent=2.0, shared_offset=2.0)
    found = resistances(both, manometer(NORMAL))
    assert_allclose(found.misfit, 72 / 4, rtol=1e-6)  # across the shared error only the own ones count
    assert found.freedom == 2
    assert_allclose(resistances(shared, manometer(NORMAL)).misfit, 9.0, rtol=1e-3)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"taps": Readings(collector=6000.0)}, "beyond 5000 Pa"),
        ({"taps": Readings(collector=-math.inf)}, "beyond 5000 Pa"),
        ({"taps": Readings(collector=-300.0, u_collector=-1.0)}, "uncertainty now is negative"),
        ({"baseline": Readings(shared_gain=0.6)}, "uncertainty of the baseline is negative"),
        ({"speed_ratio": -1.0}, "speed ratio is not above zero"),
        ({"population": replace(POPULATION, rise_spread=0.0)}, "population has a value out of its range"),
        (
            {"state": replace(HOT, temp_primary=math.nan), "baseline_state": HOT},
            "state now has a value that is missing",
        ),
    ],
)
def test_what_cannot_be_worked_with_is_said_in_a_sentence(change: dict[str, object], words: str) -> None:
    found = resistances(**{"taps": manometer(NORMAL), "baseline": manometer(NORMAL), **change})  # type: ignore[arg-type]
    assert words in found.reason
    assert math.isnan(found.intake.value)
    assert found.intake.quality is Quality.BAD
    assert found.sentence() == found.reason
    assert found.strongest() == ""


def test_a_request_that_makes_no_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="state of both visits or of neither"):
        resistances(manometer(NORMAL), manometer(NORMAL), state=HOT)
    many = replace(HOT, temp_intake=np.zeros(3))
    with pytest.raises(ValueError, match="one occasion at a time"):
        resistances(manometer(NORMAL), manometer(NORMAL), state=many, baseline_state=HOT)
