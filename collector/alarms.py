"""Alarms: the states that people see, and how readings, time and people move them.

States and moves are those of ANSI/ISA-18.2-2016 and IEC 62682 (terms from memory); a shelved alarm is "muted" in what
people read. How readings enter:

    GOOD     raises and clears.
    SUSPECT  raises, and the change says so; clears too, but never a safety alarm that a GOOD value holds.
    BAD, NaN neither raises nor clears; the state holds.

Delays run on the time of the readings. None completes on a value older than `HOLD`, and a silence restarts it when it
lasts longer than that and than three of the point's usual intervals.
"""

import math
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum, StrEnum

from analysis.model import NANOSECONDS, Quality
from analysis.points import nearest
from collector.rules import HOLD, PRIORITIES, AlarmRule, Condition
from drivers.base import LightoffError

__all__ = ["ACTIVE", "FLOOD", "AlarmChange", "AlarmError", "AlarmRule", "AlarmState", "AlarmStatus", "Alarms"]

LONGEST_MUTE = 8 * 3600.0
"""[s]"""
FLOOD = "alarm flood"
"""Subject of the notices that a flood begins and ends."""
FLOOD_SPAN, FLOOD_ABOVE, FLOOD_BELOW = 600 * NANOSECONDS, 10, 5
"""A flood begins above so many new alarms in the span, and ends below so many (EEMUA 191, from memory). [ns, 1, 1]"""
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


_Move = Enum("_Move", "RAISE CLEAR LATCH ACKNOWLEDGE RESET SHELVE SUPPRESS REMOVE RESUME RESUME_ACTIVE")
_S = AlarmState
ACTIVE = frozenset({_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED})
_ORDINARY = (_S.NORMAL, _S.UNACKNOWLEDGED, _S.ACKNOWLEDGED, _S.RETURNED)
_ASIDE = (_S.SHELVED, _S.SUPPRESSED, _S.OUT_OF_SERVICE)
_TABLE: dict[tuple[AlarmState, _Move], AlarmState] = {
    (_S.NORMAL, _Move.RAISE): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _Move.ACKNOWLEDGE): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _Move.CLEAR): _S.RETURNED,
    (_S.UNACKNOWLEDGED, _Move.LATCH): _S.LATCHED_UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _Move.CLEAR): _S.NORMAL,
    (_S.ACKNOWLEDGED, _Move.LATCH): _S.LATCHED_ACKNOWLEDGED,
    (_S.RETURNED, _Move.ACKNOWLEDGE): _S.NORMAL,
    (_S.RETURNED, _Move.RAISE): _S.UNACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, _Move.RAISE): _S.UNACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, _Move.ACKNOWLEDGE): _S.LATCHED_ACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, _Move.RAISE): _S.UNACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, _Move.RESET): _S.NORMAL,
    **{(state, _Move.SHELVE): _S.SHELVED for state in _ORDINARY},
    **{(state, _Move.SUPPRESS): _S.SUPPRESSED for state in _ORDINARY},
    **{(state, _Move.REMOVE): _S.OUT_OF_SERVICE for state in _ORDINARY},
    **{(state, _Move.RESUME): _S.NORMAL for state in _ASIDE},
    **{(state, _Move.RESUME_ACTIVE): _S.UNACKNOWLEDGED for state in _ASIDE},
}

_REFUSALS = {
    _S.SHELVED: ("muted", "end the muting first"),
    _S.SUPPRESSED: ("not watched at present", "try again once it is watched"),
    _S.OUT_OF_SERVICE: ("out of service", "return it to service first"),
    _S.LATCHED_UNACKNOWLEDGED: ("latched", "acknowledge and reset it first"),
    _S.LATCHED_ACKNOWLEDGED: ("latched", "reset it first"),
}
"""Why an alarm in such a state can't be set aside, and what to do."""


class AlarmError(LightoffError):
    """A command to the alarms that is refused."""


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
    """When it came into this state, None when it has never moved. UTC since 1970. [ns]"""
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


