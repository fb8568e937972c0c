"""Everything that is found in what was recorded, put together: attempts, measures, checks, alarms, bad data."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.sequence.attempts import Recognition
from analysis.sequence.recognize import recognize
from collector.analysis_parts import Alarmed, Checked, Doubt, Measured, Opened
from collector.analysis_stops import stops

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

    tell = progress or (lambda _: None)
    series, job = opened.series, opened.job
    recognition = recognize(series, job.timing, job.plate)
    tell(0.4)
    accuracies = {one.channel.key: one.channel.accuracy for one in series if one.channel.accuracy}
    found = measures(series, recognition.attempts, job.plate, job.baseline, job.timing, accuracies)
    tell(0.6)
    judged = checks(found, recognition.attempts, job.plate)
    doubts = problems(series, recognition.attempts, job.plate)
    tell(0.8)
    alarms = sorted(
        [*past_alarms(opened), *stops(series, recognition.attempts)], key=lambda alarm: (alarm.start, alarm.rule)
    )
    tell(1.0)
    return Analysis(opened, recognition, found, judged, alarms, doubts, units=units)
