"""The alarm rules that follow from a rating plate."""

from collections.abc import Iterator
from dataclasses import replace

from analysis.model import Plate
from analysis.points import DERIVED
from analysis.units import INCH_OF_WATER
from collector.alarm_rule import AlarmRule
from collector.derived import can_derive


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
    if rule.point == "room_co":
        return rule
    if not (can_derive(rule.point, measured) if rule.point in DERIVED else rule.point in measured):
        return None
    if rule.when is None or rule.when[0] in measured:
        return rule
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
            name,
            "room_co",
            above=at_level,
            deadband=1e-6,
            off_delay=30,
            priority=priority,
            can_be_muted=False,
            text=text,
            action=action,
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
            stops=True,
            can_be_muted=False,
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
            latched=True,
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
