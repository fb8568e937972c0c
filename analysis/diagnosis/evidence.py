"""Evidence in words: what was seen, what a sound unit like this would show, and what that weighs for each cause."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.data.problem import shown
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES, FROM_PAPERS, NUMBER
from analysis.diagnosis.flag_words import FLAG_WORDS
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.mixture import GROUP
from analysis.diagnosis.result import Evidence
from analysis.diagnosis.weighing import Weighed
from analysis.points import DERIVED, POINTS

Array = NDArray[np.float64]

TOGETHER = "all readings taken together are {} like simulated visits with this cause than each by itself says"
"""What the net says beside the readings one by one."""
MOST = 6
"""Observations told for each cause. [1]"""
LEAST = 0.3
"""Weight from which an observation is told. [bit]"""
STATES = {
    "cold": "before the flame",
    "hot.low": "hot, low stage",
    "hot.high": "hot, high stage",
    "settled.low": "settled, low stage",
    "settled.high": "settled, high stage",
    "low": "low stage",
    "high": "high stage",
    "flowing.low": "flowing, low stage",
    "flowing.high": "flowing, high stage",
    "static": "before the gas valve opens",
    "drop.high": "drop when the gas flows",
    "lowest": "lowest",
    "smallest": "smallest",
    "highest": "highest",
    "mean": "mean",
    "middle": "mean",
    "warmup": "igniter hot",
    "at_trial": "in the ignition trial",
    "at_start": "largest at the start",
    "at_rest": "at rest",
    "after_stop": "just after the inducer stopped",
    "running": "blower on",
    "pump": "heat pump alone",
}
SHAPES: Mapping[str, str] = {
    "blower_step": "step of {} when the blower started",
    "restless": "restlessness of {}",
    "change": "{} where it went wrong against where it did not",
    "spread": "{}, from start to start",
    "closes_at": "pressure at which the {} closed",
}
"""Statistics that need a sentence of their own."""
WORDS: Mapping[str, tuple[str, str, float]] = {
    "switch_closed.time_to_close": ("time until the pressure switch closed", "s", 1.0),
    "ignition.light_off_delay": ("gas on to flame", "s", 1.0),
    "ignition.time_to_prove": ("gas on to flame proved", "s", 1.0),
    "phase.over.prepurge": ("prepurge, over what the control sets", "s", 1.0),
    "phase.over.igniter_warmup": ("igniter warm-up, over what the control sets", "s", 1.0),
    "phase.over.ignition_trial": ("ignition trial, over what the control sets", "s", 1.0),
    "phase.over.blower_on_delay": ("blower-on delay, over what the control sets", "s", 1.0),
    "phase.over.post_purge": ("post-purge, over what the control sets", "s", 1.0),
    "attempts.rate": ("attempts in ten minutes", "", 1.0),
    "flame.shortest": ("shortest flame that went out", "s", 1.0),
    "humidifier.duty": ("time that the humidifier runs", "%", 100.0),
    "humidifier.over": ("room humidity over its setting", "%RH", 100.0),
    "compressor.below_lockout": ("outdoor air below the compressor's lock-out while it ran", "K", 1.0),
    "furnace.above_lockout": ("outdoor air above the furnace's lock-out while it ran", "K", 1.0),
    "calls.duty": ("time with a call for heat", "%", 100.0),
    "temp_room.fall": ("room cools by, in an hour", "K", 1.0),
    "draft_switch.time_to_zero": ("switch pressure back to nothing after", "s", 1.0),
    "limit.opens_at": ("supply air when the limit opened", "degC", 1.0),
}
"""Features whose number is not that of a point: what it is, its unit on screen, and the factor from the inside unit."""
TEMPERATURES = ("degC", "K")
"""Units in `WORDS` of a temperature and of a difference of two: shown as the supply air and its rise are."""


@dataclass(frozen=True, slots=True)
class Topic:
    """Steps that speak of one thing."""

    points: tuple[str, ...]
    steps: tuple[int, ...]


def evidence_of(
    weighed: Weighed, causes: NDArray[np.int64] | None = None, units: str = "trade"
) -> dict[str, tuple[Evidence, ...]]:
    """What speaks for and against each cause, the heaviest first; numbers in `trade` or `metric` units."""
    weights = weighed.weights()
    topics = list(_topics(weighed))
    found: dict[str, tuple[Evidence, ...]] = {}
    for number in range(len(CAUSES)) if causes is None else causes.tolist():
        weighty = sorted(
            ((float(weights[number, list(topic.steps)].sum()), topic) for topic in topics),
            key=lambda one: -abs(one[0]),
        )
        told = [
            _told(weighed, topic, weight, weights[number], units)
            for weight, topic in weighty[:MOST]
            if abs(weight) >= LEAST
        ]
        together = float(weights[number, -1])
        if abs(together) >= LEAST:
            text = TOGETHER.format("more" if together > 0 else "less")
            told.append(Evidence(text, (), math.nan, math.nan, together))
        found[CAUSES[number]] = tuple(told)
    return found


def _topics(weighed: Weighed) -> Iterator[Topic]:
    by_head: dict[str, list[int]] = {}
    for place, name in enumerate(weighed.what):
        head = name.partition(".")[0]
        by_head.setdefault(name if name in FLAGS or head not in {**POINTS, **DERIVED} else head, []).append(place)
    for head, steps in by_head.items():
        points = FLAG_WORDS[head].points if head in FLAGS else _points(head)
        yield Topic(points, tuple(steps))


def _points(head: str) -> tuple[str, ...]:
    name = head.partition(".")[0]
    derived = {"temp_rise": ("temp_supply", "temp_return"), "dew_point_margin": ("temp_surface",)}
    derived |= {"draft_margin": ("draft_switch",), "draft_margin_high": ("draft_switch_high",)}
    others = {"switch_closed": ("switch_closed",), "switch": ("draft_switch",), "limit": ("temp_supply",)}
    if name in POINTS:
        return (name,)
    return derived.get(name, others.get(name, ()))


def _told(weighed: Weighed, topic: Topic, weight: float, steps: Array, units: str) -> Evidence:
    """The topic by the step that weighs most in it."""
    place = max(topic.steps, key=lambda step: math.copysign(1.0, weight) * float(steps[step]))
    name = weighed.what[place]
    if name in FLAGS:
        text = FLAG_WORDS[name].said[weighed.seen.flags[name]]
        return Evidence(text, topic.points, math.nan, math.nan, weight)
    start, end = weighed.seen.spans.get(name, (math.nan, math.nan))
    value = weighed.seen.raw[name]
    text = f"{label(name)} {number(name, value, units)}"
    expected = expected_of(weighed, name)
    if expected is not None:
        low, high = (number(name, end, units) for end in expected)
        unit = low.partition(" ")[2]
        text += f"; sound units like this: {low.partition(' ')[0] if unit else low} to {high}"
    return Evidence(text, topic.points, start, end, weight)


def label(name: str) -> str:
    """A feature in words."""
    if name in WORDS:
        return WORDS[name][0]
    head, _, state = name.partition(".")
    place = POINTS.get(head) or DERIVED.get(head)
    words = place.text if place else "pressure switch"
    if head.startswith("draft_") and head in POINTS:
        words = f"draft, {words}"
    if state.startswith("trend"):
        return f"{words}, change a minute"
    return SHAPES[state].format(words) if state in SHAPES else f"{words} {STATES.get(state, state.replace('.', ' '))}"


def number(name: str, value: float, units: str = "trade") -> str:
    """A value of a feature as the trade writes it, or `metric`."""
    if name in WORDS:
        _, unit, factor = WORDS[name]
        if unit in TEMPERATURES:
            return shown("temp_rise" if unit == "K" else "temp_supply", value, difference=unit == "K", units=units)
        return f"{value * factor:.{0 if unit == '%' else 1}f} {unit}".rstrip()
    if name.endswith(".change"):
        return f"{100.0 * math.expm1(value):+.0f} %"
    head, _, state = name.partition(".")
    head = "draft_switch" if head == "switch" else head
    absolute = state not in ("blower_step", "restless", "spread") and not head.startswith("dew_point")
    fine = 2 if state in ("blower_step", "restless") or state.startswith("trend") else 0
    return shown(head, value, difference=not absolute or head in DERIVED, digits=fine, units=units)


def expected_of(weighed: Weighed, name: str) -> tuple[float, float] | None:
    """Between what a sound unit with these papers lies, 95 % of them; None where that says nothing. [inside unit]"""
    mixture, seen, place = weighed.mixture, weighed.seen, NUMBER[name]
    sound = np.flatnonzero(mixture.cause == CAUSES.index("none"))
    if not sound.size:
        return None
    part = int(sound[np.argmax(weighed.parts[sound])])
    kind = int(np.argmax(weighed.kinds[part])) if weighed.kind is None else weighed.kind
    feature = FEATURES[place]
    papers = np.array(
        [NUMBER[paper] for paper in sorted(FROM_PAPERS) if math.isfinite(seen.values[NUMBER[paper]])], int
    )
    papers = papers[GROUP[papers] == GROUP[place]] if papers.size else papers
    mean = mixture.healthy[kind] + mixture.shift[part]
    covariance = mixture.covariance[part]
    middle, variance = mean[place], covariance[place, place]
    if papers.size:
        gain = np.linalg.solve(covariance[np.ix_(papers, papers)], covariance[papers, place])
        middle = middle + gain @ (seen.values[papers] - mean[papers])
        variance = variance - gain @ covariance[papers, place]
    wide = 2.0 * math.sqrt(max(variance, 0.0))
    ends = [feature.unscaled(middle + wide * sign) for sign in (-1.0, 1.0)]
    return min(ends), max(ends)
