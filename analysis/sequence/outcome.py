"""How an attempt ended: what each way to end would show, weighed by the channels that are there.

The shares before any evidence and the probabilities of each sign are our choice; they are the same for every unit.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.model import Plate, Series
from analysis.sequence.evidence import Voice
from analysis.sequence.signals import BLOWER, CALL, FLAME, GAS, IGNITER, INDUCER, LIMIT, ROLLOUT, SWITCH

Array = NDArray[np.float64]

SURE = 0.75
"""Probability from which an outcome is named; below it the outcome is `unknown`. [1]"""
LATEST = 6.0
"""A change may have been told so much later, where a channel is told seldom. [s]"""
GONE = 17.0
"""Control voltage below which relays let go; common practice, no published source. [V]"""

ENDINGS: Mapping[str, Mapping[str, float]] = {
    "inducer_start": {"draft_not_proved": 0.77, "call_ended": 0.12, "no_start": 0.1, "unknown": 0.01},
    "prepurge": {"draft_lost": 0.64, "call_ended": 0.34, "unknown": 0.02},
    "igniter_warmup": {"draft_lost": 0.64, "call_ended": 0.34, "unknown": 0.02},
    "ignition_trial": {"no_ignition": 0.86, "draft_lost": 0.08, "call_ended": 0.05, "gas_off_unexplained": 0.01},
    "blower_on_delay": {
        "flame_lost": 0.45,
        "draft_lost": 0.28,
        "call_ended": 0.18,
        "limit_open": 0.07,
        "gas_off_unexplained": 0.02,
    },
    "run": {"heat": 0.7, "draft_lost": 0.1, "flame_lost": 0.1, "limit_open": 0.09, "gas_off_unexplained": 0.01},
}
"""Shares by the last phase in which the attempt went on. [1]"""
UNSEEN: Mapping[str, float] = {"inducer_start": 0.4, "prepurge": 0.15, "igniter_warmup": 0.15, "ignition_trial": 0.3}
"""Where it ended when nothing shows how far it came before a flame. [1]"""
LONGEST_DELAY = 95.0
"""A flame that burned longer heated, whatever the delay of the blower. [s]"""


def before(ending: "Ending", witness: "Witness") -> Mapping[str, float]:  # noqa: PLR0911
    """Shares of the outcomes before any sign."""
    at, phase = ending.time, ending.phase
    if phase in ("run_low", "run_high"):
        if ending.time - ending.lit < LONGEST_DELAY and not ending.delay_known and not witness.knows(BLOWER, at - 4.0):
            return _mixed({"run": 0.5, "blower_on_delay": 0.5})
        return ENDINGS["run"]
    if phase == "blower_on_delay":
        long = ending.time - ending.lit > LONGEST_DELAY
        if not witness.knows(BLOWER, at - 4.0) and (long or not ending.delay_known):
            return ENDINGS["run"] if long else _mixed({"run": 0.3, "blower_on_delay": 0.7})
        return ENDINGS[phase]
    if phase not in ENDINGS:
        return {}
    proved, fired = witness.knows(SWITCH, at - 4.0), witness.knows(GAS, at - 4.0) or witness.knows(FLAME, at - 4.0)
    shown = {
        "inducer_start": proved or (phase == "inducer_start" and ending.low),
        "prepurge": proved,
        "igniter_warmup": proved and witness.knows(IGNITER, at - 4.0),
        "ignition_trial": fired,
    }
    if shown[phase]:
        return ENDINGS[phase]
    if phase == "ignition_trial":
        return _mixed(
            {"ignition_trial": 0.6, "prepurge": 0.2, "inducer_start": 0.2}
            if not proved
            else {"ignition_trial": 0.7, "prepurge": 0.3}
        )
    possible = {name: share for name, share in UNSEEN.items() if not (name == "ignition_trial" and fired)}
    if proved:
        del possible["inducer_start"]
    if witness.knows(IGNITER, at - 4.0):
        possible.pop("igniter_warmup", None)
        possible.pop("ignition_trial", None)
    if fired and not proved:  # a valve or an igniter that did not come where it should have by its time
        possible["inducer_start"] = 1.2
    return _mixed(possible)


def _mixed(phases: Mapping[str, float]) -> dict[str, float]:
    chances: dict[str, float] = {}
    for phase, share in phases.items():
        for outcome, part in ENDINGS[phase].items():
            chances[outcome] = chances.get(outcome, 0.0) + share * part
    return chances


ENDED = ("heat", "call_ended")


@dataclass(frozen=True, slots=True)
class Ending:
    """The moment at which an attempt was decided."""

    phase: str
    """The last phase in which it went on."""
    time: float
    """[s]"""
    since: float
    """When that phase began. [s]"""
    lit: float
    """When the flame was first there; NaN where it never was. [s]"""
    following: str
    """State that follows."""
    then: str
    """State after that."""
    again: bool
    """Whether the inducer starts again with no rest between."""
    delay_known: bool
    """Whether the job file tells the delay of the blower."""
    low: bool
    """Whether the pressure at the switch never came to its closing point."""


class Witness:
    """Asks the channels what happened about a moment."""

    def __init__(self, voices: list[Voice], series: list[Series], plate: Plate | None) -> None:
        self._voices = [voice for voice in voices if voice.quick and voice.course.time.size > 1]
        self._series = {one.channel.point: one for one in series}
        self._plate = plate

    def knows(self, signal: int, time: float) -> bool:
        """Whether a channel says something of a signal about a time."""
        return any(self._state(voice, time) >= 0 for voice in self._of(signal))

    def edge(self, signal: int, start: float, end: float, *, on: bool) -> float | None:
        """When a signal went on or off in a span; None where it did not, or nobody knows."""
        found = []
        for voice in self._of(signal):
            course = voice.course
            first, last = np.searchsorted(course.time, [start, end + LATEST])
            for index in range(int(first), int(last)):
                late = min(2.0 * float(course.u[index]), LATEST)
                if course.changes[index] and course.state[index] == int(on) and course.time[index] - late < end:
                    found.append(float(course.time[index]))
        return min(found) if found else None

    def is_on(self, signal: int, time: float) -> bool | None:
        """Whether a signal is on; None where nobody knows or they disagree."""
        states = {state for voice in self._of(signal) if (state := self._state(voice, time)) >= 0}
        return bool(states.pop()) if len(states) == 1 else None

    def level(self, point: str, start: float, end: float) -> float | None:
        """Median of what a point showed in a span; None without readings."""
        series = self._series.get(point)
        if series is None:
            return None
        first, last = np.searchsorted(series.time, [start, end])
        value = series.value[first:last]
        value = value[np.isfinite(value)]
        return float(np.median(value)) if value.size else None

    def never_reached(self, start: float, end: float) -> bool:
        """Whether the pressure at the switch stayed below its closing point."""
        closing = self._plate.switch_close if self._plate is not None else ()
        series = self._series.get("draft_switch")
        if series is None or not closing:
            return False
        first, last = np.searchsorted(series.time, [start, end])
        value = np.abs(series.value[first:last])
        value = value[np.isfinite(value)]
        return bool(value.size) and float(np.percentile(value, 97)) < 0.98 * closing[-1]

    def opening(self) -> float | None:
        """Pressure at which the low-stage switch opens, by the job file. [Pa]"""
        if self._plate is None:
            return None
        points = self._plate.switch_open or self._plate.switch_close
        return points[-1] if points else None

    def _of(self, signal: int) -> list[Voice]:
        return [voice for voice in self._voices if voice.signal == signal]

    @staticmethod
    def _state(voice: Voice, time: float) -> int:
        index = int(np.searchsorted(voice.course.time, time, "right")) - 1
        return int(voice.course.state[index]) if index >= 0 else -1


def decided(ending: Ending, witness: Witness) -> tuple[str, float, str]:
    """Outcome, its probability, and a sentence on what it rests on."""
    chances = dict(before(ending, witness))
    if not chances:
        return "unknown", 0.0, "no channel tells how it ended"
    reasons: list[tuple[str, str]] = []
    for sign, likely, others, text in _signs(ending, witness):
        for outcome in chances:
            chances[outcome] *= likely.get(outcome, others) if sign else 1.0 - likely.get(outcome, others)
        if sign:
            reasons += [(outcome, text) for outcome in likely]
    total = sum(chances.values())
    outcome = max(chances, key=lambda name: chances[name])
    probability = chances[outcome] / total if total > 0 else 0.0
    if probability < SURE:
        names = sorted(chances, key=lambda name: -chances[name])[:2]
        return "unknown", probability, f"the channels there cannot tell {names[0]} from {names[1]}"
    told = [text for name, text in reasons if name == outcome]
    return outcome, probability, "; ".join(dict.fromkeys(told)) or "nothing else that is measured happened then"


Sign = tuple[bool, Mapping[str, float], float, str]


def _signs(ending: Ending, witness: Witness) -> list[Sign]:
    """Every sign that somebody can know: whether it was seen, how likely by outcome, and for all others."""
    at = ending.time
    found: list[Sign] = []
    if witness.knows(CALL, at - 4.0) or witness.knows(CALL, at + 1.5):
        dropped = witness.edge(CALL, at - 4.0, at + 1.5, on=False) is not None
        found.append((dropped, {"heat": 0.98, "call_ended": 0.98, "unknown": 0.1}, 0.01, "the call ended"))
    gas = witness.edge(GAS, at - 3.0, at + 2.0, on=False)
    flame = witness.edge(FLAME, at - 4.0, at + 3.0, on=False)
    shut = gas if gas is not None else at
    if ending.phase != "inducer_start" and witness.knows(SWITCH, at - 4.0):
        opened = witness.edge(SWITCH, at - 3.5, shut + 0.6, on=False) is not None
        found.append((opened, {"draft_lost": 0.97, "unknown": 0.1}, 0.02, "the pressure switch opened"))
    elif ending.phase != "inducer_start" and (opening := witness.opening()) is not None:
        pressure = witness.level("draft_switch", at - 1.0, at + 0.2)
        if pressure is not None:
            low = abs(pressure) < 1.08 * opening
            text = "the pressure at the switch was down to its opening point"
            found.append((low, {"draft_lost": 0.85}, 0.06, text))
    if witness.knows(LIMIT, at - 4.0):
        opened = witness.edge(LIMIT, at - 3.5, at + 1.0, on=False) is not None
        found.append((opened, {"limit_open": 0.97}, 0.005, "the limit opened"))
    elif ending.following == "limit_cooldown":
        found.append((True, {"limit_open": 0.9}, 0.05, "inducer and blower ran on as they cool an open limit"))
    if gas is not None and flame is not None:
        first = flame < gas - 0.45
        found.append((first, {"flame_lost": 0.93, "draft_lost": 0.1}, 0.03, "the flame went before the gas"))
    if ending.phase in ("run_low", "run_high", "blower_on_delay", "ignition_trial"):
        volts = witness.level("volts_control", at - 0.5, at + 1.5)
        lost = volts is not None and volts < GONE
        for point in ("door_closed", "float_closed"):
            level = witness.level(point, at - 1.0, at + 1.5)
            lost = lost or (level is not None and level < 0.5)
        found.append((lost, {"gas_off_unexplained": 0.6, "unknown": 0.6}, 0.002, "the control's supply was gone"))
    retried = ending.again or ending.then == "lockout" or ending.following == "lockout"
    found.append((retried, {"heat": 0.06, "call_ended": 0.06, "limit_open": 0.6}, 0.8, "it was tried again"))
    if ending.phase == "inducer_start" and witness.knows(INDUCER, at - 2.0):
        turned = witness.is_on(INDUCER, at - 1.0)
        if turned is not None:
            found.append((not turned, {"no_start": 0.95}, 0.02, "the inducer did not run"))
    return found


def blower_missing(ending: Ending, witness: Witness, expected: float) -> bool:
    """Whether a flame burned well past the blower's delay with no blower."""
    if not ending.lit < ending.time - expected - 15.0:
        return False
    return (
        witness.is_on(BLOWER, ending.lit + expected + 10.0) is False
        and witness.is_on(BLOWER, ending.time - 2.0) is False
    )


def rollout_opened(ending: Ending, witness: Witness) -> bool:
    """Whether the roll-out switch opened then."""
    return witness.edge(ROLLOUT, ending.time - 3.5, ending.time + 1.0, on=False) is not None
