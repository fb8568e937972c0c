"""Which alarms the live page would have raised in a recording: the same rules and delays, fast enough for a day of it.

For each rule the stretches are found in which the value was beyond its limit for as long as the on-delay while it was
watched; usually there are none. Only there the live alarm is stepped, from the reading at which such a stretch begins
until time alone changes nothing any more. Nobody acknowledges anything meanwhile. What happens between two readings
counts at the next one, but for a typed value, which stands for its delay.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Plate, Series
from analysis.points import DERIVED
from collector.alarm_rule import PRIORITIES, AlarmRule
from collector.alarm_states import Alarm, Move
from collector.past_derived import inputs_of, past_derived
from collector.past_spans import FOREVER, Spans, breaks, common, stretches, watched
from collector.past_streams import Stream, joined, speaking, streams_of

AHEAD = 20 * NANOSECONDS
"""How much is stepped at once, and twice as much each time that it was not enough. [ns]"""
REGULAR = 10 * NANOSECONDS
"""A contact that stays as it is has to be looked at so often, so that it does not count as lost. [ns]"""
LAST = 1 << 40
"""Order of the moments at which the clock completes a delay: after all readings of the same time."""
MOST = 10_000
"""Most alarms of one rule; the recording is no longer looked at for it after so many."""


@dataclass(frozen=True, slots=True)
class PastAlarm:
    """One time that an alarm was active."""

    rule: str
    """Name of the rule."""
    start: float
    """Time of the reading that raised it, UTC since 1970. [s]"""
    end: float
    """Time of the reading that ended it, or of the last reading where it lasted. [s]"""
    priority: str
    text: str
    """What the page would have said, with value and limit."""
    lasted: bool = False
    """Whether it was still active when the recording ended."""


def past_alarms(
    series: Sequence[Series],
    plate: Plate,
    rules: Sequence[AlarmRule],
    doubtful: Mapping[str, NDArray[np.float64]] | None = None,
) -> tuple[PastAlarm, ...]:
    """Alarms in the order in which they were raised, the most urgent first where several were raised at once.

    `doubtful` are the times [s] of suspect readings by the key of their channel. Series stand in the order in which
    readings of the same time came.
    """
    base, streams = streams_of(series, doubtful or {})
    end = max((int(one.time[-1]) for several in streams.values() for one in several), default=0)
    speakers: dict[str, Stream] = {}
    derived: dict[str, Stream | None] = {}
    found: list[PastAlarm] = []
    for rule in rules:
        contacts = streams.get(rule.when[0], []) if rule.when else []
        if rule.when and not contacts:
            continue
        if rule.point in DERIVED:
            if rule.point not in derived:
                for point in inputs_of(rule.point):
                    if point in streams and point not in speakers:
                        speakers[point] = speaking(streams[point])
                derived[rule.point] = past_derived(rule.point, speakers, plate)
            one = derived[rule.point]
            sources = [] if one is None else [one]
        else:
            sources = streams.get(rule.point, [])
        for start, over, text in _Past(rule, sources, contacts).alarms():
            ended = end if over is None else over
            times = (base + start / NANOSECONDS, base + ended / NANOSECONDS)
            found.append(PastAlarm(rule.name, *times, rule.priority, text, lasted=over is None))
    return tuple(sorted(found, key=lambda alarm: (alarm.start, PRIORITIES.index(alarm.priority), alarm.rule)))


class _Past:
    """One rule, its readings, and how far they were stepped."""

    def __init__(self, rule: AlarmRule, sources: Sequence[Stream], contacts: Sequence[Stream]) -> None:
        self.rule = rule
        self._alarm = Alarm(rule)
        self._sources, self._contact = sources, contacts
        self._on, self._off = (round(seconds * NANOSECONDS) for seconds in (rule.on_delay, rule.off_delay))
        self._spans = Spans.always()
        self._back: dict[int, Spans] = {}
        self._streams: list[Stream] = []
        """Sources, contact, and moments at which the clock completes the delay of a typed value."""
        self._place: list[int] = []
        """Of the first reading of each that was not taken yet."""
        self._now = -FOREVER

    def alarms(self) -> list[tuple[int, int | None, str]]:
        """Start and end [ns] of each, None where it lasted, and what was said."""
        rule, above = self.rule, self.rule.above is not None
        flags = [one.value > rule.limit if above else one.value < rule.limit for one in self._sources]
        if not any(flag.any() for flag in flags):
            return []
        contact = [joined(self._contact)] if rule.when else []
        if rule.when:
            self._spans = watched(contact[0], rule)
        pairs = zip(self._sources, flags, strict=True)
        beyond = [common(stretches(one, flag), self._spans, self._on) for one, flag in pairs]
        if not any(one.start.size for one in beyond):
            return []
        self._streams = [*self._sources, *contact, *self._looks()]
        self._place = [0] * len(self._streams)
        return self._told(beyond)

    def _told(self, beyond: Sequence[Spans]) -> list[tuple[int, int | None, str]]:
        found: list[tuple[int, int | None, str]] = []
        active = False
        for time in self._stepped(beyond):
            if self._alarm.condition.active == active:
                continue
            active = not active
            if not active:
                found[-1] = (found[-1][0], time, found[-1][2])
            elif len(found) < MOST:
                found.append((time, None, self._alarm.sentence(Move.RAISE)))
            else:
                break
        return found

    def _looks(self) -> Iterator[Stream]:
        delays = [delay for delay in (self._on, self._off) if delay]
        times = [one.time + delay for one in self._sources if one.typed for delay in delays]
        if times:
            time = np.unique(np.concatenate(times))
            yield Stream("", time, np.full(time.size, np.nan), None, LAST)

    def _cleared(self, index: int) -> Spans:
        """When a source was back inside for long enough, while it was watched."""
        if index not in self._back:
            one, rule = self._sources[index], self.rule
            back = (
                one.value <= rule.limit - rule.deadband
                if rule.above is not None
                else one.value >= rule.limit + rule.deadband
            )
            self._back[index] = common(stretches(one, back), self._spans, self._off)
        return self._back[index]

    def _stepped(self, beyond: Sequence[Spans]) -> Iterator[int]:
        """Time of each reading that is stepped, once it is. [ns]"""
        condition = self._alarm.condition
        while (target := self._next(beyond)) < FOREVER:
            self._lead_in(target)
            ahead, going = max(AHEAD, 2 * self._on), True
            while going:
                if all(place >= one.time.size for place, one in zip(self._place, self._streams, strict=True)):
                    return
                for time, _, before, place in self._chunk(target + ahead):
                    number = -before
                    self._take(number, place)
                    condition.decide(time)
                    self._place[number], self._now = place + 1, time
                    yield time
                    if condition.still(time):
                        going = False
                        break
                ahead *= 2

    def _next(self, beyond: Sequence[Spans]) -> int:
        """Time from which on something may change. [ns]"""
        now, targets = self._now, [FOREVER]
        for index, one in enumerate(self._sources):
            condition, place = self._alarm.condition.of(one.source), self._place[index]
            if condition is None or not (condition.active or condition.waiting):
                targets.append(beyond[index].next(now))
                continue
            targets.append(self._spans.end_after(now))
            if condition.waiting:
                targets.append(int(one.time[place]) if place < one.time.size else FOREVER)
            else:
                targets.append(self._cleared(index).next(now))
        return min(targets)

    def _chunk(self, until: int) -> list[tuple[int, int, int, int]]:
        """Readings to come up to `until` [ns] as time, order, stream (negative) and its place.

        A contact comes before the margin that follows from it.
        """
        found: list[tuple[int, int, int, int]] = []
        for number, (one, begin) in enumerate(zip(self._streams, self._place, strict=True)):
            end = int(np.searchsorted(one.time, until, side="right"))
            times, orders = one.time[begin:end].tolist(), one.orders()[begin:end].tolist()
            found += zip(times, orders, [-number] * len(times), range(begin, begin + len(times)), strict=True)
        return sorted(found)

    def _take(self, number: int, place: int) -> None:
        one, condition = self._streams[number], self._alarm.condition
        time, value = int(one.time[place]), float(one.value[place])
        if number < len(self._sources):
            condition.take(time, value, one.quality(place), one.source, stands=one.typed)
        elif one.order is not LAST:
            condition.take_contact(time, value, one.quality(place))

    def _lead_in(self, target: int) -> None:
        """Take what was read last before a time [ns]: the conditions stand as if all before it had been stepped."""
        safety = self.rule.priority == "safety"
        ends = [int(np.searchsorted(one.time, target)) for one in self._streams]
        for number in reversed(range(len(self._streams))):
            one, begin, end = self._streams[number], self._place[number], ends[number]
            self._place[number] = max(begin, end)
            if number >= len(self._sources):
                for place in self._lasting(one, begin, end) if one.order is not LAST else ():
                    self._take(number, place)
                continue
            for place in _latest(one, begin, end, good=safety):
                self._take(number, place)
                condition = self._alarm.condition.of(one.source)
                if safety and condition is not None and condition.active:
                    condition.decide(int(one.time[place]))  # a good value holds it, a suspect one does not end it then

    def _lasting(self, contact: Stream, begin: int, end: int) -> list[int]:
        """Readings of the contact from `begin` to before `end` that say since when it is as it is, and that it is."""
        read = np.flatnonzero(~np.isnan(contact.value[begin:end])) + begin
        if not read.size or self.rule.when is None:
            return []
        time = contact.time[read]
        there, begins = breaks(time, contact.value[read], self.rule.when[1])
        first = int(np.flatnonzero(~there | begins)[-1]) if (~there | begins).any() else 0
        regular = np.searchsorted(time, np.arange(int(time[first]), int(time[-1]) + 1, REGULAR))
        chosen = np.unique(np.concatenate([[first, first + 1, read.size - 1], regular - 1, regular]))
        return list(read[chosen[(chosen >= first) & (chosen < read.size)]].tolist())


def _latest(one: Stream, begin: int, end: int, *, good: bool) -> list[int]:
    """The last reading, the last two with a value and, if asked for, the last good one, of `begin` to before `end`."""
    if end <= begin:
        return []
    width = 16
    while True:
        low = max(begin, end - width)
        there = np.flatnonzero(~np.isnan(one.value[low:end])) + low
        suspect = there[:0] if one.suspect is None else there[one.suspect[there]]
        trusted = np.setdiff1d(there, suspect)
        if low == begin or (there.size >= 2 and (trusted.size or not good)):
            return sorted({end - 1, *there[-2:].tolist(), *(trusted[-1:].tolist() if good else ())})
        width *= 8
