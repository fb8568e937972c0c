"""The states of the model: what each asks of the signals, how long it lasts, and which may follow it.

Durations are the job file's where it gives them, else the envelope of the trade: common practice, no published source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from analysis.model import Plate
from analysis.sequence.signals import (
    BLOWER,
    CALL,
    FLAME,
    GAS,
    HEAT,
    HIGH,
    IGNITER,
    INDUCER,
    LIMIT,
    ROLLOUT,
    SIGNALS,
    SWITCH,
)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class State:
    """One state of the sequence."""

    name: str
    phase: str
    """Phase of an attempt that it is part of; empty between attempts."""
    on: str
    """Signals that are on, by their letters in `LETTERS`."""
    off: str
    """Signals that are off; lower weight in small letters."""
    envelope: tuple[float, float, float]
    """Shortest, usual and longest duration. [s]"""
    timing: str = ""
    """Field of the job's timing that gives its duration."""
    told: float = 0.85
    """How often it lasts as long as that field says. [1]"""


LETTERS = {
    "C": CALL,
    "I": INDUCER,
    "S": SWITCH,
    "N": IGNITER,
    "G": GAS,
    "F": FLAME,
    "B": BLOWER,
    "L": LIMIT,
    "R": ROLLOUT,
    "T": HEAT,
    "H": HIGH,
}

STATES = (
    State("idle", "", "", "CISNGF", (5.0, 600.0, 20_000.0)),
    State("waiting", "", "CR", "INGF", (0.3, 2.0, 60.0)),
    State("inducer_start", "inducer_start", "CIR", "SNGF", (1.0, 5.0, 25.0)),
    State("not_proved", "inducer_start", "CIR", "SNGF", (10.0, 45.0, 70.0)),
    State("prepurge", "prepurge", "CISLR", "NGF", (1.0, 15.0, 60.0), "prepurge"),
    State("igniter_warmup", "igniter_warmup", "CISNLR", "GF", (3.0, 17.0, 45.0), "igniter_warmup"),
    State("ignition_trial", "ignition_trial", "CISGnLR", "F", (0.2, 1.0, 6.0)),
    State("no_light", "ignition_trial", "CISGnLR", "F", (2.0, 5.0, 15.0), "ignition_trial"),
    State("blower_on_delay", "blower_on_delay", "CISGFLR", "NB", (3.0, 30.0, 90.0), "blower_on_delay"),
    State("delay_blowing", "blower_on_delay", "CISGFBLR", "N", (3.0, 30.0, 90.0), "blower_on_delay"),
    State("run_low", "run_low", "CISGFBTLR", "NH", (1.0, 300.0, 10_000.0)),
    State("run_high", "run_high", "CISGFBTHLR", "N", (1.0, 300.0, 10_000.0)),
    State("post_purge", "post_purge", "I", "CNGF", (2.0, 13.0, 60.0), "post_purge"),
    State("unlit_purge", "post_purge", "I", "CNGF", (2.0, 13.0, 60.0), "post_purge"),
    State("called_purge", "post_purge", "CI", "NGF", (1.0, 6.0, 25.0)),
    State("failed_purge", "post_purge", "CILR", "NGF", (2.0, 13.0, 60.0), "post_purge"),
    State("blower_off_delay", "blower_off_delay", "B", "INGF", (20.0, 120.0, 300.0), "blower_off_delay"),
    State("interpurge", "interpurge", "CILR", "NGF", (10.0, 20.0, 60.0)),
    State("interpurge_rest", "interpurge", "CR", "INGF", (1.0, 3.0, 8.0)),
    State("lockout", "lockout", "CR", "INGF", (60.0, 2500.0, 20_000.0)),
    State("limit_cooldown", "limit_cooldown", "IB", "NGFL", (10.0, 90.0, 600.0)),
    State("cooldown_rest", "limit_cooldown", "CB", "INGF", (1.0, 3.0, 8.0)),
    State("found_closed", "standby", "CS", "INGF", (3.0, 60.0, 3600.0)),
    State("rollout", "lockout", "CR", "NGF", (10.0, 300.0, 20_000.0)),
)
"""In `rollout` and `limit_cooldown` the contact in question is open; in `delay_blowing` the blower ran before; in
`called_purge` heat is called anew while the inducer still clears what the call before left."""
NAMES = tuple(state.name for state in STATES)
NUMBER = {name: number for number, name in enumerate(NAMES)}

