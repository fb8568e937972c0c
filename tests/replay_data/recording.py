"""The bundled recording as the tests read it: times in seconds from its first row, and the readings of each point."""

import csv
import gzip
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FOLDER = Path(__file__).parents[2] / "replay_data"
SCRIPT, RECORDING = FOLDER / "make_recordings.py", FOLDER / "drain_backs_up.csv.gz"
CONTACTS = "call_heat switch_closed switch_high_closed gas_valve blower_on limit_closed".split()


class Recording:
    """The shipped file: seconds from the first row, and the readings of each point."""

    def __init__(self, lines: list[str]) -> None:
        self.heads, *self.rows = csv.reader(lines)
        self.stamps = [datetime.fromisoformat(row[0]) for row in self.rows]
        self.times = np.array([(stamp - self.stamps[0]).total_seconds() for stamp in self.stamps])
        self.columns = {head.split("@")[0]: index for index, head in enumerate(self.heads)}

    def readings(self, point: str) -> tuple[Array, Array]:
        """Times [s] and values at which the point was read."""
        cells = [row[self.columns[point]] for row in self.rows]
        return self.times[[cell != "" for cell in cells]], np.array([float(cell) for cell in cells if cell])

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
        return values[np.searchsorted(read, times, side="right") - 1] > 0


def lines_of(path: Path) -> list[str]:
    """Lines of a compressed file."""
    return gzip.decompress(path.read_bytes()).decode("utf-8").splitlines()


def figure(text: str) -> float:
    """Number of a value with its unit."""
    return float(text.partition(" ")[0])


def spans(times: Array, condition: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Spans [s] over which a condition held from reading to reading."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], condition, [False]]).astype(int)))
    return [(float(times[start]), float(times[end - 1])) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def fired(job: dict[str, Any], point: str, times: Array, values: Array) -> list[float]:
    """Times [s] from which the value stayed below the job's limit for its on-delay, NaN counting as above."""
    limit = next(limit for limit in job["limit"] if limit["point"] == point)
    low = spans(times, values < figure(limit["below"]))
    return [start for start, end in low if end - start >= figure(limit["on_delay"])]