class _Alarm:
    """One rule with its condition and the state that people see."""

    def __init__(self, rule: AlarmRule) -> None:
        self.rule = rule
        self.condition = Condition(rule)
        self.state = _S.NORMAL if rule.when is None else _S.SUPPRESSED
        self.since: int | None = None
        self.shelved_until = 0
        self.count = self.chattering = 0
        self.raised: deque[int] = deque(maxlen=CHATTER_REPEATS)  # the oldest leave: only so many are asked about

    @property
    def value(self) -> float | None:
        """Last value, None where there is none. [inside unit]"""
        return self.condition.value if math.isfinite(self.condition.value) else None

    def due(self, now: int) -> _Move | None:
        """The move that condition and logic ask for now."""
        if self.state in (_S.SHELVED, _S.OUT_OF_SERVICE):
            return None
        end = _Move.LATCH if self.rule.latched else _Move.CLEAR
        active = self.state in ACTIVE
        if not self.condition.watched(now):
            leave = end if self.rule.latched and active else _Move.SUPPRESS
            return leave if (self.state, leave) in _TABLE else None
        if self.state is _S.SUPPRESSED:
            return _Move.RESUME_ACTIVE if self.condition.active else _Move.RESUME
        if self.condition.active == active:
            return None
        return _Move.RAISE if self.condition.active else end

    def sentence(self, move: _Move) -> str:
        """What a move tells people."""
        rule, condition = self.rule, self.condition
        suspect = "; the reading is suspect" if condition.quality is Quality.SUSPECT else ""
        value, limit = rule.shown(condition.value), rule.shown(rule.limit)
        words = {
            _Move.RAISE: f"{value}, limit {limit}{suspect}",
            _Move.CLEAR: f"over, now {value}{suspect}",
            _Move.LATCH: "over, stays on the list until acknowledged and reset",
            _Move.ACKNOWLEDGE: "acknowledged",
            _Move.RESET: "reset",
            _Move.SHELVE: "muted for a time",
            _Move.SUPPRESS: rule.unwatched,
            _Move.REMOVE: "taken out of service",
            _Move.RESUME: "watched again",
            _Move.RESUME_ACTIVE: f"watched again, {value}, limit {limit}{suspect}",
        }
        return f"{rule.text}: {words[move]}"


