"""Every ignition attempt of a recording."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.model import Plate, Series, Timing
from analysis.sequence.attempts import Recognition
from analysis.sequence.boundaries import refined
from analysis.sequence.build import attempts
from analysis.sequence.durations import Durations
from analysis.sequence.evidence import Evidence, moments
from analysis.sequence.path import Path
from analysis.sequence.readings import FAR
from analysis.sequence.states import impossible
from analysis.sequence.voices import keys, voices


def recognize(series: Sequence[Series], timing: Timing | None = None, plate: Plate | None = None) -> Recognition:
    """Attempts in what was recorded, from whatever channels there are.

    series : (channels,) each with times increasing; NaN where there is no good value.
    timing : what the job file says of the control's timings; None where it says nothing.
    plate : what it says of switches, stages and manifold; None where there is none.
    """
    series = [_near(one) for one in series if one.time.size]
    if not series:
        return Recognition()
    found, left_out = voices(series, plate)
    if not found:
        return Recognition(left_out=left_out)
    durations = Durations(timing)
    start = min(float(one.time[0]) for one in series)
    end = max(float(one.time[-1]) for one in series)
    time = moments(found, durations, start, end)
    evidence = Evidence(found)
    path = Path(durations, evidence.signals, impossible(evidence.signals, plate))
    path.extend(time, evidence.said(time))
    segments = path.best()
    at, u = refined(segments, time, found, durations)
    built = attempts(segments, at, u, voices=found, series=list(series), durations=durations, plate=plate)
    return Recognition(tuple(built), keys(found), left_out)


def _near(series: Series) -> Series:
    """The series without what no reading can be; reading by reading the recognizer leaves it out too."""
    far = np.abs(series.value) >= FAR
    return replace(series, value=np.where(far, np.nan, series.value)) if far.any() else series
