"""The furnace that a job file describes: what it gives is kept, what it leaves open is drawn to go with that."""

import random
from dataclasses import replace
from typing import Any

from analysis.model import Baseline, Plate
from drivers.base import InputError
from drivers.simulate.checks import check_margins, margins
from drivers.simulate.design import INCH, Design, Physical, built
from drivers.simulate.draws import Draw, Kind, drawn
from drivers.simulate.maths import FLOATS, Number
from drivers.simulate.papers import Papers

_FALLS_SHORT = 5
"""Percentage points by which a run may fall short of the plate's efficiency, and one more. [1]"""
_WARMEST_RETURN = 24.0
"""Return air with which a unit must keep below its highest supply temperature. [degC]"""
_FLAT = 0.2
"""Least steep inducer. [1]"""
_FAST = 0.85
"""Fastest inducer in low stage. [1]"""
_LEAST_MARGIN = 0.05 * INCH
"""What a good unit has above the closing points; with less it trips at a gust. Our choice. [Pa]"""
_SPARE = 1.3 * INCH
"""What the gas supply has above the manifold's setting; common practice, no published source. [Pa]"""


def physical_of(papers: Papers, chance: random.Random) -> Physical:
    """The parts of the furnace of these papers; InputError where none can be like that."""
    plate = papers.plate
    stages = max(len(plate.input), len(plate.manifold), len(plate.switch_close)) or 2
    free = replace(
        drawn(Draw.one(chance), Kind(plate.fuel or "natural gas", plate.manifold_reference)),
        altitude=papers.altitude,
        stages=stages,
        two_pipes=0.0 if plate.pipes == 1 else 1.0,
        nitride=1.0 if papers.timing.igniter_warmup < 12.0 else 0.0,
    )
    figures: dict[str, Any] = _figures(plate, free) | _taps(papers.baseline, free)
    design = replace(free, **figures)
    physical = _nearest(design)
    if not plate.switch_close:
        return physical
    if papers.baseline.draft_collector is None:
        physical = _nearest(_strong_enough(physical, papers))
    elif min(margins(physical)) < _LEAST_MARGIN:  # what was drawn may not fit: another reference, fan or low speed
        others = [
            _nearest(replace(design, differential=differential, fan_steepness=steepness, low_speed=low_speed))
            for differential in (design.differential, 1.0 - design.differential)
            for low_speed in (design.low_speed, max(design.low_speed, _FAST))
            for steepness in (design.fan_steepness, _FLAT)
        ]
        fitting = (other for other in others if min(margins(other)) >= _LEAST_MARGIN)
        physical = next(fitting, max(others, key=lambda other: min(margins(other))))
    check_margins(physical)
    return physical


def _nearest(design: Design) -> Physical:
    """The parts of a design, or of one a little less efficient: what a plate gives is a season's figure."""
    for less in range(_FALLS_SHORT):
        try:
            return built(FLOATS, replace(design, efficiency=design.efficiency - 0.01 * less))
        except ValueError as error:
            refusal = str(error).partition(":")[0]
    raise InputError(f"no furnace can be as this job file says: {refusal}", "look at efficiency, rise and input")


def _strong_enough(physical: Physical, papers: Papers) -> Design:
    """The design with a draft that goes with the given switches."""
    design, closing = physical.design, papers.plate.switch_close
    shares = (design.switch_high_share, design.switch_share)[2 - len(closing) :]
    there = physical.healthy[2 - len(closing) : 2]
    needed = max(point / share / pressure for point, share, pressure in zip(closing, shares, there, strict=True))
    taps = {name: needed * getattr(design, name) for name in "burner_box transition collector vent".split()}
    return replace(design, **taps)


def _taps(baseline: Baseline, free: Design) -> dict[str, float]:
    """Hot taps: those given, and between and around them the drawn ones in proportion. [Pa]"""
    names = "burner_box transition collector".split()
    found, before, before_free = dict[str, float](), 0.0, 0.0
    given = [name for name in names if getattr(baseline, f"draft_{name}") is not None]
    for name in names:
        if name in given:
            found[name] = getattr(baseline, f"draft_{name}")
        elif following := [other for other in given if names.index(other) > names.index(name)]:
            end, end_free = getattr(baseline, f"draft_{following[0]}"), getattr(free, following[0])
            share = (getattr(free, name) - before_free) / (end_free - before_free)
            found[name] = before + share * (end - before)
        else:
            found[name] = before + getattr(free, name) - before_free
        before, before_free = found[name], getattr(free, name)
    if baseline.draft_vent is not None:
        found["vent"] = baseline.draft_vent
    return found


def _figures(plate: Plate, free: Design) -> dict[str, Number]:
    """What a plate says of a design, and what has to go with it."""
    found: dict[str, Number] = {}
    if plate.input:
        found["input"] = plate.input[0]
    if len(plate.input) > 1:
        found["low_share"] = plate.input[1] / plate.input[0]
        found["low_speed"] = min(found["low_share"] * 1.08, 1.0)
    if plate.efficiency is not None:
        found["efficiency"] = plate.efficiency
    elif plate.condensing is False:
        found["efficiency"] = 0.80
    if plate.rise is not None:
        found["rise"] = 0.5 * (plate.rise[0] + plate.rise[1])
    if plate.supply_max is not None:
        rise: Number = found.get("rise", free.rise)
        found["rise"] = min(rise, plate.supply_max - _WARMEST_RETURN)
    if plate.manifold:
        found["manifold"] = plate.manifold[0]
    setting: Number = found.get("manifold", free.manifold)
    supply = max(free.gas_supply, setting + _SPARE + free.gas_drop)
    if plate.gas_inlet is not None and plate.fuel != "propane":
        low, high = plate.gas_inlet
        supply = max(low + 0.55 * (high - low), min(supply, high))
    found["gas_supply"] = supply
    if plate.static_max is not None and free.static_return + free.static_supply > 0.95 * plate.static_max:
        smaller = 0.95 * plate.static_max / (free.static_return + free.static_supply)
        found["static_return"], found["static_supply"] = smaller * free.static_return, smaller * free.static_supply
    if plate.flame_current_min is not None:
        found["flame_current"] = max(free.flame_current, 2.0 * plate.flame_current_min)
    if plate.switch_close:
        found["switch_close"] = plate.switch_close
        found["switch_open"] = plate.switch_open or tuple(free.switch_hold * point for point in plate.switch_close)
    return found
