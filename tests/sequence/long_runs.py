"""Long recordings: healthy units over hours in winter, and a day of everything at 10 Hz."""

from dataclasses import replace
from functools import cache

import numpy as np

from analysis.model import Channel, Series
from analysis.points import measure_of
from analysis.units import to_inside
from drivers.simulate.instruments import Observer
from drivers.simulate.meters import Meter, standard_meters
from drivers.simulate.plant import Plant
from drivers.simulate.scenario import bench_calls, prepared
from drivers.simulate.unit import Unit, random_unit
from tests.sequence.recordings import EPOCH, Recorded
from tests.sequence.truths import attempts_of, cut

SIXTEEN = (
    "draft_switch draft_collector gas_manifold flame_current temp_supply temp_return amps_inducer amps_blower"
    " static_supply volts_control call_heat call_heat_2 switch_closed limit_closed gas_valve blower_on"
).split()
RATE = 10.0
"""Of each channel of the long one. [Hz]"""
DRY = 0.2
"""Relative humidity of the rooms. [1]"""
ROUND = 1200.0
"""One call and the rest after it. [s]"""


def healthy(seed: int, hours: float) -> Recorded:
    """A furnace in order that heats its house in winter, called by its thermostat, seen by good meters.

    The rooms are dry: in a damp house a window below its dew point is no false alarm.
    """
    unit = random_unit(seed)
    thermostat = replace(unit.thermostat, dual_fuel=False)
    alone = replace(unit, heat_pump=None, humidifier=None, humidity=DRY, thermostat=thermostat)
    return observed(Plant(alone, seed=seed), alone, standard_meters(Plant(alone).points), seed, 3600.0 * hours)


def observed(plant: Plant, unit: Unit, meters: tuple[Meter, ...], seed: int, seconds: float) -> Recorded:
    """What these meters show of a plant for so long."""
    observer = Observer(meters, seed)
    parts: dict[str, tuple[Channel, list[np.ndarray], list[np.ndarray]]] = {}
    ran = 0.0
    while ran < seconds - 1e-6:
        step = min(600.0, seconds - ran)
        ran += step
        for one in observer.observe(plant.advance(step)).readings:
            scale, offset = to_inside(one.channel.unit, measure_of(one.channel.point))
            _, times, values = parts.setdefault(one.channel.key, (one.channel, [], []))
            times.append(one.time / 1e9 + EPOCH)
            values.append(one.value * scale + offset)
    plant.finish()
    series = tuple(Series(one, np.concatenate(times), np.concatenate(values)) for one, times, values in parts.values())
    truth = cut(attempts_of(plant.attempts, lambda time: EPOCH + time), EPOCH, EPOCH + seconds)
    about = {"kit": "full", "causes": [], "spoiled": [], "job": "whole"}
    return Recorded(seed, series, unit.papers.timing, unit.papers.plate, truth, EPOCH, EPOCH + seconds, about)


@cache
def one_round() -> Recorded:
    """One call of a healthy unit with sixteen channels, all read ten times a second."""
    unit = random_unit(4)
    plant = prepared(unit, (), seed=4, minutes=ROUND / 60.0)
    timing, rest = plant.unit.papers.timing, ROUND - bench_calls(ROUND)[-1][1]
    assert timing.post_purge + timing.blower_off_delay < rest, "the unit has come to rest before the next round"
    meters = tuple(
        replace(meter, rate=RATE, inputs=tuple(entry for entry in meter.inputs if entry.point in SIXTEEN))
        for meter in standard_meters(plant.points)
        if any(entry.point in SIXTEEN for entry in meter.inputs)
    )
    found = observed(plant, unit, meters, 4, ROUND)
    assert len(found.series) == len(SIXTEEN)
    return found


def tiled(hours: float, *, apart: bool = False) -> Recorded:
    """The round again and again, each time with noise of its own where something is measured.

    apart : every channel has a clock of its own, none of which beats with another's.
    """
    part, times = one_round(), round(3600.0 * hours / ROUND)
    rows = round(ROUND * RATE)
    grid = EPOCH + np.arange(1, times * rows + 1) / RATE
    generator = np.random.default_rng(9)
    series = []
    for one in part.series:
        place = np.minimum(np.searchsorted(one.time, EPOCH + np.arange(1, rows + 1) / RATE), one.time.size - 1)
        value = np.tile(one.value[place], times)
        if one.channel.unit != "1":
            value += generator.normal(0.0, 0.002 * float(np.ptp(one.value)), value.size)
        time = grid
        if apart:  # up to half a spacing and 50 parts in a million away
            time = EPOCH + (grid - EPOCH) * (1.0 + generator.uniform(-5e-5, 5e-5)) + generator.uniform(-0.5, 0.5) / RATE
        series.append(Series(one.channel, time, value))
    truth = tuple(
        replace(
            each,
            start=each.start + turn * ROUND,
            end=each.end + turn * ROUND,
            deciding_time=each.deciding_time + turn * ROUND,
            phases=tuple(
                replace(span, start=span.start + turn * ROUND, end=span.end + turn * ROUND) for span in each.phases
            ),
        )
        for turn in range(times)
        for each in part.truth
    )
    end = float(grid[-1])
    return Recorded(0, tuple(series), part.timing, part.plate, truth, EPOCH, end, part.about)
