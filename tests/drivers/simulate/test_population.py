"""Hundreds of healthy units one by one and thousands at once: none trips; both ways of computing are one physics."""

from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.diagnosis.causes import CAUSES
from drivers.simulate.design import Design, built, outdoors
from drivers.simulate.draws import KINDS, Draw, Kind, drawn
from drivers.simulate.faults import act
from drivers.simulate.furnace import Furnace
from drivers.simulate.maths import ARRAYS, FLOATS, Maths
from drivers.simulate.parts import Parts
from drivers.simulate.plant import Plant
from drivers.simulate.population import POINTS, STATES, Features, features, run
from drivers.simulate.unit import random_unit

Floats = NDArray[np.float64]
SCALAR, ARRAY = 300, 2000
NUMBER = {point: number for number, point in enumerate(POINTS)}


@pytest.fixture(scope="module")
def healthy() -> Features:
    return features(ARRAY, 7, ("none",))


def test_none_of_thousands_trips_and_all_have_values(healthy: Features) -> None:
    assert healthy.values.shape == (ARRAY, len(STATES), len(POINTS))
    assert healthy.reached.all()
    assert np.isfinite(healthy.values).all()
    assert set(healthy.cause) == {"none"}
    assert not healthy.severity.any()


def test_thousands_show_what_their_baselines_say(healthy: Features) -> None:
    """Taps in high stage, each within what colder air, its wind-free vent and a sagging line make of them."""
    taps = [NUMBER[f"draft_{tap}"] for tap in ("burner_box", "transition", "collector", "vent")]
    found = healthy.values[:, STATES.index("high"), taps]
    shares = found / healthy.baseline
    assert np.all(shares[:, 0] > 0.7)
    assert np.all(shares[:, 0] < 1.05)
    assert np.all(np.abs(shares[:, 1:3] - 1.0) < 0.12)


def test_thousands_are_where_the_trade_expects_them(healthy: Features) -> None:
    """Windows of the trade in high stage: oxygen 5 to 9 %, little carbon monoxide, flue 90 to 140 F, 1 to 6 uA."""
    high = healthy.values[:, STATES.index("high")]
    windows = {
        "flue_o2": (0.04, 0.09),
        "flue_co": (0.0, 100e-6),
        "temp_flue": (30.0, 60.0),
        "flame_current": (1e-6, 6e-6),
        "temp_supply": (35.0, 77.0),
        "volts_control": (22.0, 29.0),
        "static_supply": (10.0, 125.0),
    }
    for point, (low, most) in windows.items():
        assert low < np.min(high[:, NUMBER[point]]), point
        assert np.max(high[:, NUMBER[point]]) < most, point


def test_switches_of_thousands_have_margin_in_every_state(healthy: Features) -> None:
    """Above their closing points, low stage cold and hot, high stage hot."""
    for state, point, place in (
        ("purge", "draft_switch", 0),
        ("low", "draft_switch", 0),
        ("high", "draft_switch_high", 2),
    ):
        margin = healthy.values[:, STATES.index(state), NUMBER[point]] - healthy.switch[:, place]
        assert np.all(margin > 0.0), state
    assert np.all(healthy.switch[:, 0] > healthy.switch[:, 1])


def test_none_of_hundreds_trips_with_its_control_and_its_wind() -> None:
    """Each through light-off and stage-up, with twice the usual step, which changes nothing that is measured."""
    for seed in range(SCALAR):
        unit = random_unit(1000 + seed)
        timing = replace(unit.control.timing, prepurge=0.0, blower_on_delay=0.0)
        plant = Plant(
            replace(unit, control=replace(unit.control, timing=timing)), seed=seed, calls=((0.5, 1e6, 2),), step=0.2
        )
        block = plant.advance(38.0)
        assert plant.control.phase == "run_high", (seed, plant.events)
        assert plant.attempts == [], (seed, plant.events)
        assert all(np.isfinite(column).all() for column in block.values.values()), seed
        assert block.values["limit_closed"].all()


# Floats and arrays


def pick(value: Any, place: int) -> Any:
    """One unit out of a part's parameters of many."""
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{field.name: pick(getattr(value, field.name), place) for field in fields(value)})
    if isinstance(value, tuple):
        return tuple(pick(one, place) for one in value)
    return float(value[place]) if isinstance(value, np.ndarray) and value.ndim else value


