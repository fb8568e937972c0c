"""The draft circuit inside the whole furnace and plant: which tap goes which way, fan laws, stack and wind.

Gas, fire, heat and flue act on it here, so that the figures of the bare circuit do not hold exactly; its signs do.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from analysis.draft_network import stack_pressure
from analysis.units import INCH_OF_WATER
from drivers.simulate.design import Design, built
from drivers.simulate.furnace import Furnace
from drivers.simulate.maths import ARRAYS, FLOATS
from drivers.simulate.parts import Parts
from drivers.simulate.plant import Plant
from tests.drivers.simulate.plant_bench import Kept, typical
from tests.drivers.simulate.test_draft import AIR, OPEN_AT, TABLE, TAPS

Floats = NDArray[np.float64]
NAMES = ("A", "X", "B", "C", "A-X", "A-B", "combustion flow", "vent flow")
ROWS = tuple(tuple(part.strip() for part in row.split("|")[:2]) for row in TABLE)
FLOW = 0.0106
"""Of the unit, to which the table's openings are sized. [kg/s]"""
CLEAR = 2.0
"""Smallest change in the table whose direction is looked at. [%]"""


def figures(row: tuple[str, ...]) -> Floats:
    found = next(text for text in TABLE if tuple(part.strip() for part in text.split("|")[:2]) == row)
    return np.array([float(number) for number in found.split("|")[2].split()])


def change(found: Floats, normal: Floats) -> Floats:
    """Of magnitudes. [%]"""
    return np.asarray(100 * (np.abs(found) / np.abs(normal) - 1))


def many(words: Sequence[str]) -> tuple[Parts, Floats, Floats]:
    """One furnace for each row's words, with its inducer's command and its blower's."""
    n = len(words)
    physical = built(ARRAYS, Design(input=np.full(n, Design().input), height=0.0))
    ones, command, pressure = np.ones(n), np.ones(n), np.full(n, 101325.0)
    knobs = {f"{section}_factor": ones.copy() for section in ("intake", "primary", "secondary", "vent", "speed")}
    openings = {name: np.zeros(n) for name in OPEN_AT}
    for place, row in enumerate(words):
        match row.split():
            case ["normal"]:
                pass
            case ["5000", "ft"]:
                pressure[place] = 84307.0  # ISO 2533 standard atmosphere
            case ["command", share]:
                command[place] = float(share)
            case [name, value, *_] if name in OPEN_AT:
                openings[name][place] = float(value) * FLOW / math.sqrt(AIR * OPEN_AT[name] * INCH_OF_WATER)
            case [name, value]:
                knobs[name][place] = float(value)
    parts = Parts(ARRAYS, replace(physical, pressure=pressure))
    parts.false_air = openings.pop("collector_leak")
    for name, turned in (knobs | openings).items():
        setattr(parts.draft, name, turned)
    blower = np.array([0.0 if row == "exchanger_hole 0.1" else physical.air.high_heat for row in words])
    return parts, command, blower


def look(parts: Parts) -> Floats:
    """Taps in inches of water, their differences, and flows."""
    draft = parts.draft
    a, x, b, c = (np.atleast_1d(getattr(draft, tap)) / INCH_OF_WATER for tap in TAPS)
    return np.array(np.broadcast_arrays(a, x, b, c, a - x, a - b, draft.flow, draft.vent_flow))


def changes(state: str) -> dict[str, Floats]:
    """Of all rows of a state against its normal one, in the whole furnace, at low fire so that none starves. [%]"""
    words = [row[1] for row in ROWS if row[0] == state]
    parts, command, blower = many(words)
    furnace = Furnace(parts)
    hot = state == "hot"
    for step in range(500 if hot else 60):
        lit = float(hot and step > 40)
        blown = blower if not hot else parts.physical.air.high_heat if step > 120 else 0.0
        furnace.fast(0.5, inducer=command, igniter=float(hot and step < 60), valve=lit, high=0.0, blower=blown)
        furnace.slow()
    found = look(parts)
    assert not hot or np.all(parts.fire.flame > 0.99)
    return {word: change(found[:, place], found[:, 0]) for place, word in enumerate(words)}


BLOWER_OFF = ("hot", "exchanger_hole 0.1")
"""No furnace is hot for long with its blower off: the step at its start is looked at instead."""


