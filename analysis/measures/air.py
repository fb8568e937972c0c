"""Air side: the rise when it has settled, temperatures state by state, the hottest supply, and static pressures."""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from analysis.lag import final_value
from analysis.measures import extremes, levels, spans, trends
from analysis.measures.levels import best
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench, Source
from analysis.model import Series
from analysis.quantity import Derivation, Error, Quantity
from analysis.sequence.attempts import Attempt
from analysis.steady import Span, undo_lag

TEMPERATURES = ("temp_return", "temp_supply", "temp_supply_2", "temp_flue")
STATICS = ("static_return", "static_supply")
CURRENTS = ("amps_blower",)
AFTER = 60.0
"""How long after the burner the hottest supply is looked for. [s]"""
LAG_PARTS = 10.0
"""Readings in a time constant that its lag is taken off from. [1]"""
SETTLED = 0.14 / 60
"""Change of the rise below which it stands: 1 degF in 4 min; common practice, no published source. [K/s]"""
FAINT = 4.0
"""How much faster than that a change may be that scatter hides; our choice. [1]"""
LOOKED_BACK = 180.0
"""Over how long that is looked at. [s]"""
FOLLOWS = 90.0
"""Time constant with which a furnace that still warms goes on, where its own cannot be seen; our choice. [s]"""
LONGEST_WARMING = 300.0
"""Longest time constant that is believed of it; our choice. [s]"""
AT_LEAST_OFF, SHORT = 0.1, 8.0
"""Standard uncertainty of what an extrapolation adds, as a share of it: at least so much [1], and this over a third of
what was seen [s]; chosen on simulated units, which are simpler than real ones."""


