"""Every ignition attempt while the readings come: where the sequence stands now, and what is decided of it."""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import replace

from analysis.model import Plate, Quality, Timing
from analysis.sequence.attempts import Attempt, Progress
from analysis.sequence.build import attempts
from analysis.sequence.durations import Durations
from analysis.sequence.ending import GOES_ON
from analysis.sequence.evidence import Voice
from analysis.sequence.following import Following, Standing
from analysis.sequence.hearing import LISTENED, Hearing
from analysis.sequence.path import SAME
from analysis.sequence.progress import told
from analysis.sequence.readings import FAR
from analysis.sequence.signals import CALL, FLAME, GAS, HEAT
from analysis.sequence.states import STATES
from analysis.sequence.voicing import rests, tempered

TICK = 0.5
"""Readings are looked at together so often. [s]"""
BACK = 2.0
"""Readings of several instruments are in no better order than this; a time farther back begins anew. [s]"""
REVISED = 3.0
"""A decision younger than this may be revised. [s]"""
LEARNING = 12.0
"""The same while a channel has not shown yet how far it goes. [s]"""
SLOW = 1.0
"""An outcome is settled so much later: what tells it from others may come after the decision. [s]"""
MARGIN = 15.0
"""How much worse any other phase has to be for one to be settled. [log 1]"""
BEFORE = 6.0
"""The same of the phase before it, where an attempt begins or ends. [log 1]"""
NEAR = 6.0
"""Courses worse by no more than this come near: those are built and compared. [log 1]"""
OLD = 300.0
"""A decision of such an age is settled as it stands, even where all that is remembered says otherwise. [s]"""
WAYS = 24
"""Where more courses than this come near, nothing is sure. [1]"""
SELDOM = 0.1
"""Part of the age of a decision after which courses are compared again. [1]"""
EARLY, LATEST = 10.0, 120.0
"""An attempt is settled when the next one is so old: with the margin then, as it stands at the latest. [s]"""
LONG = 900.0
"""An attempt that is over for so long is settled as it stands. [s]"""
BUILT = 1.0
"""Attempts are made anew so often though nothing changes: some ask how long it lasts. [s]"""
KEPT = 200
"""Attempts kept; the oldest are dropped. [1]"""
REMEMBERED = 600.0
"""Changes are kept for so long before what is open: others follow from them by the timing. [s]"""
OPEN_ENDED = ("cut_off", "unknown")
"""Outcomes that what follows may still turn into others."""


