"""What arrives at the simulator's pressure switch through hoses, water and dirt, and when its contact moves."""

import math
import timeit
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from analysis.draft import pressure_through_leak, switch_differential
from analysis.units import INCH_OF_WATER
from drivers.simulate.draft import Draft, DraftUnit
from drivers.simulate.maths import ARRAYS, FLOATS
from drivers.simulate.switches import PressureSwitch, SwitchUnit
from tests.drivers.simulate.test_draft import STATES

BOX, COLLECTOR = -0.15 * INCH_OF_WATER, -1.25 * INCH_OF_WATER


def switch(**knobs: Any) -> PressureSwitch:
    one = PressureSwitch(FLOATS, SwitchUnit())
    for name, value in knobs.items():
        setattr(one, name, value)
    return one


def settled(low_side: float, reference: float, **knobs: Any) -> PressureSwitch:
    one = switch(**knobs)
    for _ in range(200):
        one.step(0.1, low_side=low_side, reference=reference)
    return one


def test_a_sound_switch_sees_the_differential() -> None:
    assert_allclose(settled(COLLECTOR, BOX).pressure, switch_differential(COLLECTOR, BOX))
    assert_allclose(settled(BOX, COLLECTOR).pressure, switch_differential(BOX, COLLECTOR))


# Divider of two resistances in series, worked out by hand: hole over hose, share that arrives.
@pytest.mark.parametrize(("ratio", "percent"), [(10, 91), (3, 75), (1, 50), (0.3, 23), (0.1, 9)])
def test_what_a_leaking_hose_leaves(ratio: float, percent: int) -> None:
    found = settled(COLLECTOR, 0.0, hose_leak=1 / ratio)
    assert round(100 * found.pressure / -COLLECTOR) == percent
    assert_allclose(found.pressure, -pressure_through_leak(COLLECTOR, ratio))


def test_a_leaking_reference_hose_reads_larger_by_the_size_of_tap_a() -> None:
    sound, leaking = settled(COLLECTOR, BOX), settled(COLLECTOR, BOX, reference_leak=1e12)
    assert_allclose(leaking.pressure - sound.pressure, abs(BOX))


def test_an_inch_of_water_is_an_inch_of_water_column() -> None:
    wet = settled(COLLECTOR, BOX, slug=INCH_OF_WATER)
    assert_allclose(settled(COLLECTOR, BOX).pressure - wet.pressure, INCH_OF_WATER)


def test_water_sticks_then_jumps() -> None:
    """A ramp of 100 Pa in 100 s arrives in a few jumps; without water every step moves it."""
    for slug, few in ((0.0, False), (100.0, True)):
        one, seen = settled(-200.0, 0.0, slug=slug), []
        for index in range(1000):
            one.step(0.1, low_side=-200.0 - 0.1 * index, reference=0.0)
            seen.append(one.pressure)
        still = np.abs(np.diff(seen)) < 1e-3
        assert (still.mean() > 0.5) == few
        assert np.abs(np.diff(seen)).max() > 5 if few else np.abs(np.diff(seen)).max() < 0.11
        assert abs(seen[-1] - (299.9 - slug)) < 20.5


def test_a_plugged_port_does_not_follow_the_inducer() -> None:
    draft, one, half = Draft(FLOATS, DraftUnit()), switch(plug=1.0), switch(plug=0.99)
    for index in range(600):
        draft.step(0.1, **(STATES["cold"] | {"command": 0.0 if index > 300 else 1.0}))
        for each in (one, half):
            each.step(0.1, low_side=draft.collector, reference=draft.burner_box)
        assert one.pressure == 0
        assert one.closed == 0
        if index == 50:
            assert 0 < half.pressure < 0.4 * (draft.burner_box - draft.collector)
    frozen = settled(COLLECTOR, BOX)
    frozen.plug = 1.0
    for _ in range(600):
        frozen.step(0.1, low_side=0.0, reference=0.0)
    assert frozen.closed == 1
    assert_allclose(frozen.pressure, BOX - COLLECTOR)


@pytest.mark.parametrize("plug", [0.0, 0.5, 0.6, 0.9])
def test_hose_and_diaphragm_are_two_lags_in_series(plug: float) -> None:
    """Against a general solver of differential equations; with 0.6 both lags are the same."""
    unit = SwitchUnit()
    solved = solve_ivp(
        lambda _, y: [(300 - y[0]) * (1 - plug) / unit.hose_lag, (y[0] - y[1]) / unit.diaphragm_lag],
        (0.0, 0.7),
        [0.0, 0.0],
        rtol=1e-10,
        atol=1e-10,
    )
    for dt, count in ((0.1, 7), (0.05, 14), (0.7, 1)):
        one = switch(plug=plug)
        for _ in range(count):
            one.step(dt, low_side=-300.0, reference=0.0)
        assert_allclose([one.pressure, one._diaphragm], solved.y[:, -1], rtol=1e-5)


