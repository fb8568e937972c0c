"""What one invented furnace control is set to, and what it sees at its terminals."""

from dataclasses import dataclass, field
from typing import Literal

from analysis.model import Timing
from drivers.base import InputError

OUTPUTS = frozenset({"inducer", "igniter", "valve", "blower"})
"""Relays of the board, by the names under which they can be dead."""
LONGEST_STEP = 1.0
"""Longest step in which a lost flame still shuts the valve within two seconds. [s]"""
LONGEST_RESPONSE = 1.0
"""Longest flame failure response that a control may be set to. [s]"""


@dataclass(frozen=True, slots=True)
class ControlSettings:
    """One control. Defaults are common practice, no published source, unless a field says otherwise."""

    timing: Timing = field(default_factory=Timing)
    stages: int = 2
    """Gas stages, 1 or 2; a single stage is the high one. [1]"""
    staging: Literal["thermostat", "timer"] = "thermostat"
    """What asks for the high stage: the second heat call, or the time on low stage."""
    low_stage_minutes: float = 10.0
    """Time on low stage before the timer asks for high, counted from the flame. [min]"""
    light_on: Literal["low", "high"] = "low"
    """Stage of inducer and gas at light-off; a unit that lights on high drops to low once the flame is stable."""
    proving_limit: float = 60.0
    """Longest wait for the pressure switch before the try is given up. [s]"""
    interpurge: float = 20.0
    """Inducer run between two tries. [s]"""
    draft_retries: int = 4
    """Further tries in one call after draft was not proved or was lost; then a soft lockout. [1]"""
    recycles: int = 5
    """Relights in one call after the loss of a stable flame; then a soft lockout. [1]"""
    limit_trips: int = 3
    """The opening of the limit in one call that brings a soft lockout once it has closed. [1]"""
    forced_stage: Literal["none", "low", "high"] = "none"
    """Stage kept after `forced_after` limit trips; high after two trips on low is found in one published manual."""
    forced_after: int = 2
    """Limit trips in one call before the stage is forced. [1]"""
    soft_lockout_minutes: float = 60.0
    """Length of a soft lockout; about 1 h is found in one published manual. [min]"""
    stage_trial: float = 30.0
    """Time for the high pressure switch to close before the unit goes back to low stage. [s]"""
    flame_threshold: float = 0.5e-6
    """Flame current from which a flame counts as proven. [A]"""
    flame_failure_response: float = 0.8
    """Time without flame until the valve shuts; 0.8 is usual, from memory. [s]"""
    flame_stabilise: float = 8.0
    """A flame lost sooner than this counts as a failed ignition trial, not as a recycle. [s]"""
    flame_clear: float = 5.0
    """Time after the valve shuts in which a dying flame is not yet a flame without gas. [s]"""
    standby_check: float = 1.5
    """Time for which the pressure switch must be seen open before the inducer starts. [s]"""
    switch_release: float = 10.0
    """Time after the inducer stops in which the switch may stay closed without being found closed. [s]"""

    def __post_init__(self) -> None:
        """Refuse what no control can be set to."""
        for name in ("stages", "staging", "light_on", "forced_stage"):
            allowed = {"stages": (1, 2), "staging": ("thermostat", "timer"), "light_on": ("low", "high")}
            _demand(name, getattr(self, name), allowed.get(name, ("none", "low", "high")))
        for name in ("proving_limit", "interpurge", "stage_trial", "flame_stabilise", "flame_clear", "standby_check"):
            _within(name, getattr(self, name), 0.0)
        for name in ("low_stage_minutes", "soft_lockout_minutes", "switch_release", "draft_retries", "recycles"):
            _within(name, getattr(self, name), 0.0)
        for name in ("prepurge", "igniter_warmup", "ignition_trial", "blower_on_delay", "post_purge"):
            _within(name, getattr(self.timing, name), 0.0)
        _within("blower_off_delay", self.timing.blower_off_delay, 0.0)
        _within("trials", self.timing.trials, 1)
        _within("limit_trips", self.limit_trips, 1)
        _within("forced_after", self.forced_after, 1)
        _within("flame_threshold", self.flame_threshold, 1e-9)
        _within("flame_failure_response", self.flame_failure_response, 0.0, LONGEST_RESPONSE)


@dataclass(slots=True)
class Inputs:
    """What the control sees at this instant; the owner changes it in place. Contacts: 1 closed, 0 open."""

    call_heat: float = 0
    call_heat_2: float = 0
    call_fan: float = 0
    call_compressor: float = 0
    """Compressor wanted, heating or cooling: the blower runs at its fan speed."""
    defrost: float = 0
    """Outdoor unit defrosts and asks for tempering heat: a call for heat."""
    switch: float = 0
    """Low-stage pressure switch."""
    switch_high: float = 0
    """High-stage pressure switch."""
    limit: float = 1
    rollout: float = 1
    """Roll-out switch."""
    powered: float = 1
    """Enough control voltage to hold the relays: 1."""
    door: float = 1
    float_ok: float = 1
    """Float switch of the condensate pan; it interrupts the control's supply."""
    flame_current: float = 0.0
    """[A]"""


def _demand(name: str, value: object, allowed: tuple[object, ...]) -> None:
    if value not in allowed:
        raise InputError(f"control setting {name} is {value!r}", f"use {' or '.join(map(str, allowed))}")


def _within(name: str, value: float, low: float, high: float = 1e6) -> None:
    if not low <= value <= high:
        raise InputError(f"control setting {name} is {value:g}", f"use a value from {low:g} to {high:g}")