class Recognizer:
    """Follows the sequence reading by reading.

    What is announced as settled never changes: a phase and when it began, the number, start and outcome of an attempt.
    Decisions are settled when they are three seconds old and no other course comes near; where the channels tell too
    little for that, when the next attempt is some seconds old.
    """

    def __init__(self, timing: Timing | None = None, plate: Plate | None = None) -> None:
        self._timing, self._plate = timing, plate
        self._durations = Durations(timing)
        self._following: Following | None = None
        self._hearings: dict[str, Hearing] = {}
        self._time = self._next = self._looked = self._build = -math.inf
        self._fresh = False
        self._over: deque[Attempt] = deque(maxlen=KEPT)
        self._number = self._call = 0  # of the last that is over
        self._called = -math.inf  # when heat was called for it
        self._open: list[Attempt] = []
        self._decided: Attempt | None = None  # the one under way, with the outcome that is settled
        self._progress = Progress()
        self._asked = False  # whether courses were compared in this look
        self._ask: dict[float, float] = {}  # when those up to a time are to be compared again at the earliest

    def step(self, point: str, time: float, value: float, quality: Quality) -> Progress:
        """Take a reading [inside unit of the point] of a time [s]; where the sequence stands then."""
        if point not in LISTENED or quality is Quality.BAD or not -FAR < value < FAR or not math.isfinite(time):
            return self._progress
        if time < self._time - BACK:
            self._begin_anew()
        hearing = self._hearings.get(point)
        if hearing is None:
            hearing = self._hearings[point] = Hearing(point, self._plate)
        hearing.readings.add(time, value)
        self._fresh = True
        if time > self._time:
            self._time = time
            if time >= self._next:
                self._work(time, time)
        return self._progress

    def look(self, now: float) -> Progress:
        """Where the sequence stands now [s], though nothing was read; older readings may follow."""
        if math.isfinite(now) and math.isfinite(self._time) and (self._fresh or now >= self._looked + TICK):
            settles = max(self._time, min(now - BACK, self._time + 60.0))
            self._work(max(now, self._time), settles)
        return self._progress

    def forget(self, point: str) -> None:
        """Nothing measures a point any more; what it said stands."""
        if (hearing := self._hearings.get(point)) is not None:
            hearing.end()

    @property
    def attempts(self) -> tuple[Attempt, ...]:
        """The newest; the last may be under way, with what is known of it so far."""
        return (*self._over, *self._open)[-KEPT:]

    @property
    def settled(self) -> int:
        """Number of the last attempt that stands as it is, 0 before there is one. [1]"""
        return self._number

    @property
    def dropped(self) -> int:
        """Attempts, and readings that were still to be looked at, that had no room any more. [1]"""
        lost = self._number - len(self._over)
        return lost + self._following.forced if self._following else lost

    def _begin_anew(self) -> None:
        Recognizer.__init__(self, self._timing, self._plate)

    def _work(self, now: float, settles: float) -> None:
        """Look at what was read until now; decisions older than those seconds before `settles` may be settled."""
        self._fresh = self._asked = False
        self._next, self._looked = self._time + TICK, now
        for hearing in self._hearings.values():
            hearing.listen()
        voices = [voice for hearing in self._hearings.values() for voice in hearing.voices(now)]
        voices += rests([voice for hearing in self._hearings.values() for voice in hearing.resting], voices, now)
        voices = tempered(voices, self._plate)
        if self._following is None:
            start = min((one.readings.time[0] for one in self._hearings.values() if one.readings.count), default=now)
            self._following = Following(self._timing, self._plate, float(start))
        standing = self._following.follow(voices, now)
        if standing is None:
            return
        if self._following.changed or now >= self._build:
            self._open = self._built(standing, voices)
            self._build = now + BUILT
        self._settle(standing, voices, settles)
        self._progress = told(
            standing,
            self._following,
            self._durations,
            attempts=self.attempts,
            under_way=bool(self._open and self._open[-1].end >= standing.time[-1] - BUILT - TICK),
            decided=self._decided is not None,
            call=self._call,
            settled=lambda since: settles - since >= REVISED and standing.margin >= MARGIN,
        )
        before = self._following.anchor - REMEMBERED
        for point in [point for point, hearing in self._hearings.items() if hearing.silent]:
            del self._hearings[point]
        for hearing in self._hearings.values():
            hearing.trim(before)

    def _built(self, standing: Standing, voices: list[Voice], *, retried: bool = False) -> list[Attempt]:
        """Attempts that are not settled."""
        calls = self._call - (0 if self._rested(standing, voices) else 1)
        series = [hearing.series() for hearing in self._hearings.values()]
        built = attempts(
            standing.segments,
            standing.time,
            standing.u,
            voices=voices,
            series=series,
            durations=self._durations,
            plate=self._plate,
            first=self._number + 1,
            calls=calls,
            retried=retried,
        )
        if built and (known := self._decided) is not None:
            built[0] = replace(
                built[0],
                outcome=known.outcome,
                probability=known.probability,
                why=known.why,
                deciding_time=known.deciding_time,
                deciding_u=known.deciding_u,
            )
        return built

    def _rested(self, standing: Standing, voices: list[Voice]) -> bool:
        """Whether the next attempt belongs to another call than the last that is settled."""
        if not self._number:
            return True
        if any(voice.signal == CALL and voice.course.time.size > 1 for voice in voices):
            return _call_before(voices, _begin(standing) + 1.0) > self._called + 1.0
        return not STATES[standing.segments[0].state].phase

    def _settle(self, standing: Standing, voices: list[Voice], settles: float) -> None:
        """Settle what is old enough and sure, or old enough anyway."""
        following = self._following
        last = len(standing.segments) - 1
        if following is None or not following.ready or last < 0:
            return
        firm = [one.firm for one in self._hearings.values()]
        if False in firm and True not in firm:  # nothing but a weak draft tells the inducer: it may be the wind
            return
        fresh = [one for one in self._hearings.values() if one.learned > settles - LEARNING or not one.sure]
        known = {one.signal for one in self._hearings.values() if one not in fresh}
        fresh = [one for one in fresh if one.signal not in known and not (one.signal == HEAT and known & {GAS, FLAME})]
        if any(one.learned > settles - LEARNING for one in fresh):
            return
        start, built, sure = standing.start(last), self._open, not fresh
        revised = REVISED if sure else LEARNING
        number = None
        ended = False
        if last == 0 and not standing.settled and not sure:
            return
        if start <= settles - revised and standing.margin >= MARGIN and self._sure(standing, voices, last, settles):
            number = last
        elif (number := self._another(standing, voices, settles)) is None:
            number, ended = self._end(standing, voices, settles - revised), True
        if number is not None and number >= standing.settled - 1:
            at = standing.start(number)
            over = [one for one in built if one.end <= at + 1e-6]
            if over and over[-1].deciding_time > settles - revised - SLOW:
                return
            if over or following.unsettled(number, ended=ended):
                if not self._confirmed() or (over and not self._borne_out(over, voices, settles)):
                    return
                following.settle(number, ended=ended)
            for one in over:
                self._finish(one, voices)
            self._open = built[len(over) :]
            if over:
                following.drop(self._kept_from(standing, over[-1].end, number))
        self._decide(standing, voices, settles)

    def _confirmed(self) -> bool:
        """Whether the channels say the same with all that is known of their levels by now."""
        since = -math.inf if self._following is None else self._following.anchor - REMEMBERED
        return not any([hearing.again(since) for hearing in self._hearings.values()])  # noqa: C419 - each of them

    def _borne_out(self, own: list[Attempt], voices: list[Voice], settles: float) -> bool:
        """Whether the same attempts are found from all that is remembered, whatever was settled; or they are old."""
        until, age = own[-1].end, settles - own[-1].deciding_time
        if self._following is None or settles < self._ask.get(-until, -math.inf):
            return False
        anew = None if age > OLD else self._following.anew(max(settles, self._time))
        if anew is None:
            return True
        self._ask[-until] = settles + max(BUILT, SELDOM * age)
        series = [hearing.series() for hearing in self._hearings.values()]
        found = attempts(
            anew.segments,
            anew.time,
            anew.u,
            voices=voices,
            series=series,
            durations=self._durations,
            plate=self._plate,
        )
        found = [one for one in found if one.start >= own[0].start - SAME]
        return _alike(own, found, max(until, own[-1].start + 2 * SAME))

    def _another(self, standing: Standing, voices: list[Voice], settles: float) -> int | None:
        """Segment with which another attempt begins, or rest, for so long that what was before is settled."""
        following, built = self._following, self._open
        if following is None:
            return None
        rests = [one.end for one in built[-1:] if one.end <= min(settles - LONG, standing.time[-1] - BUILT)]
        for begin in [*rests, *(one.start for one in reversed(built[1:]))]:
            place = next(place for place in range(len(standing.segments)) if standing.start(place) >= begin - 1e-6)
            age = settles - begin
            if age < REVISED:
                continue
            needed = _needed(age)
            if min(following.lead(place), following.doubt(place)) >= needed:
                return place
            if self._agreed(voices, begin, settles, min(needed, NEAR)):
                return place
        return None

    def _end(self, standing: Standing, voices: list[Voice], before: float) -> int | None:
        """Segment at which the attempt under way was decided before some time, when that is sure."""
        following, one = self._following, self._open[-1] if self._open else None
        if following is None or one is None or one.outcome == "cut_off" or one.deciding_time > before - SLOW:
            return None
        places = range(standing.settled, len(standing.segments))
        place = next((place for place in places if abs(standing.start(place) - one.deciding_time) < 1e-6), None)
        if place is None or STATES[standing.segments[place].state].phase in GOES_ON:
            return None
        if following.lead(place, ended=True) < MARGIN:
            return None
        sure = following.doubt(place) >= BEFORE and self._sure(standing, voices, place - 1, before)
        return place if sure or self._agreed(voices, one.deciding_time, before, NEAR) else None

    def _sure(self, standing: Standing, voices: list[Voice], last: int, settles: float) -> bool:
        """Whether no other course comes near that has other attempts."""
        following = self._following
        bounds = {time for one in self._open for time in (one.start, one.deciding_time, one.end)}
        open_ones = range(standing.settled, last + 1)
        if following is None:
            return False
        plain = all(
            min(following.doubt(place), following.lead(place)) >= _needed(settles - standing.start(place))
            for place in open_ones
            if standing.start(place) in bounds
        )
        return plain or self._agreed(voices, standing.start(last), settles, NEAR)

    def _agreed(self, voices: list[Voice], until: float, settles: float, within: float) -> bool:
        """Whether every course that is worse by no more than so much has the same attempts up to a time."""
        following = self._following
        if following is None or self._asked or settles < self._ask.get(until, -math.inf):
            return False
        self._asked = True
        again = settles + max(BUILT, SELDOM * (settles - until))
        self._ask = {when: next_ for when, next_ in self._ask.items() if next_ > settles} | {until: again}
        ways = enumerate(following.others(within))
        return all(count < WAYS and _alike(self._open, self._built(way, voices), until) for count, way in ways)

    def _kept_from(self, standing: Standing, end: float, number: int) -> int:
        """How many segments before one with such a number belong to what ended by then."""
        count = 0
        for place in range(number):
            goes_on = STATES[standing.segments[place].state].phase in GOES_ON
            if standing.start(place) > end - 1e-6 and (goes_on or standing.start(place + 1) > end + 1e-6):
                break
            count += 1
        return count

    def _finish(self, one: Attempt, voices: list[Voice]) -> None:
        self._over.append(one)
        self._number, self._call = one.number, one.call
        self._called = _call_before(voices, one.start + 1.0)
        self._decided = None

    def _decide(self, standing: Standing, voices: list[Voice], settles: float) -> None:
        """Settle the outcome of the attempt under way when whatever follows would not change it."""
        following = self._following
        if self._decided is not None or not self._open or following is None:
            return
        one = self._open[0]
        sure = one.deciding_time <= min(following.at + 1e-6, settles - REVISED - SLOW)
        if one.outcome in OPEN_ENDED or not sure or len(self._open) > 1 or following.anchor <= one.start:
            return
        if any(each.outcome != one.outcome for each in self._continued(standing, voices)):
            return
        if self._confirmed() and self._borne_out([one], voices, settles):
            self._decided = one

    def _continued(self, standing: Standing, voices: list[Voice]) -> list[Attempt]:
        """The attempt under way, with whatever may still follow what was decided."""
        ways = [] if self._following is None else self._following.continued(standing)
        return [one for way in ways for again in (False, True) for one in self._built(way, voices, retried=again)[:1]]


