"""An instrument's own clock against ours, from messages that took an unknown time to come.

Nothing arrives before it was sent, so that of many messages the one with the smallest difference of arrival and clock
took the shortest way and tells most: Cristian, Probabilistic clock synchronization, Distributed Computing 3 (1989)
146-158; RFC 5905 (NTPv4), section 10, clock filter (the sample of least delay). A line through the least difference of
each window is the drift, as in Moon, Skelly and Towsley, Estimation and removal of clock skew from network delay
measurements, IEEE INFOCOM 1999. What the shortest way itself takes cannot be known from one direction.
"""

import math
from enum import Enum
from typing import NamedTuple

from analysis.model import NANOSECONDS

WINDOW = 5.0
"""First length of a window; it doubles when there are too many. [s]"""
MOST = 64
"""Windows kept. [1]"""
FEWEST = 8
"""Windows from which an offset and a drift are told. [1]"""
JUMP = 2.0
"""What a clock is moved by hand at least; less is taken for a slow message. Our choice. [s]"""
SURE = 30.0
SURE_MESSAGES = 5
"""Every message has to come late so long, and so many of them, before the clock is said to be set back. [s] [1]"""
LATE = 5.0
"""A clock that is so little behind the one before is that of a message that came late. [s]"""
DAY = 86_400.0
"""[s]"""
LEAST = 0.001
"""An offset is not known better than arrivals are. [s]"""
GRIDS = (60.0, 1.0, 0.1, 0.01)
"""Steps in which clocks are shown. [s]"""


class Course(Enum):
    """What a clock did."""

    ON = "on"
    JUMPED = "jumped"
    """Somebody set it."""
    RESTARTED = "restarted"
    """It counts from its beginning again."""


class Estimate(NamedTuple):
    """How the instrument's clock stands to ours.

    The uncertainties are those of 99 % where delays scatter normally; as they do not, count on 95 %.
    """

    offset: float
    """How far it is behind ours, with the time that a message takes at least. [s]"""
    offset_u: float
    """[s]"""
    drift: float
    """What it loses. [1e-6]"""
    drift_u: float
    """[1e-6]"""


class _Window(NamedTuple):
    start: float
    time: float
    least: float


class ClockWatch:
    """Follows a clock: the lower envelope of arrival minus clock over windows, and a line through it."""

    def __init__(self) -> None:
        self.jump = 0.0
        """How far it was set ahead when it jumped last, negative where it was set back. [s]"""
        self._base: int | None = None
        self._days = 0
        self._last: tuple[float, float] | None = None
        self._start_anew()

    def _start_anew(self) -> None:
        self._windows: list[_Window] = []
        self._length = WINDOW
        self._above: tuple[float, float, int] | None = None
        self._grid = 0

    def step(self, clock: float, time: int) -> Course:
        """A message that says `clock` [s] arrived at `time` [ns]."""
        if self._base is None:
            self._base = time
        arrived = (time - self._base) / NANOSECONDS
        if self._last is not None:
            gained = clock + DAY * self._days - self._last[1]
            if abs(gained + DAY - (arrived - self._last[0])) < LATE and clock < DAY:
                self._days += 1  # a time of day begins again at midnight
        shown = clock + DAY * self._days
        course = self._course(shown, clock, arrived)
        if course is not Course.ON:
            self._start_anew()
            self._days = self._days if course is Course.JUMPED else 0
            shown = clock + DAY * self._days
        elif self._last is not None and shown < self._last[1]:
            return course  # a message that came late: its clock tells nothing
        self._last = (arrived, shown)
        while self._grid < len(GRIDS) and abs(clock / GRIDS[self._grid] - round(clock / GRIDS[self._grid])) > 1e-6:
            self._grid += 1
        self._add(arrived, arrived - shown)
        return course

    def _course(self, shown: float, clock: float, arrived: float) -> Course:
        if self._last is None:
            return Course.ON
        before, last = self._last
        if shown < last - LATE:
            if -LATE <= clock <= arrived - before + LATE:
                return Course.RESTARTED
            self.jump = (shown - last) - (arrived - before)
            return Course.JUMPED
        floor = min(window.least for window in self._windows[-3:])
        excess = (arrived - shown) - floor
        if excess < -JUMP:
            self.jump = -excess
            return Course.JUMPED
        return self._set_back(arrived, excess)

    def _set_back(self, arrived: float, excess: float) -> Course:
        """Whether every message has come too late for so long that the clock must have been set back."""
        if excess <= JUMP:
            self._above = None
            return Course.ON
        since, least, count = self._above or (arrived, excess, 0)
        self._above = (since, min(least, excess), count + 1)
        if arrived - since < SURE or count + 1 < SURE_MESSAGES:
            return Course.ON
        self.jump = -self._above[1]
        return Course.JUMPED

    def _add(self, arrived: float, difference: float) -> None:
        if self._above is not None:
            return  # it may have been set back: what comes now belongs to another line
        windows = self._windows
        if windows and arrived < windows[-1].start + self._length:
            if difference < windows[-1].least:
                windows[-1] = _Window(windows[-1].start, arrived, difference)
            return
        windows.append(_Window(arrived, arrived, difference))
        if len(windows) > MOST:
            self._length *= 2
            pairs = zip(windows[::2], windows[1::2], strict=False)
            rest = windows[-1:] if len(windows) % 2 else []
            merged = [_Window(one.start, *min(one[1:], two[1:], key=lambda part: part[1])) for one, two in pairs]
            self._windows = merged + rest

    @property
    def resolution(self) -> float:
        """Steps in which the clock is shown, 0 where none is seen. [s]"""
        return GRIDS[self._grid] if self._grid < len(GRIDS) else 0.0

    def estimate(self, time: int) -> Estimate | None:
        """How the clock stands at `time` [ns]; None until enough is known."""
        points = [(window.time, window.least) for window in self._windows[:-1]]
        if len(points) < FEWEST or self._base is None:
            return None
        fit = _line(_usual(points))
        now = (time - self._base) / NANOSECONDS
        count, middle, spread = fit.points, fit.middle, fit.spread
        sure = _student(count - 2)
        drift_u = sure * fit.scatter / math.sqrt(spread)
        at_now = fit.scatter * math.sqrt(1 / count + (now - middle) ** 2 / spread)
        # The least delay of a window is scattered about as much as it is large: the line lies so much too high.
        offset = fit.level + fit.slope * (now - middle) - fit.scatter - self.resolution / 2
        offset_u = sure * math.hypot(at_now, fit.scatter) + self.resolution / 2 + LEAST
        drift_u += self.resolution / (points[-1][0] - points[0][0])
        return Estimate(offset + self._base / NANOSECONDS, offset_u, fit.slope * 1e6, drift_u * 1e6)


