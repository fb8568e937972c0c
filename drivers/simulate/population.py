"""Thousands of units at once, each with its cause, taken through the states of a run: what a diagnosis learns from."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.causes import CAUSES
from drivers.simulate.design import Design, Physical, built, outdoors
from drivers.simulate.draws import KINDS, Draw, Kind, drawn
from drivers.simulate.faults import act
from drivers.simulate.furnace import Furnace
from drivers.simulate.maths import ARRAYS
from drivers.simulate.parts import Parts
from drivers.simulate.points import FULL_SPEED

Floats = NDArray[np.float64]

STATES = ("rest", "purge", "low", "high")
"""At rest, cold prepurge in low stage, hot in low stage, hot in high stage."""
POINTS = (
    "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high gas_inlet gas_manifold"
    " static_return static_supply temp_return temp_supply temp_supply_2 temp_outdoor temp_flue flame_current"
    " volts_control volts_line volts_line_neutral_ground amps_inducer amps_blower amps_igniter speed_inducer"
    " flue_o2 flue_co2 flue_co"
).split()
"""What is taken at each state, in the points' inside units; of the igniter its current when warm, once it was on."""
STEP = 1.0
"""[s]"""
LEAST_FLAME = 0.5e-6
"""Flame current that a control takes for a flame; common practice, no published source. [A]"""
_SCHEDULE = (
    ("rest", 4, {"inducer": 0.0}),
    ("purge", 20, {"inducer": 1.0}),
    ("", 20, {"inducer": 1.0, "igniter": 1.0}),
    ("", 6, {"inducer": 1.0, "igniter": 1.0, "valve": 1.0}),
    ("", 30, {"inducer": 1.0, "valve": 1.0}),
    ("low", 300, {"inducer": 1.0, "valve": 1.0, "blower": 1.0}),
    ("high", 600, {"inducer": 2.0, "valve": 1.0, "high": 1.0, "blower": 2.0}),
)
"""State at whose end it looks, seconds, and what is on; inducer and blower 1 in low stage, 2 in high."""


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """What many units show in the states of a run."""

    values: Floats
    """(n, states, points), NaN in a state that the unit does not reach. [inside unit of the point]"""
    reached: NDArray[np.bool_]
    """(n, states) whether its switches, its flame, limit and roll-out let it come so far."""
    cause: NDArray[np.str_]
    """(n,) of `CAUSES`."""
    severity: Floats
    """(n,) 0 for `none`. [1]"""
    baseline: Floats
    """(n, 4) taps of the same unit when good, hot, high stage, as `analysis.model.Baseline`. [Pa]"""
    switch: Floats
    """(n, 4) closing and opening point of the low switch, then of the high one. [Pa]"""


def features(n: int, seed: int, causes: Sequence[str] = CAUSES) -> Features:
    """Features of `n` units drawn from the population, each with one of the causes; the same for the same seed.

    Causes whose trace lies in time, in the house or in the wind (`no_call` below 0.99, `lockouts_misset`,
    `heat_pump_weak`, `humidifier_overrun`, `control_board_faulty`, `switch_stuck_closed`, `other`) leave these states
    as they are.
    """
    generator = np.random.default_rng(seed)
    shares = np.array([share for _, share in KINDS])
    which = generator.choice(len(KINDS), n, p=shares / shares.sum())
    parts = [
        _of_kind(kind, int(np.sum(which == number)), generator, causes)
        for number, (kind, _) in enumerate(KINDS)
        if np.any(which == number)
    ]
    return Features(*(np.concatenate([getattr(part, name) for part in parts]) for name in Features.__slots__))


def _of_kind(kind: Kind, n: int, generator: np.random.Generator, causes: Sequence[str]) -> Features:
    design = drawn(Draw.many(generator, n), kind)
    physical = built(ARRAYS, design)
    names = generator.choice(list(causes), n)
    severity = np.where(names == "none", 0.0, generator.uniform(0.1, 1.0, n))
    outdoor = generator.uniform(-20.0, 8.0, n)
    physical = outdoors(physical, outdoor)
    values, reached = run(physical, {cause: severity * (names == cause) for cause in causes}, outdoor)
    return Features(
        values=np.where(reached[:, :, None], values, np.nan),
        reached=reached,
        cause=names,
        severity=severity,
        baseline=_columns(design, "burner_box transition collector vent"),
        switch=np.stack(
            [
                physical.switch.closing,
                physical.switch.opening,
                physical.switch_high.closing,
                physical.switch_high.opening,
            ],
            axis=1,
        ),
    )


