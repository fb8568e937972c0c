"""Cases of the library as kits of meters would show them: channels away, papers missing, numbers uncertain."""

import random
from collections.abc import Mapping
from functools import cache

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.cases import UNTOLD, Cases
from analysis.diagnosis.features import FEATURES
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.mixture import PAPERS, SPREAD
from analysis.points import POINTS
from drivers.simulate.meters import standard_meters
from drivers.simulate.points import FAST_POINTS, SLOW_POINTS

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

KITS = 500
"""Random kits that are drawn from. [1]"""
FULL = 0.5
"""Share of visits with a meter at every point, as of a first call with the whole case; our choice. [1]"""
SLIPS = 0.02
"""Share of readings, and of points, that are missing for no reason. [1]"""
NO_BASELINE, NO_PLATE = 0.5, 0.15
"""Shares of visits without that paper; our choice. [1]"""
NO_HIGH, NO_LOW = 0.2, 0.25
"""Shares in which a stage was not run, beyond what the visits have themselves; our choice. [1]"""
RELATIVE = 0.01
"""Standard uncertainty of a reading, as a share of it, beside that of its kind. [1]"""
UNCERTAIN: Mapping[str, float] = {
    "pressure": 4.0, "temperature": 1.0, "humidity": 0.02, "current": 0.03, "voltage": 0.25, "speed": 3.0,
}  # fmt: skip
"""Standard uncertainty of usual meters by measure; common practice, no published source. [inside unit]"""
POINT_UNCERTAIN: Mapping[str, float] = {
    "flame_current": 6e-8, "flue_o2": 0.0017, "flue_co2": 0.0017, "flue_co": 1e-5, "room_co": 1e-5,
    **{point: 2.0 for point in POINTS if point.startswith("draft_")},
}  # fmt: skip
_NEEDS: Mapping[str, tuple[str, ...]] = {
    "draft_margin": ("draft_switch",),
    "draft_margin_high": ("draft_switch_high",),
    "switch": ("draft_switch", "switch_closed"),
    "temp_rise": ("temp_return", "temp_supply"),
    "limit": ("limit_closed", "temp_supply"),
    "humidifier": ("humidifier_valve",),
    "compressor": ("call_compressor", "temp_outdoor"),
    "furnace": ("temp_outdoor",),
    "calls": ("call_heat", "call_compressor"),
    "ignition": ("flame_current", "gas_valve"),
    "dew_point_margin": ("temp_surface", "humidity_supply"),
}
"""Points that features need by the first part of their names, where that is no point itself."""
_FLAG_NEEDS: Mapping[str, str] = {
    "switch_at_rest": "switch_closed", "limit": "limit_closed", "rollout": "rollout_closed", "float": "float_closed",
    "door": "door_closed", "call_heat": "call_heat", "answered": "call_heat", "second_stage": "call_heat_2",
    "compressor": "call_compressor", "power": "volts_control", "blower_amps": "amps_blower",
    "inducer_amps": "amps_inducer", "igniter_amps": "amps_igniter", "manifold": "gas_manifold",
    "flame_seen": "flame_current",
}  # fmt: skip
"""Point that a flag needs; the others come from the sequence, whatever tells it."""
_CHANGES = ("trend", "step", "restless", "change")


def needs(feature: str) -> tuple[str, ...]:
    """Points without which a feature cannot be read; none for papers and what the sequence tells."""
    head = feature.partition(".")[0]
    if feature == "humidifier.over":
        return ("humidity_room",)
    return (head,) if head in POINTS else _NEEDS.get(head, ())


PLACES = tuple(sorted({point for one in FEATURES for point in needs(one.name)} | set(_FLAG_NEEDS.values())))
_FEATURE_NEEDS = np.array([[point in needs(one.name) for point in PLACES] for one in FEATURES])
_FLAGS_NEED = np.array([[_FLAG_NEEDS.get(flag) == point for point in PLACES] for flag in FLAGS])
_NAMES = [one.name for one in FEATURES]
_HIGH = np.array([".high" in name for name in _NAMES]) & ~PAPERS
_LOW = np.array([name.endswith(".low") for name in _NAMES]) & ~PAPERS
_BASELINE = np.array([name.startswith("baseline.") for name in _NAMES])
_PLATE = np.array([name.startswith("plate.") and name != "plate.capacity" for name in _NAMES])


def _uncertain(feature: str) -> float:
    """Of its worst point; 0 for what is no level. [inside unit]"""
    if any(word in feature for word in _CHANGES):
        return 0.0
    found = (POINT_UNCERTAIN.get(one, UNCERTAIN.get(POINTS[one].measure, 0.0)) for one in needs(feature))
    return max(found, default=0.0)


_U = np.array([_uncertain(name) for name in _NAMES])


@cache
def drawn_kits() -> Mask:
    """(kits, places) which points random kits read, always the same ones."""
    chance, found = random.Random("kits"), np.zeros((KITS, len(PLACES)), np.bool_)
    for row in found:
        read = {
            entry.point for meter in standard_meters((*FAST_POINTS, *SLOW_POINTS), chance) for entry in meter.inputs
        }
        row[:] = [point in read for point in PLACES]
    return found


def uncertainty(values: Array) -> Array:
    """(n, features) standard uncertainty of each with usual meters. [scaled]"""
    found = np.zeros(values.shape)
    for place, feature in enumerate(FEATURES):
        raw = feature.size * (values[:, place] if feature.linear else np.sinh(np.clip(values[:, place], -12.0, 12.0)))
        u = np.hypot(_U[place], RELATIVE * np.nan_to_num(raw) * (_U[place] > 0.0))
        found[:, place] = u / (feature.size if feature.linear else np.hypot(feature.size, np.nan_to_num(raw)))
    return found


def as_read(cases: Cases, random: np.random.Generator) -> tuple[Cases, Array]:
    """The cases as one random kit each shows them, a kind of -1 where no plate says it; and the uncertainty used.

    The error of the physics moves each unit too, by the `spread` of each feature.
    """
    n, shape = cases.cause.size, cases.values.shape
    read = drawn_kits()[random.integers(0, KITS, n)]
    read = (read | (random.random(n) < FULL)[:, None]) & (random.random(read.shape) > SLIPS)
    u = uncertainty(cases.values)
    physics = 0.5 * SPREAD * ~PAPERS
    values = cases.values + random.standard_normal(shape) * u + random.standard_normal(shape) * physics
    away = (~read @ _FEATURE_NEEDS.T) | (random.random(shape) < SLIPS)
    stage, two = random.random(n), np.isin(cases.kind, (1, 3))
    away |= (two & (stage < NO_HIGH))[:, None] & _HIGH
    away |= ((stage > NO_HIGH) & (stage < NO_HIGH + NO_LOW))[:, None] & _LOW
    no_plate = random.random(n) < NO_PLATE
    away |= no_plate[:, None] & _PLATE | (random.random(n) < NO_BASELINE)[:, None] & _BASELINE
    flags = np.where(~read @ _FLAGS_NEED.T, UNTOLD, cases.flags)
    kind = np.where(no_plate, UNTOLD, cases.kind)
    return Cases(np.where(away, np.nan, values), cases.cause, cases.severity, kind, flags), u
