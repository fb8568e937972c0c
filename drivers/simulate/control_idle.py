"""The control while no gas flows: rest, purges, lockouts, cooling down, and the way from there to an inducer start."""

from abc import ABC, abstractmethod
from collections.abc import Callable
from math import inf
from typing import Any

from drivers.simulate.attempts import AttemptLog, Tally
from drivers.simulate.control_board import HIGH, LOW, Board
from drivers.simulate.control_settings import ControlSettings, Inputs

SLACK = 1e-6
"""Sums of equal steps miss a round time by less than this. [s]"""


class Idle(Board, ABC):
    """States of a control in which the gas valve is shut, and the moves into them."""

    __slots__ = (
        *("attempts", "calls", "log", "phase", "settings", "tally"),
        *("_call", "_call_since", "_flame", "_found_closed", "_guarded", "_hard", "_proven", "_unproven", "_waiting"),
        *("_clear_at", "_last_flame", "_locked_until", "_open_since", "_release_at", "_state", "_until"),
    )

    def __init__(self, settings: ControlSettings | None = None, log: AttemptLog | None = None) -> None:
        super().__init__()
        self.settings = settings or ControlSettings()
        self.log = log or AttemptLog()
        """What truly happened."""
        self.tally = Tally()
        self.phase = "standby"
        """A phase of an attempt, or `standby`."""
        self.attempts = 0
        """Attempts begun since the beginning."""
        self.calls = 0
        """Calls for heat since the beginning."""
        self._call = 0
        self._flame = self._hard = self._found_closed = self._waiting = False
        self._guarded = self._proven = self._unproven = False
        self._clear_at = self._release_at = -inf
        self._call_since = self._open_since = self._locked_until = 0.0
        self._last_flame = self._until = inf
        self._state: Callable[[Any, Inputs], None] = Idle._resting

    @property
    def trial(self) -> int:
        """Number of the ignition trial of this call that is under way or comes next; 0 without a call. [1]"""
        return min(self.tally.failed_trials + 1, self.settings.timing.trials) if self._call else 0

    @property
    def recycles(self) -> int:
        """Losses of a stable flame in this call. [1]"""
        return self.tally.recycles

    @abstractmethod
    def _start(self) -> None:
        """Start the inducer and with it an attempt."""

    def _enter(self, phase: str, state: Callable[[Any, Inputs], None], seconds: float = inf) -> None:
        self._state = state
        self._until = self.now + seconds - SLACK
        if phase != self.phase:
            self.phase = phase
            self.log.enter(phase, self.now)

    def _begin(self, phase: str) -> None:
        self.attempts += 1
        self.phase = phase
        self.log.begin(self.now, self.calls, "high" if self.settings.stages == 1 else "low", phase)

    def _attend(self, outcome: str) -> None:
        """Log a call that finds the control held up and so gets no inducer start of its own."""
        if self._call and not self.log.is_open:
            self._begin(self.phase)
            self.log.decide(outcome, self.now)

    def _forget(self) -> None:
        self.tally.clear()
        self._locked_until = 0.0
        self._call_since = self._open_since = self.now

    def _run_inducer(self, speed: int) -> None:
        self._inducer = speed
        self._drive()

    def _purge(self) -> None:
        """Run the inducer at the speed it has, or at its lowest."""
        self._run_inducer(self._inducer or (HIGH if self.settings.stages == 1 else LOW))

    def _shut(self) -> None:
        """Shut the valve and the igniter; the blower gets its end."""
        if self._valve:
            self._clear_at = self.now + self.settings.flame_clear
        self._igniter = self._valve = self._valve_high = 0
        self._drive()
        self._guarded = self._proven = False
        self._last_flame = inf
        if self._unproven:
            self._unproven = False
            self.tally.failed_trials += 1
        self._blow_for(self.settings.timing.post_purge + self.settings.timing.blower_off_delay - SLACK)

    def _rest(self, *, over: bool) -> None:
        """Stop the inducer and wait for the next start, or settle when all is over."""
        if self._inducer:
            self._release_at = self.now + self.settings.switch_release
        self._run_inducer(0)
        self._open_since = self.now
        self._state = Idle._resting
        self._waiting = True
        self._guarded = self._proven = False
        if over:
            self._settle()

    def _rest_or_lock(self, *, over: bool) -> None:
        if not (self._call and self.tally.exhausted(self.settings)):
            self._rest(over=over or not self._call)
            return
        self._run_inducer(0)
        if not self._locked_until:
            self._locked_until = self.now + self.settings.soft_lockout_minutes * 60.0 - SLACK
            self.log.event(self.now, "soft lockout")
        self._enter("lockout", Idle._locked)

    def _settle(self) -> None:
        self._waiting = self._found_closed = False
        if self._blower_heat and self.phase != "standby":
            self._enter("blower_off_delay", Idle._resting)
            return
        self.log.end(self.now)
        self._enter("standby", Idle._resting)

    def _cool_down(self) -> None:
        self.log.event(self.now, "limit opened")
        running = self.phase in ("run_low", "run_high")
        self.log.decide("no_blower" if self._blower_dead and running else "limit_open", self.now)
        self._shut()
        self.tally.limit_trips += self._call
        self._purge()
        self._blow(self._blower_heat or HIGH)
        self._enter("limit_cooldown", Idle._cooling)

    def _see_flame(self) -> None:
        self.log.event(self.now, "flame seen with the gas valve shut")
        self.log.decide("unknown", self.now)
        self._shut()
        self._purge()
        self._blow(HIGH)
        self._enter("lockout", Idle._seeing_flame)

    def _open_rollout(self) -> None:
        self.log.event(self.now, "roll-out switch opened")
        self.log.decide("rollout_open", self.now)
        self._shut()
        self._purge()
        self._blow(HIGH)
        self._hard = True
        self._enter("lockout", Idle._hard_locked, self.settings.timing.post_purge)

    # States

    def _resting(self, inputs: Inputs) -> None:
        """Standby, blower off delay, and the wait for an open pressure switch after any purge."""
        now, settings = self.now, self.settings
        if inputs.switch:
            self._open_since = now
        if not inputs.limit:
            self._cool_down()
        elif self._flame:
            if now >= self._clear_at:
                self._see_flame()
        elif not self._call:
            if self._waiting:
                self._settle()
        elif inputs.switch:
            if not self._found_closed and now >= max(self._release_at, self._call_since + settings.standby_check):
                self._found_closed = self._waiting = True
                self._begin("standby")
                self.log.decide("switch_found_closed", now)
                self.log.event(now, "pressure switch found closed")
        elif now - self._open_since >= settings.standby_check - SLACK:
            self._start()

    def _purging_between(self, inputs: Inputs) -> None:
        if not self._purges(inputs):
            self._rest(over=not self._call)

    def _purging_after(self, inputs: Inputs) -> None:
        if not self._purges(inputs):
            self._rest_or_lock(over=True)

    def _purges(self, inputs: Inputs) -> bool:
        """Whether the purge goes on, or something else took its place."""
        if not inputs.limit:
            self._cool_down()
        elif self._flame and self.now >= self._clear_at:
            self._see_flame()
        else:
            return self.now < self._until
        return True

    def _cooling(self, inputs: Inputs) -> None:
        if not inputs.limit or self._flame:
            self._attend("limit_open")
        else:
            self.log.event(self.now, "limit closed")
            self._blow_for(self.settings.timing.blower_off_delay - SLACK)
            self._rest_or_lock(over=False)

    def _locked(self, _inputs: Inputs) -> None:
        if self._flame and self.now >= self._clear_at:
            self._see_flame()
        elif not self._call:
            self._rest(over=True)
        elif self.now >= self._locked_until:
            self.log.event(self.now, "soft lockout ended")
            self._forget()
            self._rest(over=False)

    def _seeing_flame(self, _inputs: Inputs) -> None:
        self._attend("unknown")
        if self._flame:
            self._until = self.now + self.settings.timing.post_purge - SLACK
        elif self.now >= self._until:
            self._blow_for(self.settings.timing.blower_off_delay - SLACK)
            self._rest_or_lock(over=False)

    def _hard_locked(self, inputs: Inputs) -> None:
        """Until power goes or the control restarts, with the roll-out closed by hand."""
        self._attend("rollout_open")
        if not self._call:
            self.log.end(self.now)
        if self._flame or self.now < self._until:
            self._purge()
        elif self._inducer:
            self._run_inducer(0)
        if not inputs.rollout or self._flame:
            self._blow(HIGH)
        else:
            self._blow_for(self.settings.timing.blower_off_delay - SLACK)
