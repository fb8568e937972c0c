"""The best course of states up to now, the part that is settled left behind: cost does not grow with length."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.model import Plate, Timing
from analysis.sequence.boundaries import refined
from analysis.sequence.durations import Durations
from analysis.sequence.ending import GOES_ON
from analysis.sequence.evidence import NEAR, Evidence, Voice, moments
from analysis.sequence.path import SAME, Path, Segment
from analysis.sequence.states import BROKEN_OFF, FOLLOWS, NUMBER, STATES, impossible

Array = NDArray[np.float64]

MOST = 400
"""Moments since what is settled; of more, what is oldest is settled as it stands. [1]"""
LEFT = 100
"""Moments that are left then. [1]"""
FAR = 1e10
"""Later than any reading. [s]"""
RETRIED = frozenset(("post_purge", "interpurge", "limit_cooldown"))
"""Phases after which the inducer may start once more for the same call."""
ENOUGH = 30.0
"""What is worse by so much is not looked at. [log 1]"""


@dataclass(frozen=True, slots=True)
class Begun:
    """A state and when it began."""

    state: int
    at: float
    """[s]"""
    u: float
    """[s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """How things stand: the course of states, those that are settled first."""

    segments: Sequence[Segment] = ()
    time: Array = ()  # type: ignore[assignment]
    """(n,) boundaries. [s]"""
    u: Array = ()  # type: ignore[assignment]
    settled: int = 0
    """Segments that begin at a settled boundary: the last of them may go on. [1]"""
    margin: float = 0.0
    """How much worse the best course is that is in another phase now. [log 1]"""

    def start(self, number: int) -> float:
        """When a segment begins. [s]"""
        return float(self.time[self.segments[number].start])


class Following:
    """Follows the course from what is settled to now."""

    def __init__(self, timing: Timing | None, plate: Plate | None, start: float) -> None:
        self.durations = Durations(timing)
        self._plate = plate
        self.anchor = start
        """Moment from which on the course is open. [s]"""
        self._at, self._u = start, 0.0
        self._begin: Array | None = None
        self._before: list[Begun] = []
        self._path: Path | None = None
        self._evidence: Evidence | None = None
        self._voices: list[Voice] = []
        self._moments, self._base, self._new = np.empty(0), np.empty(0), True
        self.changed = True
        """Whether the course, or what it rests on, is another than before."""
        self._signals: frozenset[int] = frozenset()
        self._segments: list[Segment] = []
        self._refined: tuple[Array, Array] = np.empty(0), np.empty(0)
        self.forced = 0
        """How often too many moments made the oldest settled. [1]"""

    @property
    def at(self) -> float:
        """Where the settled boundary lies that the open course begins with. [s]"""
        return self._at

    @property
    def ready(self) -> bool:
        """Whether the last standing may be settled: not where too many moments cut it short."""
        return self._path is not None

    @property
    def begins(self) -> frozenset[str]:
        """Phases of the states that the open course may begin with; empty where nothing is settled."""
        if self._begin is None:
            return frozenset()
        return frozenset(STATES[state].phase for state in np.flatnonzero(np.isfinite(self._begin)))

    def follow(self, voices: list[Voice], now: float) -> Standing | None:
        """The course up to now; None where nothing tells."""
        if not voices or now <= self.anchor:
            return None
        if [id(one) for one in voices] != [id(one) for one in self._voices] or self._path is None:
            self._hear(voices)
        if self._evidence is None or not self._evidence.signals:
            return None
        path = self._path
        if path is None:
            path = self._path = Path(
                self.durations, self._signals, impossible(self._signals, self._plate), begin=self._begin
            )
        within = int(np.searchsorted(self._moments, now - NEAR, "right"))
        time = np.append(self._moments[:within], now)
        said = self._evidence.said(time) - self._base
        same = path.same(time, said)
        path.cut(same)
        path.extend(time[same:], said[same:])
        segments = path.best()
        self.changed = self._new or [one.start for one in segments] != [one.start for one in self._segments]
        self.changed |= [one.state for one in segments] != [one.state for one in self._segments]
        self._segments = segments
        if self.changed:
            self._refined = refined(segments, time, voices, self.durations)
        else:
            at, u = self._refined
            self._refined = np.append(at[:within], now), np.append(u[:within], 0.0)
            if at.size - 1 < within:
                self._refined = refined(segments, time, voices, self.durations)
        self._new = False
        standing = self._standing(path)
        if time.size > MOST:
            self._shorten(path)
        return standing

    def _hear(self, voices: list[Voice]) -> None:
        self._voices, self._new = voices, True
        self._evidence = Evidence(voices)
        if not self._evidence.signals <= self._signals:
            self._signals |= self._evidence.signals
            self._path = None
        self._moments = moments(voices, self.durations, self.anchor, FAR)[:-1]
        self._base = self._evidence.said(np.array([self.anchor]))

    def settle(self, number: int, *, ended: bool = False) -> None:
        """Let what comes before a segment of the last standing stand, and that its phase begins there.

        ended : not which phase, but that the attempt went on until there and no longer.
        """
        own, path = number - len(self._before), self._path
        if path is None:
            return
        segment = self._segments[own]
        scores = self._entering(path, segment, ended=ended)
        if not self._opens(own, scores):
            return
        at, u = self._refined
        self._before += [self._begun(one) for one in self._segments[:own]]
        self._restart(float(path.time[segment.start]), scores)
        if own:
            self._at, self._u = float(at[segment.start]), float(u[segment.start])

    def unsettled(self, number: int, *, ended: bool = False) -> bool:
        """Whether `settle` with the same would settle anything that is not."""
        own, path = number - len(self._before), self._path
        return path is not None and self._opens(own, self._entering(path, self._segments[own], ended=ended))

    def _entering(self, path: Path, segment: Segment, *, ended: bool) -> Array:
        """(states,) scores of what may begin with a segment when it is settled."""
        scores = path.entering(segment.start)
        scores[~self._like(segment.state, ended=ended)] = -np.inf
        return scores

    def _opens(self, own: int, scores: Array) -> bool:
        """Whether these scores at an open segment would say more than is settled."""
        return own > 0 or self._begin is None or bool((np.isfinite(scores) != np.isfinite(self._begin)).any())

    @staticmethod
    def _like(number: int, *, ended: bool) -> NDArray[np.bool_]:
        """(states,) which are of the same phase, or go on as little."""
        if ended:
            return np.array([state.phase not in GOES_ON for state in STATES])
        return np.array([state.phase == STATES[number].phase for state in STATES])

    def doubt(self, number: int) -> float:
        """How much worse every other course is that comes into a segment from another kind of phase. [log 1]"""
        own = number - len(self._before)
        if self._path is None or own <= 0:
            return np.inf
        before = _kind(self._segments[own - 1].state)
        alike = np.array([_kind(state) == before for state in range(len(STATES))])
        return self._path.doubt(self._segments[own], alike)

    def lead(self, number: int, *, ended: bool = False) -> float:
        """How much worse every other course is in which the phase of a segment does not begin then. [log 1]

        ended : the same of courses in which the attempt does not end to go on then.
        """
        own = number - len(self._before)
        path = self._path
        if path is None or own <= 0:
            return np.inf
        like = self._like(self._segments[own].state, ended=ended)
        time = path.time[self._segments[own].start]
        scores, since = path.scores()
        best = float(scores.max())
        for state in np.argsort(-scores).tolist():
            if scores[state] < best - ENOUGH:
                break
            way = path.back(state, since)
            near = [place for place, one in enumerate(way) if place and abs(path.time[one.start] - time) <= SAME]
            if not any(like[way[place].state] and not (ended and like[way[place - 1].state]) for place in near):
                return best - float(scores[state])
        return np.inf

    def others(self, within: float) -> Iterator[Standing]:
        """Courses that are no more than so much worse than the last standing, and have another past. [log 1]"""
        path, own = self._path, self._segments
        if path is None:
            return
        ways = []
        for place, segment in enumerate(own):
            after = own[place + 1].state if place + 1 < len(own) else None
            ways += [(loss, [*way, *own[place + 1 :]]) for loss, way in path.others(segment, after, within)]
        seen = set[tuple[tuple[int, int], ...]]()
        for _, way in sorted(ways, key=lambda one: one[0]):
            key = tuple((one.state, one.start) for one in way)
            if key not in seen:
                seen.add(key)
                yield self._stood(way, *refined(way, path.time, self._voices, self.durations), 0.0)

    def continued(self, standing: Standing) -> Iterator[Standing]:
        """The last standing with whatever may still follow what it says; none where nothing that matters may."""
        segments = standing.segments
        if len(segments) < 2:
            return
        before, last = (STATES[one.state] for one in segments[-2:])
        settled = self.anchor >= standing.start(len(segments) - 1) - SAME and len(self.begins) == 1
        if settled and last.phase not in RETRIED:
            return
        states = [segments[-1].state]
        if before.phase in GOES_ON and not settled:
            possible = {**FOLLOWS[before.name], **BROKEN_OFF.get(before.name, {})}
            states = [NUMBER[name] for name in possible if STATES[NUMBER[name]].phase not in GOES_ON]
        for state in states:
            yield replace(standing, segments=[*segments[:-1], replace(segments[-1], state=state)])

    def anew(self, now: float) -> Standing | None:
        """The best course over all that the voices still say, whatever was settled; None where that is too much."""
        voices, evidence = self._voices, self._evidence
        if evidence is None or not evidence.signals:
            return None
        start = min(float(voice.course.time[0]) for voice in voices if voice.course.time.size)
        time = moments(voices, self.durations, start, now)
        if time.size > 2 * MOST:
            return None
        path = Path(self.durations, evidence.signals, impossible(evidence.signals, self._plate))
        path.extend(time, evidence.said(time))
        segments = path.best()
        return Standing(segments, *refined(segments, time, voices, self.durations)) if segments else None

    def drop(self, number: int) -> None:
        """Forget the first so many settled segments."""
        del self._before[:number]

    def _begun(self, segment: Segment) -> Begun:
        at, u = self._refined
        if not segment.start:
            return Begun(segment.state, self._at, self._u)
        return Begun(segment.state, float(at[segment.start]), float(u[segment.start]))

    def _restart(self, anchor: float, scores: Array) -> None:
        self.anchor = anchor
        self._begin = scores - scores.max()
        self._path = None

    def _standing(self, path: Path) -> Standing:
        scores, since = path.scores()
        last = self._segments[-1]
        phase, start = STATES[last.state].phase, path.time[last.start]
        other = [
            state.phase != phase or abs(path.time[begun] - start) > SAME
            for state, begun in zip(STATES, since, strict=True)
        ]
        margin = float(scores[last.state] - np.max(scores[other], initial=-np.inf))
        return self._stood(self._segments, *self._refined, margin)

    def _stood(self, own: Sequence[Segment], at: Array, u: Array, margin: float) -> Standing:
        """A course behind what is settled."""
        count = len(self._before)
        at[0], u[0] = self._at, self._u
        np.maximum.accumulate(at, out=at)
        segments = [Segment(one.state, number, number + 1) for number, one in enumerate(self._before)]
        segments += [Segment(one.state, one.start + count, one.end + count) for one in own]
        time = np.concatenate([[one.at for one in self._before], at])
        u = np.concatenate([[one.u for one in self._before], u])
        settled = count + (1 if self._begin is not None else 0)
        return Standing(segments, time, u, settled, margin)

    def _shorten(self, path: Path) -> None:
        """Settle what is older than the newest moments, if need be within a state."""
        self.forced += 1
        place = path.time.size - LEFT
        own = [number for number, one in enumerate(self._segments) if 0 < one.start <= place]
        inside = next(one for one in self._segments if one.start <= place < one.end)
        at, u = self._refined
        if own and self._segments[own[-1]].start > path.time.size // 2:
            segment, place = self._segments[own[-1]], self._segments[own[-1]].start
            self._before += [self._begun(one) for one in self._segments[: own[-1]]]
        else:
            segment = inside
            self._before += [self._begun(one) for one in self._segments[: self._segments.index(inside) + 1]]
        scores = np.full(len(STATES), -np.inf)
        scores[segment.state] = 0.0
        self._at, self._u = float(at[place]), float(u[place])
        self._restart(float(path.time[place]), scores)


def _kind(state: int) -> str:
    """Phase of a state; those of an attempt that is decided are one."""
    phase = STATES[state].phase
    return phase if phase in GOES_ON or not phase else "decided"
