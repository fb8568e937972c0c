"""Gas pressures static and flowing, the flame's current, how long it took to come and to go, and the flue gas."""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from analysis.measures import extremes, levels, spans, trends
from analysis.measures.draft import CLOCKS
from analysis.measures.levels import best
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench, Source
from analysis.quantity import Derivation, Error, Quantity
from analysis.sequence.attempts import Attempt
from analysis.steady import Span

FLUE = ("flue_o2", "flue_co2", "flue_co")
STATIC = 30.0
"""How long before the valve opens the static inlet pressure is read. [s]"""
SIGN = 0.1
"""Share of its settled value at which a flame's current counts as there. [1]"""
LOOKED_FOR = 15.0
"""How long a flame is looked for after its moment. [s]"""
STABILISED = 10.0
"""Left off after the proof of a flame; reference of the trade: 5 to 10 s, no published source. [s]"""
SAMPLED = 120.0
"""Burner time before a flue gas is read; analysers settle in 1 to 2 min behind their line. [s]"""


def pressures(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """Inlet before the valve opens, flowing at each stage, and its drop; manifold at each stage; the lowest inlet."""
    opens = spans.valve_opens(attempt)
    if opens is None:
        return
    span = Span(max(opens - STATIC, attempt.start), opens - spans.GUARD)
    static = best(bench, "gas_inlet", span) if span.end - span.start >= 1.0 else None
    if static:
        key = static[1].channel.key
        yield Measured("gas_inlet.static", static[0], span.start, span.end, attempt.number, (key,))
    for stage, stretch in spans.longest(attempt).items():
        flowing = spans.hot(stretch, max((one.response_time for one in bench.at("gas_inlet")), default=0.0))
        for point in ("gas_inlet", "gas_manifold"):
            found = best(bench, point, flowing) if flowing else None
            if not found or not flowing:
                continue
            keys = (found[1].channel.key,)
            yield Measured(f"{point}.flowing.{stage}", found[0], flowing.start, flowing.end, attempt.number, keys)
            if point == "gas_inlet" and static and static[1] is found[1]:
                drop = _drop(static[0], found[0])
                yield Measured(f"gas_inlet.drop.{stage}", drop, span.start, flowing.end, attempt.number, keys)
    stop = spans.burner_stops(attempt) or attempt.end
    yield from _extreme(bench, attempt, "gas_inlet.lowest", "gas_inlet", Span(opens, stop))


def flame(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """The flame's current: settled, how it goes, its smallest, and the times of its coming and going."""
    lit, stop = spans.lights(attempt), spans.burner_stops(attempt)
    opens = spans.valve_opens(attempt)
    if opens is not None and lit is not None:
        trial = attempt.spans("ignition_trial")[-1]
        if trial.end == lit:
            time = _time(
                lit - trial.start, "trial", [(Error("its boundaries"), math.hypot(trial.start_u, trial.end_u))]
            )
            yield Measured("ignition.time_to_prove", time, trial.start, lit, attempt.number)
    if lit is None:
        return
    level: Quantity | None = None
    for stage, stretch in spans.longest(attempt).items():
        span = spans.hot(stretch)
        found = best(bench, "flame_current", span) if span else None
        if found and span:
            keys = (found[1].channel.key,)
            named = Measured(f"flame_current.settled.{stage}", found[0], span.start, span.end, attempt.number, keys)
            yield named
            if level is None or stage == "high":
                level, settled = found[0], named
        yield from _trend(bench, attempt, "flame_current", stage, Span(stretch.start + 30.0, stretch.end - 1.0))
    if level is not None:
        yield replace(settled, name="flame_current.settled")
    burned = attempt.deciding_time if attempt.outcome == "flame_lost" else (stop or attempt.end)
    span = Span(lit + STABILISED, burned - spans.GUARD)
    if span.end > span.start:
        yield from _extreme(bench, attempt, "flame_current.smallest", "flame_current", span)
    if level is not None and level.value > 0:
        yield from _coming(bench, attempt, SIGN * level.value)
        yield from _going(bench, attempt, SIGN * level.value, stop)


def flue_gas(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """Flue gas at the end of each stage, and whether carbon monoxide rises."""
    for stage, stretch in spans.longest(attempt).items():
        span = spans.hot(stretch, max((one.response_time for p in FLUE for one in bench.at(p)), default=0.0))
        for point in FLUE:
            found = best(bench, point, span) if span else None
            if not found or not span:
                continue
            quantity = found[0]
            if stretch.length < SAMPLED:
                quantity = levels.doubted(quantity, f"sampled only {stretch.length:.0f} s after the stage began")
            name, key = f"{point}.settled.{stage}", found[1].channel.key
            yield Measured(name, quantity, span.start, span.end, attempt.number, (key,))
        yield from _trend(bench, attempt, "flue_co", stage, Span(stretch.start + SAMPLED, stretch.end - 1.0))


def _drop(static: Quantity, flowing: Quantity) -> Quantity:
    how = Derivation(
        "drop",
        "Inlet pressure lost when gas flows",
        (("static", static), ("flowing", flowing)),
        "nothing else burning changed between the two.",
        "static less flowing, one meter: its offset cancels.",
        "definition.",
    )
    return levels.difference(static, flowing, static.unit, how)


def _extreme(bench: Bench, attempt: Attempt, name: str, point: str, span: Span) -> Iterator[Measured]:
    for source in bench.at(point):
        found = extremes.extreme(source, span, smallest=True, doubt=bench.doubts.get(source.channel.key, ""))
        if found:
            yield Measured(name, found[0], found[1], found[1], attempt.number, (source.channel.key,))
            return


def _trend(bench: Bench, attempt: Attempt, point: str, stage: str, span: Span) -> Iterator[Measured]:
    if span.end - span.start < 30.0:
        return
    for source in bench.at(point):
        quantity = trends.trend(source, span)
        if quantity is not None:
            key = source.channel.key
            yield Measured(f"{point}.trend.{stage}", quantity, span.start, span.end, attempt.number, (key,))
            return


def _coming(bench: Bench, attempt: Attempt, sign: float) -> Iterator[Measured]:
    """From the valve's opening to the first sign of a flame."""
    for trial in attempt.spans("ignition_trial")[-1:]:
        for source in bench.at("flame_current"):
            inside = source.within(Span(trial.start - 1.0, trial.end + LOOKED_FOR))
            there = np.flatnonzero(source.value[inside] >= sign)
            if there.size and there[0] > 0:
                place = inside.start + int(there[0])
                gap = float(source.time[place] - source.time[place - 1])
                found = float(source.time[place]) - gap / 2 - trial.start
                quantity = _crossing(found, gap, trial.start_u, source, "light_off")
                moment = float(source.time[place])
                key = source.channel.key
                yield Measured("ignition.light_off_delay", quantity, trial.start, moment, attempt.number, (key,))
                return


def _going(bench: Bench, attempt: Attempt, sign: float, stop: float | None) -> Iterator[Measured]:
    """From the valve's closing until the flame's current has gone."""
    if stop is None or attempt.outcome == "flame_lost":
        return
    closed = next(span for span in attempt.phases if span.start >= stop)
    for source in bench.at("flame_current"):
        inside = source.within(Span(stop - 1.0, min(stop + LOOKED_FOR, attempt.end)))
        time, value = source.time[inside], source.value[inside]
        there = np.flatnonzero(value >= sign)
        if not there.size or there[-1] + 1 >= time.size:
            continue
        last = int(there[-1])
        gap = float(time[last + 1] - time[last])
        slow = source.response_time * math.log(1 / SIGN)
        found = float(time[last]) + gap / 2 - stop - slow
        quantity = _crossing(max(found, 0.0), gap, closed.start_u, source, "decay")
        key = source.channel.key
        yield Measured("flame_current.decay", quantity, stop, float(time[last + 1]), attempt.number, (key,))
        return


def _crossing(value: float, gap: float, moment_u: float, source: Source, formula: str) -> Quantity:
    budget = [
        (Error("moment of the valve"), math.hypot(moment_u, CLOCKS)),
        (Error(f"{source.channel.key}: spacing of readings", "rectangular"), gap / math.sqrt(12)),
        (Error(f"{source.sensor}: response time"), source.response_time / 2),
    ]
    return _time(value, formula, budget, source.channel.key)


def _time(value: float, formula: str, budget: list[tuple[Error, float]], key: str = "phases") -> Quantity:
    how = Derivation(
        formula,
        "Time between two moments",
        (("channel", key),),
        "clocks of both instruments within 0.1 s of each other, one standard uncertainty.",
        "a flame is there from a tenth of its settled current; the meter's own lag is taken off a decay.",
        "common practice, no published source.",
    )
    return levels.summed(value, "s", budget, [], how)
