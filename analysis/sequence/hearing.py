"""What one channel says while its readings still come: kept readings, levels learned so far, its course so far."""

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Plate, Series
from analysis.sequence.edges import QUIET, RECENT, Course, course
from analysis.sequence.evidence import Voice
from analysis.sequence.heat import BLOCK, PART, heating
from analysis.sequence.levels import Learning, Levels
from analysis.sequence.readings import Readings
from analysis.sequence.signals import HEAT, HIGH, STAGE_CONTACTS, STAGE_LEVELS, TELLING
from analysis.sequence.voices import STEADY, stage_course, stage_split

Array = NDArray[np.float64]

RAW = frozenset(("volts_control", "door_closed", "float_closed"))
"""Points that are only asked about their level."""
LISTENED = frozenset((*TELLING, *STAGE_CONTACTS, *RAW))
"""Points that tell something; readings of others are left alone."""

WINDOW = 70.0
"""A course is made anew over so long; what is older stands. [s]"""
SETTLING = 30.0
"""Of that so much stands too: changes are looked for so far back from where they show. [s]"""
FEWEST = 64
"""Readings looked at, however long ago they were. [1]"""
LEARNED = 2.0
"""Levels are learned from so much at once. [s]"""
MOVED = 0.1
"""Part by which a level has to move to count as another one. [1]"""
CALM = 15.0
"""A channel that changed no later than this before, and reads as before, need not be looked at. [s]"""
ALIKE = 1.15
"""Largest by smallest reading of what reads as before. [1]"""
PLAINLY = 1.6
"""How far it has to go to have left its rest: a gust goes a little beyond what counts as on. [on]"""
FAR = 1e11
"""When what is said now ends, as long as it goes on. [s]"""
KEPT = 1024
"""Changes, and medians of some seconds, that are kept of a channel; the oldest are dropped. [1]"""

NOTHING = Course(np.empty(0), np.empty(0, np.int8), np.empty(0))