def rises(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """Rise at each stage after 15 min there, or else over its last minute: doubtful where it had not settled.

    Where it had not, `expected` says where it was heading, with what an extrapolation is worth.
    """
    for stage, stretch in spans.longest(attempt).items():
        span = spans.settled(stretch, _slowest(bench, "temp_return", "temp_supply"))
        cool, warm = (best(bench, point, span) if span else None for point in ("temp_return", "temp_supply"))
        if span is None or cool is None or warm is None:
            continue
        quantity = rise(cool[0], warm[0])
        keys = (cool[1].channel.key, warm[1].channel.key)
        slope, words = _moving((warm[1], cool[1]), stretch, span)
        if words:
            quantity = levels.doubted(quantity, words)
        if words and slope:
            heading = _expected(quantity, cool[1], warm[1], stretch, slope)
            yield Measured(f"temp_rise.expected.{stage}", heading, span.start, span.end, attempt.number, keys)
        yield Measured(f"temp_rise.settled.{stage}", quantity, span.start, span.end, attempt.number, keys)


def temperatures(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """Air and flue before the flame and at the end of each stage, and the hottest supply."""
    for point in TEMPERATURES:
        span = spans.cold(attempt)
        yield from _level(bench, attempt, f"{point}.cold", point, span)
        for stage, stretch in spans.longest(attempt).items():
            span = spans.settled(stretch, _slowest(bench, point))
            for one in _level(bench, attempt, f"{point}.settled.{stage}", point, span):
                source = next(each for each in bench.at(point) if each.channel.key in one.channels)
                _, words = _moving((source,), stretch, Span(one.start, one.end))
                yield replace(one, quantity=levels.doubted(one.quantity, words)) if words else one
    lit = attempt.spans(*spans.LIT)
    for point in ("temp_supply", "temp_supply_2") if lit else ():
        span = Span(lit[0].start, min(lit[-1].end + AFTER, attempt.end))
        found = [(*hot, source) for source in bench.at(point) if (hot := _hottest(source, span))]
        if found:
            quantity, moment, source = min(found, key=lambda each: each[0].u)
            yield Measured(f"{point}.highest", quantity, moment, moment, attempt.number, (source.channel.key,))


def _hottest(source: Source, span: Span) -> tuple[Quantity, float] | None:
    """Hottest air that stood before the thermometer: its lag is taken off where it reads often enough for that."""
    inside = source.within(span)
    time, value = source.time[inside], source.value[inside]
    step = max(1, int(source.response_time / LAG_PARTS / extremes.spacing(source, time))) if time.size > 1 else 1
    found = undo_lag(Series(source.channel, time[::step], value[::step]), source.response_time)
    if not np.isfinite(found.series.value).any():
        plain = extremes.extreme(source, span, smallest=False)
        if plain is None or source.response_time < extremes.SLOW:
            return plain
        heading = value[1:] + source.response_time * np.diff(value) / np.diff(time)
        over = max(float(np.max(heading, initial=-math.inf)) - plain[0].value, 0.0)
        hidden = (Error(f"{source.channel.key} at {plain[1]:.3f}: lag not taken off"), over)
        words = "too few readings to take the thermometer's lag off"
        return levels.summed(plain[0].value, "degC", [*plain[0].budget, hidden], [words], plain[0].how), plain[1]
    place = int(np.nanargmax(found.series.value - found.u))
    top, moment = float(found.series.value[place]), float(found.series.time[place])
    name = source.channel.key
    behind = top - float(np.interp(moment, time, value))
    budget = [
        *source.budget(top),
        (Error(f"{name} at {moment:.3f}: lag taken off"), float(found.u[place])),
        (Error(f"{source.sensor}: response time"), levels.LAG_SURE * behind),
    ]
    how = Derivation(
        "hottest",
        f"Hottest air at {name}",
        (("readings", str(time.size)),),
        "a thermometer of one known time constant.",
        "largest value of the air with the thermometer's lag taken off.",
        "as `analysis.unlag.undo_lag`.",
        (source.assumed,) if source.assumed else (),
    )
    return levels.summed(top, "degC", budget, [], how), moment


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


def _moving(sides: tuple[Source, ...], stretch: spans.Stretch, span: Span) -> tuple[float, str]:
    """How fast the first less the second still went at the end of a stage [K/s], and why it had not settled.

    The slope is 0 where it was not seen, the words are empty where it had settled.
    """
    slow = max(source.response_time for source in sides)
    seen = Span(max(span.end - LOOKED_BACK, stretch.start + stretch.length / 2, stretch.start + 5 * slow), span.end)
    slopes = [trends.trend(source, seen) for source in sides]
    minutes = f"after {stretch.length / 60:.1f} min at this stage"
    if None in slopes:
        return 0.0, f"too few readings to see whether it had settled {minutes}"
    there = [slope for slope in slopes if slope is not None]
    slope = (there[0].value - sum(one.value for one in there[1:])) / 60
    u = math.hypot(*(one.u for one in there)) / 60
    if abs(slope) <= max(SETTLED, 2 * u):
        scattered = 2 * u > FAINT * SETTLED and stretch.length < spans.RISE_AFTER
        return slope, f"too scattered to see whether it had settled {minutes}" if scattered else ""
    return slope, f"not settled {minutes}: still changing by {60 * 1.8 * slope:+.1f} °F/min"


def _expected(quantity: Quantity, cool: Source, warm: Source, stretch: spans.Stretch, slope: float) -> Quantity:
    """Where a rise that had not settled was heading, from three thirds of its stage, and how far that may be off."""
    first = stretch.start + 3 * max(cool.response_time, warm.response_time)
    third = (stretch.end - spans.GUARD - first) / 3
    heading = math.nan
    if third > 5.0:
        parts = [Span(first + place * third, first + (place + 1) * third) for place in range(3)]
        both = [(levels.level(cool, part), levels.level(warm, part)) for part in parts]
        means = [there.value - back.value for back, there in both if back and there]
        if len(means) == 3:
            heading = float(final_value(means[0], means[1], means[2], noise=0.02))
    outstanding, off = heading - quantity.value, AT_LEAST_OFF + SHORT / max(third, SHORT)
    if not math.isfinite(outstanding) or abs(outstanding) > abs(slope) * LONGEST_WARMING:
        outstanding, off = math.copysign(abs(slope) * FOLLOWS, slope), 1.0
    error = Error(f"what the rise still had before it at {stretch.end:.1f}")
    how = Derivation(
        "final_value",
        "Rise that the stage was heading for",
        (("reached", quantity),),
        "a furnace that goes on as it warmed up to now.",
        "one first-order approach through three thirds of the stage, or else the slope times a minute and a half.",
        "as `analysis.lag.final_value`; how far off: chosen on simulated units.",
    )
    budget = [*quantity.budget, (error, off * outstanding)]
    return levels.summed(quantity.value + outstanding, "K", budget, [quantity.reason], how)


def _level(bench: Bench, attempt: Attempt, name: str, point: str, span: Span | None) -> Iterator[Measured]:
    found = best(bench, point, span) if span else None
    if found and span:
        yield Measured(name, found[0], span.start, span.end, attempt.number, (found[1].channel.key,))


def _slowest(bench: Bench, *points: str) -> float:
    return max((source.response_time for point in points for source in bench.at(point)), default=0.0)
