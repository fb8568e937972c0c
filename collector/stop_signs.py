"""Signs of danger that a few contacts and the flame current show by themselves, whatever the sequence is taken for.

They look at the present only, and rest on nothing that has to be recognized.
"""

import math
from dataclasses import dataclass

from analysis.model import NANOSECONDS, Quality
from analysis.signs import FLAME, LINGERS, NO_SUPPLY

FRESH = 30.0
"""A contact that was not read for longer than this is not known: contacts come on change and every few seconds. [s]"""

POINTS = frozenset("call_heat gas_valve flame_current limit_closed rollout_closed switch_closed volts_control".split())
"""What is looked at."""

_LEVELS = {"flame_current": FLAME, "volts_control": NO_SUPPLY}
_UNASKED = {
    "flame_without_gas": "STOP: flame with the gas valve closed",
    "gas_without_call": "STOP: gas valve on without a call for heat",
}
_REFUTED = {
    "flame_without_gas": (("gas_valve", True), ("flame_current", False)),
    "gas_without_call": (("call_heat", True), ("gas_valve", False)),
}
"""What each rests on: it stands until one of these is read, also while the meters are silent."""


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign that holds."""

    name: str
    text: str
    """In words."""
    stop: bool
    """Whether nothing may be fired any more."""
    since: int
    """UTC since 1970. [ns]"""


@dataclass(slots=True)
class _Held:
    time: int
    value: float


class StopSigns:
    """Follows the contacts; times rise, or else `begin_anew` is called before."""

    def __init__(self) -> None:
        self._held: dict[str, _Held] = {}
        self._since: dict[str, int] = {}
        self._now = 0
        self._burned = False

    def begin_anew(self) -> None:
        """Forget everything: what comes belongs to another time."""
        self.__init__()  # type: ignore[misc]

    def step(self, point: str, time: int, value: float, quality: Quality) -> None:
        """Take a value [inside unit] of one of `POINTS` at `time` [ns]."""
        if point not in POINTS or quality is Quality.BAD or math.isnan(value):
            return
        self._now = max(self._now, time)
        self._held[point] = _Held(time, value)
        if self.is_on("gas_valve") is False:
            self._burned = False
        elif self.is_on("gas_valve") and self.is_on("flame_current"):
            self._burned = True
        self._follow(time)

    def forget(self, point: str) -> None:
        """Nothing measures a point any more: what rests on it is over."""
        self._held.pop(point, None)
        for name, rests in _REFUTED.items():
            if point in {one for one, _ in rests}:
                self._since.pop(name, None)

    def is_on(self, point: str) -> bool | None:
        """Whether a contact is closed or on, a value above its level; None where it is not known now."""
        held = self._held.get(point)
        if held is None or self._now - held.time > FRESH * NANOSECONDS:
            return None
        return held.value >= _LEVELS.get(point, 0.5)

    def told(self, now: int = 0) -> tuple[Sign, ...]:
        """Signs that hold `now` [ns], the gravest first."""
        self._now = max(self._now, now)
        self._follow(self._now)
        return tuple(
            sign for name in (*_UNASKED, "rollout_open", "flame_lost", "limit_open") if (sign := self._sign(name))
        )

    def _follow(self, time: int) -> None:
        """Note since when each holds."""
        flame, gas, call = (self.is_on(point) for point in ("flame_current", "gas_valve", "call_heat"))
        holding = {
            "flame_without_gas": self._stays("flame_without_gas") or (flame is True and gas is False),
            "gas_without_call": self._stays("gas_without_call") or (gas is True and call is False),
            "rollout_open": self.is_on("rollout_closed") is False,
            "limit_open": self.is_on("limit_closed") is False,
            "flame_lost": self._burned and gas is True and flame is False,
        }
        for name, holds in holding.items():
            if holds:
                self._since.setdefault(name, time)
            else:
                self._since.pop(name, None)

    def _stays(self, name: str) -> bool:
        """Whether a sign that was there is refuted by nothing."""
        return name in self._since and not any(self.is_on(point) is state for point, state in _REFUTED[name])

    def _sign(self, name: str) -> Sign | None:
        since = self._since.get(name)
        if since is None or (name in _UNASKED and self._now - since < LINGERS * NANOSECONDS):
            return None
        text, stop = self._words(name)
        return Sign(name, text, stop, since)

    def _words(self, name: str) -> tuple[str, bool]:
        if name in _UNASKED:
            return _UNASKED[name], True
        if name == "flame_lost":
            return "flame lost, gas valve still on", False
        if name == "limit_open":
            return "a limit switch is open", False
        if self.is_on("volts_control") is False:
            return "the roll-out switch reads open; the 24 V are off", False
        return ROLLOUT, True


ROLLOUT = "STOP: the roll-out switch is open. Gas and power off. No reset before a licensed person has inspected it."