FOLLOWS: Mapping[str, Mapping[str, float]] = {
    "idle": {"waiting": 0.5, "inducer_start": 0.42, "not_proved": 0.08, "found_closed": 0.01},
    "waiting": {"inducer_start": 0.8, "not_proved": 0.15, "idle": 0.02, "found_closed": 0.02},
    "inducer_start": {"prepurge": 1.0},
    "not_proved": {"interpurge": 0.72, "failed_purge": 0.22, "lockout": 0.01, "prepurge": 0.05},
    "prepurge": {"igniter_warmup": 1.0},
    "igniter_warmup": {"ignition_trial": 0.75, "no_light": 0.25},
    "ignition_trial": {"blower_on_delay": 0.93, "delay_blowing": 0.07},
    "no_light": {"interpurge": 0.75, "failed_purge": 0.25},
    "blower_on_delay": {"run_low": 0.6, "run_high": 0.4},
    "delay_blowing": {"run_low": 0.5, "run_high": 0.35, "blower_on_delay": 0.15},
    "run_low": {"run_high": 0.3, "post_purge": 0.7},
    "run_high": {"run_low": 0.2, "post_purge": 0.8},
    "post_purge": {"blower_off_delay": 0.98, "idle": 0.005, "waiting": 0.015},
    "unlit_purge": {"idle": 0.7, "waiting": 0.2, "blower_off_delay": 0.1},
    "called_purge": {"blower_off_delay": 0.5, "waiting": 0.4, "inducer_start": 0.1},
    "failed_purge": {"lockout": 1.0},
    "blower_off_delay": {"idle": 0.9, "waiting": 0.1},
    "interpurge": {"interpurge_rest": 0.97, "igniter_warmup": 0.002, "prepurge": 0.004, "inducer_start": 0.02},
    "interpurge_rest": {"inducer_start": 0.8, "not_proved": 0.2},
    "lockout": {"waiting": 0.4, "inducer_start": 0.2, "not_proved": 0.05, "idle": 0.25, "blower_off_delay": 0.1},
    "limit_cooldown": {"cooldown_rest": 0.7, "lockout": 0.15, "igniter_warmup": 0.03, "blower_off_delay": 0.12},
    "cooldown_rest": {"inducer_start": 0.9, "not_proved": 0.1},
    "found_closed": {"inducer_start": 0.6, "idle": 0.4},
    "rollout": {"idle": 0.5, "lockout": 0.3, "inducer_start": 0.2},
}
"""What follows a state that lasts its time, and how often among calls that a technician is sent to; our choice."""

_ANY: Mapping[str, float] = {"idle": 0.01, "waiting": 0.015, "rollout": 0.05, "failed_purge": 0.08}
_STARTING: Mapping[str, float] = {**_ANY, "unlit_purge": 0.5, "limit_cooldown": 0.1, "rollout": 0.1}
_UNLIT: Mapping[str, float] = {**_ANY, "interpurge": 0.35, "unlit_purge": 0.35, "limit_cooldown": 0.05}
_LIT: Mapping[str, float] = {**_ANY, "interpurge": 0.4, "post_purge": 0.3, "limit_cooldown": 0.15}
_HEATING: Mapping[str, float] = {**_ANY, "interpurge": 0.4, "limit_cooldown": 0.4, "blower_off_delay": 0.02}
_CLEARING: Mapping[str, float] = {
    "called_purge": 0.4,
    "waiting": 0.2,
    "inducer_start": 0.05,
    "idle": 0.15,
    "limit_cooldown": 0.1,
    "interpurge_rest": 0.1,
}

