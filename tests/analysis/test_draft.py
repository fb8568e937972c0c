"""What arrives at the pressure switch: hoses, water, reference side, margins."""

import inspect
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from analysis import draft, draft_inverse, draft_network, draft_population, draft_visit
from analysis.draft import margin, pressure_through_leak, switch_differential, switch_margin, water_slug
from analysis.units import INCH_OF_WATER


# Divider of two resistances in series, worked out by hand: hole over hose, share that arrives.
@pytest.mark.parametrize(("ratio", "percent"), [(10, 91), (3, 75), (1, 50), (0.3, 23), (0.1, 9)])
def test_what_a_leaking_hose_leaves(ratio: float, percent: int) -> None:
    assert round(100 * float(pressure_through_leak(-1.0, ratio) / -1.0)) == percent


@given(st.floats(-1000, 1000), st.floats(0, 1e9), st.floats(0, 1e9))
def test_a_leak_never_adds_and_a_smaller_hole_takes_less(pressure: float, one: float, other: float) -> None:
    small, large = pressure_through_leak(pressure, max(one, other)), pressure_through_leak(pressure, min(one, other))
    assert abs(large) <= abs(small) <= abs(pressure)
    assert small * pressure >= 0


def test_an_inch_of_water_is_an_inch_of_water_column() -> None:
    assert_allclose(water_slug(0.0, 0.0254), INCH_OF_WATER, rtol=1e-6)
    suction = -1.25 * INCH_OF_WATER
    assert_allclose(water_slug(suction, 0.0254) / INCH_OF_WATER, -0.25, atol=1e-6)
    assert_allclose(water_slug(suction, -0.0254) / INCH_OF_WATER, -2.25, atol=1e-6)


def test_water_works_against_the_switch_in_one_hose_and_for_it_in_the_other() -> None:
    collector, box = -1.25 * INCH_OF_WATER, -0.15 * INCH_OF_WATER
    sound = switch_differential(collector, box)
    in_suction = switch_differential(water_slug(collector, 0.01), box)
    in_reference = switch_differential(collector, water_slug(box, 0.01))
    assert in_suction < sound < in_reference
    assert_allclose(sound - in_suction, in_reference - sound)


def test_a_leaking_reference_hose_reads_larger_by_the_size_of_tap_a() -> None:
    collector, box = -1.25 * INCH_OF_WATER, -0.15 * INCH_OF_WATER
    leaking = switch_differential(collector, pressure_through_leak(box, 0.0))
    assert_allclose(leaking - switch_differential(collector, box), abs(box))
    assert leaking == switch_differential(collector)


def test_swapped_hoses_turn_the_sign() -> None:
    assert switch_differential(-300.0, -40.0) == -switch_differential(-40.0, -300.0)
    assert switch_differential(-300.0) > 0


def test_the_margin_that_counts_goes_with_the_contact() -> None:
    inch = INCH_OF_WATER
    pressure, closed = np.array([0.68, 0.68, 0.45, 0.68]) * inch, np.array([0, 1, 1, 0.5])
    found = switch_margin(pressure, closed, 0.60 * inch, 0.50 * inch) / inch
    assert_allclose(found, [0.08, 0.18, -0.05, np.nan], atol=1e-12)
    assert_allclose(margin(pressure, 0.60 * inch)[:3] / inch, [0.08, 0.08, -0.15], atol=1e-12)


def test_one_module_offers_circuit_inverse_and_switch() -> None:
    assert all(hasattr(draft, name) for name in draft.__all__)
    assert {"taps", "resistances", "margin", "switch_margin", "State", "Readings"} <= set(draft.__all__)


@pytest.mark.parametrize(
    "module", [draft, draft_network, draft_inverse, draft_population, draft_visit], ids=lambda module: module.__name__
)
def test_nothing_here_advises_to_bridge_a_switch_or_clears_an_exchanger(module: ModuleType) -> None:
    text = inspect.getsource(module).lower()
    assert not any(
        word in text for word in ("jumper", "bridge", "bypass", "blow into", "exchanger is sound", "no breach")
    )
