"""Draft: the taps cold and hot, what the switch has in hand, where it was smallest, and its return to nothing."""

import math
from collections.abc import Iterator
from dataclasses import fields

import numpy as np

from analysis.draft import margin
from analysis.measures import extremes, levels, spans, trends
from analysis.measures.levels import best
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench, Source
from analysis.model import Baseline, Plate
from analysis.quantity import Derivation, Error, Quantity
from analysis.sequence.attempts import Attempt
from analysis.steady import Span

TAPS = (
    "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high speed_inducer"
).split()
BASELINES = frozenset(entry.name for entry in fields(Baseline))
"""Taps that a baseline has."""
SWITCHES = {"draft_margin": "draft_switch", "draft_margin_high": "draft_switch_high"}
"""Where the pressure of each margin is read."""
QUICK = 0.35
"""Spacing and response time up to which a meter sees a dip of 0.2 s; our choice. [s]"""
AROUND = 5.0
"""How long after a disturbance the smallest margin is looked for. [s]"""
SETTLING = 60.0
"""Left off at the beginning of a stage before the draft's trend counts. [s]"""
UNSEEN = "a dip of 0.2 s is not seen"
"""What a slower meter leaves open."""
ZERO_AFTER = 5.0
"""How long after the inducer's stop the switch's hoses should be at nothing. [s]"""
LOOKED_FOR_ZERO = 60.0
"""[s]"""
NOTHING = 5.0
"""A pressure that counts as nothing beside wind and a warm vent, 0.02 in. w.c.; our choice. [Pa]"""


def taps(bench: Bench, attempt: Attempt, baseline: Baseline | None) -> Iterator[Measured]:
    """Each tap and the inducer's speed, cold and at the end of each stage; trends; the ratio to when it was good."""
    stages = spans.longest(attempt)
    for point in TAPS:
        response = max((source.response_time for source in bench.at(point)), default=0.0)
        yield from _level(bench, attempt, f"{point}.cold", spans.cold(attempt, response))
        for stage, stretch in stages.items():
            span = spans.hot(stretch, response)
            short = f"burner on for {stretch.burned:.0f} s, not yet hot" if stretch.burned < spans.WARM else ""
            for one in _level(bench, attempt, f"{point}.hot.{stage}", span, short):
                yield one
                good = getattr(baseline, point) if baseline and point in BASELINES else None
                if stage == "high" and good:
                    yield _ratio(one, point, good)
            yield from _trend(bench, attempt, point, stage, stretch)


def margins(bench: Bench, attempt: Attempt, plate: Plate) -> Iterator[Measured]:
    """What the pressure at each switch has in hand over its opening and closing points, state by state."""
    closing, opening = plate.switch_close, plate.switch_open
    if closing:
        yield from _margins(bench, attempt, "draft_margin", closing[-1], opening[-1:])
    if len(closing) > 1:
        yield from _margins(bench, attempt, "draft_margin_high", closing[0], opening[:1] if opening[1:] else ())


def after_stop(bench: Bench, attempt: Attempt, until: float) -> Iterator[Measured]:
    """Pressure at the switch after the inducer stopped, and how long it takes to nothing: water in a hose is slow."""
    stop = spans.inducer_stops(attempt)
    if stop is None:
        return
    span = Span(stop + ZERO_AFTER, min(stop + 2 * ZERO_AFTER, until))
    yield from _level(bench, attempt, "draft_switch.after_stop", span if span.end - span.start > 1 else None)
    for source in bench.at("draft_switch"):
        inside = source.within(Span(stop, min(stop + LOOKED_FOR_ZERO, until)))
        time, value = source.time[inside], source.value[inside]
        if time.size < levels.FEWEST or abs(float(value[0])) <= 2 * NOTHING:
            continue
        away = np.flatnonzero(np.abs(value) > NOTHING)
        if away[-1] + 1 >= time.size:
            continue
        later = float(time[away[-1] + 1])
        gap = later - float(time[away[-1]])
        yield Measured(
            "draft_switch.time_to_zero",
            _seconds(later - gap / 2 - stop, gap, attempt.phases[-1].start_u, source),
            stop,
            later,
            attempt.number,
            (source.channel.key,),
        )
        return


def _level(bench: Bench, attempt: Attempt, name: str, span: Span | None, doubt: str = "") -> Iterator[Measured]:
    found = best(bench, name.partition(".")[0], span) if span else None
    if found and span:
        quantity = levels.doubted(found[0], doubt) if doubt else found[0]
        yield Measured(name, quantity, span.start, span.end, attempt.number, (found[1].channel.key,))


def _ratio(one: Measured, point: str, good: float) -> Measured:
    quantity = one.quantity
    how = Derivation(
        "ratio",
        f"{point} over what it was when the unit was known good",
        (("now", quantity), ("good", f"{good:.1f} Pa")),
        "the same state: hot, high stage.",
        "quotient; the figure of the baseline taken as exact.",
        "definition.",
    )
    budget = [(error, share / good) for error, share in quantity.budget]
    ratio = levels.summed(quantity.value / good, "1", budget, [quantity.reason] if quantity.reason else [], how)
    return Measured(f"{point}.against_baseline", ratio, one.start, one.end, one.attempt, one.channels)


