"""What an alarm rule is, and whether its condition holds."""

import math
from copy import copy
from dataclasses import KW_ONLY, dataclass

from analysis.model import NANOSECONDS, Quality
from analysis.points import DERIVED, MEASURES, POINTS, measure_of, nearest
from analysis.units import conversion

PRIORITIES = ("safety", "high", "medium", "low")
"""Most urgent first."""
HOLD = 10 * NANOSECONDS
"""How long the last value stands for the present one. [ns]"""
CONTACT_HOLD = 30 * NANOSECONDS
"""The same for the contact in `when`, which comes on change and every few seconds. [ns]"""


@dataclass(frozen=True, slots=True)
class AlarmRule:
    """When a point or derived quantity alarms; ValueError when the rule makes no sense."""

    name: str
    """Unique among the rules."""
    point: str
    """Name in `POINTS` or `DERIVED`."""
    _: KW_ONLY
    text: str
    """What is wrong while it is active, in the trade's words."""
    above: float | None = None
    """Active above this; this or `below`, not both. [inside unit]"""
    below: float | None = None
    """[inside unit]"""
    deadband: float = 0.0
    """How far back inside the limit the value must come to clear. [inside unit]"""
    on_delay: float = 0.0
    """How long the value must be beyond the limit; none for safety. [s]"""
    off_delay: float = 0.0
    """How long the value must be back. [s]"""
    priority: str = "medium"
    """One of `PRIORITIES`."""
    when: tuple[str, float] | None = None
    """Contact and the state it must be in; otherwise the alarm is suppressed by design. [1]"""
    settle: float = 0.0
    """How long `when` must have held. [s]"""
    latched: bool = False
    """Stays after it cleared until it is acknowledged and reset."""
    can_be_muted: bool = True
    """Whether anybody may mute it; never a safety alarm."""
    action: str = ""
    """What to do, one sentence or two."""
    stops: bool = False
    """Stops all firing tests and takes the page over until acknowledged; a safety alarm always does."""

    def __post_init__(self) -> None:
        """Refuse a rule that could not work or must not be."""
        problem = self._problem()
        if problem:
            raise ValueError(f"alarm '{self.name}': {problem}")

    def _problem(self) -> str:
        known, spans = (*POINTS, *DERIVED), (self.deadband, self.on_delay, self.off_delay, self.settle)
        problem = ""
        if self.point not in known:
            problem = f"unknown point '{self.point}'{nearest(self.point, known)}"
        elif (self.above is None) == (self.below is None):
            problem = "give exactly one of above and below"
        elif not math.isfinite(self.limit) or not all(math.isfinite(span) and span >= 0 for span in spans):
            problem = "limit, deadband and delays must be finite, deadband and delays not negative"
        elif self.priority not in PRIORITIES:
            problem = f"unknown priority '{self.priority}'; known are {', '.join(PRIORITIES)}"
        elif self.priority == "safety" and self.on_delay > 0:
            problem = "a safety alarm has no on-delay"
        elif self.when is None and self.settle:
            problem = "settle needs a condition (when)"
        elif self.when and (self.when[0] not in _CONTACTS or self.when[1] not in (0, 1)):
            problem = f"the condition needs a contact and 0 or 1, not {self.when}"
        return problem

    @property
    def takes_over(self) -> bool:
        """Whether it takes the whole page until it is acknowledged."""
        return self.stops or self.priority == "safety"

    @property
    def limit(self) -> float:
        """The one limit that is given. [inside unit]"""
        return next((limit for limit in (self.above, self.below) if limit is not None), math.nan)

    @property
    def unwatched(self) -> str:
        """When it is suppressed by design, in words; empty where it never is."""
        if self.when is None:
            return ""
        contact, state = self.when
        return f"not watched {'unless' if state else 'while'} {POINTS[contact].text}"

    def beyond(self, value: float) -> bool:
        """Whether a value is beyond the limit."""
        return value > self.above if self.above is not None else value < self.limit

    def cleared(self, value: float) -> bool:
        """Whether a value is back inside the limit by the deadband."""
        return value <= self.above - self.deadband if self.above is not None else value >= self.limit + self.deadband

    def shown(self, value: float) -> str:
        """A value of the rule's point as the trade reads it."""
        if math.isnan(value):
            return "no value"
        measure = measure_of(self.point)
        scale, offset = conversion(measure.inside, measure.trade, difference=measure.difference)
        return f"{value * scale + offset:.{measure.trade_decimals}f} {measure.trade_label}".rstrip()


_CONTACTS = frozenset(point.name for point in POINTS.values() if MEASURES[point.measure].name == "contact")


