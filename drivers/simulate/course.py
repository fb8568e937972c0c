"""How bad each cause is now: constant, growing while the furnace runs, or there now and then."""

import random
from collections.abc import Sequence
from dataclasses import replace
from math import inf

from drivers.base import InputError
from drivers.simulate.causes import Cause

GROWING = 600.0
"""Time of flame in which a growing cause reaches its severity. [s]"""
RECOVERING = 1800.0
"""Time of rest in which it is gone again. [s]"""
AWAY, THERE = 300.0, 60.0
"""Mean lengths for which an intermittent cause is away, and there. [s]"""
CALL_GAPS = 20.0
"""Mean length for which a broken call is missing. [s]"""
RESETS = 1 / 60.0
"""How often a board of severity 1 would restart. [1/s]"""
DEAD_FROM = 0.6
"""Severity from which one output of the board is dead. [1]"""
SUPPLIES = ("breaker", "door", "fuse", "float")
"""What can interrupt the control's supply."""
MOST_CAUSES = 100
"""So many causes are remembered in one run. [1]"""


class Courses:
    """Every cause of a run and its severity now."""

    def __init__(self, causes: Sequence[Cause], seed: int) -> None:
        self.causes: tuple[Cause, ...] = ()
        self.severities: dict[str, float] = {}
        self._active: dict[str, Cause] = {}
        self._seed = seed
        self._chance: dict[str, random.Random] = {}
        self._grown: dict[str, float] = {}
        self._changes: dict[str, tuple[bool, float]] = {}
        self._board = random.Random(f"board {seed}")
        self._output = self._board.choice(("inducer", "igniter", "blower"))
        self.opened = random.Random(f"supply {seed}").choice(SUPPLIES)
        """What opens where the control's supply is lost."""
        self._resetting = 0.0
        self._call = random.Random(f"call {seed}")
        self._gap, self._gap_until = False, 0.0
        self._now = 0.0
        for cause in causes:
            self.begin(cause)

    def begin(self, cause: Cause) -> None:
        """Add a cause; one of the same name is replaced by it."""
        if len(self.causes) >= MOST_CAUSES:
            raise InputError(f"{MOST_CAUSES} causes were set in this run already", "start another one")
        name = cause.cause
        if name in self._active:
            self.end(name, max(cause.onset, self._active[name].onset))
        self.causes = (*self.causes, cause)
        self._active[name] = cause
        self._chance[name] = random.Random(f"{name} {self._seed}")
        self._grown[name] = 0.0
        self._changes[name] = (True, cause.onset)

    def end(self, cause: str, now: float) -> None:
        """Mend a cause."""
        if cause not in self._active:
            there = ", ".join(self._active) or "nothing"
            raise InputError(f"{cause} cannot be repaired: it is not set", f"set is {there}")
        del self._active[cause]
        self.causes = tuple(
            replace(one, until=now) if one.cause == cause and one.until == inf else one for one in self.causes
        )

    def step(self, now: float, dt: float, *, burning: bool) -> bool:
        """Go on to `now`; whether a severity has changed."""
        self._now = now
        found: dict[str, float] = {}
        for name, cause in self._active.items():
            if now < cause.onset:
                continue
            severity = cause.severity
            if cause.course == "growing":
                change = dt / GROWING if burning else -dt / RECOVERING
                self._grown[name] = grown = min(max(self._grown[name] + change, 0.0), 1.0)
                severity *= grown
            elif cause.course == "intermittent":
                there, until = self._changes[name]
                while now >= until:
                    there = not there
                    until += self._chance[name].expovariate(1.0 / (THERE if there else AWAY))
                self._changes[name] = (there, until)
                severity = severity if there else 0.0
            found[name] = severity
        changed = found != self.severities
        self.severities = found
        return changed

    def dead_outputs(self, board: float) -> frozenset[str]:
        """Outputs of the control that a bad board has lost."""
        self._resetting = board if 0.0 < board < DEAD_FROM else 0.0
        return frozenset({self._output}) if board >= DEAD_FROM else frozenset()

    def resets(self, dt: float) -> bool:
        """Whether a bad board restarts now."""
        return self._resetting > 0.0 and self._board.random() < self._resetting * RESETS * dt

    def call_missing(self, share: float) -> int:
        """1 while a broken call does not arrive, on average for `share` of the time."""
        if share <= 0.0:
            return 0
        if share >= 0.99:
            return 1
        while self._now >= self._gap_until:
            self._gap = not self._gap
            mean = CALL_GAPS if self._gap else CALL_GAPS * (1.0 - share) / share
            self._gap_until = max(self._gap_until, self._now) + self._call.expovariate(1.0 / mean)
        return int(self._gap)