class _Line(NamedTuple):
    level: float
    slope: float
    middle: float
    spread: float
    scatter: float
    points: int


def _line(points: list[tuple[float, float]]) -> _Line:
    """Least squares; ordinary textbook formulas."""
    count = len(points)
    middle, level = sum(time for time, _ in points) / count, sum(value for _, value in points) / count
    spread = sum((time - middle) ** 2 for time, _ in points)
    slope = sum((time - middle) * (value - level) for time, value in points) / spread
    rest = sum((value - level - slope * (time - middle)) ** 2 for time, value in points)
    return _Line(level, slope, middle, spread, math.sqrt(rest / (count - 2)), count)


def _usual(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The points without windows in which even the quickest message was slow."""
    for _ in range(2):
        fit = _line(points)
        over = [value - fit.level - fit.slope * (time - fit.middle) for time, value in points]
        centre = sorted(over)[len(over) // 2]
        scatter = 1.4826 * sorted(abs(one - centre) for one in over)[len(over) // 2]
        kept = [point for point, one in zip(points, over, strict=True) if one <= centre + 4 * scatter]
        if len(kept) < FEWEST or len(kept) == len(points):
            break
        points = kept
    return points


def _student(freedom: int) -> float:
    """99.5 % point of Student's t: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5."""
    z = 2.575829
    first = (z**3 + z) / 4
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    return z + first / freedom + second / freedom**2


def in_words(estimate: Estimate) -> str:
    """`12.3 s behind, losing 0.9 s a day`; what is smaller than its uncertainty is not claimed."""
    a_day, a_day_u = estimate.drift * DAY / 1e6, estimate.drift_u * DAY / 1e6
    if abs(a_day) <= a_day_u:
        drift = f"no drift seen (within {_seconds(a_day_u)} a day)"
    else:
        drift = f"{'losing' if a_day > 0 else 'gaining'} {_seconds(abs(a_day))} a day"
    if abs(estimate.offset) > DAY:
        return f"counts by itself and shows no time of day, {drift}"
    if abs(estimate.offset) <= estimate.offset_u:
        return f"right within {_seconds(estimate.offset_u)}, {drift}"
    return f"{_seconds(abs(estimate.offset))} {'behind' if estimate.offset > 0 else 'ahead'}, {drift}"


def _seconds(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds < 1 else f"{seconds:.1f} s" if seconds < 100 else f"{seconds / 60:.0f} min"
