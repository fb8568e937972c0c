"""How fast and how frugal the functions of moist air are: ratios to general libraries from one run."""

import time
import tracemalloc
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis import psychrometrics
from analysis.psychrometrics import dew_point, humidity_ratio, pressure_at_altitude, saturation_pressure, wet_bulb
from tests.benchmarks.table import say

Numbers = NDArray[np.float64]

POINTS = 1_000_000
LOOPED = 3000
VECTOR = 250
"""Points of the libraries."""
AGAINST_LOOP = 50
AGAINST_VECTOR = 10
MEMORY = 12
"""Limits: times as fast as a loop over psychrolib and as CoolProp's call with arrays, times the bytes of the inputs."""
ZERO = 273.15


class Case(NamedTuple):
    """A function with the names of its inputs and its counterparts in the libraries."""

    name: str
    inputs: tuple[str, ...]
    looped: str
    """Function of psychrolib with the same inputs."""
    vector: tuple[str, str] | None
    """CoolProp's name of the result, and of the last input that is known beside temperature and pressure."""


CASES = (
    Case("saturation_pressure", ("temp",), "GetSatVapPres", ("P_w", "R")),
    Case("humidity_ratio", ("temp", "humidity", "pressure"), "GetHumRatioFromRelHum", ("W", "R")),
    Case("relative_humidity", ("temp", "ratio", "pressure"), "GetRelHumFromHumRatio", ("R", "W")),
    Case("dew_point", ("temp", "humidity"), "GetTDewPointFromRelHum", ("D", "R")),
    Case("wet_bulb", ("temp", "humidity", "pressure"), "GetTWetBulbFromRelHum", ("B", "R")),
    Case("enthalpy", ("temp", "ratio"), "GetMoistAirEnthalpy", ("H", "W")),
    Case("specific_volume", ("temp", "ratio", "pressure"), "GetMoistAirVolume", ("V", "W")),
    Case("density", ("temp", "ratio", "pressure"), "GetMoistAirDensity", ("Vha", "W")),
    Case("pressure_at_altitude", ("altitude",), "GetStandardAtmPressure", None),
    # psychrolib has no such inverse: its formula in the other direction is as much work.
    Case("altitude_at_pressure", ("standard",), "GetStandardAtmPressure", None),
    Case("humidity_ratio_from_wet_bulb", ("temp", "bulb", "pressure"), "GetHumRatioFromTWetBulb", ("W", "B")),
    Case("humidity_ratio_from_dew_point", ("dew", "pressure"), "GetHumRatioFromTDewPoint", ("W", "D")),
    Case("humidity_from_dew_point", ("temp", "dew"), "GetRelHumFromTDewPoint", ("R", "D")),
)


@pytest.fixture
def psychrolib() -> Iterator[ModuleType]:
    """In SI units, put back afterwards."""
    import psychrolib

    before = psychrolib.PSYCHROLIB_UNITS
    psychrolib.SetUnitSystem(psychrolib.SI)
    yield psychrolib
    psychrolib.PSYCHROLIB_UNITS = before


@pytest.fixture(scope="module")
def air() -> dict[str, Numbers]:
    """Random air over the whole range, below and above freezing in no order, steam at most half of it."""
    generator = np.random.default_rng(2601)
    temp = generator.uniform(-60, 150, POINTS)
    pressure = generator.uniform(20000, 120000, POINTS)
    humidity = generator.uniform(0.05, 1, POINTS) * np.minimum(1, 0.5 * pressure / saturation_pressure(temp))
    altitude = generator.uniform(-500, 11000, POINTS)
    return {
        "temp": temp,
        "pressure": pressure,
        "humidity": humidity,
        "altitude": altitude,
        "standard": pressure_at_altitude(altitude),
        "ratio": humidity_ratio(temp, humidity, pressure),
        "bulb": wet_bulb(temp, humidity, pressure),
        "dew": dew_point(temp, humidity),
    }


