"""What truly happened: attempts with their phases, and events, kept within bounds."""

from collections import deque
from typing import TypedDict

from drivers.simulate.control_settings import ControlSettings

KEPT_ATTEMPTS, KEPT_EVENTS, KEPT_PHASES = 2_000, 10_000, 200
"""How much a log keeps: the newest attempts and events, the first phases of an attempt. [1]"""


class PhaseSpan(TypedDict):
    """One phase of an attempt; spans follow each other without a gap. [s]"""

    phase: str
    start: float
    end: float


class Attempt(TypedDict):
    """From one inducer start to the next, or until the control rests. [s]"""

    call: int
    """Number of the call for heat, from one."""
    start: float
    end: float
    stage: str
    """Highest stage that the run reached: `low` or `high`."""
    outcome: str
    deciding_time: float
    """When the outcome was settled: the loss, the end of the trial, or for `heat` the end of the call."""
    phases: list[PhaseSpan]


class Tally:
    """What a control counts within one call for heat, or since a soft lockout in it."""

    __slots__ = ("draft_failures", "failed_trials", "limit_trips", "recycles")

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """Count from nought."""
        self.failed_trials = 0
        """Openings of the gas valve without a flame that became stable."""
        self.draft_failures = 0
        """Times that draft was not proved or was lost."""
        self.recycles = 0
        """Losses of a stable flame."""
        self.limit_trips = 0

    def exhausted(self, settings: ControlSettings) -> bool:
        """Whether no further try is allowed."""
        return (
            self.failed_trials >= settings.timing.trials
            or self.draft_failures > settings.draft_retries
            or self.recycles > settings.recycles
            or self.limit_trips >= settings.limit_trips
        )


class AttemptLog:
    """Attempts and events of a run; when full the oldest go and are counted."""

    __slots__ = ("_decided", "_open", "attempts", "attempts_dropped", "events", "events_dropped", "phases_dropped")

    def __init__(self, kept_attempts: int = KEPT_ATTEMPTS, kept_events: int = KEPT_EVENTS) -> None:
        self.attempts: deque[Attempt] = deque(maxlen=kept_attempts)
        """Those that have ended, oldest first."""
        self.events: deque[tuple[float, str]] = deque(maxlen=kept_events)
        """(time [s], what happened), oldest first."""
        self.attempts_dropped = 0
        self.events_dropped = 0
        self.phases_dropped = 0
        """Phases left out of attempts that had too many; the last one kept reaches to the attempt's end."""
        self._open: Attempt | None = None
        self._decided = False

    @property
    def is_open(self) -> bool:
        """Whether an attempt is under way."""
        return self._open is not None

    def begin(self, now: float, call: int, stage: str, phase: str) -> None:
        """Start an attempt in its first phase; the one before ends here."""
        self.end(now)
        self._decided = False
        self._open = {
            "call": call,
            "start": now,
            "end": now,
            "stage": stage,
            "outcome": "unknown",
            "deciding_time": now,
            "phases": [{"phase": phase, "start": now, "end": now}],
        }

    def enter(self, phase: str, now: float) -> None:
        """Go on to another phase of the attempt, if one is under way; one without length leaves no trace."""
        if self._open is None:
            return
        phases = self._open["phases"]
        if phases[-1]["start"] == now:
            phases[-1]["phase"] = phase
            return
        if len(phases) >= KEPT_PHASES:
            self.phases_dropped += 1
            return
        phases[-1]["end"] = now
        phases.append({"phase": phase, "start": now, "end": now})

    def reach(self, stage: str) -> None:
        """Note the stage that the run reached."""
        if self._open is not None:
            self._open["stage"] = stage

    def decide(self, outcome: str, now: float) -> None:
        """Settle how the attempt ended; what settled it first stands."""
        if self._open is not None and not self._decided:
            self._open["outcome"], self._open["deciding_time"] = outcome, now
            self._decided = True

    def end(self, now: float) -> None:
        """Close the attempt, if one is under way."""
        attempt, self._open = self._open, None
        if attempt is None:
            return
        attempt["end"] = attempt["phases"][-1]["end"] = now
        if not self._decided:
            attempt["deciding_time"] = now
        if len(self.attempts) == self.attempts.maxlen:
            self.attempts_dropped += 1
        self.attempts.append(attempt)

    def event(self, now: float, text: str) -> None:
        """Note something that happened."""
        if len(self.events) == self.events.maxlen:
            self.events_dropped += 1
        self.events.append((now, text))

    def finish(self, now: float) -> None:
        """Close what is under way; an attempt not yet settled was cut off."""
        self.decide("cut_off", now)
        self.end(now)
