"""One alarm: the states that people see, the moves between them, and what people are told.

States and moves are those of ANSI/ISA-18.2-2016 and IEC 62682 (terms from memory); a shelved alarm is "muted" in what
people read.
"""

import math
from collections import deque
from dataclasses import dataclass
from enum import Enum, StrEnum

from analysis.model import NANOSECONDS, Quality
from collector.alarm_rule import AlarmRule, Conditions

CHATTER_SPAN, CHATTER_REPEATS = 60 * NANOSECONDS, 3
"""An alarm chatters when it comes so often in the span (ISA-TR18.2.3, from memory). [ns, 1]"""


class AlarmState(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    """Active, nobody has seen it yet."""
    ACKNOWLEDGED = "acknowledged"
    """Active, somebody has seen it."""
    RETURNED = "returned"
    """No longer active, nobody has seen it yet."""
    LATCHED_UNACKNOWLEDGED = "latched_unacknowledged"
    """No longer active, stays until acknowledged and reset."""
    LATCHED_ACKNOWLEDGED = "latched_acknowledged"
    """No longer active, acknowledged, stays until reset."""
    SHELVED = "shelved"
    """Muted by somebody, for a time."""
    SUPPRESSED = "suppressed"
    """Not watched by design: its logic condition does not hold."""
    OUT_OF_SERVICE = "out_of_service"
    """Not watched because somebody took it out of service."""


Move = Enum("Move", "RAISE CLEAR LATCH ACKNOWLEDGE RESET SHELVE SUPPRESS REMOVE RESUME RESUME_ACTIVE")
_S = AlarmState
ACTIVE = frozenset({_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED})
_ORDINARY = (_S.NORMAL, _S.UNACKNOWLEDGED, _S.ACKNOWLEDGED, _S.RETURNED)
_ASIDE = (_S.SHELVED, _S.SUPPRESSED, _S.OUT_OF_SERVICE)
TABLE: dict[tuple[AlarmState, Move], AlarmState] = {
    (_S.NORMAL, Move.RAISE): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, Move.ACKNOWLEDGE): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, Move.CLEAR): _S.RETURNED,
    (_S.UNACKNOWLEDGED, Move.LATCH): _S.LATCHED_UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, Move.CLEAR): _S.NORMAL,
    (_S.ACKNOWLEDGED, Move.LATCH): _S.LATCHED_ACKNOWLEDGED,
    (_S.RETURNED, Move.ACKNOWLEDGE): _S.NORMAL,
    (_S.RETURNED, Move.RAISE): _S.UNACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, Move.RAISE): _S.UNACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, Move.ACKNOWLEDGE): _S.LATCHED_ACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, Move.RAISE): _S.UNACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, Move.RESET): _S.NORMAL,
    **{(state, Move.SHELVE): _S.SHELVED for state in _ORDINARY},
    **{(state, Move.SUPPRESS): _S.SUPPRESSED for state in _ORDINARY},
    **{(state, Move.REMOVE): _S.OUT_OF_SERVICE for state in _ORDINARY},
    **{(state, Move.RESUME): _S.NORMAL for state in _ASIDE},
    **{(state, Move.RESUME_ACTIVE): _S.UNACKNOWLEDGED for state in _ASIDE},
}
"""Where a move leads; a move that is not here is not possible."""

REFUSALS = {
    _S.SHELVED: ("muted", "end the muting first"),
    _S.SUPPRESSED: ("not watched at present", "try again once it is watched"),
    _S.OUT_OF_SERVICE: ("out of service", "return it to service first"),
    _S.LATCHED_UNACKNOWLEDGED: ("held", "acknowledge it first"),
    _S.LATCHED_ACKNOWLEDGED: ("held", "acknowledge it first"),
}
"""Why an alarm in such a state can't be set aside, and what to do."""


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """An alarm moved to another state, or a flood began or ended."""

    name: str
    """Of the rule, or `FLOOD`."""
    time: int
    """UTC since 1970. [ns]"""
    from_state: AlarmState
    to_state: AlarmState
    value: float | None
    """Last value of the point, None where there is none; for a flood the new alarms in the span. [inside unit]"""
    priority: str
    text: str
    """One sentence for people, figures in the trade's units."""
    first_out: bool = False
    """The earliest alarm of its event."""
    quality: Quality = Quality.GOOD
    """Of the value."""


