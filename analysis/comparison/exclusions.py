"""What else than an exchanger makes such readings, and by which measurement or test it is excluded."""

import math
from collections.abc import Iterator

from analysis.check_table import SET_POINT
from analysis.comparison.flow_path import Sections
from analysis.comparison.link import BREACH, CANNOT_TELL, EXCLUDED, NOT_MEASURED, SHOWN, SURELY, Figure, Item, sure
from analysis.comparison.outcomes import GAVE_HEAT, SAYS_NOTHING
from analysis.comparison.representative import Representative, representative
from analysis.comparison.side import Side
from analysis.draft import switch_differential
from analysis.measures.measured import Measured
from analysis.quantity import Quality, Quantity

NATURAL = 7.5
"""Draft that wind and a warm vent may make at rest, 0.03 in. w.c.; common practice, no published source. [Pa]"""
HOT = ("hot.high", "hot.low", "cold")
TESTS = {"intake": ("intake_pipe",), "vent": ("vent_joint",), "drain": ("drain",), "hoses": ("hose", "tee")}
"""What is opened to try each, as `collector.checklists` names it."""
CONDEMNED = "it is condemned only when both ports were read, steady for 5 s, three times, with the wiring proved"
NO_STEP = "no reading, and no missing step at blower start, clears an exchanger"


def passages(found: Sections, before: Side) -> Iterator[Item]:
    """Intake and vent: by their resistance, or by a test."""
    for name, tap in (("intake", "draft_burner_box"), ("vent", "draft_vent")):
        tried = _tried(before, name)
        if found.ratios is None:
            needs = f"{name}: needs {tap}, hot in high stage, {found.lacks}, or a test with it open"
            yield tried or Item(name, NOT_MEASURED, needs)
            continue
        figure = (Figure(f"resistance.{name}", found.quantity(name), found.channels),)
        determined, raised, _ = found.known(name)
        if found.ratios.reason:
            yield tried or Item(name, CANNOT_TELL, f"{name}: {found.ratios.reason.rstrip('.')}", figure)
        elif raised > SURELY:
            yield Item(name, SHOWN, f"{name}: its resistance was raised {found.against}", figure)
        elif determined and raised < 1 - SURELY:
            yield Item(name, EXCLUDED, f"{name}: excluded by {tap}, not raised by 1.3 times {found.against}", figure)
        else:
            yield tried or Item(name, CANNOT_TELL, f"{name}: these taps do not tell it; {tap} would", figure)


def drain(before: Side) -> Item:
    """Drain: water that backs up moves the taps within a run."""
    if tried := _tried(before, "drain"):
        return tried
    for name in ("draft_collector.trend.high", "draft_switch.trend.high", "draft_collector.trend.low"):
        one = representative(before.of(name))
        if one is None or one.quantity.quality is not Quality.GOOD:
            continue
        figure = (Figure(name, one.quantity, one.channels),)
        if abs(one.quantity.value) > sure(one.quantity) + DRIFT:
            return Item("drain", SHOWN, "drain: the draft moved within the run, as when water backs up", figure)
        text = f"drain: no change within {one.minutes:.0f} min; flush it, prime the trap and run again to exclude it"
        return Item("drain", CANNOT_TELL, text, figure)
    return Item("drain", NOT_MEASURED, "drain: needs the collector box over a run, or the drain opened and tried again")


DRIFT = 0.5
"""Change of a tap within a stage that wind may make; our choice on simulated units. [Pa/min]"""


def hoses(before: Side) -> Item:
    """Hoses of the switch: what arrives at its ports against what there is at the taps; water in them."""
    for state in HOT:
        names = [f"draft_{point}.{state}" for point in ("switch", "collector", "burner_box")]
        switch_, collector, box = (_sound(before, name) for name in names)
        if switch_ is None or collector is None:
            continue
        arrives = switch_.quantity
        figures = tuple(
            Figure(name, one.quantity, one.channels)
            for name, one in zip(names, (switch_, collector, box), strict=True)
            if one is not None
        )
        if box is not None and _agrees(arrives, collector.quantity, box.quantity):
            return _water(
                before, "hoses: excluded by the switch's ports, which read collector less burner box", figures
            )
        if _agrees(arrives, collector.quantity, Quantity(0.0, "Pa", 0.0)):
            text = "hoses: the switch reads the collector against the room: its other port, or that hose, is open"
            return _tried(before, "hoses") or Item("hoses", CANNOT_TELL, text, figures)
        text = "hoses: the switch's ports do not read what the taps do; a hose, a port, water or a swapped hose"
        return _tried(before, "hoses") or Item("hoses", SHOWN, text, figures)
    return _tried(before, "hoses") or Item(
        "hoses", NOT_MEASURED, "hoses: needs draft_switch and draft_collector in the same state"
    )


