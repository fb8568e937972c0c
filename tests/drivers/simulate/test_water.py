"""Condensate in the simulator: nothing is lost, a free drain never floods, a blocked one does and recovers."""

import math
import timeit
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from analysis.draft_network import GRAVITY
from analysis.units import INCH_OF_WATER
from drivers.simulate.draft import Draft, DraftUnit
from drivers.simulate.maths import ARRAYS, FLOATS
from drivers.simulate.switches import PressureSwitch, SwitchUnit
from drivers.simulate.water import Water, WaterUnit
from tests.drivers.simulate.test_draft import STATES

RATED = 6e-4
"""Most condensate of 80 kBtu/h: an independent calculation's 5.8 lb/h for 100 kBtu/h, flue gas at 100 degF. [kg/s]"""
SUCTION, FLOW = 1.25 * INCH_OF_WATER, 0.0114
OUTPUTS = ("level", "flooding", "port_head", "slug", "slosh", "drained", "stored", "leak_area")


def water(**knobs: Any) -> Water:
    one = Water(FLOATS, WaterUnit())
    for name, value in knobs.items():
        setattr(one, name, value)
    return one


def run(one: Water, seconds: float, dt: float = 0.5) -> list[float]:
    """High stage; the level at every step. [m]"""
    levels = []
    for _ in range(round(seconds / dt)):
        one.step(dt, condensate=RATED, suction=SUCTION, vent_flow=FLOW)
        levels.append(one.level)
    return levels


def rest(one: Water, seconds: float, dt: float = 0.5) -> list[float]:
    """Nothing runs; the level at every step. [m]"""
    levels = []
    for _ in range(round(seconds / dt)):
        one.step(dt, condensate=0.0, suction=0.0, vent_flow=0.0)
        levels.append(one.level)
    return levels


@pytest.mark.parametrize("factor", [1.0, 0.1, 0.0])
def test_no_water_is_lost_or_made(factor: float) -> None:
    one = water(drain_factor=factor)
    first, came, went = one.stored, 0.0, 0.0
    for index in range(20000):
        firing = math.sin(index / 400) > -0.3
        given = {
            "condensate": RATED * firing,
            "suction": SUCTION * firing * (1 + 0.2 * math.sin(index)),
            "vent_flow": 0.01,
        }
        one.step(0.5, **given)
        came, went = came + 0.5 * given["condensate"], went + 0.5 * one.drained
    assert came > 3
    assert first + came - went == pytest.approx(one.stored, rel=1e-9)


def test_suction_holds_the_water_up_by_its_own_height() -> None:
    one = water()
    run(one, 3600)
    unit = one.unit
    expected = -unit.weir + SUCTION / (1000 * GRAVITY) + RATED / unit.trap + RATED / unit.drain
    assert one.level == pytest.approx(expected, abs=1e-4)
    rest(one, 3600)
    assert one.level == pytest.approx(-unit.weir, abs=1e-4)


@pytest.mark.parametrize("suction", [0.3, 1.25, 2.15])
def test_a_free_drain_never_floods(suction: float) -> None:
    """With the suctions from low stage to a nearly shut intake [in. w.c.], over two hours of high fire."""
    one = water()
    for _ in range(14400):
        one.step(0.5, condensate=RATED, suction=suction * INCH_OF_WATER, vent_flow=FLOW)
        assert one.level < 0
        assert [one.flooding, one.port_head, one.slug, one.slosh] == [0, 0, 0, 0]
    assert one.drained == pytest.approx(RATED, rel=1e-6)


@pytest.mark.parametrize("factor", [0.0, 0.05, 0.1])
def test_a_choked_drain_floods_with_run_time_and_recovers_at_rest(factor: float) -> None:
    one = water(drain_factor=factor)
    levels = run(one, 1800)
    assert (np.diff(levels) >= -1e-12)[120:].all()
    assert levels[-1] > one.unit.tubes
    assert one.flooding > 0
    fallen = rest(one, 3 * 3600)
    assert (np.diff(fallen) <= 1e-12)[240:].all()
    assert fallen[-1] < one.unit.tubes
    assert one.flooding == one.port_head == one.slosh == 0
    assert one.slug < 1e-3


