"""What the contacts say of the ignition sequence right now, in words; no more than what is measured can tell.

It looks at the present only: the recognition of attempts, with everything that was measured and what came before and
after, is another matter.
"""

import math
from dataclasses import dataclass

from analysis.model import NANOSECONDS, Quality, Timing
from analysis.signs import FLAME

IGNITER = 0.5
"""Above this the igniter is heating. Common practice, no published source. [A]"""
FRESH = 30.0
"""A contact that was not read for longer than this is not known: contacts come on change and every few seconds. [s]"""

LINGERS = 3.0
"""A flame current that is there longer than this after the valve closed is a flame, and so on. Our choice. [s]"""
TRYING = frozenset(
    "inducer_start prepurge igniter_warmup ignition_trial blower_on_delay run_low run_high flame_lost stopped".split()
)
"""Phases in which it is told which try it is."""

POINTS = frozenset(
    (
        "call_heat call_heat_2 switch_closed switch_high_closed limit_closed rollout_closed gas_valve flame_current"
        " amps_igniter blower_on"
    ).split()
)
"""What is looked at."""


@dataclass(frozen=True, slots=True)
class Told:
    """One moment of the sequence."""

    phase: str
    """Name of the phase, `standby`, or `stopped` where the call stands and the sequence does not go on."""
    text: str
    """In words."""
    since: int
    """UTC since 1970. [ns]"""
    expected: float | None = None
    """How long it usually takes, None where it has no usual end. [s]"""
    next: str = ""
    """What comes next."""
    trial: int = 0
    """Which ignition trial of this call it is, 0 before the first. [1]"""
    trials: int = 0
    """Ignition trials in one call. [1]"""


@dataclass(slots=True)
class _Held:
    time: int
    value: float


