"""Times: each phase against the control's own, runs and pauses, change-over from the heat pump, how attempts ended."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from analysis.measures import levels, spans
from analysis.measures.draft import CLOCKS
from analysis.measures.levels import best
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench
from analysis.model import Timing
from analysis.quantity import Derivation, Error, Quality, Quantity
from analysis.sequence.attempts import Attempt, PhaseSpan
from analysis.steady import Span

TIMED = ("prepurge", "igniter_warmup", "ignition_trial", "blower_on_delay", "post_purge", "blower_off_delay")
"""Phases whose length the control sets."""
CHANGE_OVER = 300.0
"""Longest time from compressor to burner that is one change-over; our choice. [s]"""
AROUND = 30.0
"""How long before a change-over the outdoor temperature is taken. [s]"""


def phases(attempt: Attempt, timing: Timing | None) -> Iterator[Measured]:
    """How long each phase took, and by how much it was longer than the control sets it."""
    whole = attempt.phases[:-1] if attempt.outcome == "cut_off" else attempt.phases
    for span in whole:
        quantity = _length(span)
        yield Measured(f"phase.duration.{span.phase}", quantity, span.start, span.end, attempt.number)
        if timing is not None and span.phase in TIMED and not math.isnan(getattr(timing, span.phase)):
            over = levels.summed(
                quantity.value - getattr(timing, span.phase),
                "s",
                quantity.budget,
                [],
                _how("phase", f"{span.phase} over the control's own figure", "length less the figure"),
            )
            yield Measured(f"phase.over_timing.{span.phase}", over, span.start, span.end, attempt.number)
    started = attempt.spans("inducer_start")
    if started and attempt.spans("prepurge", "igniter_warmup", "ignition_trial"):
        first = started[0]
        yield Measured("switch_closed.time_to_close", _length(first), first.start, first.end, attempt.number)


def cycles(attempts: Sequence[Attempt]) -> Iterator[Measured]:
    """Burner on, burner off, and cycles per hour."""
    before: tuple[float, float] | None = None
    starts: list[float] = []
    for attempt in attempts:
        lit, stop = spans.lights(attempt), spans.burner_stops(attempt)
        if lit is None:
            continue
        starts.append(lit)
        if before is not None:
            pause = _between(before[0], lit, before[1], attempt.start_u, "off")
            yield Measured("cycle.off_time", pause, before[0], lit, attempt.number)
        before = None
        if stop is not None:
            u = next((span.start_u for span in attempt.phases if span.start >= stop), 0.0)
            run = _between(lit, stop, attempt.start_u, u, "on")
            yield Measured("cycle.run_time", run, lit, stop, attempt.number)
            before = stop, u
    if len(starts) > 1:
        rate = 3600 * (len(starts) - 1) / (starts[-1] - starts[0])
        how = _how("cycles", "Starts of the burner per hour", "starts less one over the time from first to last")
        yield Measured("cycle.per_hour", Quantity(rate, "1/h", 0.0, how=how), starts[0], starts[-1], None)


def outcomes(attempts: Sequence[Attempt]) -> Iterator[Measured]:
    """How many attempts there were, and how many ended in each way."""
    if not attempts:
        return
    start, end = attempts[0].start, attempts[-1].end
    counts = Counter(attempt.outcome for attempt in attempts)
    sure = {outcome: sum(1 - one.probability for one in attempts if one.outcome == outcome) for outcome in counts}
    yield Measured("attempts.count", _count(len(attempts), 0.0), start, end, None)
    for outcome, count in sorted(counts.items()):
        yield Measured(f"attempts.count.{outcome}", _count(count, sure[outcome]), start, end, None)


def change_overs(bench: Bench, attempts: Sequence[Attempt]) -> Iterator[Measured]:
    """From the heat pump's call to the burner, and how cold it was outdoors."""
    stops = _falls(bench, "call_compressor")
    for before, attempt in zip([None, *attempts], attempts, strict=False):
        lit = spans.lights(attempt)
        if lit is None or not stops.size:
            continue
        place = int(stops.searchsorted(lit, "right")) - 1
        since = float(stops[place]) if place >= 0 else -math.inf
        earliest = max(lit - CHANGE_OVER, before.end if before is not None and spans.lights(before) else -math.inf)
        if since < earliest:
            continue
        quantity = _between(since, lit, CLOCKS, attempt.start_u, "change-over")
        yield Measured("changeover.delay", quantity, since, lit, attempt.number)
        span = Span(since - AROUND, since)
        outdoor = best(bench, "temp_outdoor", span)
        if outdoor:
            key = outdoor[1].channel.key
            yield Measured("changeover.temp_outdoor", outdoor[0], span.start, span.end, attempt.number, (key,))


def _falls(bench: Bench, point: str) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    for source in bench.at(point):
        off = np.flatnonzero((source.value[:-1] > 0.5) & (source.value[1:] <= 0.5)) + 1
        return source.time[off]
    return np.empty(0)


def _length(span: PhaseSpan) -> Quantity:
    return _between(span.start, span.end, span.start_u, span.end_u, span.phase)


def _between(start: float, end: float, start_u: float, end_u: float, what: str) -> Quantity:
    budget = [(Error(f"beginning of {what} at {start:.1f}"), -start_u), (Error(f"end of {what} at {end:.1f}"), end_u)]
    return levels.summed(end - start, "s", budget, [], _how("duration", f"Length of {what}", "end less beginning"))


def _count(count: int, doubtful: float) -> Quantity:
    how = _how("count", "Number of attempts", "counted")
    if doubtful <= 0.05 * count:
        return Quantity(float(count), "1", 0.0, how=how)
    reason = f"{doubtful:.1f} of {count} would be expected to be another outcome"
    return Quantity(float(count), "1", doubtful, quality=Quality.SUSPECT, reason=reason, how=how)


def _how(formula: str, text: str, method: str) -> Derivation:
    return Derivation(formula, text, (), "phases as the recognizer found them.", f"{method}.", "definition.")
