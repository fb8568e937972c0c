"""A visit in front of one unit: which weather, which calls, so that what is wrong can be seen."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from drivers.simulate.causes import Cause
from drivers.simulate.humidifier import HumidifierUnit
from drivers.simulate.plant import STEP, Plant
from drivers.simulate.unit import PUMP_SHARE, Unit, heat_pump_of

BY_THERMOSTAT = frozenset({"lockouts_misset", "heat_pump_weak"})
"""Causes that only show where the thermostat chooses between furnace and heat pump."""
CALL_BEGINS, LOW_STAGE, CALL_ENDS = 10.0, 180.0, 240.0
"""A bench call: when it begins, how long it asks for the first stage only, how long before the end it ends. [s]"""

ROUND = 1200.0
"""Without an end the bench calls again each time after so long. [s]"""
SHORT = 420.0
"""The same where something comes and goes: so many starts see more of it. [s]"""
DAMP = 0.42
"""Least humidity of the rooms where a humidifier has run too long for a while. [1]"""


def prepared(
    unit: Unit,
    causes: Sequence[Cause],
    *,
    seed: int,
    minutes: float | None = None,
    step: float = STEP,
    bench: bool | None = None,
) -> Plant:
    """The plant of a visit of so many minutes, or in rounds without an end.

    Its `unit` has all that the causes can be seen at.

    bench : calls come from the technician; else from the thermostat, in a weather in which both kinds of heat have
        their turn. None: as the causes need it.
    """
    names = {cause.cause for cause in causes}
    if bench is None:
        bench = not names & BY_THERMOSTAT
    unit = fitted(unit, names)
    if bench and minutes is None:
        return Plant(unit, causes, seed=seed, calls=bench_calls(ROUND), repeat=ROUND, step=step)
    if bench and minutes is not None and any(cause.course == "intermittent" for cause in causes):
        return Plant(unit, causes, seed=seed, calls=bench_calls(SHORT), repeat=SHORT, step=step)
    if bench and minutes is not None:
        return Plant(unit, causes, seed=seed, calls=bench_calls(minutes * 60.0), step=step)
    thermostat = unit.thermostat
    between = 0.5 * (thermostat.compressor_lockout + thermostat.auxiliary_lockout)
    mean = thermostat.compressor_lockout + 3.0 if "heat_pump_weak" in names else between
    unit = replace(unit, weather=replace(unit.weather, temp_mean=mean, swing=1.0, wander=0.5))
    return Plant(unit, causes, seed=seed, step=step)


def fitted(unit: Unit, causes: Collection[str]) -> Unit:
    """The unit with a typical heat pump or humidifier where a cause is about one and it has none."""
    if BY_THERMOSTAT.intersection(causes) and unit.heat_pump is None:
        pump = heat_pump_of(PUMP_SHARE * unit.physical.design.input)
        thermostat = replace(unit.thermostat, dual_fuel=True)
        papers = replace(
            unit.papers,
            capacity_47=pump.capacity_47,
            capacity_17=pump.capacity_17,
            compressor_lockout=thermostat.compressor_lockout,
            auxiliary_lockout=thermostat.auxiliary_lockout,
        )
        unit = replace(unit, heat_pump=pump, thermostat=thermostat, papers=papers)
    if "humidifier_overrun" in causes:
        unit = replace(unit, humidity=max(unit.humidity, DAMP))
    if "humidifier_overrun" in causes and unit.humidifier is None:
        papers = replace(unit.papers, humidifier_setting=unit.thermostat.humidity_setting)
        unit = replace(unit, humidifier=HumidifierUnit(), papers=papers)
    return unit


def bench_calls(seconds: float) -> tuple[tuple[float, float, int], ...]:
    """First stage and then both, with time at the end to see the unit stop. [s]"""
    end = max(seconds - CALL_ENDS, CALL_BEGINS + 60.0)
    staged = min(CALL_BEGINS + LOW_STAGE, 0.5 * (CALL_BEGINS + end))
    return ((CALL_BEGINS, staged, 1), (staged, end, 2))
