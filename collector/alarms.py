"""Alarms: how readings, time and people move them.

How readings enter:

    GOOD     raises and clears.
    SUSPECT  raises, and the change says so; clears too, but never a safety alarm that a GOOD value holds.
    BAD, NaN neither raises nor clears; the state holds.

Delays run on the time of the readings. None completes on a value older than `HOLD`, and a silence restarts it when it
lasts longer than that and than three of the point's usual intervals: a meter that is silent may be dead, and then says
nothing of now.

Whoever types a value in has read the meter, and says nothing more until asked again: that silence is no failure. So the
delay of a value that was typed in, and was of now then, goes on by the clock and completes once; afterwards, and where
it was dated back, it is as old as any other. It moves what it was typed for alone, never what a live meter holds.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import replace

from analysis.model import NANOSECONDS, Quality
from analysis.points import nearest
from collector.alarm_rule import HOLD, PRIORITIES, AlarmRule
from collector.alarm_states import ACTIVE, REFUSALS, TABLE, Alarm, AlarmChange, AlarmState, AlarmStatus, Move
from drivers.base import LightoffError

LONGEST_MUTE = 8 * 3600.0
"""[s]"""
FLOOD = "alarm flood"
"""Subject of the notices that a flood begins and ends."""
FLOOD_SPAN, FLOOD_ABOVE, FLOOD_BELOW = 600 * NANOSECONDS, 10, 5
"""A flood begins above so many new alarms in the span, and ends below so many (EEMUA 191, from memory). [ns, 1, 1]"""


Held = tuple[str, str, int, float, Quality]
"""Point or derived quantity, source, time [ns], value [inside unit] and quality of what was read last."""


class AlarmError(LightoffError):
    """A command to the alarms that is refused."""


class Alarms:
    """All alarms of a job; every method takes the time in the recording, UTC since 1970 [ns].

    Where the time of a point is more than ten seconds behind (another clock, a replay that was moved back), what it
    tells counts as now, and delays and mutes go on from where they were.
    """

    def __init__(self, rules: Iterable[AlarmRule]) -> None:
        self._alarms: dict[str, Alarm] = {}
        self._now = self._base = 0
        self._shifts: dict[str, int] = {}
        self._first_out: str | None = None
        self._flood = False
        self._new: deque[int] = deque(maxlen=FLOOD_ABOVE + 1)  # the oldest leave: they can't change what is asked
        self._take(rules)

    def _take(self, rules: Iterable[AlarmRule]) -> list[Alarm]:
        """Watch these rules, known ones with the alarms that they have; gives the new alarms."""
        found: dict[str, Alarm] = {}
        for rule in sorted(rules, key=lambda rule: PRIORITIES.index(rule.priority)):
            if rule.name in found or rule.name == FLOOD:
                raise ValueError(f"alarm '{rule.name}': the name is already taken; give it another")
            known = self._alarms.get(rule.name)
            found[rule.name] = known if known and known.rule == rule else Alarm(rule)
        new = [alarm for name, alarm in found.items() if self._alarms.get(name) is not alarm]
        self._alarms = found
        self._values: dict[str, list[Alarm]] = {}
        self._contacts: dict[str, list[Alarm]] = {}
        for alarm in found.values():
            self._values.setdefault(alarm.rule.point, []).append(alarm)
            if alarm.rule.when:
                self._contacts.setdefault(alarm.rule.when[0], []).append(alarm)
        return new

    def use(self, rules: Iterable[AlarmRule], held: Iterable[Held], time: int) -> list[AlarmChange]:
        """Watch other rules from now on; ValueError, and nothing changed, where two have one name.

        A rule of the same name and content keeps its state. Any other begins quiet and is judged by the values `held`,
        as old as they are; what is no longer watched ends.
        """
        now, before = self._advance(time), self._alarms
        new = self._take(rules)
        gone = [alarm for name, alarm in before.items() if self._alarms.get(name) is not alarm]
        if self._first_out not in self._alarms:
            self._first_out = None
        changes = [change for alarm in gone if (change := _ended(alarm, time))]
        for point, source, at, value, quality in held:
            seen = now - max(0, time - at)
            for alarm in new:
                if alarm.rule.when and alarm.rule.when[0] == point:
                    alarm.condition.take_contact(seen, value, quality)
                if alarm.rule.point == point:
                    alarm.condition.take(seen, value, quality, source)
        return [*changes, *(change for alarm in new for change in self._settle(alarm, time))]

    def step(
        self, point: str, time: int, value: float, quality: Quality, source: str = "", *, typed: bool = False
    ) -> list[AlarmChange]:
        """Take a value [inside unit] of a point or derived quantity; `source` tells its instruments apart.

        One that is `typed` in has the time of the clock that `tick` follows, or was dated back.
        """
        contacts, values = self._contacts.get(point, ()), self._values.get(point, ())
        if not contacts and not values:
            return []
        clock = self._now + self._shifts.get("", self._base)
        now = self._advance(max(time, clock), "") if typed else self._advance(time, source or point)
        stands = typed and time >= clock - HOLD
        for alarm in contacts:
            alarm.condition.take_contact(now, value, quality)
        for alarm in values:
            alarm.condition.take(now, value, quality, source, stands=stands)
        return [change for alarm in (*contacts, *values) for change in self._settle(alarm, time)]

    def change_over(self, before: str, after: str) -> None:
        """One meter goes on as another source, in another unit: no alarm begins or ends by that."""
        if before in self._shifts:
            self._shifts[after] = self._shifts[before]
        for alarm in self._alarms.values():
            alarm.condition.change_over(before, after)

    def forget(self, point: str, source: str, time: int) -> list[AlarmChange]:
        """An instrument of a point or derived quantity is gone: an alarm that its value alone held is over.

        It ends as any other does: what nobody has acknowledged stays on the list, what is held stays held. An alarm
        with that point as its contact is not watched until another instrument reads it.
        """
        self._advance(time)
        self._shifts.pop(source, None)
        changes: list[AlarmChange] = []
        for alarm in self._values.get(point, ()):
            if alarm.condition.forget(source):
                changes += [_without_meter(alarm, change) for change in self._settle(alarm, time)]
        for alarm in self._contacts.get(point, ()):
            alarm.condition.forget_contact()
            changes += self._settle(alarm, time)
        return changes

    def withdraw(self, source: str, time: int) -> list[AlarmChange]:
        """What an instrument said last was never so: no alarm rests on it any longer."""
        self._advance(time)
        for alarm in self._alarms.values():
            alarm.condition.forget(source)
        return [change for alarm in self._alarms.values() for change in self._settle(alarm, time)]

    def tick(self, time: int) -> list[AlarmChange]:
        """Let time pass: mutes end, delays complete, logic conditions settle, a flood ends."""
        now = self._advance(time)
        changes: list[AlarmChange] = []
        for alarm in self._alarms.values():
            if alarm.state is AlarmState.SHELVED and now >= alarm.shelved_until:
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
        return self._command(name, Move.ACKNOWLEDGE, time)

    def state(self, name: str) -> AlarmState:
        """State of an alarm; AlarmError where there is none of that name."""
        return self._find(name).state

    def reset(self, name: str, time: int) -> list[AlarmChange]:
        """Release a latched alarm that is over and acknowledged; nothing where it is not latched."""
        if self._find(name).state is AlarmState.LATCHED_UNACKNOWLEDGED:
            raise AlarmError(f"alarm '{name}' is not acknowledged yet", "acknowledge it, then reset it")
        return self._command(name, Move.RESET, time)

    def shelve(self, name: str, time: int, seconds: float) -> list[AlarmChange]:
        """Mute an alarm for at most eight hours; a muted one gets the new time."""
        if not 0 < seconds <= LONGEST_MUTE:
            raise AlarmError(f"alarm '{name}' cannot be muted for {seconds:g} s", "mute it for at most 8 hours")
        alarm = self._find(name)
        changes = self._set_aside(alarm, Move.SHELVE, "muted", time)
        alarm.shelved_until = self._now + round(seconds * NANOSECONDS)
        return changes

    def unshelve(self, name: str, time: int) -> list[AlarmChange]:
        """End a mute; nothing where it has ended."""
        return self._put_back(name, AlarmState.SHELVED, time)

    def out_of_service(self, name: str, time: int) -> list[AlarmChange]:
        """Stop watching until somebody returns it to service."""
        return self._set_aside(self._find(name), Move.REMOVE, "taken out of service", time)

    def return_to_service(self, name: str, time: int) -> list[AlarmChange]:
        """Watch again; nothing where it is in service."""
        return self._put_back(name, AlarmState.OUT_OF_SERVICE, time)

    def snapshot(self) -> list[AlarmStatus]:
        """All alarms, the most urgent priority first, then as they were raised; those never raised last."""
        alarms = sorted(self._alarms.values(), key=lambda alarm: (alarm.since is None, alarm.since or 0))
        alarms.sort(key=lambda alarm: PRIORITIES.index(alarm.rule.priority))
        return [self._status(alarm) for alarm in alarms]

    def _status(self, alarm: Alarm) -> AlarmStatus:
        rule = alarm.rule
        return AlarmStatus(
            name=rule.name,
            point=rule.point,
            text=rule.text,
            priority=rule.priority,
            state=alarm.state,
            since=alarm.since,
            ended=alarm.ended,
            value=alarm.value,
            limit=rule.limit,
            first_out=rule.name == self._first_out,
            shelved_until=alarm.shelved_until + self._shifts[""] if alarm.state is AlarmState.SHELVED else None,
            count=alarm.count,
            chattering=alarm.chattering,
            action=rule.action,
            can_be_muted=rule.priority != "safety" and rule.can_be_muted,
            takes_over=rule.takes_over,
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

    def _find(self, name: str) -> Alarm:
        if name not in self._alarms:
            raise AlarmError(f"there is no alarm '{name}'{nearest(name, self._alarms)}")
        return self._alarms[name]

    def _settle(self, alarm: Alarm, time: int) -> list[AlarmChange]:
        alarm.condition.decide(self._now)
        move = alarm.due(self._now)
        return [] if move is None else self._move(alarm, move, time)

    def _command(self, name: str, move: Move, time: int) -> list[AlarmChange]:
        self._advance(time)
        alarm = self._find(name)
        return self._move(alarm, move, time) if (alarm.state, move) in TABLE else []

    def _set_aside(self, alarm: Alarm, move: Move, word: str, time: int) -> list[AlarmChange]:
        if alarm.rule.priority == "safety" or not alarm.rule.can_be_muted:
            raise AlarmError(f"alarm '{alarm.rule.name}' is a safety alarm and cannot be {word}", "remove its cause")
        self._advance(time)
        if (alarm.state, move) in TABLE:
            return self._move(alarm, move, time)
        if move is Move.SHELVE and alarm.state is AlarmState.SHELVED:
            return []
        state, hint = REFUSALS[alarm.state]
        raise AlarmError(f"alarm '{alarm.rule.name}' is {state} and cannot be {word}", hint)

    def _put_back(self, name: str, state: AlarmState, time: int) -> list[AlarmChange]:
        alarm = self._find(name)
        self._advance(time)
        return self._resume(alarm, time) if alarm.state is state else []

    def _resume(self, alarm: Alarm, time: int) -> list[AlarmChange]:
        alarm.condition.decide(self._now)
        move = Move.RESUME_ACTIVE if alarm.condition.active else Move.RESUME
        return [*self._move(alarm, move, time), *self._settle(alarm, time)]

    def _move(self, alarm: Alarm, move: Move, time: int) -> list[AlarmChange]:
        before, rule = alarm.state, alarm.rule
        after = TABLE[before, move]
        if after is AlarmState.UNACKNOWLEDGED and not any(other.state in ACTIVE for other in self._alarms.values()):
            self._first_out = rule.name
        alarm.state = after
        if after is AlarmState.UNACKNOWLEDGED:
            alarm.since, alarm.ended = time, None
        elif before in ACTIVE and after not in ACTIVE:
            alarm.ended = time
        first, text = rule.name == self._first_out, alarm.sentence(move)
        change = AlarmChange(
            rule.name, time, before, after, alarm.value, rule.priority, text, first, alarm.condition.quality
        )
        return [change, *self._count(alarm, time)] if after is AlarmState.UNACKNOWLEDGED else [change]

    def _count(self, alarm: Alarm, time: int) -> list[AlarmChange]:
        """Count a new alarm; a notice when a flood begins with it."""
        alarm.count_raised(self._now)
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
        before, after = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED
        text = f"Alarm flood: more than {FLOOD_ABOVE} new alarms in 10 minutes, look at the first one first"
        if not self._flood:
            before, after = after, before
            text = f"Alarm flood over: fewer than {FLOOD_BELOW} new alarms in 10 minutes"
        return AlarmChange(FLOOD, time, before, after, float(recent), "medium", text)


def _without_meter(alarm: Alarm, change: AlarmChange) -> AlarmChange:
    """A change because an instrument is gone, in words that do not say that the value is back."""
    if change.from_state not in ACTIVE or change.to_state in ACTIVE:
        return change
    return replace(change, text=f"{alarm.rule.text}: over, the meter that saw it was removed")


def _ended(alarm: Alarm, time: int) -> AlarmChange | None:
    """What is told of an alarm that is no longer watched; nothing where it was quiet."""
    if alarm.state in (AlarmState.NORMAL, AlarmState.SUPPRESSED):
        return None
    rule, text = alarm.rule, f"{alarm.rule.text}: no longer watched so, the job was changed"
    return AlarmChange(rule.name, time, alarm.state, AlarmState.NORMAL, alarm.value, rule.priority, text)