class Alarms:
    """All alarms of a job; every method takes the time in the recording, UTC since 1970 [ns].

    Where the time of a point is more than ten seconds behind (another clock, a replay that was moved back), what it
    tells counts as now, and delays and mutes go on from where they were.
    """

    def __init__(self, rules: Iterable[AlarmRule]) -> None:
        self._alarms: dict[str, _Alarm] = {}
        self._values: dict[str, list[_Alarm]] = {}
        self._contacts: dict[str, list[_Alarm]] = {}
        self._now = self._base = 0
        self._shifts: dict[str, int] = {}
        self._first_out: str | None = None
        self._flood = False
        self._new: deque[int] = deque(maxlen=FLOOD_ABOVE + 1)  # the oldest leave: they can't change what is asked
        for rule in sorted(rules, key=lambda rule: PRIORITIES.index(rule.priority)):
            if rule.name in self._alarms or rule.name == FLOOD:
                raise ValueError(f"alarm '{rule.name}': the name is already taken; give it another")
            alarm = self._alarms[rule.name] = _Alarm(rule)
            self._values.setdefault(rule.point, []).append(alarm)
            if rule.when:
                self._contacts.setdefault(rule.when[0], []).append(alarm)

    def step(self, point: str, time: int, value: float, quality: Quality) -> list[AlarmChange]:
        """Take a value [inside unit] of a point or derived quantity."""
        contacts, values = self._contacts.get(point, ()), self._values.get(point, ())
        if not contacts and not values:
            return []
        now = self._advance(time, point)
        for alarm in contacts:
            alarm.condition.take_contact(now, value, quality)
        for alarm in values:
            alarm.condition.take(now, value, quality)
        return [change for alarm in (*contacts, *values) for change in self._settle(alarm, time)]

    def tick(self, time: int) -> list[AlarmChange]:
        """Let time pass: mutes end, delays complete, logic conditions settle, a flood ends."""
        now = self._advance(time)
        changes: list[AlarmChange] = []
        for alarm in self._alarms.values():
            if alarm.state is _S.SHELVED and now >= alarm.shelved_until:
                changes += self._resume(alarm, time)
            else:
                changes += self._settle(alarm, time)
        recent = self._recent()
        if self._flood and recent < FLOOD_BELOW:
            self._flood = False
            changes.append(self._flood_notice(time, recent))
        return changes

    @property
    def flood(self) -> bool:
        """Whether more new alarms came of late than anybody can deal with."""
        return self._flood

    def acknowledge(self, name: str, time: int) -> list[AlarmChange]:
        """Somebody has seen it; nothing where there is nothing to acknowledge."""
        return self._command(name, _Move.ACKNOWLEDGE, time)

    def state(self, name: str) -> AlarmState:
        """State of an alarm; AlarmError where there is none of that name."""
        return self._find(name).state

    def reset(self, name: str, time: int) -> list[AlarmChange]:
        """Release a latched alarm that is over and acknowledged; nothing where it is not latched."""
        if self._find(name).state is _S.LATCHED_UNACKNOWLEDGED:
            raise AlarmError(f"alarm '{name}' is not acknowledged yet", "acknowledge it, then reset it")
        return self._command(name, _Move.RESET, time)

    def shelve(self, name: str, time: int, seconds: float) -> list[AlarmChange]:
        """Mute an alarm for at most eight hours; a muted one gets the new time."""
        if not 0 < seconds <= LONGEST_MUTE:
            raise AlarmError(f"alarm '{name}' cannot be muted for {seconds:g} s", "mute it for at most 8 hours")
        alarm = self._find(name)
        changes = self._set_aside(alarm, _Move.SHELVE, "muted", time)
        alarm.shelved_until = self._now + round(seconds * NANOSECONDS)
        return changes

    def unshelve(self, name: str, time: int) -> list[AlarmChange]:
        """End a mute; nothing where it has ended."""
        return self._put_back(name, _S.SHELVED, time)

    def out_of_service(self, name: str, time: int) -> list[AlarmChange]:
        """Stop watching until somebody returns it to service."""
        return self._set_aside(self._find(name), _Move.REMOVE, "taken out of service", time)

    def return_to_service(self, name: str, time: int) -> list[AlarmChange]:
        """Watch again; nothing where it is in service."""
        return self._put_back(name, _S.OUT_OF_SERVICE, time)

    def snapshot(self) -> list[AlarmStatus]:
        """All alarms, the most urgent priority first, then the longest in their state; those that never moved last."""
        alarms = sorted(self._alarms.values(), key=lambda alarm: (alarm.since is None, alarm.since or 0))
        alarms.sort(key=lambda alarm: PRIORITIES.index(alarm.rule.priority))
        return [self._status(alarm) for alarm in alarms]

    def _status(self, alarm: _Alarm) -> AlarmStatus:
        rule = alarm.rule
        return AlarmStatus(
            name=rule.name,
            point=rule.point,
            text=rule.text,
            priority=rule.priority,
            state=alarm.state,
            since=alarm.since,
            value=alarm.value,
            limit=rule.limit,
            first_out=rule.name == self._first_out,
            shelved_until=alarm.shelved_until + self._shifts[""] if alarm.state is _S.SHELVED else None,
            count=alarm.count,
            chattering=alarm.chattering,
            action=rule.action,
        )

    def _advance(self, time: int, source: str = "") -> int:
        """Time that never runs back, for delays and spans; a source whose clock went back goes on from now."""
        if not self._shifts:
            self._base = time
        shift = self._shifts.get(source, self._base)
        if time - shift < self._now - HOLD:
            shift = time - self._now
        self._shifts[source] = shift
        self._now = max(self._now, time - shift)
        return self._now

    def _find(self, name: str) -> _Alarm:
        if name not in self._alarms:
            raise AlarmError(f"there is no alarm '{name}'{nearest(name, self._alarms)}")
        return self._alarms[name]

    def _settle(self, alarm: _Alarm, time: int) -> list[AlarmChange]:
        alarm.condition.decide(self._now)
        move = alarm.due(self._now)
        return [] if move is None else self._move(alarm, move, time)

    def _command(self, name: str, move: _Move, time: int) -> list[AlarmChange]:
        self._advance(time)
        alarm = self._find(name)
        return self._move(alarm, move, time) if (alarm.state, move) in _TABLE else []

    def _set_aside(self, alarm: _Alarm, move: _Move, word: str, time: int) -> list[AlarmChange]:
        if alarm.rule.priority == "safety":
            raise AlarmError(f"alarm '{alarm.rule.name}' is a safety alarm and cannot be {word}", "remove its cause")
        self._advance(time)
        if (alarm.state, move) in _TABLE:
            return self._move(alarm, move, time)
        if move is _Move.SHELVE and alarm.state is _S.SHELVED:
            return []
        state, hint = _REFUSALS[alarm.state]
        raise AlarmError(f"alarm '{alarm.rule.name}' is {state} and cannot be {word}", hint)

    def _put_back(self, name: str, state: AlarmState, time: int) -> list[AlarmChange]:
        alarm = self._find(name)
        self._advance(time)
        return self._resume(alarm, time) if alarm.state is state else []

    def _resume(self, alarm: _Alarm, time: int) -> list[AlarmChange]:
        alarm.condition.decide(self._now)
        move = _Move.RESUME_ACTIVE if alarm.condition.active else _Move.RESUME
        return [*self._move(alarm, move, time), *self._settle(alarm, time)]

    def _move(self, alarm: _Alarm, move: _Move, time: int) -> list[AlarmChange]:
        before, rule = alarm.state, alarm.rule
        after = _TABLE[before, move]
        if after is _S.UNACKNOWLEDGED and not any(other.state in ACTIVE for other in self._alarms.values()):
            self._first_out = rule.name
        alarm.state, alarm.since = after, time
        first, text = rule.name == self._first_out, alarm.sentence(move)
        change = AlarmChange(
            rule.name, time, before, after, alarm.value, rule.priority, text, first, alarm.condition.quality
        )
        return [change, *self._count(alarm, time)] if after is _S.UNACKNOWLEDGED else [change]

    def _count(self, alarm: _Alarm, time: int) -> list[AlarmChange]:
        """Count a new alarm; a notice when a flood begins with it."""
        alarm.count += 1
        alarm.raised.append(self._now)
        alarm.chattering += len(alarm.raised) == CHATTER_REPEATS and self._now - alarm.raised[0] <= CHATTER_SPAN
        self._new.append(self._now)
        recent = self._recent()
        if self._flood or recent <= FLOOD_ABOVE:
            return []
        self._flood = True
        return [self._flood_notice(time, recent)]

    def _recent(self) -> int:
        """New alarms in the span, counted up to what begins a flood."""
        return sum(self._now - raised < FLOOD_SPAN for raised in self._new)

    def _flood_notice(self, time: int, recent: int) -> AlarmChange:
        states = (_S.NORMAL, _S.UNACKNOWLEDGED) if self._flood else (_S.UNACKNOWLEDGED, _S.NORMAL)
        began = f"Alarm flood: more than {FLOOD_ABOVE} new alarms in 10 minutes, look at the first one first"
        ended = f"Alarm flood over: fewer than {FLOOD_BELOW} new alarms in 10 minutes"
        return AlarmChange(FLOOD, time, *states, float(recent), "medium", began if self._flood else ended)