class Phase:
    """Follows the contacts; needs at least the gas valve, or the call and the switch."""

    def __init__(self, timing: Timing | None = None) -> None:
        self.timing = timing or Timing()
        self._held: dict[str, _Held] = {}
        self._last = self._now = 0
        self._odd, self._odd_since = "", 0
        self._name, self._since = "", 0
        self._trial = 0
        self._burned = False
        self._gas_off: int | None = None

    def step(self, point: str, time: int, value: float, quality: Quality) -> None:
        """Take a value [inside unit] of one of `POINTS` at `time` [ns]; a time that went back begins anew."""
        if time < self._last - NANOSECONDS:
            self.__init__(self.timing)  # type: ignore[misc]
        self._last = self._now = max(self._last, time)
        if quality is Quality.BAD or math.isnan(value):
            return
        before, held = self._held.get(point), _Held(time, value)
        self._held[point] = held
        if point == "call_heat" and _rose(before, held):
            self._trial, self._burned, self._gas_off = 0, False, None
        if point == "gas_valve" and before is not None and (before.value >= 0.5) != (value >= 0.5):
            self._valve(time, opened=value >= 0.5)
        if self._is("gas_valve") and self._is("flame_current"):
            self._burned = True
        if (odd := self._unasked()) != self._odd:
            self._odd, self._odd_since = odd, time
        name = self._phase()
        if name != self._name:
            self._name, self._since = name, time

    def forget(self, point: str) -> None:
        """Nothing measures a point any more: its last value tells nothing of the present."""
        self._held.pop(point, None)

    def _valve(self, time: int, *, opened: bool) -> None:
        if opened:
            known = {"call_heat", "flame_current"} <= self._held.keys()
            self._trial = 0 if not known else 1 if self._burned else self._trial + 1
            self._burned, self._gas_off = False, None
        else:
            self._gas_off = time

    def told(self, now: int = 0) -> Told | None:
        """What they say `now` [ns]; None where too little is measured, or too long ago, to say anything."""
        self._now = max(self._last, now)
        name = self._phase()
        if not name:
            return None
        since = self._since if name == self._name else self._now
        text, expected, following = self._words(name)
        trial = self._trial if name in TRYING and self._trial <= self.timing.trials else 0
        return Told(name, text, since, expected, following, trial, self.timing.trials)

    def _is(self, point: str) -> bool | None:
        """Whether a contact is closed or on, a current above its level; None where it is not known now."""
        held = self._held.get(point)
        if held is None or self._now - held.time > FRESH * NANOSECONDS:
            return None
        level = {"flame_current": FLAME, "amps_igniter": IGNITER}.get(point, 0.5)
        return held.value >= level

    def _unasked(self) -> str:
        """A flame or gas that nothing asks for; empty where there is none."""
        if self._is("flame_current") and self._is("gas_valve") is False:
            return "flame_without_gas"
        return "gas_without_call" if self._is("gas_valve") and self._is("call_heat") is False else ""

    def _phase(self) -> str:
        if self._odd and self._now - self._odd_since >= LINGERS * NANOSECONDS:
            return self._odd
        call, gas, switch = self._is("call_heat"), self._is("gas_valve"), self._is("switch_closed")
        if gas:
            return self._firing()
        if gas is None and (call is None or switch is None):
            return ""
        if self._is("rollout_closed") is False or self._is("limit_closed") is False:
            return "limit_open"
        return self._after() if call is False else self._before()

    def _before(self) -> str:
        """Heat is called, or may be, and the gas is off."""
        if self._is("amps_igniter"):
            return "igniter_warmup"
        if self._is("call_heat") is None:
            return "gas_off"
        switch = self._is("switch_closed")
        if switch is False:
            return "inducer_start" if self._gas_off is None else "stopped"
        return "prepurge" if switch else ""

    def _firing(self) -> str:
        if self._is("flame_current") is False:
            return "flame_lost" if self._burned else "ignition_trial"
        if self._is("blower_on") is False:
            return "blower_on_delay"
        high = self._is("call_heat_2") and self._is("switch_high_closed") is not False
        return "run_high" if high else "run_low"

    def _after(self) -> str:
        """After the call ended."""
        if self._gas_off is None:
            return "standby"
        if self._now - self._gas_off < self.timing.post_purge * NANOSECONDS:
            return "post_purge"
        return "blower_off_delay" if self._is("blower_on") else "standby"

    def _words(self, name: str) -> tuple[str, float | None, str]:
        """Words, usual length [s] and what comes next."""
        timing = self.timing
        purge_text = "purge: pressure switch closed, gas off" if self._gas_off is None else "purge before another try"
        firing = "gas valve on, flame not measured" if self._is("flame_current") is None else "firing"
        purge = timing.prepurge, "igniter"
        if self._is("amps_igniter") is None:  # not measured: the igniter heats unseen
            purge = timing.prepurge + timing.igniter_warmup, "gas valve"
        table: dict[str, tuple[str, float | None, str]] = {
            "standby": ("no call for heat", None, "a call for heat"),
            "inducer_start": ("inducer start: pressure switch not closed yet", None, "prepurge"),
            "prepurge": (purge_text, *purge),
            "igniter_warmup": ("igniter warming up", timing.igniter_warmup, "gas valve"),
            "ignition_trial": ("ignition trial: gas on, no flame yet", timing.ignition_trial, "flame proved"),
            "blower_on_delay": ("flame on, blower not started yet", timing.blower_on_delay, "blower"),
            "run_low": (firing, None, ""),
            "run_high": (f"{firing}, high stage", None, ""),
            "flame_lost": ("flame lost, gas still on", None, "gas valve closes"),
            "stopped": ("pressure switch open, heat still called", None, "another try, or lockout"),
            "gas_off": ("gas off, the call is not measured", None, ""),
            "flame_without_gas": ("STOP: flame with the gas valve closed", None, ""),
            "gas_without_call": ("STOP: gas valve on without a call for heat", None, ""),
            "limit_open": ("a limit or roll-out switch is open", None, ""),
            "post_purge": ("post-purge", timing.post_purge, "blower off delay"),
            "blower_off_delay": ("blower off delay", timing.blower_off_delay, "no call"),
        }
        return table[name]


def _rose(before: _Held | None, now: _Held) -> bool:
    return now.value >= 0.5 and (before is None or before.value < 0.5)
