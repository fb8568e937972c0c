"""What the channels can say about a moment at which an attempt was decided."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.model import Plate, Series
from analysis.sequence.evidence import Voice

LATEST = 6.0
"""A change may have been told so much later, where a channel is told seldom. [s]"""


@dataclass(frozen=True, slots=True)
class Ending:
    """The moment at which an attempt was decided."""

    phase: str
    """The last phase in which it went on."""
    time: float
    """[s]"""
    since: float
    """When that phase began. [s]"""
    spun: float
    """When the attempt began. [s]"""
    lit: float
    """When the flame was first there; NaN where it never was. [s]"""
    following: str
    """State that follows."""
    then: str
    """State after that."""
    fresh: bool
    """Whether it is the first try after a rest."""
    again: bool
    """Whether the inducer starts again with no rest between."""
    rest: float
    """How long after it the next attempt begins. [s]"""
    delay: float
    """Delay of the blower by the job file; 0 where it does not say. [s]"""
    trial: float
    """Length of an ignition trial by the job file; 0 where it does not say. [s]"""
    low: bool
    """Whether the pressure at the switch never came to its closing point."""


class Witness:
    """Asks the channels what happened about a moment."""

    def __init__(self, voices: Sequence[Voice], series: Sequence[Series], plate: Plate | None) -> None:
        self._voices = [voice for voice in voices if voice.quick and voice.course.time.size > 1]
        self._series = {one.channel.point: one for one in series}
        self._plate = plate

    def knows(self, signal: int, time: float) -> bool:
        """Whether a channel says something of a signal about a time."""
        return any(self._state(voice, time) >= 0 for voice in self._of(signal))

    def edge(self, signal: int, start: float, end: float, *, on: bool, point: str = "") -> float | None:
        """When a signal went on or off in a span, as told by a point or any; None where it did not, or nobody knows."""
        found = []
        for voice in self._of(signal):
            course = voice.course
            if point and voice.key.partition("@")[0] != point:
                continue
            first, last = np.searchsorted(course.time, [start, end + LATEST])
            for index in range(int(first), int(last)):
                late = min(2.0 * float(course.u[index]), LATEST)
                if course.changes[index] and course.state[index] == int(on) and course.time[index] - late < end:
                    found.append(float(course.time[index]))
        return min(found) if found else None

    def is_on(self, signal: int, time: float) -> bool | None:
        """Whether a signal is on; None where nobody knows or they disagree."""
        states = {state for voice in self._of(signal) if (state := self._state(voice, time)) >= 0}
        return bool(states.pop()) if len(states) == 1 else None

    def level(self, point: str, start: float, end: float) -> float | None:
        """Median of what a point showed in a span; None without readings."""
        series = self._series.get(point)
        if series is None:
            return None
        first, last = np.searchsorted(series.time, [start, end])
        value = series.value[first:last]
        value = value[np.isfinite(value)]
        return float(np.median(value)) if value.size else None

    def never_reached(self, start: float, end: float) -> bool:
        """Whether the pressure at the switch stayed below its closing point."""
        closing = self._plate.switch_close if self._plate is not None else ()
        series = self._series.get("draft_switch")
        if series is None or not closing:
            return False
        first, last = np.searchsorted(series.time, [start, end])
        value = np.abs(series.value[first:last])
        value = value[np.isfinite(value)]
        return bool(value.size) and float(np.percentile(value, 97)) < 0.98 * closing[-1]

    def opening(self) -> float | None:
        """Pressure at which the low-stage switch opens, by the job file. [Pa]"""
        if self._plate is None:
            return None
        points = self._plate.switch_open or self._plate.switch_close
        return points[-1] if points else None

    def _of(self, signal: int) -> list[Voice]:
        return [voice for voice in self._voices if voice.signal == signal]

    @staticmethod
    def _state(voice: Voice, time: float) -> int:
        index = int(np.searchsorted(voice.course.time, time, "right")) - 1
        return int(voice.course.state[index]) if index >= 0 else -1
