"""The recordings as the tests read them: seconds from the start, the readings of each point, the job and the truth."""

import csv
import gzip
import json
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.units import INCH_OF_WATER
from collector.job import Job, load
from replay_data.scenarios import SCENARIOS, Scenario

Array = NDArray[np.float64]

FOLDER = Path(__file__).parents[2] / "replay_data"
SCRIPT = FOLDER / "make_recordings.py"
NAMES = tuple(scenario.name for scenario in SCENARIOS)
INCH = INCH_OF_WATER
"""One inch of water; files have inches, a job that is read has pascals. [Pa]"""
TAPS = "draft_burner_box draft_transition draft_collector draft_vent".split()
BURNING = 0.3e-6
"""More flame current than this comes of a flame: an offset of a meter is less. [A]"""


class Recording:
    """A file: its head, its rows, and the readings of each point in the file's units."""

    def __init__(self, lines: list[str], start: str) -> None:
        self.heads, *self.rows = csv.reader(lines)
        begin = datetime.fromisoformat(start)
        self.times = np.array([(datetime.fromisoformat(row[0]) - begin).total_seconds() for row in self.rows])
        self.columns = {head.split("@")[0]: index for index, head in enumerate(self.heads) if index}
        self._read: dict[str, tuple[Array, Array]] = {}

    def readings(self, point: str) -> tuple[Array, Array]:
        """Times [s] and values at which the point was read."""
        if point not in self._read:
            column = self.columns[point]
            there = [number for number, row in enumerate(self.rows) if row[column]]
            self._read[point] = self.times[there], np.array([float(self.rows[number][column]) for number in there])
        return self._read[point]

    def mean(self, point: str, start: float, end: float) -> float:
        """Mean of a point over a span [s]."""
        times, values = self.readings(point)
        return float(values[(times >= start) & (times < end)].mean())

    def changes(self, contact: str, to: int) -> list[float]:
        """Times [s] at which a contact went to 0 or 1."""
        times, values = self.readings(contact)
        return [float(time) for time in times[1:][(values[1:] == to) & (values[:-1] != to)]]

    def held(self, contact: str, times: Array) -> NDArray[np.bool_]:
        """Whether the contact was closed at other times: its latest reading counts."""
        read, values = self.readings(contact)
        place = np.maximum(np.searchsorted(read, times, side="right") - 1, 0)
        return np.asarray(values[place] > 0)

    def at(self, point: str, times: Array) -> Array:
        """A point at other times, straight between its readings."""
        return np.interp(times, *self.readings(point))


@cache
def scenario(name: str) -> Scenario:
    """Row of the table."""
    return next(scenario for scenario in SCENARIOS if scenario.name == name)


@cache
def recording(name: str) -> Recording:
    """As shipped."""
    return Recording(lines_of(FOLDER / f"{name}.csv.gz"), scenario(name).start)


@cache
def job(name: str) -> Job:
    """Job file beside a recording."""
    return load(FOLDER / f"{name}.toml")


@cache
def truth(name: str) -> dict[str, Any]:
    """What was true."""
    found: dict[str, Any] = json.loads((FOLDER / f"{name}.truth.json").read_text("utf-8"))
    return found


def outcomes(name: str) -> list[str]:
    """How the attempts truly ended."""
    return [attempt["outcome"] for attempt in truth(name)["attempts"]]


def lines_of(path: Path) -> list[str]:
    """Lines of a compressed file."""
    return gzip.decompress(path.read_bytes()).decode("utf-8").splitlines()


def to_baseline(name: str, start: float, end: float, taps: list[str] | None = None) -> dict[str, float]:
    """Taps over a span [s] in hot high stage, over the baseline of the job. [1]"""
    found, baseline = recording(name), job(name).baseline
    return {tap: found.mean(tap, start, end) * INCH / getattr(baseline, tap) for tap in taps or TAPS}


def pull(found: Recording, start: float, end: float) -> float:
    """Collector against burner box over a span [s]. [inH2O]"""
    return found.mean("draft_burner_box", start, end) - found.mean("draft_collector", start, end)


def rise(found: Recording, start: float, end: float) -> float:
    """Supply over return over a span [s]. [degF]"""
    return found.mean("temp_supply", start, end) - found.mean("temp_return", start, end)


def dew_point(temp: Array, humidity: Array) -> Array:
    """Dew point [degF]; Magnus form with the constants of WMO No. 8 (17.62, 243.12 degC)."""
    celsius = (temp - 32) / 1.8
    gamma = np.log(humidity / 100) + 17.62 * celsius / (243.12 + celsius)
    return np.asarray(1.8 * 243.12 * gamma / (17.62 - gamma) + 32)
