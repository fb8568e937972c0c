"""Whole plants for trial runs: a typical unit in calm weather, what a run settles at, and runs that are kept."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drivers.simulate.attempts import Attempt
from drivers.simulate.causes import Cause
from drivers.simulate.design import Design, Physical, built, outdoors
from drivers.simulate.maths import FLOATS
from drivers.simulate.papers import Papers
from drivers.simulate.plant import Block, Plant
from drivers.simulate.unit import Unit
from drivers.simulate.weather import WeatherUnit

Array = NDArray[np.float64]
BTU = 0.29307107
"""One Btu/h. [W]"""
CFM = 0.3048**3 / 60
"""One cubic foot a minute. [m3/s]"""
CALLS = ((10.0, 190.0, 1), (190.0, 960.0, 2))
"""A bench call of both stages. [s]"""


def calm(weather: WeatherUnit, temp: float | None = None) -> WeatherUnit:
    """The same without wind and without anything random, at one temperature [degC]."""
    temp = weather.temp_mean if temp is None else temp
    return replace(weather, temp_mean=temp, swing=0.0, wander=0.0, humidity_wander=0.0, wind=0.0, gustiness=0.0)


def typical(temp: float = -7.0, physical: Physical | None = None, **changes: Any) -> Unit:
    """An invented two-stage unit of 80 kBtu/h in a calm at `temp` [degC]; `changes` are fields of `Design`."""
    physical = physical or built(FLOATS, Design(**changes))
    weather = calm(WeatherUnit(pressure=physical.pressure), temp)
    return Unit(Papers(), outdoors(physical, temp), weather=weather)


def in_a_calm(unit: Unit) -> Unit:
    return replace(unit, weather=calm(unit.weather))


@dataclass(frozen=True)
class Run:
    """What a plant did."""

    plant: Plant
    block: Block

    def __getitem__(self, point: str) -> Array:
        return self.block.values[point]

    @property
    def time(self) -> Array:
        return self.block.time

    @property
    def attempts(self) -> list[Attempt]:
        return self.plant.attempts

    def at(self, seconds: float) -> int:
        """Row of a time. [1]"""
        return int(np.searchsorted(self.time, seconds - 1e-6))

    def mean(self, point: str, start: float, end: float) -> float:
        return float(np.mean(self[point][self.at(start) : self.at(end)]))

    def settled(self, point: str, before: float = CALLS[-1][1]) -> float:
        """Mean of the last half minute before a time. [inside unit]"""
        return self.mean(point, before - 30.0, before)


def ran(plant: Plant, seconds: float) -> Run:
    block = plant.advance(seconds)
    plant.finish()
    return Run(plant, block)


def run_of(
    unit: Unit,
    causes: Sequence[Cause] = (),
    *,
    seconds: float = 960.0,
    calls: Sequence[tuple[float, float, int]] | None = CALLS,
    seed: int = 1,
    step: float = 0.1,
) -> Run:
    return ran(Plant(unit, causes, seed=seed, calls=calls, step=step), seconds)


def phases(attempt: Attempt) -> dict[str, float]:
    """How long each phase of an attempt took. [s]"""
    found: dict[str, float] = {}
    for span in attempt["phases"]:
        found[span["phase"]] = found.get(span["phase"], 0.0) + span["end"] - span["start"]
    return found


def same(one: Mapping[str, Array], other: Mapping[str, Array]) -> bool:
    """Whether two blocks agree to the last bit."""
    return one.keys() == other.keys() and all(one[name].tobytes() == other[name].tobytes() for name in one)


class Kept:
    """Results by their key, each made once."""

    def __init__(self) -> None:
        self._found: dict[Any, Any] = {}

    def __call__(self, key: Any, make: Callable[[], Any]) -> Any:
        if key not in self._found:
            self._found[key] = make()
        return self._found[key]
