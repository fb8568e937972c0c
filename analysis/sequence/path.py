"""The most probable course of states through the moments at which something may have changed.

A hidden semi-Markov model: a state lasts from one moment to a later one, with a probability for its duration and for
what the channels say meanwhile; the best path is found by dynamic programming over the moments (Viterbi's algorithm
with explicit durations; Yu, Hidden semi-Markov models, Artificial Intelligence 174, 2010, section 2.2.3).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.sequence.durations import Durations
from analysis.sequence.signals import LIMIT
from analysis.sequence.states import (
    APART,
    BEGINS,
    BROKEN_OFF,
    FOLLOWS,
    NAMES,
    NUMBER,
    OFTEN,
    OTHERWISE,
    STATES,
    transitions,
    unseen,
)

Array = NDArray[np.float64]

WINDOW = 120
"""Moments that a state is looked at to have begun at; of earlier ones the best of each state is kept. [1]"""
COUNT = len(STATES)
EVERY = np.arange(COUNT)
ENDS, LASTS = 0, 1
KINDS = np.array([[ENDS], [LASTS]])
COLD = (
    "idle waiting inducer_start not_proved prepurge igniter_warmup unlit_purge post_purge called_purge"
    " blower_off_delay interpurge interpurge_rest lockout cooldown_rest"
).split()
"""States without a flame that an opened limit interrupts only where its contact shows."""
WIDTH = 8.0
"""How far a change may be from its moment that neither a channel nor a timing tells. [s]"""
SAME = 3.0
"""What begins as much later is another course. [s]"""
UNKNOWN_BEGIN = 3.0
"""What the end of a state costs that was there already when the recording began. [log 1/s]"""


@dataclass(frozen=True, slots=True)
class Segment:
    """A state from one moment to another."""

    state: int
    start: int
    """Number of the moment."""
    end: int
    """Number of the moment."""


class Path:
    """Best scores up to each moment; more moments may follow, and the last ones be taken back."""

    def __init__(
        self,
        durations: Durations,
        signals: frozenset[int],
        never: NDArray[np.bool_],
        begin: Array | None = None,
    ) -> None:
        self._durations = durations
        self._follow = transitions(FOLLOWS)
        free = unseen(signals) & np.array([[durations.told(state) is None] for state in range(COUNT)])
        self._follow += np.log(WIDTH) * free  # it may have been at any of so many seconds; one stands for all
        self._broken = transitions(BROKEN_OFF) + np.log([[APART.get(name, OFTEN)] for name in NAMES])
        if LIMIT not in signals:  # then only what a flame heated is seen to be cooled down
            self._broken[[NUMBER[name] for name in COLD], NUMBER["limit_cooldown"]] = -np.inf
        self._follow[:, never] = self._broken[:, never] = -np.inf
        self._change = np.stack([self._follow, self._broken])
        self._never = never
        self._begin = begin  # (states,) scores of the states that begin at the first moment, where they are known
        self.time = np.empty(0)
        self._said = np.empty((0, COUNT))
        self._entered, self._left = np.empty((0, COUNT)), np.empty((0, COUNT))
        self._from = np.empty((0, COUNT), np.int32)
        self._since = np.empty((0, COUNT), np.int32)
        self._carried: list[tuple[Array, NDArray[np.int32]]] = []

    def cut(self, count: int) -> None:
        """Take back all moments but the first `count`."""
        self.time, self._said, self._entered = self.time[:count], self._said[:count], self._entered[:count]
        self._left = self._left[:count]
        self._from, self._since = self._from[:count], self._since[:count]
        del self._carried[count:]

    def extend(self, time: Array, said: Array) -> None:
        """Add moments: (n,) times [s] and (n, states) sums of what the channels said for each state until then."""
        if not time.size:
            return
        before = self.time.size
        self.time, self._said = np.concatenate([self.time, time]), np.concatenate([self._said, said])
        more = np.full((time.size, COUNT), -np.inf)
        self._entered, self._left = np.concatenate([self._entered, more]), np.concatenate([self._left, more])
        none = np.full((time.size, COUNT), -1, np.int32)
        self._from, self._since = np.concatenate([self._from, none]), np.concatenate([self._since, none])
        for number in range(before, self.time.size):
            self._enter(number)

    def _enter(self, number: int) -> None:
        """Best scores of a change at a moment."""
        if number == 0:
            begin = np.log([BEGINS.get(name, OTHERWISE) for name in NAMES])
            if self._begin is not None:
                begin = self._begin.copy()
            begin[self._never] = -np.inf
            self._entered[0] = begin
            self._left[0] = begin - self._said[0]
            self._carried.append((np.full(COUNT, -np.inf), np.zeros(COUNT, np.int32)))
            return
        score, begun = self._best(number)
        through = (score[:, :, None] + self._change).reshape(2 * COUNT, COUNT)
        before = np.argmax(through, axis=0)
        self._from[number] = before % COUNT
        self._entered[number] = through[before, EVERY]
        self._left[number] = self._entered[number] - self._said[number]
        self._since[number] = begun.reshape(-1)[before]

    def _best(self, number: int) -> tuple[Array, NDArray[np.int32]]:
        """(2, states) best score of a state that ends at a moment, or lasts until then at least, and when it began."""
        first = max(0, number - WINDOW)
        if number == len(self._carried):
            self._carry(first)
        score = self._spent(first, self.time[number] - self.time[first:number])
        score += self._left[first:number, None]
        which = np.argmax(score, axis=0)
        best, since = score[which, KINDS, EVERY], (which + first).astype(np.int32)
        if first:
            held, begun = self._carried[number]
            older = held + self._durations.of_each(self.time[number] - self.time[begun])
            take = older > best
            best, since = np.where(take, older, best), np.where(take, begun, since)
        return best + self._said[number], since

    def _spent(self, first: int, length: Array) -> Array:
        """(n, 2, states) what it costs to end after so long (n,), or to last, since each moment from the first on."""
        spent = self._durations.ends_or_lasts(length)
        if first == 0 and self._begin is None:  # nobody knows how long it had lasted when the recording began
            spent[0, ENDS] = spent[0, LASTS] - UNKNOWN_BEGIN
        return spent

    def _carry(self, first: int) -> None:
        """Of the moment that leaves the window, keep for each state what is better than what was kept."""
        held, begun = self._carried[-1]
        if first:
            leaving = self._left[first - 1]
            better = leaving > held
            held, begun = np.where(better, leaving, held), np.where(better, np.int32(first - 1), begun)
        self._carried.append((held, begun))

    def same(self, time: Array, said: Array) -> int:
        """How many of the first moments are these, with the same said until then."""
        count = min(self.time.size, time.size)
        other = (self.time[:count] != time[:count]) | (np.abs(self._said[:count] - said[:count]) > 1e-6).any(axis=1)
        return int(np.argmax(other)) if other.any() else count

    def entering(self, number: int) -> Array:
        """(states,) score of each state that begins at a moment."""
        return np.array(self._entered[number])

    def doubt(self, segment: Segment, alike: NDArray[np.bool_]) -> float:
        """How much worse every way into a segment is that comes from a state not (states,) `alike`. [log 1]"""
        number, state = segment.start, segment.state
        best, other = -np.inf, -np.inf
        for score in self._best(number)[0] + self._change[:, :, state]:
            best = max(best, float(np.max(score[alike], initial=-np.inf)))
            other = max(other, float(np.max(score[~alike], initial=-np.inf)))
        return best - other

    def others(self, segment: Segment, after: int | None, within: float) -> list[tuple[float, list[Segment]]]:
        """Other courses up to the end of a segment, each with how much worse it is, those no worse than `within`.

        after : state that follows then; None at the last moment. Each comes there from another state, or from the same
        one that began at quite another time.
        """
        end = segment.end
        first = max(0, end - WINDOW)
        length = self.time[end] - self.time[first:end]
        ended, score = np.moveaxis(self._spent(first, length) + self._left[first:end, None], 1, 0)
        if after is not None:
            score = np.maximum(score + self._broken[:, after], ended + self._follow[:, after])
        best = float(np.max(score))
        near = np.abs(self.time[first:end] - self.time[segment.start]) <= SAME
        score[near, segment.state] = -np.inf
        found = []
        for state in np.flatnonzero(score.max(axis=0) > best - within).tolist():
            start = first + int(np.argmax(score[:, state]))
            loss = best - float(score[start - first, state])
            found.append((loss, [*self._way(state, start), Segment(state, start, end)]))
        return found

    def scores(self) -> tuple[Array, NDArray[np.int32]]:
        """(states,) score of being in each state at the last moment, and the moment at which it then began."""
        score, since = self._best(self.time.size - 1)
        return score[LASTS], since[LASTS]

    def best(self) -> list[Segment]:
        """The best path, from the first moment to the last."""
        if self.time.size < 2:
            return []
        scores, since = self.scores()
        return self.back(int(np.argmax(scores)), since)

    def back(self, state: int, since: NDArray[np.int32]) -> list[Segment]:
        """The best path to a state at the last moment, with what `scores` says of when it began."""
        start = int(since[state])
        return [*self._way(state, start), Segment(state, start, self.time.size - 1)]

    def _way(self, state: int, start: int) -> list[Segment]:
        """The best path to a state that begins at a moment."""
        found = []
        while start > 0:
            before = int(self._from[start, state])
            start, end = int(self._since[start, state]), start
            state = before
            found.append(Segment(state, start, end))
        return found[::-1]