class Hearing:
    """One channel as far as it was read."""

    def __init__(self, point: str, plate: Plate | None) -> None:
        self.point = point
        self.readings = Readings()
        self.learned = -np.inf
        """When it was last heard to go where it had not been. [s]"""
        self._plate = plate
        self._channel = Channel(point, "", "")
        self._telling = TELLING.get(point)
        self._used = self._telling or TELLING["switch_closed"]
        self._learning = Learning()
        self._levels: Levels | None = None
        self._learned, self._relearn, self._anew = -np.inf, 0.0, False
        self._said = self._stage = NOTHING
        self._voices: list[Voice] | None = None
        self.resting: list[Voice] = []
        """What it says while it never left its rest."""
        self._hold = QUIET
        self._quiet = 0.0  # since then nothing changed
        self._split: float | None = None
        self._steady = Means(STEADY, median=True)
        self._means = Means(BLOCK, median=False)
        self._least = 0.0

    def listen(self) -> None:
        """Take in what was read since."""
        last = self.readings.last
        if not self.readings.take() or self.point in RAW:
            return
        if self._used.signal == HEAT:
            self._feel()
        elif self._used.contact:
            if not self._goes_on(last):
                self._hear(anew=False)
        elif self._learn() or not self._goes_on(last):
            self._hear(anew=self._anew)

    def trim(self, before: float) -> None:
        """Forget changes before a time, but for what was said then."""
        said, stage = _trimmed(self._said, before), _trimmed(self._stage, before)
        if said is not self._said or stage is not self._stage:
            self._said, self._stage, self._voices = said, stage, None

    def end(self) -> None:
        """Nothing measures the point any more: what was said stands, and nothing is said from now on."""
        self.readings.take()
        last = self.readings.last
        self._said, self._stage = _ended(self._said, last), _ended(self._stage, last)
        self.readings = Readings()
        self._learning, self._levels, self._learned = Learning(), None, -np.inf
        self._steady, self._means, self._least = Means(STEADY, median=True), Means(BLOCK, median=False), 0.0
        self._split, self._voices = None, None

    @property
    def sure(self) -> bool:
        """Whether it showed both of its levels."""
        if self._used.contact or self.point in RAW:
            return True
        if self._used.signal == HEAT:
            return self._said.time.size > 3
        return self._levels is not None and not self._levels.always_on and not _flat(self._levels)

    @property
    def silent(self) -> bool:
        """Whether nothing is known of it any more."""
        return not self.readings.count and self._said.time.size < 2 and self._stage.time.size < 2

    def voices(self, now: float) -> list[Voice]:
        """What it says, apart from `resting`; the same voices as before while nothing is new."""
        if not self.readings.count:
            return self._made()
        ends = self.readings.last + self._hold
        for one in (self._said, self._stage):
            if one.time.size > 1 and one.state[-1] < 0:
                until = ends if now >= ends else FAR
                if self.readings.last < one.time[-1] != until:
                    one.time[-1] = until
                    self._voices = None
        return self._made()

    def _made(self) -> list[Voice]:
        if self._voices is not None:
            return self._voices
        found, telling, levels = list[Voice](), self._telling, self._levels
        self.resting = []
        if telling is not None and self._said.time.size > 1:
            flat = levels is not None and _flat(levels) and not levels.always_on
            one = Voice(self.point, telling.signal, self._said, telling.on, telling.off, telling.quick)
            (self.resting if flat and telling.signal != HEAT else found).append(one)
        if self.point in STAGE_LEVELS and self._stage.time.size > 1:
            weight, _ = STAGE_LEVELS[self.point]
            found.append(Voice(self.point, HIGH, self._stage, weight, weight))
        if self.point in STAGE_CONTACTS and self._said.time.size > 1:
            on, off = STAGE_CONTACTS[self.point]
            found.append(Voice(self.point, HIGH, self._said, on, off))
        self._voices = found
        return found

    def series(self) -> Series:
        """Its readings that are kept."""
        return Series(self._channel, self.readings.time, self.readings.value)

    def _learn(self) -> bool:
        """Learn levels; whether the course has to be made anew with others."""
        self._anew = False
        time = self.readings.time
        first = int(np.searchsorted(time, self._learned, "right"))
        fresh = time[first:]
        if fresh.size < 8 or fresh[-1] - fresh[0] < LEARNED:
            return False
        low, high = self._learning.low, self._learning.high
        value = self.readings.value[first:]
        self._learning.learn(fresh, value)
        self._learned = float(fresh[-1])
        self._steady.add(fresh, value)
        extremes = (low, high) != (self._learning.low, self._learning.high)
        if not extremes and self._learned < self._relearn:
            return False
        self._relearn = self._learned + 10.0
        self._learning.measure(self.readings.value)
        self._anew = self._use(self._learning.levels(self._used))
        return self._anew

    def _use(self, new: Levels | None) -> bool:
        old = self._levels
        anew = new is not None and (old is None or _differ(old, new))
        if anew and new is not None:
            self._levels = new
            if old is None or old.always_on != new.always_on or _flat(old) != _flat(new):
                self.learned = self._learned
        levels = self._levels
        if self.point in STAGE_LEVELS and levels is not None:
            split = stage_split(self.point, levels.distance(self._steady.value), levels, self._plate)
            before = self._split
            if (split is None) != (before is None) or (split and before and abs(split - before) > MOVED * before):
                self._split, anew = split, True
        return anew

    def _goes_on(self, before: float) -> bool:
        """Whether all that was read since some time plainly says what was said before, so that nothing is new."""
        time, value, said = self.readings.time, self.readings.value, self._said
        if said.time.size < 2 or said.state[-1] >= 0:
            return False
        contact, levels = self._used.contact, self._levels
        behind = 2.0 if contact else CALM
        first = int(np.searchsorted(time, before))
        if first >= time.size or time[first] - max(said.time[-2], self._quiet) < behind:
            return False
        if np.diff(time[first:]).max(initial=0.0) > QUIET:
            return False
        if contact:
            states = value[first:] >= 0.5
            return bool((states == (said.state[-2] == 1)).all())
        if levels is None:
            return False
        on = (said.state[-2] == 1) != self._used.inverse
        distance = levels.distance(value[first:])
        if not on:
            return bool((distance <= levels.off).all())
        if not self._used.fades and self._split is None:
            return bool((distance >= levels.on).all())
        recent = levels.distance(value[int(np.searchsorted(time, time[-1] - CALM - RECENT)) :])
        least = float(recent.min())
        return least >= levels.on and float(recent.max()) <= ALIKE * least

    def _hear(self, *, anew: bool) -> None:
        """Make the course anew over its last part, or over all that is kept."""
        time, value, contact = self.readings.time, self.readings.value, self._used.contact
        first = 0
        if not anew:
            first = max(0, min(int(np.searchsorted(time, time[-1] - WINDOW)), time.size - FEWEST))
        time, value = time[first:], value[first:]
        if time.size == 1 and contact:
            time, value = np.array([time[0], time[0] + 1e-3]), np.repeat(value, 2)
        if time.size < 2:
            return
        stands = float(time[0])
        if first and not contact:
            stands += min(SETTLING, 0.5 * float(time[-1] - time[0]))
        new = course(time, value, self._used, self._levels)
        if new.time.size < 2:
            return
        self._hold = float(new.time[-1]) - float(time[-1])
        before, levels, last = (self._said, self._stage), self._levels, float(time[-1])
        self._said = _joined(self._said, new, stands, last)
        if self._split is not None and levels is not None and time.size >= 8:
            stage = stage_course(self.point, time, value, levels, self._split)
            self._stage = _joined(self._stage, stage, stands, last)
        elif anew:
            self._stage = NOTHING
        if (self._said, self._stage) != before or anew:
            self._voices = None
            self._quiet = last

    def _feel(self) -> None:
        """Make the course of a temperature anew when another mean is there."""
        time = self.readings.time
        first = int(np.searchsorted(time, self._learned, "right"))
        if first == time.size:
            return
        self._learned = float(time[-1])
        if not self._means.add(time[first:], self.readings.value[first:]) or self._means.value.size < 8:
            return
        value = self._means.value
        low, high = np.percentile(value, [0.5, 99.5])
        self._least = max(self._least, PART * float(high - low))
        new = heating(self._means.time, value, self._used, self._least)
        if new.time.size > 1:
            self._hold = 10 * QUIET
            new.time[-1] = self.readings.last + self._hold
            before, self._said = self._said, _joined(self._said, new, float(self._means.time[0]), self.readings.last)
            if self._said is not before:
                self._voices = None