@pytest.mark.parametrize("row", [row for row in ROWS if row[1] != "normal" and row != BLOWER_OFF], ids=" ".join)
def test_each_tap_goes_the_way_of_the_table(kept: Kept, row: tuple[str, ...]) -> None:
    """Signs of a model of the square law and fan laws with other resistances, and roughly its sizes."""
    state, words = row
    found: Floats = kept(("signs", state), lambda: changes(state))[words]
    expected = change(figures(row), figures((state, "normal")))
    for name, ours, table in zip(NAMES, found, expected, strict=True):
        assert ours == pytest.approx(table, abs=5.0 + 0.25 * abs(table)), name
        if abs(table) > CLEAR:
            assert ours * table > 0, name


def test_step_at_blower_start_marks_a_hole() -> None:
    """Air from the blower takes the place of combustion air: A and X weaken at once, and C grows a little."""
    parts, command, _ = many(["normal", "exchanger_hole 0.1"])
    furnace = Furnace(parts)
    seen = []
    for step in range(460):
        lit = float(step > 200)
        blower = parts.physical.air.high_heat if step > 400 else 0.0
        furnace.fast(0.1, inducer=command, igniter=float(step < 260), valve=lit, high=lit, blower=blower)
        if step % 5 == 4:
            furnace.slow()
        seen.append(look(parts))
    before, after = seen[399], seen[-1]
    step_of = change(after, before)
    assert np.all(np.abs(step_of[:4, 0]) < 4.0), "a sound unit hardly notices"
    extra = step_of[:, 1] - step_of[:, 0]
    assert np.all(extra[:2] < -1.0)
    assert extra[3] > 0.2


def purged(furnace: Furnace, command: float) -> None:
    """With the inducer alone, until its speed stands."""
    for _ in range(80):
        furnace.fast(0.5, inducer=command, igniter=0.0, valve=0.0, high=0.0, blower=0.0)
        furnace.slow()


def fired(furnace: Furnace) -> None:
    """Settled in high stage."""
    for step in range(600):
        lit = float(step > 40)
        blower = furnace.parts.physical.air.high_heat if step > 120 else 0.0
        furnace.fast(0.5, inducer=1.0, igniter=float(step < 60), valve=lit, high=lit, blower=blower)
        furnace.slow()


@pytest.mark.parametrize(("share", "factor"), [(0.85, 0.7225), (0.75, 0.5625), (0.70, 0.49)])
def test_fan_law_of_speed(share: float, factor: float) -> None:
    """All four taps go with the speed squared, the flow with the speed; what the sag of the line takes is speed too."""
    physical = built(FLOATS, Design(height=0.0))
    found = {}
    for command in (1.0, share):
        furnace = Furnace(Parts(FLOATS, physical))
        purged(furnace, command)
        found[command] = (look(furnace.parts)[:, 0], furnace.parts.draft.speed)
    (slow, speed), (fast, full) = found[share], found[1.0]
    assert speed / full == pytest.approx(share, rel=0.005)
    assert_allclose(slow[:6], fast[:6] * (speed / full) ** 2, rtol=1e-6)
    assert_allclose(slow[6:], fast[6:] * speed / full, rtol=1e-6)
    assert_allclose(slow[:6], fast[:6] * factor, rtol=0.01)


@pytest.mark.parametrize(("pressure", "density"), [(84307.0, 0.832), (101325.0 * 1.158, 1.158)])
def test_law_of_density(pressure: float, density: float) -> None:
    """5,000 ft, and air of -20 degC instead of 20: taps and flow by one factor, the density's."""
    physical = built(FLOATS, Design(height=0.0))
    found = []
    for where in (physical, replace(physical, pressure=pressure)):
        furnace = Furnace(Parts(FLOATS, where))
        for _ in range(80):
            furnace.fast(0.5, inducer=1.0, igniter=0.0, valve=0.0, high=0.0, blower=0.0)
            furnace.parts.draft.speed = 1.0
            furnace.slow()
        found.append(look(furnace.parts)[:, 0])
    assert_allclose(found[1], found[0] * density, rtol=1e-3)