def _agrees(arrives: Quantity, collector: Quantity, reference: Quantity) -> bool:
    """Whether the switch reads the difference of two taps."""
    there = float(switch_differential(collector.value, reference.value))
    return abs(arrives.value - there) <= 2 * math.hypot(arrives.u, collector.u, reference.u)


def _water(before: Side, text: str, figures: tuple[Figure, ...]) -> Item:
    """The same, unless water in a hose holds up what the switch reads when the inducer stands."""
    name = "draft_switch.after_stop"
    still = _sound(before, name)
    if still is None:
        return Item("hoses", EXCLUDED, text, figures)
    figures = (*figures, Figure(name, still.quantity, still.channels))
    if abs(still.quantity.value) > NATURAL + sure(still.quantity):
        return Item(
            "hoses", SHOWN, "hoses: pressure stays at the switch when the inducer stands, as with water", figures
        )
    return Item("hoses", EXCLUDED, f"{text}, and nothing when the inducer stands", figures)


def switch(before: Side) -> Item:
    """Pressure switch: whether it did what the pressure at its own ports told it to."""
    stayed = {one.number for one in before.attempts if one.outcome == "draft_not_proved"}
    most = [one for one in before.of("draft_margin.largest_at_start") if one.quantity.quality is Quality.GOOD]
    open_at = [one for one in most if one.attempt in stayed]
    if open_at:
        return _stayed_open(max(open_at, key=lambda each: each.quantity.value))
    closed, low = _sound(before, "draft_margin.to_close.cold"), representative(before.of("draft_margin.smallest"))
    if closed is None or _sound(before, "switch_closed.time_to_close") is None:
        needs = "switch: needs draft_switch, switch_closed and its set-points in the job file"
        return Item("switch", NOT_MEASURED, needs)
    if not any(one.outcome == "draft_lost" for one in before.attempts):
        figure = (Figure("draft_margin.to_close.cold", closed.quantity, closed.channels),)
        return Item("switch", EXCLUDED, "switch: excluded by closing at its pressure and staying closed", figure)
    if low is None or not math.isfinite(low.quantity.u):
        return Item("switch", CANNOT_TELL, "switch: opened, and the smallest pressure at it is not known well enough")
    figure = (Figure("draft_margin.smallest", low.quantity, low.channels),)
    if low.quantity.value < sure(low.quantity) + SET_POINT:
        text = "switch: excluded by the pressure at it, which fell to its opening point when it opened"
        return Item("switch", EXCLUDED, text, figure)
    return Item("switch", SHOWN, "switch: opened with its opening point in hand: wiring, then the switch", figure)


def _stayed_open(one: Measured) -> Item:
    """A switch that did not close: the largest pressure that it saw."""
    figure = (Figure(one.name, one.quantity, one.channels),)
    if one.quantity.value > sure(one.quantity) + SET_POINT:
        return Item("switch", SHOWN, f"switch: stayed open above its closing point; {CONDEMNED}", figure)
    if one.quantity.value < -sure(one.quantity) - SET_POINT:
        return Item("switch", EXCLUDED, "switch: excluded by the pressure at it, below its closing point", figure)
    return Item("switch", CANNOT_TELL, "switch: the pressure came within its tolerance of the closing point", figure)


def breach(before: Side) -> Item:
    """What is never shown and never excluded."""
    name = "draft_margin.at_blower_start"
    one = _sound(before, name)
    text = f"openings in the exchanger: {NO_STEP}; {BREACH}"
    if one is None:
        return Item("breach", NOT_MEASURED, text)
    return Item("breach", CANNOT_TELL, text, (Figure(name, one.quantity, one.channels),))


def _tried(before: Side, name: str) -> Item | None:
    """What a test before the repair says: it was opened and put back, and attempts failed all the same."""
    for test in before.tests:
        if test.item not in TESTS[name] or test.end is None:
            continue
        later = [one for one in before.attempts if one.start > test.end and one.outcome not in SAYS_NOTHING]
        failed = sum(one.outcome != GAVE_HEAT for one in later)
        if failed:
            count = "an attempt" if failed == 1 else f"{failed} attempts"
            return Item(name, EXCLUDED, f"{name}: excluded by a test ({test.text}, put back): {count} failed after it")
    return None


def _sound(side: Side, name: str) -> Representative | None:
    one = representative(side.of(name))
    return one if one and one.quantity.quality is Quality.GOOD and math.isfinite(one.quantity.u) else None
