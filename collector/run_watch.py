"""Signs of danger in how the run goes: carbon monoxide that rises, a late light-off, a step when the blower starts.

They follow contacts and readings of the run under way, whatever the sequence is taken for. A sign stays until the next
run shows otherwise; a possible breach stays, since no step never clears one.
"""

import math
from collections import deque
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from analysis.blower_step import GUARD, WINDOW
from analysis.blower_step import POINTS as TAPPED
from analysis.measures.defaults import default_response_time
from analysis.measures.trends import line
from analysis.model import NANOSECONDS, Quality
from analysis.run_signs import LATE, LIT_LATE, RISE, RISING, breach_text, stepped
from analysis.signs import FLAME
from collector.stop_signs import Sign

POINTS = frozenset({"flame_current", "gas_valve", "blower_on", "call_heat_2", "switch_high_closed", "flue_co", *TAPPED})
"""What is looked at."""
KEPT = 1_500
"""Readings of each suction that are kept, and of the flue; of more the oldest go: a step or trend needs fewer. [1]"""
SPACING = 1.0
"""Readings of the flue are kept no closer than this. [s]"""
SETTLED = 120.0
"""From the flame on, until carbon monoxide is followed; as over a recording. [s]"""
LEAST = 60.0
"""Length of a trend. [s]"""
LOOK = 5.0
"""Between two looks at the trend. [s]"""
LIT = 15.0
"""A blower that starts sooner after the flame does not start for the run. [s]"""
STAGE = 25.0
"""A change of stage so near to the blower's start hides its step. [s]"""
RESPONSE = default_response_time("draft_transition")
"""Time constant of a usual manometer. [s]"""


class RunWatch:
    """Follows the run; times rise, or else `begin_anew` is called before."""

    def __init__(self) -> None:
        self._told: dict[str, Sign] = {}
        self._on: dict[str, bool] = {}
        self._opened: tuple[float, float] | None = None  # valve: last closed, first open [s]
        self._lit: float | None = None  # flame's first reading [s]
        self._dark = -math.inf  # last reading without a flame [s]
        self._valve = -math.inf  # last reading of the valve [s]
        self._blower: float | None = None  # its start in this run, until its step was looked at [s]
        self._changed = -math.inf  # stage [s]
        self._read: dict[str, deque[tuple[float, float]]] = {}
        self._looked = -math.inf

    def begin_anew(self) -> None:
        """Forget everything: what comes belongs to another time."""
        self.__init__()  # type: ignore[misc]

    def forget(self, point: str) -> None:
        """Nothing measures a point any more; a sign that was seen stays."""
        self._on.pop(point, None)
        self._read.pop(point, None)

    def told(self) -> tuple[Sign, ...]:
        """Signs that hold, the gravest first."""
        order = ("breach_sign", "flue_co_rising", "late_light_off")
        return tuple(self._told[name] for name in order if name in self._told)

    def step(self, point: str, time: int, value: float, quality: Quality) -> None:
        """Take a value [inside unit] of one of `POINTS` at `time` [ns]."""
        if point not in POINTS or quality is Quality.BAD or math.isnan(value):
            return
        now = time / NANOSECONDS
        if point == "flame_current":
            self._flame(now, burning=value >= FLAME)
        elif point in TAPPED or point == "flue_co":
            self._keep(point, now, value)
        else:
            self._contact(point, now, on=value >= 0.5)
        self._look(now)

    def _contact(self, point: str, now: float, *, on: bool) -> None:
        before = self._on.get(point)
        self._on[point] = on
        if point == "gas_valve":
            if on and before is False:
                self._opened = (self._valve, now)
            elif not on:
                self._opened, self._lit, self._blower = None, None, None
                self._read.pop("flue_co", None)
            self._valve = now
        elif point == "blower_on":
            if on and before is False and self._lit is not None and now - self._lit >= LIT:
                self._blower = now
        elif before is not None and before != on:
            self._changed = now

    def _flame(self, now: float, *, burning: bool) -> None:
        if not burning:
            self._dark, self._lit = now, None
            return
        if self._lit is not None:
            return
        self._lit = now
        if self._opened is not None and self._dark >= self._opened[0]:
            earliest = self._dark - self._opened[1]  # the least that the spacing of both meters allows
            self._tell("late_light_off", now, LIT_LATE if earliest > LATE else "")
            self._opened = None

    def _keep(self, point: str, now: float, value: float) -> None:
        kept = self._read.setdefault(point, deque(maxlen=KEPT))
        if point == "flue_co":
            if self._lit is None or now - self._lit < SETTLED or (kept and now - kept[-1][0] < SPACING):
                return
        elif kept and now <= kept[-1][0]:
            return
        kept.append((now, value))

    def _look(self, now: float) -> None:
        if self._blower is not None and now > self._blower + GUARD + 3.0 * RESPONSE + WINDOW:
            self._step(self._blower, now)
        if now - self._looked >= LOOK:
            self._looked = now
            self._trend(now)

    def _step(self, moment: float, now: float) -> None:
        self._blower = None
        if now - self._changed <= 2.0 * STAGE and abs(self._changed - moment) <= STAGE:
            return
        read: dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]] = {}
        for point in TAPPED & self._read.keys():
            read[point] = _columns(self._read[point])
        found = stepped(read, moment, display=0.0, response=RESPONSE)
        if found:
            self._tell("breach_sign", moment, breach_text(found))

    def _trend(self, now: float) -> None:
        kept = self._read.get("flue_co")
        if kept is None or len(kept) < 12 or kept[-1][0] - kept[0][0] < LEAST:
            return
        slope, u, _ = line(*_columns(kept))
        rises = slope - 2.0 * u > 0.0 and slope * (kept[-1][0] - kept[0][0]) >= RISE
        self._tell("flue_co_rising", now, RISING if rises else "")

    def _tell(self, name: str, at: float, text: str) -> None:
        """A sign holds since the moment, or by an empty text no more."""
        if not text:
            self._told.pop(name, None)
        elif name not in self._told:
            self._told[name] = Sign(name, text, stop=True, since=round(at * NANOSECONDS))


def _columns(rows: Collection[tuple[float, float]]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times and values."""
    return np.fromiter((time for time, _ in rows), float), np.fromiter((value for _, value in rows), float)
