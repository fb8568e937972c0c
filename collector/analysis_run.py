"""Everything that is found in what was recorded, put together: attempts, measures, checks, alarms, bad data."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from analysis.checks import Check
from analysis.data import DataProblem, problems
from analysis.diagnosis.causes import Priors
from analysis.diagnosis.information import Believed
from analysis.diagnosis.next_tests import Proposals
from analysis.diagnosis.result import Diagnosis
from analysis.measures import Measured, measures
from analysis.sequence.attempts import Recognition
from analysis.sequence.recognize import recognize
from collector.analysis_stops import stops
from collector.deed_states import done_in
from collector.diagnosing import diagnosis
from collector.judged import judged
from collector.opened import Opened
from collector.past_alarms import PastAlarm, past_alarms
from collector.proposing import proposals
from collector.session import rules

WALL = 365 * 86_400.0
"""Times before this count from the start of a recording and say nothing of a clock. [s]"""
Progress = Callable[[float], None]
"""Told which share of the work is done, from 0 to 1."""


@dataclass(frozen=True, slots=True)
class Analysis:
    """What was found in one recording."""

    opened: Opened
    recognition: Recognition
    measures: Sequence[Measured] = ()
    checks: Sequence[Check] = ()
    alarms: Sequence[PastAlarm] = ()
    """In the order of time."""
    data_problems: Sequence[DataProblem] = ()
    diagnosis: Diagnosis = field(default_factory=Diagnosis)
    """Causes, the most probable first."""
    next_tests: Proposals = field(default_factory=lambda: Proposals((), ()))
    """Tests that are safe here, the one that tells most for its time first."""
    units: str = "trade"
    """Units to show it in: `trade` or `metric`."""


def analyzed(
    opened: Opened, progress: Progress | None = None, *, units: str = "trade", priors: Priors | None = None
) -> Analysis:
    """Find everything in what was recorded. `priors`: how common the causes are; None: the table of the program."""
    tell = progress or (lambda _: None)
    job, series = opened.job, opened.series
    timing = job.stated_timing
    recognition = recognize(series, timing, job.plate)
    attempts = recognition.attempts
    tell(0.4)
    found = measures(series, attempts, job.plate, job.baseline, timing)
    tell(0.6)
    checks = judged(found, attempts, job)
    doubts = problems(series, attempts, job.plate, doubtful=opened.doubtful)
    tell(0.7)
    entries = done_in(opened.events)
    year = _year(opened.start)
    judgement = diagnosis(series, attempts, found, doubts, job, year=year, priors=priors, entries=entries, units=units)
    tell(0.8)
    points = frozenset(one.channel.point for one in series)
    raised = past_alarms(series, job.plate, rules(job, points), opened.doubtful)
    alarms = sorted([*raised, *stops(series, attempts, found)], key=lambda alarm: (alarm.start, alarm.rule))
    tell(1.0)
    tests = proposals(Believed(judgement.weighed), opened, alarms, entries)
    return Analysis(opened, recognition, found, checks, alarms, doubts, judgement.diagnosis, tests, units)


def _year(time: float) -> float:
    """Year of a moment [s]; 0 where its clock counts from the start of the recording."""
    return float(datetime.fromtimestamp(time, UTC).year) if time > WALL else 0.0
