"""The evidence for a claim on a heat exchanger, link by link: shown, excluded, cannot tell, not measured.

It names no breach and clears no exchanger: a licensed person decides after an inspection.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from analysis.comparison.compare import CANNOT, SAME, Compared, Comparison
from analysis.comparison.exclusions import breach, drain, hoses, passages, switch
from analysis.comparison.flow_path import Sections, sections
from analysis.comparison.link import BREACH, CANNOT_TELL, EXCLUDED, NOT_MEASURED, SHOWN, SURELY, Figure, Item, sure
from analysis.comparison.side import Side
from analysis.measures.trends import line
from analysis.quantity import Quantity

TAPS = {"draft_collector": "collector box", "draft_transition": "transition box", "draft_burner_box": "burner box"}
STATES = ("hot.high", "hot.low", "cold")
FEWEST = 3
"""Attempts that make a trend. [1]"""


def chain(before: Side, after: Side, comparison: Comparison) -> tuple[Item, ...]:
    """Links of the chain, in the order in which a claim is read.

    before, after : what was found in each recording; the claim is about the first. [-]
    comparison : of the two. [-]
    returns : tuple of Item; every link is there, measured or not. [-]

    Valid: evidence about resistances and drafts, never proof of a breach.
    Method: taps by their ratios before over after; resistances by `analysis.draft_inverse.resistances`; a trend over
        attempts by a line through them; what else makes such readings by the tests that speak against it.
    Source: order of tests and words: common practice, no published source.
    """
    by_name = {one.name: one for one in comparison.measures}
    found = sections(before, after, comparison.conditions)
    return (
        *(_tap(point, words, by_name) for point, words in TAPS.items()),
        *_resistances(found),
        _flow(found),
        _over_attempts(before),
        *passages(found, before),
        drain(before),
        hoses(before),
        switch(before),
        breach(before),
    )


def _tap(point: str, words: str, by_name: dict[str, Compared]) -> Item:
    item = f"ratio.{point}"
    there = [by_name[name] for state in STATES if (name := f"{point}.{state}") in by_name]
    if not there:
        return Item(item, NOT_MEASURED, f"{words}: needs {point} in the same state on both visits")
    one = next((each for each in there if each.verdict != CANNOT), there[0])
    was, now = one.before.quantity, one.difference.value + one.before.quantity.value
    state = one.name.partition(".")[2].replace(".", ", ")
    if one.verdict == CANNOT or not now:
        return Item(item, CANNOT_TELL, f"{words}, {state}: {one.why}")
    ratio = was.value / now
    # was / (was + difference): along straight lines, with the difference that knows what cancels
    share = ratio * math.hypot(one.difference.u / now, (1 - ratio) * was.u / was.value if was.value else 0.0)
    figure = Figure(f"ratio.{one.name}", Quantity(ratio, "1", share), one.before.channels)
    if one.verdict == SAME:
        return Item(item, CANNOT_TELL, f"{words}, {state}: no difference that these instruments can see", (figure,))
    return Item(item, SHOWN, f"{words}, {state}: the repair changed it", (figure,))


def _resistances(found: Sections) -> Iterator[Item]:
    for name, tap in (("secondary", "draft_transition and draft_collector"), ("primary", "draft_transition")):
        item, words = f"resistance.{name}", f"resistance of the {name} exchanger"
        if found.ratios is None:
            yield Item(item, NOT_MEASURED, f"{words}: needs {tap}, hot in high stage, {found.lacks}")
            continue
        ratio = found.quantity(name)
        figure = (Figure(f"resistance.{name}", ratio, found.channels),)
        determined, raised, lowered = found.known(name)
        if found.ratios.reason:
            yield Item(item, CANNOT_TELL, f"{words}: {found.ratios.reason.rstrip('.')}", figure)
        elif raised > SURELY:
            yield Item(
                item,
                SHOWN,
                f"{words}: raised {found.against}, {100 * raised:.0f} % sure of more than 1.3 times",
                figure,
            )
        elif lowered > SURELY:
            yield Item(
                item, CANNOT_TELL, f"{words}: lower {found.against}, which speaks of false air ({BREACH})", figure
            )
        elif determined and raised < 1 - SURELY:
            yield Item(item, EXCLUDED, f"{words}: not raised by 1.3 times {found.against}, by the taps", figure)
        else:
            yield Item(item, CANNOT_TELL, f"{words}: these taps do not tell it from its neighbours", figure)


def _flow(found: Sections) -> Item:
    if found.ratios is None:
        return Item("flow", NOT_MEASURED, f"combustion flow: needs taps hot in high stage, {found.lacks}")
    flow = found.ratios.flow
    figure = (Figure("flow", flow, found.channels),)
    low, high = flow.interval or (math.nan, math.nan)
    if not found.ratios.reason and (high < 1 or low > 1):
        words = "less" if high < 1 else "more"
        return Item("flow", SHOWN, f"combustion flow: {words} {found.against}, by taps and the fan's curve", figure)
    return Item("flow", CANNOT_TELL, f"combustion flow: no difference {found.against} that the taps can tell", figure)


def _over_attempts(before: Side) -> Item:
    item, words = "trend.attempts", "trend over the attempts before the repair"
    for name in ("draft_collector.hot.high", "draft_collector.cold", "draft_switch.hot.high", "draft_switch.cold"):
        values = [one for one in before.of(name) if math.isfinite(one.quantity.value)]
        if len(values) < FEWEST:
            continue
        hours = [one.start / 3600 for one in values]
        slope, freedom = _line(hours, [one.quantity.value for one in values])
        quantity = Quantity(slope[0], "Pa/h", slope[1], freedom)
        figure = (Figure(f"slope.{name}", quantity, values[0].channels),)
        seen = abs(quantity.value) > sure(quantity)
        text = f"{words}: {name} of {len(values)} attempts {'moves' if seen else 'shows no trend beyond its scatter'}"
        return Item(item, SHOWN if seen else CANNOT_TELL, text, figure)
    return Item(item, NOT_MEASURED, f"{words}: needs the collector box or the switch in {FEWEST} attempts")


def _line(hours: Sequence[float], values: Sequence[float]) -> tuple[tuple[float, float], float]:
    """Slope and its standard uncertainty by the scatter about the line, and degrees of freedom."""
    time, value = np.array(hours), np.array(values)
    slope, _, _ = line(time, value)
    centred = time - time.mean()
    left = value - value.mean() - slope * centred
    freedom = len(values) - 2
    return (slope, math.sqrt(float(left @ left) / freedom / float(centred @ centred))), float(freedom)