class Condition:
    """Whether a rule's condition holds, by its last value, deadband and delays; times here never run back. [ns]"""

    def __init__(self, rule: AlarmRule) -> None:
        self.rule = rule
        self.active = False
        """The value was beyond the limit for the on-delay, and not yet back for the off-delay."""
        self.value = math.nan
        """Last value that could be used. [inside unit]"""
        self.quality = Quality.GOOD
        self._usable = self._stands = False
        self._last: int | None = None
        self._interval = 0
        self._pending: int | None = None
        self._held_by_good = False
        self._contact_since: int | None = None
        self._contact_seen = 0
        self._on, self._off, self._settle = (
            round(seconds * NANOSECONDS) for seconds in (rule.on_delay, rule.off_delay, rule.settle)
        )

    def take(self, now: int, value: float, quality: Quality, *, stands: bool = False) -> None:
        """A reading of the point; one that `stands` is followed by no other while its delay runs."""
        self._usable = quality is not Quality.BAD and not math.isnan(value)
        if not self._usable:
            return
        if self._last is not None:
            interval = now - self._last
            if interval > max(HOLD, 3 * self._interval):
                self._pending = None
            self._interval = interval
        self.value, self.quality, self._last, self._stands = value, quality, now, stands

    def take_contact(self, now: int, value: float, quality: Quality) -> None:
        """A reading of the contact in `when`."""
        if self.rule.when is None or quality is Quality.BAD or math.isnan(value):
            return
        if now - self._contact_seen > CONTACT_HOLD:
            self._contact_since = None  # nobody knows what it did meanwhile
        self._contact_seen = now
        if abs(value - self.rule.when[1]) >= 0.5:
            self._contact_since = None
        elif self._contact_since is None:
            self._contact_since = now

    def forget_contact(self) -> None:
        """Nothing measures the contact in `when` any more."""
        self._contact_since = None

    def watched(self, now: int) -> bool:
        """Whether `when`, if any, has held long enough."""
        since = self._contact_since
        return self.rule.when is None or (since is not None and now - since >= self._settle)

    @property
    def waiting(self) -> bool:
        """Whether a delay runs."""
        return self._pending is not None

    def still(self, now: int) -> bool:
        """Whether time alone changes nothing: no delay runs, or none that this value could complete."""
        return self._pending is None or not self._present(now)

    def _present(self, now: int) -> bool:
        """Whether the last value stands for the present one."""
        held = HOLD + ((self._off if self.active else self._on) if self._stands else 0)
        return self._usable and self._last is not None and now - self._last <= held

    def decide(self, now: int) -> None:
        """Set `active`; left as it is while the last value does not stand for the present one."""
        if not self.watched(now):
            self.active, self._held_by_good, self._pending = False, False, None
            return
        if not self._present(now):
            return
        delay = self._off if self.active else self._on
        safety = self.rule.priority == "safety"
        wanted = not self.rule.cleared(self.value) if self.active else self.rule.beyond(self.value)
        if self.quality is Quality.GOOD:
            self._held_by_good = wanted
        elif safety and self._held_by_good:
            wanted = True
        contact_lost = self.rule.when is not None and now - self._contact_seen > CONTACT_HOLD
        if wanted == self.active or (wanted and contact_lost and not safety):
            self._pending = None
            return
        if self._pending is None:
            self._pending = now
        if now - self._pending >= delay:
            self.active, self._pending = wanted, None


class Conditions:
    """Conditions of one rule, one for each instrument that reads its point: none can hide what another one sees."""

    def __init__(self, rule: AlarmRule) -> None:
        self.rule = rule
        self._unread = Condition(rule)
        self._by_source: dict[str, Condition] = {}

    def take(self, now: int, value: float, quality: Quality, source: str, *, stands: bool = False) -> None:
        """A reading of the point by an instrument; see `Condition.take`."""
        if source not in self._by_source:
            self._by_source[source] = copy(self._unread)
        self._by_source[source].take(now, value, quality, stands=stands)

    def change_over(self, before: str, after: str) -> None:
        """An instrument goes on as another source: what is held of it goes on with that."""
        if before in self._by_source:
            self._by_source[after] = self._by_source.pop(before)

    def take_contact(self, now: int, value: float, quality: Quality) -> None:
        """A reading of the contact in `when`."""
        for condition in (self._unread, *self._by_source.values()):
            condition.take_contact(now, value, quality)

    def forget(self, source: str) -> bool:
        """An instrument is gone: whether it had read the point; what it read last holds nothing any more."""
        return self._by_source.pop(source, None) is not None

    def forget_contact(self) -> None:
        """Nothing measures the contact in `when` any more."""
        for condition in (self._unread, *self._by_source.values()):
            condition.forget_contact()

    def watched(self, now: int) -> bool:
        """Whether `when`, if any, has held long enough."""
        return self._unread.watched(now)

    def of(self, source: str) -> Condition | None:
        """That of an instrument, None where it has not read the point."""
        return self._by_source.get(source)

    def still(self, now: int) -> bool:
        """Whether time alone changes nothing at any instrument."""
        return all(condition.still(now) for condition in self._by_source.values())

    def decide(self, now: int) -> None:
        """Decide each."""
        for condition in self._by_source.values():
            condition.decide(now)

    @property
    def active(self) -> bool:
        """Whether it holds at any instrument."""
        return any(condition.active for condition in self._by_source.values())

    @property
    def value(self) -> float:
        """Last value of the instrument that decides. [inside unit]"""
        return self._deciding.value

    @property
    def quality(self) -> Quality:
        """Of that value."""
        return self._deciding.quality

    @property
    def _deciding(self) -> Condition:
        """The worst of those at which it holds, else the worst of all."""
        read = [condition for condition in self._by_source.values() if not math.isnan(condition.value)]
        chosen = [condition for condition in read if condition.active] or read
        worst = max if self.rule.above is not None else min
        return worst(chosen, key=lambda condition: condition.value) if chosen else self._unread
