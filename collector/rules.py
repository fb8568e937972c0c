"""What an alarm rule is, whether its condition holds, and the rules that follow from a rating plate."""

import math
from collections.abc import Iterator
from dataclasses import KW_ONLY, dataclass, replace

from analysis.model import NANOSECONDS, Plate, Quality
from analysis.points import DERIVED, MEASURES, POINTS, measure_of, nearest
from analysis.units import INCH_OF_WATER, conversion
from collector.derived import can_derive

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
    action: str = ""
    """What to do, one sentence or two."""

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
        self._usable = False
        self._last: int | None = None
        self._interval = 0
        self._pending: int | None = None
        self._held_by_good = False
        self._contact_since: int | None = None
        self._contact_seen = 0
        self._on, self._off, self._settle = (
            round(seconds * NANOSECONDS) for seconds in (rule.on_delay, rule.off_delay, rule.settle)
        )

    def take(self, now: int, value: float, quality: Quality) -> None:
        """A reading of the point."""
        self._usable = quality is not Quality.BAD and not math.isnan(value)
        if not self._usable:
            return
        if self._last is not None:
            interval = now - self._last
            if interval > max(HOLD, 3 * self._interval):
                self._pending = None
            self._interval = interval
        self.value, self.quality, self._last = value, quality, now

    def take_contact(self, now: int, value: float, quality: Quality) -> None:
        """A reading of the contact in `when`."""
        if self.rule.when is None or quality is Quality.BAD or math.isnan(value):
            return
        self._contact_seen = now
        if abs(value - self.rule.when[1]) >= 0.5:
            self._contact_since = None
        elif self._contact_since is None:
            self._contact_since = now

    def watched(self, now: int) -> bool:
        """Whether `when`, if any, has held long enough."""
        since = self._contact_since
        return self.rule.when is None or (since is not None and now - since >= self._settle)

    def decide(self, now: int) -> None:
        """Set `active`; left as it is while the last value does not stand for the present one."""
        if not self.watched(now):
            self.active, self._held_by_good, self._pending = False, False, None
            return
        if not self._usable or self._last is None or now - self._last > HOLD:
            return
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
        if now - self._pending >= (self._on if wanted else self._off):
            self.active, self._pending = wanted, None


def default_rules(plate: Plate, measured: frozenset[str] | None = None) -> tuple[AlarmRule, ...]:
    """Rules from what the plate says; room CO always.

    `measured` are the points that have an instrument, None when all may have one: a rule on another point is left out,
    one whose contact is not measured loses that condition, or is left out where it would alarm at rest.
    """
    candidates = (*_room_co(), *_air(plate), *_gas(plate), *_draft(plate), *_surroundings())
    if measured is None:
        return candidates
    fitted = (_fitted(rule, measured) for rule in candidates)
    return tuple(rule for rule in fitted if rule is not None)


_ALARMS_AT_REST = frozenset({"rise_low", "flame_current_min", "draft_margin", "draft_margin_high"})
"""Rules that say nothing without their contact."""


def _fitted(rule: AlarmRule, measured: frozenset[str]) -> AlarmRule | None:
    there = can_derive(rule.point, measured) if rule.point in DERIVED else rule.point in measured
    if rule.point == "room_co":
        return rule
    if not there or rule.when is None or rule.when[0] in measured:
        return rule if there else None
    return None if rule.name in _ALARMS_AT_REST else replace(rule, when=None, settle=0.0)


def _room_co() -> Iterator[AlarmRule]:
    """Ladder in ppm: 9 advise, 36 shut down and ventilate, 70 evacuate (ANSI/BPI-1200, from memory)."""
    for level, name, priority, text, action in (
        (
            70,
            "room_co_evacuate",
            "safety",
            "Carbon monoxide in the room: everybody out",
            "Get everybody out now and call the emergency number from outside; nobody goes back until they allow it. "
            "Local codes come first.",
        ),
        (
            36,
            "room_co_shut_down",
            "safety",
            "Carbon monoxide in the room: shut down and ventilate",
            "Shut the appliances down, ventilate and keep people out of the room. No more firing until a licensed "
            "person has found and removed the source; local codes come first.",
        ),
        (
            9,
            "room_co_advise",
            "high",
            "Carbon monoxide in the room",
            "Tell the people here, ventilate and find the source before going on; local codes come first.",
        ),
    ):
        at_level = level * 1e-6 * (1 - 1e-9)  # a reading of exactly the level counts
        yield AlarmRule(
            name, "room_co", above=at_level, deadband=1e-6, off_delay=30, priority=priority, text=text, action=action
        )


