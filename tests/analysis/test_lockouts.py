"""Lockouts of a dual-fuel system against brute force over the outdoor temperature."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from analysis.findings import Finding, Severity
from analysis.heatpump import LockoutSettings, Rated, lockouts
from analysis.units import conversion

BTU = 0.2930710701722222
"""One Btu/h. [W]"""
COMMON = Rated(36_000 * BTU, 22_000 * BTU, 27_500 * BTU)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


GRID = np.arange(-40.0, 40.0, 0.5) + 0.25
"""Outdoor temperatures between all values that are drawn below, which are multiples of 0.5. [degC]"""
HALVES = st.integers(-40, 40).map(lambda n: n / 2)
DOUBTS = st.sampled_from([0.1, 0.3, 0.5, 1.0])


def named(findings: tuple[Finding, ...]) -> dict[str, Finding]:
    assert len({finding.name for finding in findings}) == len(findings)
    return {finding.name: finding for finding in findings}


def span(finding: Finding) -> tuple[float, float]:
    values = {label: value for label, value, _ in finding.values}
    assert math.isclose(values["width"], values["up to"] - values["from"])
    return values["from"], values["up to"]


def band(inside: NDArray[np.bool_]) -> tuple[float, float] | None:
    """First and last temperature of a band on the grid, widened to the multiples of 0.5 around them."""
    where = np.flatnonzero(inside)
    if not where.size:
        return None
    assert np.all(np.diff(where) == 1)
    return float(GRID[where[0]]) - 0.25, float(GRID[where[-1]]) + 0.25


@settings(deadline=None, max_examples=400)
@given(
    compressor=HALVES,
    furnace=HALVES,
    balance=HALVES,
    off=st.integers(-12, 12).map(lambda n: n / 2),
    u=st.tuples(DOUBTS, DOUBTS),
    downstream=st.sampled_from([True, False]),
    changeover=st.sampled_from([True, False, None]),
)
def test_lockouts_by_brute_force(
    *,
    compressor: float,
    furnace: float,
    balance: float,
    off: float,
    u: tuple[float, float],
    downstream: bool,
    changeover: bool | None,
) -> None:
    given_settings = LockoutSettings(
        compressor_lockout=compressor,
        auxiliary_lockout=furnace,
        balance_point=balance,
        coil_downstream=downstream,
        changeover=changeover,
        outdoor_reading=3.0 + off,
        outdoor_reference=3.0,
        u_outdoor_reading=u[0],
        u_outdoor_reference=u[1],
        furnace_safe=True,
    )
    found = named(lockouts(given_settings))

    def allowed(error: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        seen = GRID + error
        return seen >= compressor, seen < furnace

    compressor_may, furnace_may = allowed(0.0)
    idle = band(~compressor_may & ~furnace_may)
    weak = band(compressor_may & ~furnace_may & (balance > GRID))
    both = band(compressor_may & furnace_may)
    expected: dict[str, tuple[float, float] | None] = {"no_heat_band": idle, "cannot_hold": weak}
    if downstream and changeover is not True:
        expected["both_at_once"] = both
    wrong = abs(off) > 2 * math.sqrt(u[0] ** 2 + u[1] ** 2)
    compressor_may, furnace_may = allowed(off)
    in_truth = band(compressor_may & ~furnace_may & (balance > GRID)) if wrong else weak
    expected["sensor_opens_band"] = in_truth if in_truth and not weak else None
    expected["sensor_widens_band"] = in_truth if in_truth and weak and in_truth[0] < weak[0] else None
    expected["sensor_hides_band"] = weak if weak and not in_truth else None
    expected = {name: limits for name, limits in expected.items() if limits}
    others = {"outdoor_sensor"} if wrong else set()
    others |= {"emergency_heat"} if idle or weak else set()
    assert set(found) == set(expected) | others
    for name, limits in expected.items():
        assert span(found[name]) == limits, name
    if "both_at_once" in found:
        severity = Severity.FAULT if changeover is False else Severity.ADVICE
        assert found["both_at_once"].severity == severity
    if wrong:
        shifted = {label: value for label, value, _ in found["outdoor_sensor"].values}
        assert shifted["compressor in truth from"] == compressor - off
        assert shifted["furnace in truth below"] == furnace - off


def test_a_good_setting_has_no_findings() -> None:
    good = LockoutSettings(-5.5, 7.0, -4.0, True, True, 2.0, 2.4, 0.3, 0.3, True)
    assert lockouts(good) == ()


def test_nothing_known_says_what_each_judgement_needs() -> None:
    found = named(lockouts(LockoutSettings(None, None)))
    assert set(found) == {
        "compressor_lockout_unknown",
        "auxiliary_lockout_unknown",
        "balance_point_unknown",
        "outdoor_sensor_unchecked",
    }
    assert {finding.severity for finding in found.values()} == {Severity.MISSING}
    assert "needs" in found["balance_point_unknown"].text


def test_one_setting_alone_judges_nothing_that_needs_both() -> None:
    for one in (LockoutSettings(10.0, None, 15.0), LockoutSettings(None, -20.0, 15.0)):
        assert {finding.severity for finding in lockouts(one)} == {Severity.MISSING}


def test_the_place_of_the_coil_is_asked_for_where_both_may_run() -> None:
    assert "coil_place_unknown" in named(lockouts(LockoutSettings(-5.0, 5.0, -6.0)))
    assert "coil_place_unknown" not in named(lockouts(LockoutSettings(5.0, 5.0, -6.0)))


def test_a_balance_point_from_house_and_ratings() -> None:
    loss, base = 600 * BTU * 1.8, celsius(65)
    bare = LockoutSettings(-15.0, -12.0)
    found = named(lockouts(bare, loss, base, COMMON))
    assert_allclose(list(span(found["cannot_hold"])), [-12, celsius(24.51)], atol=0.01)
    assert "balance_point_unknown" not in found
    strong = named(lockouts(bare, 20.0, base, COMMON))
    assert {"cannot_hold", "balance_point_unknown"} & set(strong) == set()
    never = named(lockouts(bare, 3000.0, 25.0, Rated(600.0, 2600.0)))
    assert span(never["cannot_hold"]) == (-12, 25)
    for missing in ((None, base, COMMON), (loss, None, COMMON), (loss, base, None), (loss, 99.0, COMMON)):
        assert "balance_point_unknown" in named(lockouts(bare, *missing))


def test_a_stated_balance_point_counts_before_a_computed_one() -> None:
    stated = LockoutSettings(-15.0, -12.0, balance_point=-13.0)
    assert "cannot_hold" not in named(lockouts(stated, 600 * BTU * 1.8, 18.0, COMMON))


@pytest.mark.parametrize("doubt", [(None, 0.3), (0.3, None), (-0.1, 0.3), (math.nan, 0.3)])
def test_a_sensor_is_not_judged_without_its_accuracy(doubt: tuple[float | None, float | None]) -> None:
    unsure = LockoutSettings(
        -5.0,
        5.0,
        -4.0,
        True,
        True,
        outdoor_reading=20.0,
        outdoor_reference=0.0,
        u_outdoor_reading=doubt[0],
        u_outdoor_reference=doubt[1],
    )
    assert set(named(lockouts(unsure))) == {"outdoor_sensor_unchecked"}


def test_emergency_heat_is_the_furnace_and_never_advised_unless_safe() -> None:
    for compressor, furnace in ((5.0, -5.0), (-15.0, -10.0), (-5.0, 5.0)):
        for safe in (None, False, True):
            found = lockouts(LockoutSettings(compressor, furnace, 0.0, True, furnace_safe=safe))
            advised = [finding for finding in found if "emergency heat" in finding.text.lower()]
            for finding in advised:
                if safe is False:
                    assert "leave it off" in finding.text
                elif safe is None:
                    assert finding.severity == Severity.MISSING
                else:
                    assert finding.severity == Severity.ADVICE
            assert safe is not False or advised, "an unsafe furnace is always said"


def test_findings_are_one_sentence_with_numbers_in_known_units() -> None:
    worst = LockoutSettings(5.0, -5.0, 8.0, True, False, 9.0, 1.0, 0.3, 0.3, False)
    unset = LockoutSettings(None, None)
    for finding in (*lockouts(worst), *lockouts(unset), *lockouts(LockoutSettings(-9.0, 3.0, -1.0, True, False))):
        assert finding.text.endswith(".")
        assert ". " not in finding.text
        assert not any(letter.isdigit() for letter in finding.text)
        for label, value, unit in finding.values:
            assert label
            assert math.isfinite(value)
            assert conversion(unit, unit).scale == 1
