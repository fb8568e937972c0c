"""What a unit would show in states that it did not reach: the same unit and fault, its switches overruled.

A unit whose vent is blocked trips before it is hot, so that simulated visits never see it hot; somebody may all the
same meet one that runs so. Pressures and currents of such states come from the same physics, taken past the trip.
"""

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.features import FEATURES, NUMBER
from drivers.simulate.design import Design, built, outdoors
from drivers.simulate.maths import ARRAYS
from drivers.simulate.population import POINTS, STATES, run
from drivers.simulate.unit import random_unit

Array = NDArray[np.float64]

AT_ONCE = 2000
"""Units that are taken through a run together. [1]"""
MILD = 6.0
"""Outdoor air above the coldest day's mean. [K]"""
_TAPS = (
    "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high speed_inducer"
    " amps_inducer"
).split()
_STATE = {"cold": "purge", "hot.low": "low", "hot.high": "high"}
TAKEN: dict[str, tuple[str, str]] = {
    f"{point}.{state}": (point, where) for point in _TAPS for state, where in _STATE.items()
} | {
    "gas_inlet.static": ("gas_inlet", "rest"),
    **{
        f"{point}.flowing.{stage}": (point, stage)
        for point in ("gas_inlet", "gas_manifold")
        for stage in ("low", "high")
    },
    **{
        f"{point}.{stage}": (point, stage)
        for point in ("static_return", "static_supply", "amps_blower")
        for stage in ("low", "high")
    },
}
"""Features, and the point and state that they are read from."""


def filled(values: Array, seeds: Sequence[int], causes: Sequence[str], severities: Sequence[float]) -> Array:
    """Values (n, features) [scaled] with those of states not reached; what was seen stays as it was.

    seeds : of the units. A unit of one stage has no low stage; prepurge is filled where the inducer starts slowly.
    """
    found = values.copy()
    units = [random_unit(seed) for seed in seeds]
    designs = [unit.physical.design for unit in units]
    kinds = sorted({(design.fuel, design.manifold_reference) for design in designs})
    for kind in kinds:
        own = [n for n, design in enumerate(designs) if (design.fuel, design.manifold_reference) == kind]
        for first in range(0, len(own), AT_ONCE):
            rows = np.array(own[first : first + AT_ONCE])
            outdoor = np.array([units[n].weather.temp_mean + MILD for n in rows])
            severity = np.array([severities[n] for n in rows])
            names = np.array([causes[n] for n in rows])
            physical = outdoors(built(ARRAYS, _stacked([designs[n] for n in rows])), outdoor)
            acting = {cause: severity * (names == cause) for cause in sorted(set(names.tolist())) if cause != "none"}
            with np.errstate(all="ignore"):
                seen, _ = run(physical, acting, outdoor)
            two = np.array([designs[n].stages > 1 for n in rows])
            slow = two & np.array([units[n].control.light_on == "low" for n in rows])
            _fill(found, rows, seen, two, slow)
    return found


def _fill(found: Array, rows: NDArray[np.int64], seen: Array, two: NDArray[np.bool_], slow: NDArray[np.bool_]) -> None:
    """`two`: units of two stages; `slow`: those whose inducer starts slowly."""
    for name, (point, state) in TAKEN.items():
        feature, column = FEATURES[NUMBER[name]], NUMBER[name]
        shown = seen[:, STATES.index(state), POINTS.index(point)]
        if point.startswith("draft_switch_high"):
            shown = np.where(two, shown, np.nan)
        if state in ("purge", "low"):
            shown = np.where(slow if state == "purge" else two, shown, np.nan)
        scaled = np.array([feature.scaled(float(value)) for value in shown])
        column_values = found[rows, column]
        found[rows, column] = np.where(np.isnan(column_values) & np.isfinite(scaled), scaled, column_values)


def _stacked(designs: Sequence[Design]) -> Design:
    """Many designs of one kind as one of arrays."""
    numbers = {
        field.name: np.array([getattr(design, field.name) for design in designs], np.float64)
        for field in fields(Design)
        if isinstance(getattr(designs[0], field.name), int | float)
    }
    given: dict[str, Any] = {**numbers, "fuel": designs[0].fuel, "manifold_reference": designs[0].manifold_reference}
    return Design(**given)