def _trend(bench: Bench, attempt: Attempt, point: str, stage: str, stretch: spans.Stretch) -> Iterator[Measured]:
    span = Span(stretch.start + SETTLING, stretch.end - spans.GUARD)
    if span.end - span.start < SETTLING:
        return
    found = [
        (quantity, source)
        for source in bench.at(point)
        if (quantity := trends.trend(source, span, bench.doubts.get(source.channel.key, "")))
    ]
    if found:
        quantity, source = min(found, key=lambda one: one[0].u)
        name = f"{point}.trend.{stage}"
        yield Measured(name, quantity, span.start, span.end, attempt.number, (source.channel.key,))


def _margins(
    bench: Bench, attempt: Attempt, name: str, closing: float, opening: tuple[float, ...]
) -> Iterator[Measured]:
    point = SWITCHES[name]
    stages = spans.longest(attempt)
    if name == "draft_margin_high":
        stages = {stage: stretch for stage, stretch in stages.items() if stage == "high"}
    response = max((source.response_time for source in bench.at(point)), default=0.0)
    states = {f"hot.{stage}": spans.hot(stretch, response) for stage, stretch in stages.items()}
    if name == "draft_margin":
        states["cold"] = spans.cold(attempt, response)
    for state, span in states.items():
        found = best(bench, point, span) if span else None
        if not found or not span:
            continue
        for statistic, limit in (("", opening), ("to_close.", (closing,))):
            for line in limit:
                quantity = _over(found[0], line)
                key = found[1].channel.key
                yield Measured(f"{name}.{statistic}{state}", quantity, span.start, span.end, attempt.number, (key,))
    for state, span in _moments(attempt, name):
        yield from _smallest(bench, attempt, f"{name}.{state}", span, (opening or (closing,))[0])
    started = attempt.spans("inducer_start")
    if name == "draft_margin" and started:
        span = Span(started[0].start, started[0].end)
        yield from _smallest(bench, attempt, f"{name}.largest_at_start", span, closing, smallest=False)


def _moments(attempt: Attempt, name: str) -> Iterator[tuple[str, Span]]:
    """Spans in which the smallest margin is looked for."""
    proved, stop = _held(attempt, name)
    if proved is None or stop is None or stop - proved < 1.0:
        return
    yield "smallest", Span(proved, stop)
    if name == "draft_margin_high":
        return
    moments = {
        "at_light_off": spans.valve_opens(attempt),
        "at_blower_start": spans.blower_starts(attempt),
        "at_stage_up": spans.stages_up(attempt),
    }
    for state, moment in moments.items():
        if moment is not None and moment < stop:
            yield state, spans.after(moment, AROUND, stop)


def _held(attempt: Attempt, name: str) -> tuple[float | None, float | None]:
    """From when to when a switch has to hold: with the inducer up to speed, until the gas goes off or it let go."""
    if name == "draft_margin_high":
        runs = attempt.spans("run_high")
        return (runs[0].start + 2 * spans.SPIN_UP, runs[-1].end) if runs else (None, None)
    proved = attempt.spans("prepurge", "igniter_warmup", "ignition_trial", *spans.LIT)
    if not proved:
        return None, None
    end = attempt.deciding_time if attempt.outcome == "draft_lost" else proved[-1].end
    return min(proved[0].start + spans.SPIN_UP, (proved[0].start + end) / 2), end


def _smallest(
    bench: Bench, attempt: Attempt, name: str, span: Span, line: float, *, smallest: bool = True
) -> Iterator[Measured]:
    for source in bench.at(SWITCHES[name.partition(".")[0]]):
        doubt = bench.doubts.get(source.channel.key, "") or (_too_slow(source) if smallest else "")
        found = extremes.extreme(source, span, smallest=smallest, doubt=doubt, plus=-line)
        if found:
            yield Measured(name, found[0], found[1], found[1], attempt.number, (source.channel.key,))
            return


def _too_slow(source: Source) -> str:
    """Why a meter does not see a dip."""
    gap = extremes.spacing(source)
    if source.response_time + gap <= QUICK:
        return ""
    return f"reads every {gap:.1f} s and follows in {source.response_time:.1f} s: {UNSEEN}"


def _over(quantity: Quantity, line: float) -> Quantity:
    how = Derivation(
        "margin",
        "Pressure at the switch over its set-point",
        (("pressure", quantity), ("set-point", f"{line:.1f} Pa")),
        "pressure read at the switch's own ports.",
        "pressure minus set-point; the plate's figure taken as exact.",
        "definition.",
    )
    reasons = [quantity.reason] if quantity.reason else []
    return levels.summed(float(margin(quantity.value, line)), quantity.unit, quantity.budget, reasons, how)


def _seconds(value: float, gap: float, moment_u: float, source: Source) -> Quantity:
    budget = [
        (Error("moment of the stop"), math.hypot(moment_u, CLOCKS)),
        (Error(f"{source.channel.key}: spacing of readings", "rectangular"), gap / math.sqrt(12)),
        (Error(f"{source.sensor}: response time"), source.response_time),
    ]
    how = Derivation(
        "time_to_zero",
        "Time until the pressure stays at nothing",
        (("channel", source.channel.key),),
        "a meter that is zeroed.",
        f"first reading after which all are within {NOTHING:.0f} Pa of nothing.",
        "common practice, no published source.",
    )
    return levels.summed(max(value, 0.0), "s", budget, [], how)


CLOCKS = 0.1
"""Standard uncertainty of a moment on one instrument against another's; common practice, no published source. [s]"""