def test_the_more_it_is_choked_the_higher_it_stands() -> None:
    levels = [run(water(drain_factor=factor), 1800)[-1] for factor in (1, 0.3, 0.15, 0.1, 0.05, 0)]
    assert (np.diff(levels) > 0).all()


def test_a_blocked_drain_reads_stronger_then_drowns_the_port_and_comes_back_after_a_rest() -> None:
    """The plant in small: inducer, water and a switch at the collector; water holds the fire off when it opens."""
    draft, one, switch = (
        Draft(FLOATS, DraftUnit()),
        water(drain_factor=0.0),
        PressureSwitch(FLOATS, SwitchUnit(240, 210)),
    )
    proved, opened, rows = math.nan, math.nan, []
    for index in range(72000):
        now = 0.1 * index
        calling = math.isnan(opened) or now > opened + 3600
        given = STATES["hot"] | {"command": float(calling), "flooding": one.flooding}
        draft.step(0.1, **given)
        switch.slug = one.port_head + one.slug
        switch.step(0.1, low_side=draft.collector, reference=draft.burner_box)
        if index % 5 == 0:
            made = RATED * switch.closed * calling
            one.step(0.5, condensate=made, suction=max(-draft.collector, 0.0), vent_flow=draft.vent_flow)
        if switch.closed and math.isnan(proved):
            proved = now
        if not switch.closed and now > 60 and math.isnan(opened):
            opened = now
        rows.append([now, draft.collector, draft.vent, switch.pressure, one.level, switch.closed])
    time, collector, vent, pressure, level, closed = np.array(rows).T
    assert proved < 10
    assert 300 < opened < 3600
    early, late = 600, int(opened * 10) - 50
    strongest = int(np.argmin(collector[:late]))
    assert time[strongest] > 300
    assert collector[strongest] < 1.1 * collector[early]
    assert vent[strongest] < vent[early]
    assert pressure[:late].max() > 1.05 * pressure[early]
    assert int(np.argmax(pressure[:late])) < late - 100, "the port drowns after the strongest reading"
    assert level[late] > one.unit.port
    again = time > opened + 3600 + 60
    assert closed[again][0] == 1, "an hour later it proves again"
    assert level[again][0] < level[late]


def test_a_slug_stays_in_the_hose() -> None:
    one = water(drain_factor=0.0)
    while one.port_head < 50:
        run(one, 1.0)
    run(one, 60)
    full = one.slug
    assert 0.9 * min(1.5 * one.port_head, one.unit.slug_most) < full <= one.unit.slug_most
    one.drain_factor = 1.0
    while one.port_head > 0:
        rest(one, 0.5)
    left = one.slug
    assert left > 0
    rest(one, one.unit.slug_drain)
    assert one.slug == pytest.approx(left * math.exp(-1), rel=0.01)


def test_slugging_grows_with_level_and_flow() -> None:
    def noise(seconds: float, flow: float) -> float:
        one = water(drain_factor=0.0)
        run(one, seconds)
        one.step(0.5, condensate=RATED, suction=SUCTION, vent_flow=flow)
        return float(one.slosh)

    assert noise(10, FLOW) == 0
    assert 0 < noise(300, FLOW) < noise(360, FLOW) < noise(420, FLOW) <= WaterUnit().slosh
    assert noise(1800, FLOW) == WaterUnit().slosh
    assert noise(420, FLOW / 2) == pytest.approx(noise(420, FLOW) / 4)


def test_a_dry_trap_gives_false_air() -> None:
    """A bore of 12.7 mm lets in a fifth of the flow: combustion flow falls, vent flow and pressure rise."""
    one = water(trap_dry=1.0)
    rest(one, 0.5)
    sound, leaking = Draft(FLOATS, DraftUnit()), Draft(FLOATS, DraftUnit())
    leaking.collector_leak = one.leak_area
    for each in (sound, leaking):
        each.step(1000.0, **STATES["hot"])
    assert 0.1 < leaking.collector_leak_flow / sound.flow < 0.3
    assert leaking.flow < 0.95 * sound.flow
    assert leaking.vent > 1.1 * sound.vent
    assert leaking.collector > sound.collector
    bore = 0.6 * math.pi / 4 * 0.0127**2 * math.sqrt(2)
    assert one.leak_area == pytest.approx(bore, rel=0.03)
    wet = water()
    rest(wet, 0.5)
    assert wet.leak_area == 0


