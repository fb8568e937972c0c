"""Bundled recordings as measures take them, with the attempts that the simulator knows of."""

import csv
import gzip
import json
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path

import numpy as np

from analysis.model import Channel, Series
from analysis.sequence.attempts import Attempt
from collector.job import Job, parse
from drivers.codecs.recording_csv import parse_time
from replay_data.scenarios import SCENARIOS
from tests.analysis.measures.simulated import attempts_of, inside

FOLDER = Path(__file__).parents[3] / "replay_data"


@dataclass(frozen=True, slots=True, eq=False)
class Bundled:
    """One of them."""

    series: tuple[Series, ...]
    attempts: tuple[Attempt, ...]
    job: Job


@lru_cache(maxsize=4)
def bundled(name: str) -> Bundled:
    """A recording of `replay_data` by its name."""
    columns: dict[int, tuple[list[float], list[float]]] = defaultdict(lambda: ([], []))
    with gzip.open(FOLDER / f"{name}.csv.gz", "rt", encoding="utf-8") as file:
        rows = csv.reader(file)
        heads = next(rows)
        for row in rows:
            time = datetime.fromisoformat(row[0]).timestamp()
            for column, text in enumerate(row[1:], 1):
                if text:
                    columns[column][0].append(time)
                    columns[column][1].append(float(text))
    job = parse((FOLDER / f"{name}.toml").read_text(encoding="utf-8"), name)
    meters = {one.name: one for one in job.instruments}
    series = []
    for column, (times, values) in columns.items():
        key, _, unit = heads[column].rstrip("]").partition(" [")
        point, _, instrument = key.partition("@")
        meter = meters.get(instrument.removeprefix("simulated: "))
        told = (meter.accuracy, meter.response_time) if meter else (None, None)
        channel = Channel(point, instrument, unit, None, None, *told)
        series.append(inside(channel, np.array(times), np.array(values)))
    truth = json.loads((FOLDER / f"{name}.truth.json").read_text(encoding="utf-8"))
    scenario = next(one for one in SCENARIOS if one.name == name)
    start = parse_time(scenario.start) / 1e9
    return Bundled(tuple(series), attempts_of(truth["attempts"], start), job)