def test_cold_intake_air_weakens_the_burner_box() -> None:
    """Intake at -20 degC, rest hot: A is 0.131 in. w.c. instead of 0.150, others within 1 to 2 %, by the same model.

    Here more air makes the gas cooler too, and X less.
    """
    physical = built(FLOATS, Design(height=0.0))
    found = []
    for outdoor in (20.0, 20.0 - 40.0 / 0.7):  # the intake pipe warms its air by 0.3 of the way to the room
        furnace = Furnace(Parts(FLOATS, physical), temp_outdoor=outdoor)
        fired(furnace)
        assert furnace.temp_intake == pytest.approx(20.0 if outdoor == 20.0 else -20.0, abs=0.1)
        found.append(look(furnace.parts)[:, 0])
    shares = found[1] / found[0]
    assert shares[0] == pytest.approx(0.131 / 0.150, abs=0.02)
    assert_allclose(shares[1:4], 1.0, atol=0.045)


def test_stack_of_a_hot_vent() -> None:
    """5 m, -10 degC outdoors, flue gas of 50 degC: 13.8 Pa, arithmetic; a plugged intake at rest shows it all."""
    assert float(stack_pressure(5.0, -10.0, 50.0, 101325.0)) == pytest.approx(13.8, abs=0.05)
    physical = built(FLOATS, Design(efficiency=0.90))
    physical = replace(physical, draft=replace(physical.draft, height=5.0))
    furnace = Furnace(Parts(FLOATS, physical), temp_outdoor=-10.0)
    parts = furnace.parts
    fired(furnace)
    assert parts.flue.vent_temp == pytest.approx(50.0, abs=3.0)
    for _ in range(10):
        furnace.fast(0.1, inducer=0.0, igniter=0.0, valve=0.0, high=0.0, blower=0.0)
        parts.draft.speed, parts.draft.intake_factor = 0.0, 1e12
    for tap in TAPS:
        assert getattr(parts.draft, tap) == pytest.approx(-13.8, rel=0.05)


@pytest.mark.parametrize(("speed", "inches"), [(10.0, 0.26), (15 * 0.44704, 0.12)])
def test_wind_on_a_plant_at_rest(speed: float, inches: float) -> None:
    """Stagnation pressure of 10 m/s is 64.5 Pa, 0.26 in. w.c., of 15 mph 0.12 in. w.c., air of 0 degC: arithmetic."""
    unit = typical(0.0, height=0.0)
    weather = replace(unit.weather, wind=speed, wind_wander=0.0, coefficient_intake=1.0, coefficient_vent=1.0)
    plant = Plant(replace(unit, weather=weather), seed=1, calls=())
    block = plant.advance(5.0)
    for tap in TAPS:
        assert block.values[f"draft_{tap}"][-1] / INCH_OF_WATER == pytest.approx(inches, abs=0.005)
    if speed == 10.0:
        assert block.values["draft_collector"][-1] == pytest.approx(64.5, rel=0.005)


def test_wind_on_the_vent_alone_takes_from_every_tap() -> None:
    """As if the inducer had so much less pressure at rest: comparable with a small switch margin."""
    found: dict[float, Any] = {}
    for coefficient in (0.0, 1.0):
        unit = typical(0.0, height=0.0)
        weather = replace(unit.weather, wind=10.0, wind_wander=0.0, coefficient_intake=0.0)
        weather = replace(weather, coefficient_vent=coefficient)
        plant = Plant(replace(unit, weather=weather), seed=1, calls=((1.0, 90.0, 2),))
        plant.advance(15.0)
        found[coefficient] = (look(plant.parts)[:, 0], plant.parts)
    calm, windy = found[0.0][0], found[1.0][0]
    draft = found[0.0][1].physical.draft
    lost = 1 - 64.5 / (AIR * draft.shutoff * found[0.0][1].draft.speed ** 2)
    assert_allclose(windy[:3], calm[:3] * lost, rtol=0.02)
    assert_allclose(windy[6:], calm[6:] * math.sqrt(lost), rtol=0.02)


def test_typical_hot_taps_are_those_of_the_design() -> None:
    """At the rating, where nothing sags: what the parts were worked out from comes back out of the whole furnace."""
    design = Design()
    physical = built(FLOATS, design)
    physical = replace(physical, electric=replace(physical.electric, line_resistance=0.0))
    furnace = Furnace(Parts(FLOATS, physical))
    fired(furnace)
    for tap in TAPS:
        assert getattr(furnace.parts.draft, tap) == pytest.approx(getattr(design, tap), rel=0.01)
