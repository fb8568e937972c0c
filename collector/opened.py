"""A recording or a CSV file opened for analysis: every channel as a series in the inside unit, with its job."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Event, EventKind, Series
from collector.database import is_recording
from collector.files import job_with
from collector.job import Job
from collector.normalize import Normalizer, series_of
from collector.opened_csv import read_table
from collector.opened_recording import read_recording
from collector.sheets import documented
from drivers.codecs.recording_csv import Problem
from drivers.csv_file import opened, stem

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """What was recorded, as analysis takes it."""

    name: str
    """Of the file, without folder and endings."""
    path: Path
    kind: str
    """`csv` or `recording`."""
    job: Job
    """An empty one where there is none."""
    job_from: str
    """The file it is from, `inside the recording`, or empty."""
    series: tuple[Series, ...]
    """Inside units; zeroings applied, withdrawn readings left out, NaN where there is no good value."""
    start: float
    """Time of the first row, UTC since 1970, or seconds from 0 where the file has those. [s]"""
    end: float
    """Time of the last row. [s]"""
    rows: int
    """Instants at which something was read. [1]"""
    readings: int
    """Values in the series. [1]"""
    events: tuple[Event, ...] = ()
    """What happened, in the order of time; a CSV file has none."""
    doubtful: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    """When readings were suspect, by the key of their channel, where there were any. [s]"""
    problems: tuple[Problem, ...] = ()
    """The first of the rows and cells that could not be read, in the order of their lines."""
    problem_count: int = 0
    conflicts: int = 0
    """Second values for one channel and instant; the first was kept. [1]"""
    twice: int = 0
    """The same value once more for one channel and instant. [1]"""
    disordered: int = 0
    """Rows that came late, by 2 s at the most, and were put in their place. [1]"""


def open_data(path: Path, job: Path | None = None, progress: Progress | None = None) -> Opened:
    """A recording or a CSV file, told by its content, with the job that is named, inside it or beside it.

    `progress` is told the share that is done [1]. InputError in one sentence where nothing can be had of it,
    RecordingError where a recording is damaged, JobError for a job file with mistakes.
    """
    with opened(path):  # a file that cannot be read is said first, whatever is wrong with a job beside it
        pass
    if is_recording(path):
        return _recording(path, job, progress)
    return _csv(path, job, progress)


def _csv(path: Path, job: Path | None, progress: Progress | None) -> Opened:
    its_job, job_from = job_with(path, job)
    table, columns = read_table(path, progress)
    found: list[Series] = []
    doubtful: dict[str, NDArray[np.float64]] = {}
    before: NDArray[np.int64] | None = None
    for channel, rows in zip(table.channels, columns, strict=True):
        same = rows.time is before and found[-1].time.size == rows.time.size
        normalizer = Normalizer(documented(channel, its_job, stem(path)))
        one, when = series_of(normalizer, rows, seconds=found[-1].time if same else None)
        before = rows.time
        found.append(one)
        if when.size:
            doubtful[channel.key] = when
    start, end = table.span
    return Opened(
        name=table.name,
        path=path,
        kind="csv",
        job=its_job,
        job_from=job_from,
        series=tuple(found),
        start=start / NANOSECONDS,
        end=end / NANOSECONDS,
        rows=table.rows,
        readings=_count(found),
        doubtful=doubtful,
        problems=table.problems,
        problem_count=table.problem_count,
        conflicts=table.conflicts,
        twice=table.twice,
        disordered=table.disordered,
    )


def _recording(path: Path, job: Path | None, progress: Progress | None) -> Opened:
    its_job, job_from = job_with(path, job)
    found = read_recording(path, lambda channel: documented(channel, its_job), progress)
    told = [event.data for event in found.events if event.kind is EventKind.PROBLEM and "line" in event.data]
    problems = tuple(Problem(int(str(one["line"])), str(one.get("reason"))) for one in told)  # of an import
    problems += tuple(Problem(0, one) for one in found.left_out)
    start, end = found.span
    return Opened(
        name=stem(path),
        path=path,
        kind="recording",
        job=its_job,
        job_from=job_from,
        series=found.series,
        start=start / NANOSECONDS,
        end=end / NANOSECONDS,
        rows=found.rows,
        readings=_count(found.series),
        events=found.events,
        doubtful=found.doubtful,
        problems=problems,
        problem_count=len(problems),
        conflicts=sum(event.kind is EventKind.CONFLICT for event in found.events),
    )


def _count(found: Sequence[Series]) -> int:
    return sum(int(np.count_nonzero(~np.isnan(one.value))) for one in found)