def transitions(pressures: Any, dt: float = 0.1, **knobs: Any) -> tuple[int, list[float]]:
    """How often the contact moves, and the pressure at the tap when it does."""
    one, before, at = switch(**knobs), 0.0, []
    for pressure in pressures:
        one.step(dt, low_side=-pressure, reference=0.0)
        if one.closed != before:
            before = one.closed
            at.append(float(pressure))
    return len(at), at


def test_it_closes_at_one_pressure_and_opens_at_a_lower_one() -> None:
    unit, ramp = SwitchUnit(), np.concatenate([np.linspace(0, 150, 15000), np.linspace(150, 0, 15000)])
    count, (closed_at, opened_at) = transitions(ramp)
    assert count == 2
    assert closed_at == pytest.approx(unit.closing, abs=0.2)
    assert opened_at == pytest.approx(unit.opening, abs=0.2)
    _, shifted = transitions(ramp, closing_shift=20.0)
    assert shifted == pytest.approx([unit.closing + 20, unit.opening + 20], abs=0.2)


def test_it_does_not_chatter_within_its_differential() -> None:
    """Noise that crosses a set-point but not both moves it once; slow swings through both move it each time."""
    unit, random = SwitchUnit(), np.random.default_rng(2)
    noisy = unit.closing - 5 + random.uniform(-14, 14, 5000)
    assert transitions(np.concatenate([np.linspace(0, 110, 200), noisy]))[0] == 1
    swings = 95 + 30 * np.sin(2 * np.pi * np.arange(1000) / 100)
    assert transitions(swings)[0] == 20
    fast = 95 + 30 * np.sin(2 * np.pi * np.arange(1000) / 4)
    assert transitions(np.concatenate([np.full(50, 130.0), fast]))[0] == 1, "the lags let no 2.5 Hz through"


def test_contacts_that_fail() -> None:
    assert settled(COLLECTOR, BOX).closed == 1
    assert settled(COLLECTOR, BOX, contact_open=1.0).closed == 0
    assert settled(0.0, 0.0, stuck_closed=1.0).closed == 1
    assert settled(0.0, 0.0).closed == 0
    assert settled(0.0, 0.0, stuck_closed=1.0, contact_open=1.0).closed == 0


def test_arrays_do_as_floats() -> None:
    random, count = np.random.default_rng(3), 50
    knobs = {
        "hose_leak": random.uniform(0, 2, count),
        "reference_leak": random.uniform(0, 2, count),
        "plug": random.uniform(0, 1, count),
        "slug": random.uniform(0, 200, count) * (random.random(count) < 0.5),
        "contact_open": (random.random(count) < 0.2).astype(float),
        "stuck_closed": (random.random(count) < 0.2).astype(float),
        "closing_shift": random.uniform(-30, 30, count),
    }
    together = PressureSwitch(ARRAYS, SwitchUnit(closing=random.uniform(50, 200, count)))
    single = [PressureSwitch(FLOATS, SwitchUnit(closing=float(point))) for point in together.unit.closing]
    for name, values in knobs.items():
        setattr(together, name, values)
        for one, value in zip(single, values.tolist(), strict=True):
            setattr(one, name, value)
    for index in range(200):
        low_side = -200 * math.sin(index / 30) ** 2 - random.uniform(0, 50, count)
        together.step(0.1, low_side=low_side, reference=-20.0)
        for one, value in zip(single, low_side.tolist(), strict=True):
            one.step(0.1, low_side=value, reference=-20.0)
        assert_allclose(together.pressure, [one.pressure for one in single], rtol=1e-12, atol=1e-12)
        assert np.array_equal(together.closed, [one.closed for one in single])


def test_a_step_fits_into_its_time() -> None:
    """Four times the time that a whole plant can spare, for a busy machine."""
    one = switch(slug=20.0)
    taken = min(timeit.repeat(lambda: one.step(0.1, low_side=-200.0, reference=-30.0), number=2000, repeat=5)) / 2e-3
    print(f"a step takes {taken:.2f} us, budget 1.5")  # noqa: T201
    assert taken < 4 * 1.5
