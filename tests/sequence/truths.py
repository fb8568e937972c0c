"""What was true of a run, as attempts in the time of its recording, and no longer than that lasts."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from analysis.sequence.attempts import Attempt, PhaseSpan


def attempts_of(told: Iterable[Mapping[str, Any]], place: Callable[[float], float]) -> tuple[Attempt, ...]:
    """Attempts of a simulated run; `place` makes the recording's time [s] of seconds from the run's start."""
    return tuple(_attempt(number, one, place) for number, one in enumerate(told, 1))


def _attempt(number: int, told: Mapping[str, Any], place: Callable[[float], float]) -> Attempt:
    spans = (PhaseSpan(one["phase"], place(one["start"]), place(one["end"]), 0.0, 0.0) for one in told["phases"])
    start, end = place(told["start"]), place(told["end"])
    phases = tuple(span for span in spans if span.end > span.start)
    decided = place(told["deciding_time"])
    return Attempt(
        number, told["call"], start, end, 0.0, 0.0, told["stage"], told["outcome"], 1.0, decided, 0.0, phases
    )


def cut(attempts: Sequence[Attempt], start: float, end: float) -> tuple[Attempt, ...]:
    """What of the attempts lies between two times; what is undecided at the end was cut off there.

    One that is under way at the start counts from there; one decided before has its outcome still, long since.
    """
    kept = [_cut(one, start, end) for one in attempts if one.end > start and one.start < end]
    return tuple(replace(one, number=number) for number, one in enumerate(kept, 1))


def _cut(attempt: Attempt, start: float, end: float) -> Attempt:
    phases = tuple(
        replace(span, start=max(span.start, start), end=min(span.end, end))
        for span in attempt.phases
        if span.end > start and span.start < end
    )
    ran = {span.phase for span in phases}
    stage = attempt.stage if attempt.stage == "low" or "run_high" in ran or "run_low" not in ran else "low"
    undecided = attempt.deciding_time > end
    return replace(
        attempt,
        start=max(attempt.start, start),
        end=min(attempt.end, end),
        stage=stage,
        outcome="cut_off" if undecided else attempt.outcome,
        deciding_time=min(attempt.deciding_time, end),
        phases=phases,
    )