def _columns(design: Design, names: str) -> Floats:
    return np.stack([np.asarray(getattr(design, name), np.float64) for name in names.split()], axis=1)


def run(physical: Physical, severities: dict[str, Floats], outdoor: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Take units through the states: values (n, states, points), also past a trip, and which states they reach.

    physical : with arrays (n,). severities : (n,) of each cause. outdoor : (n,) temperature. [degC]
    """
    parts = Parts(ARRAYS, physical)
    act(parts, severities)
    parts.electric.power = parts.electric.power * (1.0 - parts.power_lost)
    furnace = Furnace(parts, temp_outdoor=outdoor)
    n = len(outdoor)
    values, reached = np.full((n, len(STATES), len(POINTS)), np.nan), np.zeros((n, len(STATES)), bool)
    goes_on = parts.call_lost < 0.99
    low, one_stage = physical.draft.low_speed, physical.design.stages < 2
    glowing: Floats | float = 0.0
    speeds, blowers = (0.0, low, 1.0), (0.0, physical.air.low_heat, physical.air.high_heat)
    for state, seconds, on in _SCHEDULE:
        inducer, blower = speeds[int(on.get("inducer", 0))], blowers[int(on.get("blower", 0))]
        valve, high = on.get("valve", 0.0), on.get("high", 0.0)
        for second in range(round(seconds / STEP)):
            furnace.fast(STEP, inducer=inducer, igniter=on.get("igniter", 0.0), valve=valve, high=high, blower=blower)
            furnace.slow()
            parts.ducts.step(
                STEP,
                air_flow=parts.heat.leaving_flow,
                temp_leaving=furnace.temp_coil,
                temp_stream=parts.heat.temp_stream,
                temp_room=furnace.temp_room,
                temp_around=furnace.temp_room,
                ratio=furnace.ratio_entering,
            )
            furnace.temp_entering = parts.ducts.temp_entering
            if inducer is not speeds[0] and (second > _SETTLED or valve):
                goes_on = goes_on & (parts.switch.closed > 0) & (furnace.rollout_closed > 0)
            if blower is not blowers[0] or (valve and not on.get("igniter")):
                goes_on = goes_on & (parts.limit.closed > 0) & (parts.fire.flame_current > LEAST_FLAME)
            if high and second > _SETTLED:
                goes_on = goes_on & ((parts.switch_high.closed > 0) | one_stage)
        glowing = parts.fire.amps_igniter if on.get("igniter") and not valve else glowing
        if state:
            place = STATES.index(state)
            reached[:, place] = goes_on if state != "rest" else True
            values[:, place] = np.stack([np.broadcast_to(value, n) for value in _look(furnace, glowing)], axis=1)
    return values, reached


_SETTLED = 15
"""Time for the inducer to come to its speed. [s]"""


def _look(furnace: Furnace, glowing: Floats | float) -> tuple[Floats | float, ...]:
    """Of `POINTS`, now; the igniter's current [A] is that at the end of its warm-up."""
    parts = furnace.parts
    draft, gas, air, ducts, electric = parts.draft, parts.gas, parts.air, parts.ducts, parts.electric
    fire, flue = parts.fire, parts.flue
    return (
        *(draft.burner_box, draft.transition, draft.collector, draft.vent),
        *(parts.switch.pressure, parts.switch_high.pressure, gas.inlet, gas.manifold),
        *(air.static_return, air.static_supply, ducts.temp_return, ducts.temp_supply, ducts.temp_supply_2),
        *(furnace.temp_outdoor, furnace.temp_flue, fire.flame_current),
        *(electric.volts_control, electric.volts_line, electric.volts_line_neutral_ground),
        *(electric.amps_inducer, electric.amps_blower, glowing, FULL_SPEED * draft.speed),
        *(flue.vent_o2, flue.vent_co2, flue.vent_co),
    )
