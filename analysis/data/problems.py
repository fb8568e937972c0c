"""Everything that is wrong, doubtful or missing in the measurements of a recording."""

from collections.abc import Mapping, Sequence
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from analysis.data.clocks import clocks
from analysis.data.course import Course
from analysis.data.holes import doubtful as doubtful_readings
from analysis.data.holes import gaps, missing, saturated, slow, spikes, time_back
from analysis.data.levels import not_returning, not_zeroed, stuck
from analysis.data.problem import KINDS, DataProblem
from analysis.data.sides import wrong_sides
from analysis.data.wrong_unit import wrong_unit
from analysis.model import Plate, Series
from analysis.points import measure_of
from analysis.sequence.attempts import Attempt
from analysis.uncertainty import Accuracy, AccuracyError

Array = NDArray[np.float64]

MOST_OF_A_KIND = 20
"""Of one kind no more are told. [1]"""

TELLS_MOST = (
    (
        ("room_co",),
        "CO in the room is not known, and that is never the same as fine",
        "Measure it while you work here.",
    ),
    (
        ("gas_valve", "gas_manifold"),
        "when the gas was on, on which the attempts and their phases rest, is not known",
        "Watch the 24 V at the gas valve, or take a manometer to the manifold.",
    ),
    (
        ("draft_switch", "draft_collector"),
        "why a pressure switch does not close or opens cannot be told",
        "Tee a manometer into the hose at the pressure switch.",
    ),
    (
        ("flame_current",),
        "whether a flame was seen by the control cannot be told",
        "Put a microammeter in series with the flame rod, power off while the lead is open.",
    ),
    (
        ("temp_supply",),
        "temperature rise and limit cannot be judged",
        "Put a thermometer in the supply duct, out of sight of the exchanger, and one in the return.",
    ),
)
"""Points without which the most stays open, what matters most first; common practice, no published source."""


def problems(
    series: Sequence[Series],
    attempts: Sequence[Attempt] = (),
    plate: Plate | None = None,
    *,
    accuracies: Mapping[str, Accuracy] | None = None,
    doubtful: Mapping[str, Array] | None = None,
    ranges: Mapping[str, tuple[float, float]] | None = None,
    came: Mapping[str, Array] | None = None,
) -> tuple[DataProblem, ...]:
    """What is wrong with the measurements, by kind and then by time; no value is changed.

    By key of the channel, each as far as it is known: `accuracies` where it does not state its own, times of `doubtful`
    readings [s], `ranges` of meters [inside unit], times of all readings in the order in which they `came` [s].
    """
    course = Course(series, attempts)
    stated = _stated(course.series) | dict(accuracies or {})
    if not course.series:
        return ()
    with np.errstate(invalid="ignore"):
        exchanged = list(wrong_sides(course, plate or Plate()))
        units = list(wrong_unit(course))
        odd = {key for one in units for key in one.channels}
        found = [
            *gaps(course),
            *stuck(course),
            *not_returning(course),
            *(one for one in exchanged if not odd & {*one.channels}),
            *(one for one in not_zeroed(course, stated) if not odd & {*one.channels}),
            *clocks(course),
            *time_back(course, came or {}),
            *spikes(course),
            *saturated(course, ranges or {}),
            *units,
            *slow(course),
            *doubtful_readings(course, doubtful or {}),
            *missing(course, TELLS_MOST),
        ]
    place = {kind: number for number, kind in enumerate(KINDS)}
    found.sort(key=lambda one: (place[one.kind], one.start if one.kind != "missing" else 0.0))
    return tuple(one for kind in KINDS for one in [one for one in found if one.kind == kind][:MOST_OF_A_KIND])


def _stated(series: Sequence[Series]) -> dict[str, Accuracy]:
    """Accuracies that the channels themselves state; one that cannot be read counts as none."""
    found = {}
    for one in series:
        if one.channel.accuracy:
            with suppress(AccuracyError):
                found[one.channel.key] = Accuracy.parse(one.channel.accuracy, measure_of(one.channel.point).name)
    return found
