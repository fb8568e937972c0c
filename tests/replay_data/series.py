"""The recordings as analysis sees them: series in inside units, and attempts made of what was true."""

from dataclasses import replace
from datetime import datetime
from functools import cache

import numpy as np

from analysis.model import Series
from analysis.points import measure_of
from analysis.sequence.attempts import Attempt, PhaseSpan
from analysis.uncertainty import Accuracy
from analysis.units import to_inside
from drivers.codecs.recording_csv import parse_head
from tests.replay_data.recording import job, recording, scenario, truth


@cache
def series_of(name: str) -> tuple[Series, ...]:
    """Series of a recording, in the order of its columns."""
    found, start = recording(name), begin_of(name)
    series = []
    for channel, column in zip(parse_head(found.heads, "recording"), range(1, len(found.heads)), strict=True):
        there = [number for number, row in enumerate(found.rows) if row[column]]
        scale, offset = to_inside(channel.unit, measure_of(channel.point))
        value = np.array([float(found.rows[number][column]) for number in there]) * scale + offset
        time = np.round(start + found.times[there], 6)
        series.append(Series(replace(channel, unit=measure_of(channel.point).inside), time, value))
    return tuple(series)


def begin_of(name: str) -> float:
    """When the simulation began, UTC since 1970. [s]"""
    return datetime.fromisoformat(scenario(name).start).timestamp()


@cache
def attempts_of(name: str) -> tuple[Attempt, ...]:
    """Attempts as they truly were."""
    start = begin_of(name)
    return tuple(
        Attempt(
            number,
            one["call"],
            start + one["start"],
            start + one["end"],
            0.05,
            0.05,
            one["stage"],
            one["outcome"],
            1.0,
            start + one["deciding_time"],
            0.05,
            tuple(
                PhaseSpan(part["phase"], start + part["start"], start + part["end"], 0.05, 0.05)
                for part in one["phases"]
            ),
        )
        for number, one in enumerate(truth(name)["attempts"], start=1)
    )


@cache
def accuracies_of(name: str) -> dict[str, Accuracy]:
    """Accuracy of each channel, by its key, as the job file states it."""
    stated = {f"simulated: {one.name}": one.accuracy for one in job(name).instruments if one.accuracy}
    return {
        one.channel.key: Accuracy.parse(stated[one.channel.instrument], measure_of(one.channel.point).name)
        for one in series_of(name)
        if one.channel.instrument in stated
    }