BROKEN_OFF: Mapping[str, Mapping[str, float]] = {
    "idle": {"limit_cooldown": 0.05},
    "waiting": {"idle": 0.3, "limit_cooldown": 0.05, "rollout": 0.02},
    **dict.fromkeys(("inducer_start", "not_proved"), _STARTING),
    **dict.fromkeys(("prepurge", "igniter_warmup", "ignition_trial"), _UNLIT),
    "no_light": {**_UNLIT, "interpurge": 0.2},
    **dict.fromkeys(("blower_on_delay", "delay_blowing"), _LIT),
    **dict.fromkeys(("run_low", "run_high"), _HEATING),
    **dict.fromkeys(("unlit_purge", "post_purge"), _CLEARING),
    "called_purge": {"idle": 0.4, "limit_cooldown": 0.1, "post_purge": 0.5},
    "failed_purge": {"waiting": 0.1, "idle": 0.2, "blower_off_delay": 0.3, "post_purge": 0.3},
    "blower_off_delay": {"waiting": 0.4, "inducer_start": 0.3, "not_proved": 0.05, "idle": 0.2, "limit_cooldown": 0.05},
    "interpurge": {
        "unlit_purge": 0.1,
        "post_purge": 0.1,
        "idle": 0.3,
        "waiting": 0.2,
        "blower_off_delay": 0.2,
        "limit_cooldown": 0.1,
        "lockout": 0.1,
    },
    "interpurge_rest": {"idle": 0.5, "blower_off_delay": 0.3, "limit_cooldown": 0.1},
    "lockout": {"waiting": 0.3, "idle": 0.4, "blower_off_delay": 0.2, "limit_cooldown": 0.05, "inducer_start": 0.05},
    "limit_cooldown": {"blower_off_delay": 0.3, "idle": 0.2, "waiting": 0.2, "lockout": 0.2},
    "cooldown_rest": {"idle": 0.5, "blower_off_delay": 0.3, "limit_cooldown": 0.1},
    "found_closed": {"idle": 0.5, "waiting": 0.3},
    "rollout": {"idle": 0.5, "waiting": 0.3},
}
"""What follows a state that something interrupts: the end of the call, a safety, the supply; our choice."""
OFTEN = 1 / 400.0
"""How often a state is interrupted; those of `APART` more or less. [1/s]"""
APART: Mapping[str, float] = {
    "idle": 1 / 20_000.0,
    "blower_on_delay": 1 / 150.0,
    "delay_blowing": 1 / 150.0,
    "run_low": 1 / 8000.0,
    "run_high": 1 / 8000.0,
    "post_purge": 1 / 500.0,
    "called_purge": 1 / 1000.0,
    "unlit_purge": 1 / 500.0,
    "failed_purge": 1 / 1000.0,
    "blower_off_delay": 1 / 1500.0,
    "lockout": 1 / 4000.0,
    "limit_cooldown": 1 / 1000.0,
}
"""[1/s]"""

BEGINS: Mapping[str, float] = {
    "idle": 0.5,
    "waiting": 0.02,
    "run_low": 0.12,
    "run_high": 0.12,
    "blower_off_delay": 0.05,
    "lockout": 0.03,
    "limit_cooldown": 0.01,
    "rollout": 0.002,
    "found_closed": 0.002,
}
"""In what state a recording begins; each of the others is 0.015. [1]"""
OTHERWISE = 0.015

STRENGTH = {"n": 0.3}
"""Part of a signal's evidence that counts in a state; 1 unless said here. [1]"""


@cache
def asks() -> tuple[Array, Array]:
    """(states, signals) which part of the evidence for on, and for off, each state takes."""
    on, off = np.zeros((len(STATES), SIGNALS)), np.zeros((len(STATES), SIGNALS))
    for number, state in enumerate(STATES):
        for letter in state.on:
            on[number, LETTERS[letter.upper()]] = STRENGTH.get(letter, 1.0)
        for letter in state.off:
            off[number, LETTERS[letter.upper()]] = STRENGTH.get(letter, 1.0)
    for name in ("limit_cooldown", "rollout"):
        letter = "L" if name == "limit_cooldown" else "R"
        on[NUMBER[name], LETTERS[letter]] = 0.0
        off[NUMBER[name], LETTERS[letter]] = 1.0
    on.flags.writeable = off.flags.writeable = False
    return on, off


def transitions(follows: Mapping[str, Mapping[str, float]]) -> Array:
    """(from, to) logarithms of how often one state follows another."""
    table = np.full((len(STATES), len(STATES)), -np.inf)
    for name, following in follows.items():
        total = sum(following.values())
        for other, share in following.items():
            table[NUMBER[name], NUMBER[other]] = np.log(share / total)
    return table


def unseen(signals: frozenset[int]) -> NDArray[np.bool_]:
    """(from, to) changes of state that no channel shows."""
    on, off = asks()
    have = [signal for signal in range(SIGNALS) if signal in signals]
    wants, denies = on[:, have] > 0, off[:, have] > 0
    goes_on, goes_off = denies[:, None] & wants[None], wants[:, None] & denies[None]
    return np.asarray(~(goes_on | goes_off).any(axis=2), np.bool_)


def impossible(signals: frozenset[int], plate: Plate | None) -> NDArray[np.bool_]:
    """(states,) those that this unit, or these channels, cannot be seen in."""
    never = np.zeros(len(STATES), np.bool_)
    never[NUMBER["rollout"]] = ROLLOUT not in signals
    never[NUMBER["found_closed"]] = not {CALL, SWITCH} <= signals
    never[NUMBER["limit_cooldown"]] = never[NUMBER["cooldown_rest"]] = not signals & {LIMIT, BLOWER}
    if plate is not None and len(plate.input) == 1:
        never[NUMBER["run_low"]] = True  # a single stage is the high one
    return never