@dataclass(frozen=True, slots=True)
class AlarmStatus:
    """How one alarm stands."""

    name: str
    point: str
    text: str
    priority: str
    state: AlarmState
    since: int | None
    """When it was raised last, None when it never was. UTC since 1970. [ns]"""
    ended: int | None
    """When that was over, None while it is active. UTC since 1970. [ns]"""
    value: float | None
    """Last value, None where there is none. [inside unit]"""
    limit: float
    """[inside unit]"""
    first_out: bool
    """The earliest alarm of the present event, or of the last one until another begins."""
    shelved_until: int | None
    """UTC since 1970. [ns]"""
    count: int
    """How often it was raised. [1]"""
    chattering: int
    """How often it was raised as the third within a minute, or a later one. [1]"""
    action: str
    can_be_muted: bool
    takes_over: bool
    """Takes the whole page until it is acknowledged."""


class Alarm:
    """One rule with its condition and the state that people see."""

    def __init__(self, rule: AlarmRule) -> None:
        self.rule = rule
        self.condition = Conditions(rule)
        self.state = _S.NORMAL if rule.when is None else _S.SUPPRESSED
        self.since: int | None = None
        self.ended: int | None = None
        self.shelved_until = 0
        self.count = self.chattering = 0
        self._raised: deque[int] = deque(maxlen=CHATTER_REPEATS)  # the oldest leave: only so many are asked about

    @property
    def value(self) -> float | None:
        """Last value, None where there is none. [inside unit]"""
        return self.condition.value if math.isfinite(self.condition.value) else None

    def due(self, now: int) -> Move | None:
        """The move that condition and logic ask for now."""
        if self.state in (_S.SHELVED, _S.OUT_OF_SERVICE):
            return None
        end = Move.LATCH if self.rule.latched else Move.CLEAR
        active = self.state in ACTIVE
        if not self.condition.watched(now):
            leave = end if self.rule.latched and active else Move.SUPPRESS
            return leave if (self.state, leave) in TABLE else None
        if self.state is _S.SUPPRESSED:
            return Move.RESUME_ACTIVE if self.condition.active else Move.RESUME
        if self.condition.active == active:
            return None
        return Move.RAISE if self.condition.active else end

    def count_raised(self, now: int) -> None:
        """Count that it was raised, and whether it chatters."""
        self.count += 1
        self._raised.append(now)
        self.chattering += len(self._raised) == CHATTER_REPEATS and now - self._raised[0] <= CHATTER_SPAN

    def sentence(self, move: Move) -> str:
        """What a move tells people."""
        rule, condition = self.rule, self.condition
        suspect = "; the reading is suspect" if condition.quality is Quality.SUSPECT else ""
        value, limit = rule.shown(condition.value), rule.shown(rule.limit)
        words = {
            Move.RAISE: f"{value}, limit {limit}{suspect}",
            Move.CLEAR: f"over, now {value}{suspect}",
            Move.LATCH: "over, stays on the list until acknowledged",
            Move.ACKNOWLEDGE: "acknowledged",
            Move.RESET: "reset",
            Move.SHELVE: "muted for a time",
            Move.SUPPRESS: rule.unwatched,
            Move.REMOVE: "taken out of service",
            Move.RESUME: "watched again",
            Move.RESUME_ACTIVE: f"watched again, {value}, limit {limit}{suspect}",
        }
        return f"{rule.text}: {words[move]}"