def best(work: Callable[[], object], seconds: float) -> float:
    """Shortest of several repetitions that together take about that long, three at least. [s]

    Processor time of this process: what else runs on the machine interrupts a long call, and seldom a short one.
    """
    found: list[float] = []
    while len(found) < 3 or sum(found) < seconds:
        began = time.process_time()
        work()
        found.append(time.process_time() - began)
    return min(found)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_million_points_against_a_loop(case: Case, air: dict[str, Numbers], psychrolib: ModuleType) -> None:
    """The loop gets plain numbers, which psychrolib takes fastest, and ends in an array as ours does."""
    ours, theirs = getattr(psychrometrics, case.name), getattr(psychrolib, case.looped)
    columns = [air[name] for name in case.inputs]
    plain = [column[:LOOPED].tolist() for column in columns]
    if case.name == "altitude_at_pressure":
        plain = [air["altitude"][:LOOPED].tolist()]
    fast, slow = 1.0, 0.0
    for _ in range(5):  # in turn, so that what else the machine does falls on both
        fast = min(fast, best(lambda: ours(*columns), 0.1) / POINTS)
        once = best(lambda: np.array([theirs(*point) for point in zip(*plain, strict=True)]), 0.05) / LOOPED
        slow = min(slow or once, once)
        if slow / fast > 1.3 * AGAINST_LOOP:
            break
    say(f"{case.name}: {1e9 * fast:.1f} ns a point, {slow / fast:.0f} x as fast as a loop over psychrolib")
    assert slow / fast > AGAINST_LOOP


@pytest.mark.parametrize("case", [case for case in CASES if case.vector], ids=lambda case: case.name)
def test_a_million_points_against_a_call_with_arrays(case: Case, air: dict[str, Numbers]) -> None:
    from CoolProp.CoolProp import HAPropsSI

    assert case.vector
    result, known = case.vector
    # One point that the library refuses ends the call: moderate ones, which it takes for all results.
    temp, pressure, humidity = air["temp"], air["pressure"], air["humidity"]
    picked = np.flatnonzero((temp > 5) & (temp < 50) & (humidity > 0.2) & (humidity < 0.9))[:VECTOR]
    state = ("T", temp[picked] + ZERO, "P", pressure[picked])
    inputs = (*state, known, HAPropsSI(known, *state, "R", humidity[picked]))
    slow = best(lambda: HAPropsSI(result, *inputs), 0.05) / VECTOR
    columns = [air[name] for name in case.inputs]
    fast = best(lambda: getattr(psychrometrics, case.name)(*columns), 0.1) / POINTS
    say(f"{case.name}: {slow / fast:,.0f} x as fast as CoolProp with arrays")
    assert slow / fast > AGAINST_VECTOR


@pytest.mark.parametrize("size", [2000, 16384, 100_000, POINTS])
def test_memory(size: int, air: dict[str, Numbers]) -> None:
    """Largest allocation by the bytes of the inputs, also where a third of them is missing."""
    worst: dict[str, float] = {}
    for case in CASES:
        columns = [air[name][:size].copy() for name in case.inputs]
        holes = [np.where(np.arange(size) % 3 == 0, np.nan, column) for column in columns]
        for inputs in (columns, holes):
            tracemalloc.start()
            result = getattr(psychrometrics, case.name)(*inputs)
            peak = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
            assert peak >= result.nbytes
            worst[case.name] = max(worst.get(case.name, 0), peak / sum(column.nbytes for column in inputs))
    name = max(worst, key=lambda one: worst[one])
    say(f"{size} points: at most {worst[name]:.1f} x the bytes of the inputs ({name})")
    assert worst[name] < (MEMORY if size < POINTS else 2), (
        "many blocks need no more than the result and one block's work"
    )


def test_a_single_reading(psychrolib: ModuleType) -> None:
    """Arrays are what this is made for; a live reading must still cost no more than some tens of plain calls."""

    def once(function: Callable[..., object], *inputs: float) -> float:
        return best(lambda: [function(*inputs) for _ in range(100)], 0.1) / 100

    for name, theirs, inputs, limit in (
        ("saturation_pressure", "GetSatVapPres", (21.3,), 30),
        ("dew_point", "GetTDewPointFromRelHum", (21.3, 0.4), 25),
        ("wet_bulb", "GetTWetBulbFromRelHum", (21.3, 0.4, 95000.0), 20),
    ):
        single = once(getattr(psychrometrics, name), *inputs)
        plain = once(getattr(psychrolib, theirs), *inputs)
        say(f"{name} of one reading: {1e6 * single:.0f} us, {single / plain:.0f} x psychrolib's")
        assert single < limit * plain
