"""Air side: the rise when it has settled, temperatures state by state, the hottest supply, and static pressures."""

from collections.abc import Iterator

from analysis.measures import levels, spans
from analysis.measures.levels import best
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench, Source
from analysis.quantity import Derivation, Error, Quantity
from analysis.sequence.attempts import Attempt
from analysis.steady import Span

TEMPERATURES = ("temp_return", "temp_supply", "temp_supply_2", "temp_flue")
STATICS = ("static_return", "static_supply")
CURRENTS = ("amps_blower",)
SETTLED = 0.14 / 60
"""Change of the rise below which it stands: 1 degF in 4 min; common practice, no published source. [K/s]"""
LOOKED_BACK = 180.0
"""Over how long that is looked at. [s]"""
FOLLOWS = 60.0
"""Least time constant with which a furnace that still warms goes on; our choice. [s]"""


def rises(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """Rise at each stage after 15 min there, or else over its last minute, doubtful where it had not settled."""
    for stage, stretch in spans.longest(attempt).items():
        span = spans.settled(stretch, _slowest(bench, "temp_return", "temp_supply"))
        sides = [best(bench, point, span) if span else None for point in ("temp_return", "temp_supply")]
        cool, warm = sides
        if span is None or cool is None or warm is None:
            continue
        quantity = rise(cool[0], warm[0])
        slope = _slope(cool[1], warm[1], stretch, span)
        if slope is None or (stretch.length < spans.RISE_AFTER and abs(slope) > SETTLED):
            quantity = _unsettled(quantity, slope, stretch)
        keys = (cool[1].channel.key, warm[1].channel.key)
        yield Measured(f"temp_rise.settled.{stage}", quantity, span.start, span.end, attempt.number, keys)


def temperatures(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """Air and flue before the flame and at the end of each stage, and the hottest supply."""
    for point in TEMPERATURES:
        span = spans.cold(attempt)
        yield from _level(bench, attempt, f"{point}.cold", point, span)
        for stage, stretch in spans.longest(attempt).items():
            yield from _level(
                bench, attempt, f"{point}.settled.{stage}", point, spans.settled(stretch, _slowest(bench, point))
            )
    for point in ("temp_supply", "temp_supply_2"):
        found = [
            (*one, source)
            for source in bench.at(point)
            if (one := levels.extreme(source, Span(attempt.start, attempt.end), smallest=False))
        ]
        if found and attempt.spans(*spans.LIT):
            quantity, moment, source = min(found, key=lambda one: one[0].u)
            yield Measured(f"{point}.highest", quantity, moment, moment, attempt.number, (source.channel.key,))


def statics(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """Static pressures and the blower's current at each stage."""
    for stage, stretch in spans.longest(attempt).items():
        span = spans.hot(stretch, _slowest(bench, *STATICS))
        found = {point: best(bench, point, span) if span else None for point in (*STATICS, *CURRENTS)}
        for point, one in found.items():
            if one and span:
                name, key = f"{point}.settled.{stage}", one[1].channel.key
                yield Measured(name, one[0], span.start, span.end, attempt.number, (key,))
        back, supply = found["static_return"], found["static_supply"]
        if back and supply and span:
            how = _how("external_static", "Total external static", (("return", back[0]), ("supply", supply[0])))
            quantity = levels.difference(supply[0], back[0], "Pa", how)
            keys = (back[1].channel.key, supply[1].channel.key)
            yield Measured(f"static_external.settled.{stage}", quantity, span.start, span.end, attempt.number, keys)


def rise(cool: Quantity, warm: Quantity) -> Quantity:
    """Supply less return; errors that one sensor has in both cancel."""
    how = _how("temperature_rise", "Rise of the air's temperature", (("return", cool), ("supply", warm)))
    return levels.difference(warm, cool, "K", how)


def _how(formula: str, text: str, inputs: tuple[tuple[str, Quantity | str], ...]) -> Derivation:
    return Derivation(
        formula,
        text,
        inputs,
        "well mixed streams; both sides read over the same span.",
        "supply minus return; two inputs of one instrument are two sensors, one that is carried is one.",
        "definition; JCGM 100:2008, 5.2.2.",
    )


def _slope(cool: Source, warm: Source, stretch: spans.Stretch, span: Span) -> float | None:
    """How fast the rise still went at the end of the stretch; None where that was not seen. [K/s]"""
    slow = max(cool.response_time, warm.response_time)
    seen = Span(max(span.end - LOOKED_BACK, stretch.start + stretch.length / 2, stretch.start + 5 * slow), span.end)
    slopes = [levels.trend(source, seen) for source in (cool, warm)]
    if slopes[0] is None or slopes[1] is None:
        return None
    return (slopes[1].value - slopes[0].value) / 60


def _unsettled(quantity: Quantity, slope: float | None, stretch: spans.Stretch) -> Quantity:
    """The same, doubtful, with what may still come in its budget."""
    minutes = stretch.length / 60
    if slope is None:
        return levels.doubted(quantity, f"too few readings to see whether it had settled after {minutes:.1f} min")
    outstanding = slope * max(FOLLOWS, stretch.length / 2)
    words = f"not settled after {minutes:.1f} min at this stage: still changing by {60 * slope:+.2f} K/min"
    budget = [*quantity.budget, (Error("what the rise still had before it", "rectangular"), outstanding)]
    reasons = [part for part in (quantity.reason, words) if part]
    return levels.summed(quantity.value, quantity.unit, budget, reasons, quantity.how)


def _level(bench: Bench, attempt: Attempt, name: str, point: str, span: Span | None) -> Iterator[Measured]:
    found = best(bench, point, span) if span else None
    if found and span:
        yield Measured(name, found[0], span.start, span.end, attempt.number, (found[1].channel.key,))


def _slowest(bench: Bench, *points: str) -> float:
    return max((source.response_time for point in points for source in bench.at(point)), default=0.0)
