"""Everything that is found in what was recorded, put together: attempts, measures, checks, alarms, bad data."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis.model import Series, origin_of
from analysis.sequence.attempts import Recognition
from analysis.sequence.recognize import recognize
from collector.analysis_parts import Alarmed, Checked, Doubt, Measured, Opened
from collector.analysis_stops import stops
from collector.job import Job

Progress = Callable[[float], None]
"""Told which share of the work is done, from 0 to 1."""


@dataclass(frozen=True, slots=True)
class Analysis:
    """What was found in one recording."""

    opened: Opened
    recognition: Recognition
    measures: Sequence[Measured] = ()
    checks: Sequence[Checked] = ()
    alarms: Sequence[Alarmed] = ()
    """In the order of time."""
    data_problems: Sequence[Doubt] = ()
    causes: Sequence[Any] = ()
    """Empty: nothing names causes yet."""
    next_tests: Sequence[Any] = ()
    """Empty: nothing proposes tests yet."""
    units: str = "trade"
    """Units to show it in: `trade` or `metric`."""


def analyzed(opened: Opened, progress: Progress | None = None, *, units: str = "trade") -> Analysis:
    """Find everything in what was recorded."""
    from analysis.checks import checks  # type: ignore[import-not-found]  # noqa: PLC0415
    from analysis.data import problems  # type: ignore[import-not-found]  # noqa: PLC0415
    from analysis.measures import measures  # type: ignore[import-not-found]  # noqa: PLC0415

    from collector.past_alarms import past_alarms  # type: ignore[import-not-found]  # noqa: PLC0415
    from collector.session import rules  # noqa: PLC0415

    tell = progress or (lambda _: None)
    job = opened.job
    series = tuple(with_papers(one, job) for one in opened.series)
    recognition = recognize(series, job.timing, job.plate)
    tell(0.4)
    found = measures(series, recognition.attempts, job.plate, job.baseline, job.timing)
    tell(0.6)
    judged = checks(found, recognition.attempts, job.plate)
    doubts = problems(series, recognition.attempts, job.plate)
    tell(0.8)
    points = frozenset(one.channel.point for one in series)
    raised = past_alarms(series, job.plate, rules(job, points), opened.doubtful)
    alarms = sorted([*raised, *stops(series, recognition.attempts)], key=lambda alarm: (alarm.start, alarm.rule))
    tell(1.0)
    return Analysis(opened, recognition, found, judged, alarms, doubts, units=units)


def with_papers(one: Series, job: Job) -> Series:
    """The series with the accuracy and response time that the job file states of its instrument."""
    channel = one.channel
    origin = origin_of(channel.instrument)
    name = channel.instrument.removeprefix(f"{origin}: ") if origin else channel.instrument
    for stated in job.instruments:
        if stated.name == name and channel.point in stated.channels.values():
            accuracy, response = channel.accuracy or stated.accuracy, channel.response_time
            response = stated.response_time if response is None else response
            return replace(one, channel=replace(channel, accuracy=accuracy, response_time=response))
    return one