def states(furnace: Furnace) -> dict[str, Any]:
    """Everything numeric that a furnace shows."""
    parts = furnace.parts
    owners = (
        *(parts.draft, parts.water, parts.switch, parts.switch_high, parts.gas, parts.fire, parts.flue, parts.heat),
        *(parts.air, parts.ducts, parts.limit, parts.electric),
    )
    found = {}
    for number, owner in enumerate(owners):
        for name in dir(owner):
            value = None if name.startswith("_") else getattr(owner, name)
            if isinstance(value, float | int | np.ndarray):
                found[f"{number} {type(owner).__name__}.{name}"] = value
    return found


def advance(furnace: Furnace, high_heat: Any) -> None:
    """Purge, light-off, low and high stage, stop, in steps of which five make a long one."""
    schedule = (
        *((40, 1.0, 0.0, 0.0, 0.0), (60, 1.0, 1.0, 0.0, 0.0), (20, 1.0, 1.0, 1.0, 0.0), (60, 1.0, 0.0, 1.0, 0.7)),
        *((120, 1.0, 0.0, 1.0, 1.0), (40, 0.0, 0.0, 0.0, 1.0)),
    )
    count = 0
    for steps, inducer, igniter, valve, blower in schedule:
        for _ in range(steps):
            count += 1
            furnace.fast(
                0.2, inducer=inducer, igniter=igniter, valve=valve, high=float(blower == 1.0), blower=blower * high_heat
            )
            if count % 5 == 0:
                furnace.slow()


def furnace_after_a_run(m: Maths, design: Design, severities: dict[str, Any], outdoor: Any) -> Furnace:
    physical = outdoors(built(m, design), outdoor)
    parts = Parts(m, physical)
    act(parts, severities)
    furnace = Furnace(parts, temp_outdoor=outdoor)
    advance(furnace, physical.air.high_heat)
    return furnace


@pytest.mark.parametrize(("kind", "together"), [*((kind, 1) for kind, _ in KINDS), (KINDS[0][0], 6)])
def test_arrays_and_floats_are_one_physics(kind: Kind, together: int) -> None:
    """The same designs with the same causes over a run, both built and run by each way of computing.

    One in an array to 1e-9; several to 1e-6, as none stops searching for its draft before all have found it.
    """
    designs = drawn(Draw.many(np.random.default_rng(3), together), kind)
    generator = np.random.default_rng(5)
    severities: dict[str, Floats] = {cause: np.zeros(together) for cause in CAUSES}
    for place in range(together):
        for cause in generator.choice(CAUSES[1:], 3, replace=False):
            severities[cause][place] = 0.3
    cold = np.full(together, -6.0)
    expected = states(furnace_after_a_run(ARRAYS, designs, severities, cold))
    for place in range(together):
        own = {cause: float(values[place]) for cause, values in severities.items()}
        found = states(furnace_after_a_run(FLOATS, pick(designs, place), own, -6.0))
        assert found.keys() == expected.keys()
        for name, value in found.items():
            other = float(np.broadcast_to(expected[name], together)[place])
            close = 1e-9 if together == 1 else 1e-6
            assert value == pytest.approx(other, rel=close, abs=1e-3 * close, nan_ok=True), name


def test_run_takes_any_mixture_and_says_who_came_how_far() -> None:
    """A dead inducer proves nothing, an open limit lets nothing run, and sound neighbours are alike."""
    n = 5
    physical = built(ARRAYS, Design(input=np.full(n, Design().input)))
    causes = {
        "inducer_weak": np.array([0.0, 1.0, 0.0, 0.0, 0.0]),
        "limit_faulty": np.array([0.0, 0.0, 1.0, 0.0, 0.0]),
        "flame_sensor_weak": np.array([0.0, 0.0, 0.0, 0.9, 0.0]),
    }
    values, reached = run(physical, causes, np.zeros(n))
    assert reached.tolist() == [
        [True, True, True, True],
        [True, False, False, False],
        [True, True, False, False],
        [True, True, False, False],
        [True, True, True, True],
    ]
    assert np.isfinite(values).all()
    np.testing.assert_array_equal(values[0], values[4])