def _alike(own: Sequence[Attempt], other: Sequence[Attempt], until: float) -> bool:
    """Whether two courses have the same attempts up to a time."""
    pairs = [[one for one in found if one.start < until - SAME] for found in (own, other)]
    latest = until + 2 * SAME
    return len(pairs[0]) == len(pairs[1]) and all(
        one.outcome == two.outcome
        and abs(one.start - two.start) <= SAME
        and abs(one.deciding_time - two.deciding_time) <= SAME
        and abs(min(one.end, latest) - min(two.end, latest)) <= SAME
        for one, two in zip(*pairs, strict=True)
    )


def _needed(age: float) -> float:
    """How much worse other courses have to be for a boundary of an age [s] to be settled. [log 1]"""
    return BEFORE * min(1.0, (LATEST - age) / (LATEST - EARLY))


def _begin(standing: Standing) -> float:
    """When the first attempt of the standing begins, about. [s]"""
    for number, segment in enumerate(standing.segments):
        if STATES[segment.state].phase:
            return standing.start(number)
    return float(standing.time[-1])


def _call_before(voices: Sequence[Voice], time: float) -> float:
    """When heat was last called before a time; minus infinity where nothing tells. [s]"""
    latest = -math.inf
    for voice in voices:
        if voice.signal == CALL:
            course = voice.course
            rises = course.time[course.changes & (course.state == 1) & (course.time <= time)]
            latest = max(latest, float(rises[-1]) if rises.size else -math.inf)
    return latest
