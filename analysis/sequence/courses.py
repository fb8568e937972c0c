"""Courses that go on: what was said before with what is said now, and no more of it than is needed."""

import numpy as np

from analysis.sequence.edges import Course

KEPT = 1024
"""Changes that are kept of a channel; the oldest are dropped. [1]"""

NOTHING = Course(np.empty(0), np.empty(0, np.int8), np.empty(0))
"""What says nothing."""


def joined(old: Course, new: Course, stands: float, last: float) -> Course:
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


def trimmed(said: Course, before: float, fewest: int = 16) -> Course:
    """The course without its changes before a time, but for what was said then, where they are no fewer than that."""
    first = int(np.searchsorted(said.time, before, "right")) - 1
    return said if first < max(fewest, 1) else Course(said.time[first:], said.state[first:], said.u[first:])


def ended(said: Course, at: float) -> Course:
    """The course up to a time, nothing said from then on."""
    last = int(np.searchsorted(said.time, at, "right"))
    if not last:
        return NOTHING
    time, state = np.append(said.time[:last], at + 1e-3), np.append(said.state[:last], np.int8(-1))
    return Course(time, state, np.append(said.u[:last], 0.0))
