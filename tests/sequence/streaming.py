"""The streaming recognizer over a recording: what it settles, whether it says the same as offline, what it costs."""

import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.sequence.attempts import Attempt
from tests.sequence.recordings import Recorded

START_WITHIN = 3.0
"""Two attempts are the same when they start within this. [s]"""


@dataclass(slots=True)
class Streamed:
    """What came of one recording, reading by reading."""

    attempts: tuple[Attempt, ...]
    """At the end."""
    settled: dict[int, str] = field(default_factory=dict)
    """Outcome of an attempt when it was first called settled, by number."""
    costs: list[float] = field(default_factory=list)
    """Of each reading. [s]"""
    delays: list[float] = field(default_factory=list)
    """From the moment at which an attempt was decided until its outcome was settled. [s]"""
    stands: tuple[Attempt, ...] = ()
    """Those of the attempts of which the outcome was settled before the recording ended."""


def streamed(recorded: Recorded) -> Streamed:
    """Every reading in the order of its time, one step each, and at the end a look."""
    from analysis.sequence.recognizer import Recognizer

    recognizer = Recognizer(recorded.timing, recorded.plate)
    found = Streamed(())
    known = set[int]()
    for point, at, value, quality in recorded.readings():
        began = time.perf_counter()
        progress = recognizer.step(point, at, value, quality)
        found.costs.append(time.perf_counter() - began)
        if progress.settled and progress.outcome and progress.attempt:
            found.settled.setdefault(progress.attempt, progress.outcome)
        if recognizer.settled > len(known) or len(found.settled) > len(found.delays):
            for one in recognizer.attempts:
                if one.number not in known and (one.number <= recognizer.settled or one.number in found.settled):
                    known.add(one.number)
                    found.delays.append(at - one.deciding_time)
    found.stands = tuple(one for one in recognizer.attempts if one.number in known)
    recognizer.look(recorded.end)
    found.attempts = tuple(recognizer.attempts)
    return found


def settled(recorded: Recorded) -> Sequence[Attempt]:
    """Attempts of the streaming recognizer at the end of a recording, to be scored like those found offline."""
    return streamed(recorded).attempts


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two lists of attempts compared, those left out that were under way at the end."""

    same: int
    """Of one start and one outcome."""
    other: tuple[str, ...]
    """Those that differ, in words."""

    @property
    def share(self) -> float:
        """Of all attempts that either has. [1]"""
        return self.same / max(self.same + len(self.other), 1)


def agreement(streaming: Sequence[Attempt], offline: Sequence[Attempt], end: float) -> Agreement:
    """How far settled attempts of a stream are those found offline; what reached the recording's end is left out."""
    ours, theirs = ([one for one in both if _over(one, end)] for both in (streaming, offline))
    same, other = 0, list[str]()
    left = list(theirs)
    for one in ours:
        near = [each for each in left if abs(each.start - one.start) <= START_WITHIN]
        if not near:
            other.append(f"only streaming: {one.outcome}, {end - one.start:.1f} s before the end")
            continue
        pair = min(near, key=lambda each: abs(each.start - one.start))
        left.remove(pair)
        if pair.outcome == one.outcome:
            same += 1
        else:
            other.append(f"{one.outcome}, offline {pair.outcome}, {end - one.start:.1f} s before the end")
    other += [f"only offline: {one.outcome}, {end - one.start:.1f} s before the end" for one in left]
    return Agreement(same, tuple(other))


def settled_agreement(found: Streamed, offline: Sequence[Attempt], end: float) -> Agreement:
    """The same of what the stream settled: those left out that are found offline after the last of them."""
    last = max((one.end for one in found.stands), default=-np.inf)
    return agreement(found.stands, [one for one in offline if one.start < last - START_WITHIN], end)


def _over(one: Attempt, end: float) -> bool:
    return one.outcome not in ("", "cut_off") and one.end < end - START_WITHIN


def revised(found: Streamed) -> int:
    """Attempts whose outcome is another one at the end than when it was first called settled."""
    last = {one.number: one.outcome for one in found.attempts}
    return sum(last.get(number, outcome) != outcome for number, outcome in found.settled.items())


def quantiles(costs: Sequence[float]) -> tuple[float, float]:
    """Median and 99th percentile. [s]"""
    middle, far = np.quantile(costs, [0.5, 0.99]) if costs else (np.nan, np.nan)
    return float(middle), float(far)
