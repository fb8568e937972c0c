"""Which span of an attempt stands for which state: rest, cold, hot, settled, and the moments at which a load steps."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from analysis.sequence.attempts import Attempt, PhaseSpan
from analysis.steady import Span

STAGES = ("low", "high")
RUN = {"run_low": "low", "run_high": "high"}
"""Stage of a phase with burner and blower on."""
LIT = ("blower_on_delay", *RUN)
"""Phases with a proved flame."""
DRAWING = ("inducer_start", "prepurge", "igniter_warmup", "ignition_trial", *LIT, "post_purge", "interpurge")
"""Phases in which the inducer runs."""

GUARD = 0.5
"""Left off at both ends of a state: clocks of meters differ by so much; common practice, no published source. [s]"""
SPIN_UP = 4.0
"""Until an inducer is up to speed after its switch closed or its stage changed. [s]"""
LEAD = 10.0
"""The inducer speeds up for the high stage before that begins, when its switch has closed; our choice. [s]"""
HOT = 60.0
"""Length of the end of a stage that stands for it. [s]"""
WARM = 300.0
"""Burner time below which a unit is not hot. [s]"""
RISE_AFTER = 900.0
"""When the rise is read: after 15 min at full fire; maker's manuals, brands withheld. [s]"""
RISE_LONGEST = 300.0
"""Longest span that a settled rise is averaged over. [s]"""


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stage without a break."""

    stage: str
    start: float
    """[s]"""
    end: float
    """[s]"""
    burned: float
    """Burner time of the attempt at its end. [s]"""

    @property
    def length(self) -> float:
        """[s]"""
        return self.end - self.start


def stretches(attempt: Attempt) -> tuple[Stretch, ...]:
    """Each stage run without a break, in the order of time; the low one ends before the inducer speeds up for high."""
    found: list[Stretch] = []
    lit = 0.0
    for span in attempt.phases:
        if span.phase in LIT:
            lit += span.end - span.start
        stage = RUN.get(span.phase)
        if stage is None:
            continue
        if found and found[-1].stage == stage and found[-1].end == span.start:
            found[-1] = Stretch(stage, found[-1].start, span.end, lit)
        else:
            found.append(Stretch(stage, span.start, span.end, lit))
    following = {span.start for span in attempt.phases if span.phase == "run_high"}
    return tuple(
        replace(one, end=one.end - LEAD)
        if one.stage == "low" and one.end in following and one.length > 2 * LEAD
        else one
        for one in found
    )


def longest(attempt: Attempt) -> Mapping[str, Stretch]:
    """The longest stretch of each stage that was run."""
    found: dict[str, Stretch] = {}
    for one in stretches(attempt):
        if one.stage not in found or one.length > found[one.stage].length:
            found[one.stage] = one
    return found


def rest(attempt: Attempt, before: Attempt | None) -> Span | None:
    """Up to a minute before the inducer starts, all at rest; None where there is none of ten seconds."""
    first = attempt.start - 60.0 if before is None else max(before.end + 10.0, attempt.start - 60.0)
    return _long_enough(first, attempt.start - GUARD - 2 * attempt.start_u, 5.0)


def cold(attempt: Attempt, response_time: float = 0.0) -> Span | None:
    """Prepurge with the inducer up to speed; before the first flame of the attempt."""
    for span in attempt.spans("prepurge", "igniter_warmup"):
        found = _inside(span, SPIN_UP + 5 * response_time, 1.0)
        if found is not None:
            return found
    return None


def igniting(attempt: Attempt) -> Span | None:
    """Igniter hot, gas not yet on."""
    for span in attempt.spans("igniter_warmup"):
        found = _inside(span, 2.0, 1.0)
        if found is not None:
            return found
    return None


def hot(stretch: Stretch, response_time: float = 0.0) -> Span | None:
    """The end of a stage, half of it at most."""
    first = max(stretch.end - HOT, stretch.start + stretch.length / 2, stretch.start + SPIN_UP + 5 * response_time)
    return _long_enough(first, stretch.end - GUARD, 3.0)


def settled(stretch: Stretch, response_time: float = 0.0) -> Span | None:
    """Where a temperature is read: after 15 min at the stage, or else its last minute."""
    end = stretch.end - GUARD
    if stretch.length >= RISE_AFTER + HOT:
        return Span(max(stretch.start + RISE_AFTER, end - RISE_LONGEST), end)
    first = max(end - HOT, stretch.start + stretch.length / 2, stretch.start + 5 * response_time)
    return _long_enough(first, end, 3.0)


def after(moment: float, seconds: float, end: float, before: float = GUARD) -> Span:
    """From shortly before a moment until some seconds after it, or until `end`."""
    return Span(moment - before, max(min(moment + seconds, end), moment))


def valve_opens(attempt: Attempt) -> float | None:
    """Beginning of the first trial. [s]"""
    trials = attempt.spans("ignition_trial")
    return trials[0].start if trials else None


def lights(attempt: Attempt) -> float | None:
    """When the flame was proved. [s]"""
    lit = attempt.spans(*LIT)
    return lit[0].start if lit else None


def burner_stops(attempt: Attempt) -> float | None:
    """When the gas went off after a proved flame; None where it never burned or still does. [s]"""
    lit = attempt.spans(*LIT)
    later = [span.start for span in attempt.phases if lit and span.start >= lit[-1].end]
    return later[0] if later else None


def blower_starts(attempt: Attempt) -> float | None:
    """[s]"""
    waits = attempt.spans("blower_on_delay")
    runs = [span.start for span in attempt.spans(*RUN) if waits and span.start == waits[-1].end]
    return runs[0] if runs else None


def stages_up(attempt: Attempt) -> float | None:
    """First change from low to high. [s]"""
    pairs = zip(attempt.phases, attempt.phases[1:], strict=False)
    return next((late.start for early, late in pairs if (early.phase, late.phase) == ("run_low", "run_high")), None)


def inducer_stops(attempt: Attempt) -> float | None:
    """When the inducer went off; None where that was not seen. [s]"""
    drawn = [place for place, span in enumerate(attempt.phases) if span.phase in DRAWING]
    if not drawn or drawn[-1] + 1 >= len(attempt.phases):
        return None
    last = attempt.phases[drawn[-1]]
    return last.end if last.phase == "post_purge" else None


def steps(attempt: Attempt) -> Iterator[tuple[str, float]]:
    """Moments at which a load comes on, by name. [s]"""
    moments = {
        "inducer_start": attempt.start if attempt.spans("inducer_start") else None,
        "igniter_on": next((span.start for span in attempt.spans("igniter_warmup")), None),
        "valve": valve_opens(attempt),
        "blower_start": blower_starts(attempt),
    }
    yield from ((name, moment) for name, moment in moments.items() if moment is not None)


def _inside(span: PhaseSpan, skipped: float, shortest: float) -> Span | None:
    return _long_enough(
        span.start + skipped + 2 * min(span.start_u, 1.0), span.end - GUARD - 2 * min(span.end_u, 1.0), shortest
    )


def _long_enough(start: float, end: float, shortest: float) -> Span | None:
    return Span(start, end) if end - start >= shortest else None