def test_it_stays_bounded_whatever_comes() -> None:
    one = water(drain_factor=0.0)
    for _ in range(40000):
        one.step(0.5, condensate=2e-3, suction=1500.0, vent_flow=FLOW)
    assert one.level < one.unit.brim + 0.03
    assert one.flooding == 0.95
    assert one.slug <= one.unit.slug_most


def test_more_suction_than_the_seal_holds_up_no_more_water() -> None:
    levels = []
    for depth in (WaterUnit().seal, 2 * WaterUnit().seal):
        one = water()
        for _ in range(3600):
            one.step(0.5, condensate=RATED, suction=1000 * GRAVITY * depth, vent_flow=FLOW)
        levels.append(one.level)
    assert levels[0] == levels[1]


@pytest.mark.parametrize("factor", [1.0, 0.08, 0.0])
def test_levels_as_a_general_solver_finds_them_with_any_step(factor: float) -> None:
    unit = WaterUnit()
    drain = unit.seep + (unit.drain - unit.seep) * factor
    depth = unit.weir + unit.seal

    def level(volume: Any) -> Any:
        above = volume - unit.leg_area * depth
        return above / unit.box_area if above > 0 else volume / unit.leg_area - depth

    def rates(time: float, y: Any) -> list[float]:
        firing = time < 1200
        behind = y[1] / unit.drain_area - unit.seal
        through = unit.trap * (level(y[0]) - SUCTION * firing / (1000 * GRAVITY) - behind + unit.weir)
        out = drain * max(behind, 0.0)
        return [(RATED * firing - through) / 1000, (through - out) / 1000]

    start = [unit.leg_area * unit.seal, unit.drain_area * unit.seal]
    options = {"rtol": 1e-9, "atol": 1e-12, "max_step": 1.0}
    first = solve_ivp(rates, (0.0, 1200.0 - 1e-9), start, t_eval=[60.0, 1200.0 - 1e-9], **options)
    second = solve_ivp(rates, (1200.0, 1800.0), first.y[:, -1], t_eval=[1230.0, 1800.0], **options)
    expected = [level(volume) for volume in (*first.y[0], *second.y[0])]
    for dt in (0.25, 0.5, 1.0):
        one = water(drain_factor=factor)
        levels = [0.0, *run(one, 1200, dt), *rest(one, 600, dt)]
        found = [levels[round(seconds / dt)] for seconds in (60, 1200, 1230, 1800)]
        assert_allclose(found, expected, rtol=0, atol=3e-5 * dt**2)


def test_arrays_do_as_floats() -> None:
    random, count = np.random.default_rng(5), 30
    unit = WaterUnit(port=random.uniform(0.01, 0.03, count))
    together = Water(ARRAYS, unit)
    together.drain_factor = random.uniform(0, 1, count) * (random.random(count) < 0.5)
    together.trap_dry = random.uniform(0, 1, count)
    single = [Water(FLOATS, replace(unit, port=float(port))) for port in unit.port]
    for one, factor, dry in zip(single, together.drain_factor.tolist(), together.trap_dry.tolist(), strict=True):
        one.drain_factor, one.trap_dry = factor, dry
    for index in range(2400):
        firing = float(index % 2000 < 1700)
        given = {"condensate": RATED * firing, "suction": SUCTION * firing, "vent_flow": FLOW * firing}
        together.step(0.5, **given)
        for one in single:
            one.step(0.5, **given)
    for name in OUTPUTS:
        assert_allclose(getattr(together, name), [getattr(one, name) for one in single], rtol=1e-12, atol=1e-15)
    assert np.ptp(together.level) > 0.02


def test_a_step_fits_into_its_time() -> None:
    """Four times the time that a whole plant can spare, for a busy machine."""
    one = water(drain_factor=0.05)
    taken = min(timeit.repeat(lambda: run(one, 0.5), number=2000, repeat=5)) / 2e-3
    print(f"a step takes {taken:.2f} us, budget 3")  # noqa: T201
    assert taken < 4 * 3