def _air(plate: Plate) -> Iterator[AlarmRule]:
    """Supply, rise and static. Rise is read after 15-20 min at full fire (two maker's manuals); delays: our choice."""
    firing = ("gas_valve", 1.0)
    airflow = "Check filter, registers, coil and blower"
    if plate.supply_max is not None:
        yield AlarmRule(
            "supply_max",
            "temp_supply",
            above=plate.supply_max,
            deadband=2,
            on_delay=5,
            off_delay=5,
            priority="high",
            text="Supply air is hotter than the rating plate allows",
            action=f"{airflow}, then the gas input, by the maker's instructions. Leave the limit as it is.",
        )
    if plate.rise is not None:
        low, high = plate.rise
        yield AlarmRule(
            "rise_high",
            "temp_rise",
            above=high,
            deadband=1,
            on_delay=60,
            off_delay=10,
            priority="high",
            when=firing,
            settle=120,
            text="Temperature rise is above the rating plate's range",
            action=f"{airflow}, then clock the gas meter, by the maker's instructions.",
        )
        yield AlarmRule(
            "rise_low",
            "temp_rise",
            below=low,
            deadband=1,
            on_delay=60,
            off_delay=10,
            priority="low",
            when=firing,
            settle=900,
            text="Temperature rise is below the rating plate's range",
            action="Check stage, blower speed and gas input against the maker's instructions.",
        )
    if plate.static_max is not None:
        yield AlarmRule(
            "static_max",
            "static_external",
            above=plate.static_max,
            deadband=0.02 * abs(plate.static_max),
            on_delay=15,
            off_delay=15,
            when=("blower_on", 1.0),
            settle=5,
            text="External static is above the rating plate's maximum",
            action="Check filter, coil, registers and dampers; set the blower only by the maker's instructions.",
        )


def _gas(plate: Plate) -> Iterator[AlarmRule]:
    """Inlet window and flame current. An inlet above its window counts at rest too: the valve stands under it."""
    if plate.gas_inlet is not None:
        low, high = plate.gas_inlet
        band = 0.02 * (high - low)
        supplier = "the gas supplier or a licensed person corrects it, by local codes and the maker's instructions."
        yield AlarmRule(
            "gas_inlet_high",
            "gas_inlet",
            above=high,
            deadband=band,
            on_delay=2,
            off_delay=5,
            priority="high",
            text="Gas inlet pressure is above the window on the rating plate",
            action=f"Shut the gas cock and do not fire; {supplier}",
        )
        yield AlarmRule(
            "gas_inlet_low",
            "gas_inlet",
            below=low,
            deadband=band,
            on_delay=2,
            off_delay=5,
            priority="high",
            when=("gas_valve", 1.0),
            settle=5,
            text="Gas inlet pressure is below the window on the rating plate",
            action=f"Read it again with all gas appliances firing; {supplier}",
        )
    if plate.flame_current_min is not None:
        yield AlarmRule(
            "flame_current_min",
            "flame_current",
            below=plate.flame_current_min,
            deadband=0.1 * plate.flame_current_min,
            on_delay=1,
            off_delay=2,
            when=("gas_valve", 1.0),
            settle=10,
            text="Flame current is below the maker's minimum",
            action="With power off, check the flame rod, its lead and the ground, by the maker's instructions.",
        )


def _draft(plate: Plate) -> Iterator[AlarmRule]:
    """A closed switch whose pressure is at its opening point; held, since it ends at the very trip it warned of.

    On-delay and deadband: our choice.
    """
    closing, opening = plate.switch_close, plate.switch_open
    for there, known, name, contact, switch in (
        (len(closing) > 0, len(opening) > 0, "draft_margin", "switch_closed", "Pressure switch"),
        (len(closing) > 1, len(opening) > 1, "draft_margin_high", "switch_high_closed", "High-stage pressure switch"),
    ):
        if there:
            yield AlarmRule(
                name,
                name,
                below=0.0,
                deadband=0.01 * INCH_OF_WATER,
                on_delay=1,
                off_delay=1,
                priority="high",
                when=(contact, 1.0),
                settle=2,
                latched=True,
                text=f"{switch} is {'about to open' if known else 'closed, under its closing point'}",
                action="Check terminations, hoses, water and the trap, in the order of the maker's instructions. "
                "Leave switch and setting as they are.",
            )


def _surroundings() -> Iterator[AlarmRule]:
    """Wet surfaces and the control supply; 21 V is common practice, no published source."""
    yield AlarmRule(
        "dew_point_margin",
        "dew_point_margin",
        below=0.0,
        deadband=0.5,
        on_delay=60,
        off_delay=60,
        text="The coldest watched surface is below the dew point",
        action="Lower the humidity setting and look for water on surfaces; set it by the maker's instructions.",
    )
    yield AlarmRule(
        "volts_control_low",
        "volts_control",
        below=21.0,
        deadband=0.5,
        on_delay=1,
        off_delay=1,
        text="24 V control supply is low",
        action="Check line voltage, transformer and load by the maker's instructions; live work is for the qualified.",
    )
