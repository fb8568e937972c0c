"""What one channel says while its readings still come: kept readings, levels learned so far, its course so far."""

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Plate, Series
from analysis.sequence.courses import NOTHING, ended, joined, trimmed
from analysis.sequence.edges import QUIET, RECENT, SHALLOW, Course, course
from analysis.sequence.evidence import Voice
from analysis.sequence.heat import BLOCK, PART, heating
from analysis.sequence.levels import Learning, Levels
from analysis.sequence.readings import Means, Readings
from analysis.sequence.signals import HEAT, HIGH, INDUCER, STAGE_CONTACTS, STAGE_LEVELS, TELLING
from analysis.sequence.stages import ABOVE, BELOW, STEADY, stage_course, stage_split
from analysis.sequence.voicing import by_pressure, energised, pressed, reliance, turned, voice_of

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
BEFORE, CHAIN = 2.0, 8
"""A part that is looked at anew begins so long before a change that is near [s], of changes in a row so many back."""
GALE = 5.0
"""Farther than so many times the smallest change no gust draws; our choice. [1]"""
SHIFTED = 0.5
"""A change that lies so far elsewhere is another one. [s]"""
ALIKE = 1 / SHALLOW
"""Largest by smallest reading of what reads as before: then nothing goes down far enough for a dip. [1]"""
STAGED = 8
"""Medians that each stage has at least before they are told apart. [1]"""
PLAINLY = 1.6
"""How far it has to go to have left its rest: a gust goes a little beyond what counts as on. [on]"""
FAR = 1e11
"""When what is said now ends, as long as it goes on. [s]"""


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
        self._said = self._stage = self._pressed = NOTHING
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
                self._hear(self.readings.last - WINDOW, anew=False)
        elif self._learn() or not self._goes_on(last):
            self._hear(-np.inf if self._anew else self.readings.last - WINDOW, anew=self._anew)

    def again(self, since: float) -> bool:
        """Make the course anew from a time on with the newest levels; whether it is another one then."""
        if self._levels is None or not self.readings.count or self._used.contact or self.point in RAW:
            return False
        before, old = (self._said, self._stage), self._levels
        if (levels := self._learning.levels(self._used)) is not None:
            self._levels = levels
        self._hear(since, anew=self._levels != old)
        pairs = zip(before, (self._said, self._stage), strict=True)
        return any(_apart(was, now, since + 2 * SETTLING, self.readings.last) for was, now in pairs)

    def trim(self, before: float) -> None:
        """Forget changes before a time, but for what was said then."""
        courses = self._said, self._stage, self._pressed
        kept = tuple(trimmed(one, before) for one in courses)
        if any(new is not old for new, old in zip(kept, courses, strict=True)):
            self._said, self._stage, self._pressed = kept
            self._voices = None

    def end(self) -> None:
        """Nothing measures the point any more: what was said stands, and nothing is said from now on."""
        self.readings.take()
        last = self.readings.last
        self._said, self._stage = ended(self._said, last), ended(self._stage, last)
        self._pressed = ended(self._pressed, last)
        self.readings = Readings()
        self._learning, self._levels, self._learned = Learning(), None, -np.inf
        self._steady, self._means, self._least = Means(STEADY, median=True), Means(BLOCK, median=False), 0.0
        self._split, self._voices = None, None

    @property
    def signal(self) -> int | None:
        """What it tells of; None where it is only asked about its level or tells the stage."""
        return None if self._telling is None else self._telling.signal

    @property
    def sure(self) -> bool:
        """Whether it showed both of its levels."""
        if self._used.contact or self.point in RAW:
            return True
        if self._used.signal == HEAT:
            return self._said.time.size > 3
        return self._levels is not None and not self._levels.always_on and not _flat(self._levels)

    @property
    def firm(self) -> bool | None:
        """Whether it tells the inducer well; None where it does not tell it at all."""
        if self._used.signal != INDUCER or self._said.time.size < 2:
            return None
        if not self._used.fades:
            return True
        return self._levels is not None and abs(self._levels.reach) >= GALE * self._used.floor

    @property
    def silent(self) -> bool:
        """Whether nothing is known of it any more."""
        return not self.readings.count and self._said.time.size < 2 and self._stage.time.size < 2

    def voices(self, now: float) -> list[Voice]:
        """What it says, apart from `resting`; the same voices as before while nothing is new."""
        if not self.readings.count:
            return self._made()
        ends = self.readings.last + self._hold
        for one in (self._said, self._stage, self._pressed):
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
            said = energised(self._said) if self.point == "volts_switch" else self._said
            if flat and telling.signal != HEAT:
                self.resting.append(voice_of(self.point, telling, said, None))
            else:
                found.append(voice_of(self.point, telling, said, levels))
        if self.point == "switch_closed" and self._said.time.size > 2:
            found.append(turned(self.point, self._said))
        if self._pressed.time.size > 1:
            found.append(by_pressure(self.point, self._pressed))
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
            split = stage_split(self.point, levels.distance(self._steady.value), levels, self._plate, STAGED)
            before = self._split
            if (split is None) != (before is None) or (split and before and abs(split - before) > MOVED * before):
                self._split, anew = split, True
        return anew

    def _goes_on(self, before: float) -> bool:
        """Whether all that was read since some time plainly says what was said before, so that nothing is new."""
        time, value, said = self.readings.time, self.readings.value, self._said
        if said.time.size < 2 or said.state[-1] >= 0:
            return False
        behind = 2.0 if self._used.contact else CALM
        first = int(np.searchsorted(time, before))
        if first >= time.size or time[first] - max(said.time[-2], self._quiet) < behind:
            return False
        if np.diff(time[first:]).max(initial=0.0) > QUIET:
            return False
        if self._used.contact:
            return bool(((value[first:] >= 0.5) == (said.state[-2] == 1)).all())
        recent = value[int(np.searchsorted(time, time[-1] - CALM - RECENT)) :]
        return self._plainly(value[first:], recent, on=(said.state[-2] == 1) != self._used.inverse)

    def _plainly(self, fresh: Array, recent: Array, *, on: bool) -> bool:
        """Whether levels are plainly those of on, or of off, and as they were of late."""
        levels = self._levels
        if levels is None:
            return False
        distance = levels.distance(fresh)
        if not on:
            return bool((distance <= levels.off).all())
        if not self._used.fades and self._split is None:
            return bool((distance >= levels.on).all())
        distance = levels.distance(recent)
        least, most = float(distance.min()), float(distance.max())
        return least >= levels.on and most <= ALIKE * least and self._in_one_stage(least, most)

    def _in_one_stage(self, least: float, most: float) -> bool:
        """Whether such distances from rest plainly tell the stage that was told before, where stages are told."""
        split, stage = self._split, self._stage.state
        if split is None:
            return True
        if stage.size < 2 or stage[-1] >= 0 or stage[-2] < 0:
            return False
        return least >= ABOVE * split if stage[-2] == 1 else most <= BELOW * split

    def _hear(self, since: float, *, anew: bool) -> None:
        """Make the course anew from about a time on.

        anew : whether it is to be told even if it is the same.
        """
        time, value, contact = self.readings.time, self.readings.value, self._used.contact
        first = max(0, min(int(np.searchsorted(time, self._calm(since))), time.size - FEWEST))
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
        self._said = joined(self._said, new, stands, last)
        if self._split is not None and levels is not None and time.size >= 8:
            stage = stage_course(self.point, time, value, levels, self._split)
            self._stage = joined(self._stage, stage, stands, last)
        elif self._split is None:
            self._stage = NOTHING
        if self.point == "draft_switch":
            self._pressed = joined(self._pressed, pressed(time, value, self._plate), stands, last)
        changed = (self._said, self._stage) != before
        if changed or anew:
            self._voices = None
        if changed:
            self._quiet = last

    def _calm(self, time: float) -> float:
        """The last time up to this one at which nothing had changed for a while."""
        changes = self._said.time
        for at in changes[np.searchsorted(changes, time + CALM) - 1 :: -1][:CHAIN].tolist():
            if at < time - CALM:
                break
            time = min(time, at - BEFORE)
        return time

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
            before, self._said = self._said, joined(self._said, new, float(self._means.time[0]), self.readings.last)
            if self._said is not before:
                self._voices = None


def _differ(old: Levels, new: Levels) -> bool:
    if old.always_on != new.always_on or (old.reach < 0) != (new.reach < 0):
        return True
    if _flat(old) != _flat(new) or abs(reliance(old) - reliance(new)) > MOVED:
        return True
    return abs(new.on - old.on) > MOVED * old.on or abs(new.rest - old.rest) > MOVED * old.on


def _apart(old: Course, new: Course, since: float, last: float) -> bool:
    """Whether two courses differ from a time on by more than a little in when they change."""
    if old is new:
        return False
    first, second = trimmed(old, since, 0), trimmed(new, since, 0)
    if first.state.size != second.state.size or (first.state != second.state).any():
        return True
    return bool((np.abs(np.clip(first.time, since, last) - np.clip(second.time, since, last)) > SHIFTED).any())


def _flat(levels: Levels) -> bool:
    """Whether the channel never plainly left its rest."""
    return abs(levels.reach) < PLAINLY * levels.on