class Means:
    """Means, or medians, over some seconds each; the oldest are dropped when there are too many."""

    def __init__(self, span: float, *, median: bool) -> None:
        self._span, self._median = span, median
        self._zero: float | None = None
        self._open: list[float] = []
        self._number = 0
        self._found: list[tuple[float, float]] = []
        self.time, self.value = np.empty(0), np.empty(0)

    def add(self, time: Array, value: Array) -> bool:
        """Take more readings; whether another span is full."""
        before = len(self._found)
        if self._zero is None:
            self._zero = float(time[0])
        numbers = np.floor((time - self._zero) / self._span).astype(np.int64)
        for number, one in zip(numbers.tolist(), value.tolist(), strict=True):
            if number > self._number:
                self._close()
                self._number = number
            self._open.append(one)
        if len(self._found) == before:
            return False
        if len(self._found) > KEPT + KEPT // 4:
            del self._found[: KEPT // 4]
        self.time, self.value = np.array(self._found).T
        return True

    def _close(self) -> None:
        if self._open and self._zero is not None:
            middle = float(np.median(self._open)) if self._median else sum(self._open) / len(self._open)
            self._found.append((self._zero + (self._number + 0.5) * self._span, middle))
        self._open = []


def _differ(old: Levels, new: Levels) -> bool:
    if old.always_on != new.always_on or (old.reach < 0) != (new.reach < 0):
        return True
    return _flat(old) != _flat(new) or abs(new.on - old.on) > MOVED * old.on or abs(new.rest - old.rest) > MOVED * old.on


def _flat(levels: Levels) -> bool:
    """Whether the channel never plainly left its rest."""
    return abs(levels.reach) < PLAINLY * levels.on


def _joined(old: Course, new: Course, stands: float, last: float) -> Course:
    """The old course up to a time, the new one from then on; the old one where only the end differs.

    last : time of the newest reading. [s]
    """
    first = int(np.searchsorted(old.time, stands))
    if not first:
        return old if _alike(old, new, last) else new
    place = int(np.searchsorted(new.time, stands, "right"))
    states, times, us = [old.state[:first]], [old.time[:first]], [old.u[:first]]
    if place and new.state[place - 1] != old.state[first - 1]:
        states.append(new.state[place - 1 : place])
        times.append(np.array([stands]))
        us.append(np.array([1.0]))
    state = np.concatenate([*states, new.state[place:]])
    time, u = np.concatenate([*times, new.time[place:]]), np.concatenate([*us, new.u[place:]])
    kept = np.concatenate([[True], state[1:] != state[:-1]])
    found = Course(time[kept][-KEPT:], state[kept][-KEPT:], u[kept][-KEPT:])
    return old if _alike(old, found, last) else found


def _alike(old: Course, new: Course, last: float) -> bool:
    """Whether they say the same but for when they end after the last reading."""
    return (
        old.time.size == new.time.size > 1
        and bool(old.time[-1] == new.time[-1] or min(old.time[-1], new.time[-1]) > last)
        and bool((old.time[:-1] == new.time[:-1]).all())
        and bool((old.state == new.state).all())
    )


def _trimmed(said: Course, before: float) -> Course:
    first = int(np.searchsorted(said.time, before, "right")) - 1
    return said if first < 16 else Course(said.time[first:], said.state[first:], said.u[first:])


def _ended(said: Course, at: float) -> Course:
    last = int(np.searchsorted(said.time, at, "right"))
    if not last:
        return NOTHING
    time, state = np.append(said.time[:last], at + 1e-3), np.append(said.state[:last], np.int8(-1))
    return Course(time, state, np.append(said.u[:last], 0.0))
