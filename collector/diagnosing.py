"""The diagnosis of what was recorded: by the library that comes with the program and what the job file says."""

import io
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from importlib.resources import files

import numpy as np

from analysis.data import DataProblem
from analysis.diagnosis.cases import Cases, kind_of
from analysis.diagnosis.causes import Priors, Visited
from analysis.diagnosis.done import DEEDS, Done, conditioned
from analysis.diagnosis.inference import Judged, diagnosed
from analysis.diagnosis.known import Known
from analysis.diagnosis.mixture import Mixture, fitted
from analysis.diagnosis.net import Net
from analysis.diagnosis.seen import seen
from analysis.measures.measured import Measured
from analysis.model import Series
from analysis.sequence.attempts import Attempt
from collector.job import Job

CASES = "cases.npz"
"""The library, made by `make library`."""
NET = "net.npz"
"""The net that learned from it, made by `make library` too."""
UNTRUE = frozenset({"stuck", "wrong_sign", "exchanged", "unit", "saturated", "not_returning"})
"""Kinds of data problems whose channels say nothing of the unit."""
_YEAR = re.compile(r"(19|20)\d\d")


def cases() -> Cases:
    """The library that comes with the program."""
    return Cases.read(_arrays(CASES))


def net() -> Net:
    """The net that comes with the program."""
    return Net.read(_arrays(NET))


def _arrays(name: str) -> dict[str, np.ndarray]:
    with np.load(io.BytesIO(files("collector").joinpath(name).read_bytes())) as arrays:
        return dict(arrays)


@lru_cache(maxsize=1)
def library() -> Mixture:
    """What units show under each cause; a second of work once in a program's life."""
    return replace(fitted(cases()), net=net())


def known(job: Job) -> Known:
    """What the job file says of the unit."""
    pump = job.heat_pump
    return Known(
        job.plate,
        job.baseline,
        job.altitude,
        pump.capacity_47,
        pump.compressor_lockout,
        pump.auxiliary_lockout,
        job.humidifier.setting,
    )


def visited(job: Job, series: Sequence[Series], year: float) -> Visited:
    """What raises the odds of some causes. `year`: of the visit, 0 where it is not known."""
    outdoor = [
        float(np.nanmedian(one.value)) for one in series if one.channel.point == "temp_outdoor" and one.time.size
    ]
    installed = _YEAR.search(job.unit.installed or "")
    years = year - float(installed.group()) if installed and year else None
    return Visited(temp_outdoor=min(outdoor, default=None), years=years, fuel=job.plate.fuel)


def diagnosis(
    series: Sequence[Series],
    attempts: Sequence[Attempt],
    measures: Sequence[Measured],
    problems: Sequence[DataProblem],
    job: Job,
    *,
    year: float = 0.0,
    priors: Priors | None = None,
    entries: Sequence[Done] = (),
    told: bool = True,
    units: str = "trade",
) -> Judged:
    """Rank the causes of what was recorded.

    problems : channels that they say cannot be true are left out.
    priors : how common the causes are; None: the table of `analysis.diagnosis.causes`.
    entries : what was done and tested; after a repair that attempts followed, those alone are judged.
    told : whether evidence and pairs are worked out too.
    units : of the numbers in the evidence, `trade` or `metric`.
    """
    since = _repaired(entries, attempts)
    attempts = [one for one in attempts if one.start >= since]
    numbers = {one.number for one in attempts}
    measures = [one for one in measures if one.attempt in numbers or (one.attempt is None and since == -math.inf)]
    series = [_after(one, since) for one in series]
    untrue = {key: one for one in problems if one.kind in UNTRUE for key in one.channels}
    kept = [one for one in series if one.channel.key not in untrue]
    trusted = [one for one in measures if not untrue.keys() & set(one.channels)]
    look = seen(kept, attempts, trusted, known(job))
    prior = (priors or Priors()).probabilities(visited(job, kept, year))
    ends = [float(one.time[-1]) for one in series if one.time.size]
    begun = attempts[0].start if attempts else max(ends, default=0.0)
    prior = conditioned(prior, entries, (begun, begun))
    doubts = list(dict.fromkeys(_doubts(untrue.values())))
    return diagnosed(library(), look, prior, kind=kind_of(job.plate), doubts=doubts, told=told, units=units)


def _repaired(entries: Sequence[Done], attempts: Sequence[Attempt]) -> float:
    """When the last repair was made that an attempt followed; minus infinity where there is none. [s]"""
    repairs = [entry.at for entry in entries if entry.what in DEEDS and DEEDS[entry.what].repairs]
    return max((at for at in repairs if any(one.start >= at for one in attempts)), default=-math.inf)


def _after(series: Series, since: float) -> Series:
    kept = slice(int(series.time.searchsorted(since)), None)
    return series if since == -math.inf else Series(series.channel, series.time[kept], series.value[kept])


def _doubts(problems: Iterable[DataProblem]) -> Iterator[str]:
    return (one.text.rstrip(".") for one in problems)
