"""What the recognizer finds: attempts with their phases, how sure each boundary is, and how each ended."""

from collections.abc import Mapping
from dataclasses import dataclass, field

PHASES = (
    "inducer_start prepurge igniter_warmup ignition_trial blower_on_delay run_low run_high post_purge blower_off_delay"
    " interpurge lockout limit_cooldown standby"
).split()
"""Phases of an attempt; `standby` only where a call finds the pressure switch closed and the inducer never starts."""

OUTCOMES = (
    "heat draft_not_proved draft_lost no_ignition flame_lost limit_open gas_off_unexplained call_ended cut_off no_start"
    " switch_found_closed rollout_open no_blower unknown"
).split()
"""How an attempt ended; `unknown` where the channels that are there cannot tell."""


@dataclass(frozen=True, slots=True)
class PhaseSpan:
    """One phase of an attempt; spans tile the attempt without overlap."""

    phase: str
    """Name in `PHASES`."""
    start: float
    """UTC since 1970. [s]"""
    end: float
    """UTC since 1970. [s]"""
    start_u: float
    """Standard uncertainty of the start. [s]"""
    end_u: float
    """Standard uncertainty of the end. [s]"""


@dataclass(frozen=True, slots=True)
class Attempt:
    """From one inducer start to the next, or until the control rests."""

    number: int
    """Counted from one in the recording."""
    call: int
    """Number of the call for heat that it belongs to, from one."""
    start: float
    """UTC since 1970. [s]"""
    end: float
    """UTC since 1970. [s]"""
    start_u: float
    """[s]"""
    end_u: float
    """[s]"""
    stage: str
    """Highest stage that the run reached: `low` or `high`; empty where no channel tells."""
    outcome: str
    """Name in `OUTCOMES`."""
    probability: float
    """Of the outcome, as far as the channels that are there tell it from the others. [1]"""
    deciding_time: float
    """When the outcome was decided: the loss, the end of the trial, or for `heat` the end of the call. [s]"""
    deciding_u: float
    """[s]"""
    phases: tuple[PhaseSpan, ...]
    why: str = ""
    """One sentence: what the outcome rests on."""

    def spans(self, *phases: str) -> tuple[PhaseSpan, ...]:
        """Its spans of these phases, in the order of time."""
        return tuple(span for span in self.phases if span.phase in phases)


@dataclass(frozen=True, slots=True)
class Recognition:
    """What was found in a recording."""

    attempts: tuple[Attempt, ...] = ()
    used: tuple[str, ...] = ()
    """Keys of the channels that it rests on."""
    left_out: Mapping[str, str] = field(default_factory=dict)
    """Channels that could have told something and did not, by key, each with the reason in one sentence."""


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the sequence stands now, as far as the channels that are there tell."""

    phase: str = ""
    """Name in `PHASES`; empty where nothing tells."""
    since: float = 0.0
    """When the phase began, UTC since 1970. [s]"""
    expected: float | None = None
    """How long it usually lasts, by the job file or else the trade's envelope. [s]"""
    attempt: int = 0
    """Number of the attempt under way; 0 between attempts. [1]"""
    call: int = 0
    """Number of the call for heat, from one. [1]"""
    trial: int = 0
    """Number of the ignition trial in this call, from one; 0 where none is under way. [1]"""
    outcome: str = ""
    """How the attempt ended, once that is decided: name in `OUTCOMES`; empty until then."""
    deciding_time: float = 0.0
    """When that was, UTC since 1970. [s]"""
    settled: bool = False
    """Whether phase and outcome stand; until then they may be revised."""
